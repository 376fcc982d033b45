//! What is said of sections as they fill and empty, told as small scenes (`scene/mod.rs` says how they are written).

#![allow(clippy::unwrap_used, clippy::panic, clippy::expect_used)]

mod scene;

use std::sync::Arc;

use scene::{TRAINS, check, input, junction, line, play, tags};
use signaller::{Conduct, Fact, Input, Output, Request, Signaller, Tag, Ticket, Time};
use track::{Builder, Length, Scale, Train};

#[test]
fn a_train_put_down_is_known_at_once() {
    check("a b c", "Heron@a +a", "a: Heron");
}

#[test]
fn a_name_moves_along_as_sections_fill_and_empty() {
    check("a b c d", "Heron@a +a \n +b \n -a \n +c \n -b", "c: Heron");
}

#[test]
fn a_long_train_carries_its_name_over_three_sections() {
    check("a b c d", "Heron@a +a \n +b \n +c \n -a \n +d", "b: Heron, c: Heron, d: Heron");
}

#[test]
fn filling_and_emptying_in_one_instant_may_be_heard_in_either_order() {
    check("a b c", "Heron@a +a \n -a +b \n +c -b", "c: Heron");
}

#[test]
fn a_train_may_run_over_several_sections_in_one_instant() {
    check("a b c d", "Heron@a +a \n +c -a +b -b", "c: Heron");
}

#[test]
fn a_following_train_does_not_take_the_name_of_the_one_ahead() {
    check(
        "a b c d e",
        "Heron@a>a.b +a \n +b -a \n +c -b \n Plover@a>a.b +a \n +b -a \n +d -c \n +c -b",
        "c: Plover, d: Heron",
    );
}

#[test]
fn trains_that_meet_in_a_loop_keep_their_names() {
    check(
        "a b (n s) y z",
        "Heron@a>a.b +a Plover@z>z.a +z \n +b -a +y -z \n +n -b \n +s -y \n +y -n \n +b -s",
        "b: Plover, y: Heron",
    );
}

#[test]
fn trains_that_swap_tracks_in_the_same_instant_are_in_doubt() {
    // One comes from each side; both tracks fill at once, and nothing tells who took which.
    check(
        "a b (n s) y z",
        "Heron@a>a.b +a Plover@z>z.a +z \n +b -a +y -z \n +n +s -b -y",
        "n: Heron|Plover, s: Heron|Plover",
    );
}

#[test]
fn a_doubt_settles_when_the_trains_part() {
    check(
        "a b (n s) y z",
        "Heron@a>a.b +a Plover@z>z.a +z \n +b -a +y -z \n +n +s -b -y \n +y -s",
        "n: Plover, y: Heron",
    );
}

#[test]
fn a_train_that_backs_keeps_its_name() {
    check("a b c", "Heron@a>a.b +a \n +b \n -b \n", "a: Heron");
    check("a b c d", "Heron@b>b.b +b \n +c -b \n +b -c \n +a -b", "a: Heron");
}

#[test]
fn a_repeated_report_changes_nothing() {
    check("a b c", "Heron@a +a \n +b \n +b \n -a \n -a", "b: Heron");
}

#[test]
fn a_section_whose_filling_was_lost_is_passed_over() {
    check("a b c d", "Heron@a>a.b +a \n +c -a", "c: Heron");
}

#[test]
fn a_lost_filling_leaves_doubt_where_another_train_could_have_come() {
    // Plover from next door, or Heron past a `b` that was not heard.
    check("a b c d", "Heron@a>a.b +a Plover@d>d.a +d \n +c", "a: Heron, c: Plover|Heron, d: Plover");
    check(
        "a b (c e) d f",
        "Heron@a>a.b +a Plover@f>f.a +f \n +d \n +c",
        "a: Heron, c: Plover|Heron, d: Plover, f: Plover",
    );
}

#[test]
fn an_emptying_heard_too_early_loses_no_name() {
    check("a b c", "Heron@a>a.b +a \n -a \n +b", "b: Heron");
}

#[test]
fn a_train_that_loses_contact_is_found_where_it_was() {
    check("a b c", "Heron@a>a.b +a \n -a \n +a", "a: Heron");
}

#[test]
fn a_train_whose_report_was_lost_may_stand_for_long() {
    // Heron runs into `n` unheard and stands there while Plover passes to and fro on `s`.
    let mut scene = String::from("Heron@a>a.b +a Plover@z>z.a +z \n +b -a \n -b \n");
    for _ in 0..6 {
        scene.push_str("+y -z \n +s -y \n +b -s \n +a -b \n +b -a \n +s -b \n +y -s \n +z -y \n");
    }
    scene.push_str("-n +y \n");
    let said = tags(&play(line("a b (n s) y z").build(), &scene));
    assert!(said.contains("y: ") && said.contains("Heron"), "{said}");
}

