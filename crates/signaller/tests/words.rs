//! What a person's word about a section does.

#![allow(clippy::unwrap_used, clippy::panic, clippy::expect_used)]

mod scene;

use std::sync::Arc;

use scene::{doubts, junction, line, play, refused, tags};
use signaller::{Answer, Conduct, Fact, Input, Output, Request, Signaller, Ticket, Time};
use track::{Id, SectionId, TrainId};

/// Heron and Plover come from either side, and both tracks between them fill in one instant.
const SWAP: &str = "Heron@a>a.b +a Plover@z>z.a +z \n +b -a +y -z \n +n +s -b -y \n";

#[track_caller]
fn check(track: &str, scene: &str, expect: &str) {
    assert_eq!(tags(&play(line(track).build(), scene)), expect);
}

#[test]
fn a_word_about_one_of_two_trains_settles_both() {
    check("a b (n s) y z", &format!("{SWAP} s:Heron"), "n: Plover, s: Heron");
    check("a b (n s) y z", &format!("{SWAP} n:Plover"), "n: Plover, s: Heron");
    check("a b (n s) y z", &format!("{SWAP} n:Heron"), "n: Heron, s: Plover");
}

#[test]
fn a_train_picked_out_by_a_word_keeps_its_way() {
    // Heron ran from west to east: it goes on to `y` when that fills, and Plover is not asked.
    check("a b (n s) y z", &format!("{SWAP} s:Heron \n +y -s \n +b -n"), "b: Plover, y: Heron");
}

#[test]
fn a_word_settles_nothing_but_what_it_speaks_of() {
    let scene = "Heron@x>x.b +x Plover@y>y.b +y Dunlin@v +v \n +w \n w:Plover";
    let signaller = play(junction().build(), scene);
    assert_eq!(tags(&signaller), "v: Dunlin, x: Heron, y: Plover, w: Plover");
}

#[test]
fn something_unknown_gets_the_name_it_is_given() {
    check("a b c d e f g", "Heron@a +a \n +f \n f:Plover", "a: Heron, f: Plover");
    check("a b c d e f g", "Heron@a +a \n +f \n +g -f \n g:Plover \n +f -g", "a: Heron, f: Plover");
}

#[test]
fn a_train_that_stood_elsewhere_stands_only_where_a_word_puts_it() {
    check("a b c d e f g", "Heron@a +a \n +f \n f:Heron", "a: ?, f: Heron");
}

#[test]
fn a_train_driven_out_by_a_word_may_be_where_the_other_was_believed_to_be() {
    let scene = "Heron@a +a Plover@g +g \n g:Heron";
    let signaller = play(line("a b c d e f g").build(), scene);
    assert_eq!(tags(&signaller), "a: Plover|?, g: Heron");
}

#[test]
fn a_train_driven_out_by_a_word_is_not_forgotten() {
    let said = doubts(line("a b c d e f g").build(), "Plover@g +g \n g:Heron \n +f");
    assert!(said.contains("2: doubt 1: `Plover` stands in `g` though nothing shows it there"), "{said}");
}

#[test]
fn a_word_about_a_long_train_names_all_of_it_but_not_which_way_it_points() {
    let scene = "Plover@b>b.b +b \n +c \n b:Heron";
    check("a b c d", scene, "b: Heron, c: Heron");
    let said = doubts(line("a b c d").build(), scene);
    assert!(said.contains("`Heron` stands in `b` and `c`"), "{said}");
    assert!(said.contains("its front towards `c.b`") && said.contains("its front towards `b.a`"), "{said}");
}

#[test]
fn a_train_lost_from_sight_is_found_by_a_word() {
    check("a b c d e f g", "Heron@a>a.b +a \n -a \n +e \n e:Heron", "e: Heron");
}

#[test]
fn a_word_about_a_dark_section_is_believed() {
    check("a b *d e", "Heron@a +a \n d:Plover", "a: Heron, d: Plover");
}