#[test]
fn a_train_put_down_where_no_detector_sees_it_is_not_forgotten() {
    let mut scene = String::from("Heron@n Plover@z>z.a +z \n");
    for _ in 0..6 {
        scene.push_str("+y -z \n +s -y \n +b -s \n +a -b \n +b -a \n +s -b \n +y -s \n +z -y \n");
    }
    scene.push_str("+n \n");
    check("a b (n s) y z", &scene, "n: Heron, z: Plover");
}

#[test]
fn a_train_that_is_gone_for_good_does_not_haunt_the_others() {
    // Heron vanishes without a word in `b`; a dozen trains run through after it.
    let mut scene = String::from("Heron@a>a.b +a \n +b -a \n -b \n");
    for _ in 0..12 {
        scene.push_str("Plover@a>a.b +a \n +b -a \n +c -b \n +d -c \n Plover! -d \n");
    }
    scene.push_str("Dunlin@a>a.b +a \n +b -a \n +c -b");
    check("a b c d", &scene, "c: Dunlin");
}

#[test]
fn what_nobody_can_have_filled_is_unexplained() {
    check("a b c d e f g", "Heron@a +a \n +f", "a: Heron, f: ?");
}

#[test]
fn a_train_passes_a_dark_section() {
    check("a *d b c", "Heron@a>a.b +a \n -a", "d: Heron");
    check("a *d b c", "Heron@a>a.b +a \n -a \n +b", "b: Heron");
    check("a *d b c", "Heron@a>a.b +a \n -a \n +b \n +c -b", "c: Heron");
}

#[test]
fn a_train_comes_back_out_of_a_dark_siding() {
    let mut builder = line("c b a *d");
    let end = builder.layout().end_named("d.b").unwrap();
    builder.close(end, track::Beyond::BufferStop);
    let signaller = play(builder.build(), "Heron@a>a.b +a \n -a \n +a \n +b -a");
    assert_eq!(tags(&signaller), "b: Heron");
}

#[test]
fn a_train_taken_off_is_gone() {
    check("a b c", "Heron@a +a \n +b -a \n Heron! -b", "");
    check("a b c", "Heron@a +a Plover@c +c \n Heron! -a", "c: Plover");
}

#[test]
fn a_person_settles_a_doubt() {
    let scene = "Heron@a>a.b +a Plover@z>z.a +z \n +b -a +y -z \n +n +s -b -y \n Heron@s";
    check("a b (n s) y z", scene, "n: Plover, s: Heron");
}

#[test]
fn an_unreported_turnout_leaves_doubt_and_a_reported_one_none() {
    let scene = "Heron@x>x.b +x Plover@y>y.b +y \n";
    let doubt = play(junction().build(), &format!("{scene} +w"));
    assert_eq!(tags(&doubt), "x: Heron, y: Plover, w: Heron|Plover");
    let known = play(junction().build(), &format!("{scene} W1=diverging \n +w"));
    assert_eq!(tags(&known), "x: Heron, y: Plover, w: Plover");
}

#[test]
fn the_emptying_decides_what_the_filling_left_open() {
    let signaller = play(junction().build(), "Heron@x>x.b +x Plover@y>y.b +y \n +w \n -y");
    assert_eq!(tags(&signaller), "x: Heron, w: Plover");
}

#[test]
fn a_reader_settles_who_it_is() {
    let scene = "Heron@x>x.b +x Plover@y>y.b +y \n +w \n +u \n Heron?u";
    assert_eq!(tags(&play(junction().build(), scene)), "u: Heron, x: Heron, y: Plover, w: Heron");
}

#[test]
fn a_reader_names_what_came_in_unknown() {
    assert_eq!(tags(&play(junction().build(), "+u \n Heron?u")), "u: Heron");
}

#[test]
fn a_train_cannot_be_put_down_on_sections_that_do_not_meet() {
    let layout = Arc::new(line("a b c").build());
    let mut signaller = Signaller::new(Arc::clone(&layout), Conduct::Observe);
    let (a, c) = (layout.section_named("a").unwrap(), layout.section_named("c").unwrap());
    let request = Request::Place { train: layout.train_named("Heron").unwrap(), on: vec![a, c], nose: None };
    let step = signaller.step(Time::ZERO, &[Input::Requested { ticket: Ticket(1), request }]);
    let refused = step.outputs.iter().any(|output| {
        matches!(output, Output::Fact(Fact::Answered { answer: signaller::Answer::Refused(refusal), .. })
            if refusal.reason.contains("`a` does not meet `c`"))
    });
    assert!(refused, "{:?}", step.outputs);
}

#[test]
fn a_crowd_of_possibilities_is_doubt_and_not_a_guess() {
    // Many trains loop through one throat in the same instants, so that accounts multiply beyond any bound.
    let mut text = String::from("a (");
    for at in 0..10 {
        text.push_str(&format!("{}t{at} ", if at == 0 { "" } else { " " }));
    }
    let text = format!("{}) z", text.trim_end());
    let mut builder = line(&text.replace("( t0", "(t0"));
    for at in 4..10 {
        builder.train(Train::stranger(format!("N{at}")));
    }
    let names: Vec<String> = (0..10).map(|at| if at < 4 { TRAINS[at].to_owned() } else { format!("N{at}") }).collect();
    let mut scene: String = (0..10).map(|at| format!("{}@t{at} +t{at} ", names[at])).collect();
    // One after the other goes out by `a` and comes back in another's place, and nobody can tell which.
    scene.push('\n');
    for at in 0..5 {
        scene.push_str(&format!("+a -t{at} -t{} +z \n -a +t{at} +t{} -z \n", at + 5, at + 5));
    }
    let signaller = play(builder.build(), &scene);
    let mut doubts = 0;
    for at in 0..10 {
        let section = signaller.layout().section_named(&format!("t{at}")).unwrap();
        match signaller.identity().tag(section) {
            Tag::Doubt(_) => doubts += 1,
            other => panic!("t{at} is said to be {other:?}"),
        }
    }
    assert_eq!(doubts, 10);
}

#[test]
fn lengths_tell_a_train_that_cannot_have_come_so_far() {
    let mut builder = Builder::new("measured", Scale::named("H0").unwrap());
    let length = Some(Length::from_mm(1000));
    let names = ["a", "b", "c"].map(|name| builder.plain_section(name, length));
    let ends: Vec<_> = names.map(|section| builder.layout().sections[section].ends.clone()).into();
    builder.join(ends[0][1], ends[1][0]);
    builder.join(ends[1][1], ends[2][0]);
    let heron = builder.train(Train::stranger("Heron"));
    let layout = Arc::new(builder.build());
    let mut identity = signaller::identity::Identity::new(Arc::clone(&layout));
    let mut batch = signaller::identity::Batch::default();
    batch.edges.push((names[0], true));
    batch.placed.push(signaller::identity::Placement::new(&layout, heron, &[names[0]], Some(ends[0][1])).unwrap());
    identity.observe(Time::ZERO, &batch);
    let pace = signaller::identity::Pace { least: track::Speed::from_mm(90), most: track::Speed::from_mm(110) };
    identity.set_pace(heron, Time::ZERO, pace);
    names.iter().for_each(|&section| identity.set_granted(section, Some(heron)));
    batch.clear();
    batch.edges.push((names[1], true));
    identity.observe(Time::from_millis(5_000), &batch);
    assert_eq!(identity.tag(names[1]), Tag::Sure(heron));
    // At 110 mm/s nobody is through 1000 mm after three seconds: something else has filled `c`.
    batch.clear();
    batch.edges.push((names[2], true));
    identity.observe(Time::from_millis(8_000), &batch);
    assert!(!matches!(identity.tag(names[2]), Tag::Sure(_) | Tag::Free), "{:?}", identity.tag(names[2]));
    assert_eq!(identity.tag(names[1]), Tag::Sure(heron));
}

#[test]
fn a_train_cannot_lie_round_a_corner_that_has_no_way() {
    let layout = Arc::new(junction().build());
    let mut signaller = Signaller::new(Arc::clone(&layout), Conduct::Observe);
    let step = signaller.step(Time::ZERO, &[input(&layout, 1, "Heron@x,w,y")]);
    let refused = step.outputs.iter().any(|output| {
        matches!(output, Output::Fact(Fact::Answered { answer: signaller::Answer::Refused(refusal), .. })
            if refusal.reason.contains("no way through section `w` leads to `y`"))
    });
    assert!(refused, "{:?}", step.outputs);
    let signaller = play(junction().build(), "Heron@x,w,u +x +w +u");
    assert_eq!(tags(&signaller), "u: Heron, x: Heron, w: Heron");
}

#[test]
fn two_trains_cannot_be_put_down_on_one_section_at_once() {
    let layout = Arc::new(line("a b c").build());
    let mut signaller = Signaller::new(Arc::clone(&layout), Conduct::Observe);
    let inputs: Vec<Input> = ["Heron@a", "Plover@a"].iter().map(|word| input(&layout, 1, word)).collect();
    let step = signaller.step(Time::ZERO, &inputs);
    let refusals = step
        .outputs
        .iter()
        .filter(|output| matches!(output, Output::Fact(Fact::Answered { answer: signaller::Answer::Refused(_), .. })));
    assert_eq!(refusals.count(), 1);
    assert_eq!(tags(&signaller), "a: Heron, b: ?, c: ?");
}