#[test]
fn a_word_about_a_free_section_is_refused() {
    let reason = refused(line("a b c").build(), "Heron@a +a \n b:Heron");
    assert_eq!(reason, "`b` reads free; hint: place `Heron` there if its detector cannot see it");
    check("a b c", "Heron@a>a.b +a \n +b b:Heron", "a: Heron, b: Heron");
}

#[test]
fn two_words_that_contradict_each_other_are_not_both_taken() {
    let layout = || line("a b c").build();
    let reason = refused(layout(), "+a \n a:Heron a:Plover");
    assert_eq!(reason, "another train was said to be in `a` in the same instant");
    let reason = refused(layout(), "+a +c \n a:Heron c:Heron");
    assert_eq!(reason, "something else was said of `Heron` in the same instant");
    let reason = refused(layout(), "+a \n Heron! a:Heron");
    assert_eq!(reason, "something else was said of `Heron` in the same instant");
}

#[test]
fn a_section_that_is_found_empty_is_not_asked_about_again_until_its_detector_says_something_new() {
    let told = |scene: &str| doubts(line("a b c d e").build(), scene);
    let answered = told("Heron@a +a \n +d \n d:- \n +d");
    assert!(answered.ends_with("doubt 1 settled: a person said so\n"), "{answered}");
    assert!(told("Heron@a +a \n +d \n d:- \n -d \n +d").contains("doubt 2: "));
    // It is no place for trains all the same.
    check("a b c d e", "Heron@a +a \n +d \n d:-", "a: Heron, d: ?");
}

#[test]
fn something_unknown_in_the_dark_is_asked_about_and_gone_once_nothing_is_found_there() {
    let scene = "Heron@a +a \n +c \n -c";
    check("a b c *d* e", scene, "a: Heron, d: ?");
    check("a b c *d* e", &format!("{scene} \n d:-"), "a: Heron");
}

#[test]
fn nothing_unknown_is_in_the_dark_where_a_train_is_put_down_or_found() {
    let scene = "Heron@a +a \n +c \n -c";
    check("a b c *d* e", &format!("{scene} \n Plover@d"), "a: Heron, d: Plover");
    check("a b c *d* e", &format!("Plover@d \n {scene} \n Plover@d"), "a: Heron, d: Plover");
}

#[test]
fn a_train_that_may_have_gone_on_in_the_dark_is_where_somebody_finds_it() {
    let scene = "Heron@b>b.b +b \n -b";
    check("a b *d *e f", scene, "");
    check("a b *d *e f", &format!("{scene} \n Heron@d>d.b"), "d: Heron");
}

#[test]
fn a_train_that_was_thought_to_be_where_nothing_is_is_not_elsewhere_for_that() {
    check("a b (n s) y z", &format!("{SWAP} \n n:-"), "n: ?, s: Heron|Plover");
    assert_eq!(
        refused(line("a b").build(), "Heron@a +a \n a:-"),
        "`Heron` stands in `a`, by all that was heard; hint: say where it is, or lift it"
    );
}

#[test]
fn a_word_about_what_there_is_not_is_refused() {
    let layout = Arc::new(line("a b").build());
    let mut signaller = Signaller::new(Arc::clone(&layout), Conduct::Observe);
    let (heron, a) = (layout.train_named("Heron").unwrap(), layout.section_named("a").unwrap());
    let nobody = Request::Identify { section: a, train: TrainId::from_index(99) };
    let nowhere = Request::Identify { section: SectionId::from_index(99), train: heron };
    for (request, expect) in [(nobody, "there is no such train"), (nowhere, "there is no such section")] {
        let step = signaller.step(Time::ZERO, &[Input::Requested { ticket: Ticket(1), request }]);
        let refused = step.outputs.iter().any(|output| {
            matches!(output, Output::Fact(Fact::Answered { answer: Answer::Refused(refusal), .. }) if refusal.reason == expect)
        });
        assert!(refused, "{:?}", step.outputs);
    }
}
