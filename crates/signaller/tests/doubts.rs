//! What is said of doubts, in plain words.

#![allow(clippy::unwrap_used, clippy::panic, clippy::expect_used)]

mod scene;

use scene::{doubts, junction, line, play_and_listen};
use signaller::Fact;
use track::Layout;

/// Heron and Plover come from either side, and both tracks between them fill in one instant.
const SWAP: &str = "Heron@a>a.b +a Plover@z>z.a +z \n +b -a +y -z \n +n +s -b -y \n";

fn loop_line() -> Layout {
    line("a b (n s) y z").build()
}

#[track_caller]
fn check(layout: Layout, scene: &str, expect: &str) {
    let said = doubts(layout, scene);
    let lines = |text: &str| text.trim().lines().map(|line| line.trim().to_owned()).collect::<Vec<_>>();
    assert_eq!(lines(&said), lines(expect), "{said}");
}

#[test]
fn trains_that_may_have_swapped_are_one_doubt_that_ends_when_they_part() {
    check(
        loop_line(),
        &format!("{SWAP} +y -s"),
        "3: doubt 1: `Heron` stands in `n` and `Plover` stands in `s` | `Heron` stands in `s` and `Plover` stands in `n`
         settled by: a person's word which train is in `n`; perhaps the next section that one of them fills
         4: doubt 1 settled: `s` emptied",
    );
}

#[test]
fn the_emptying_that_tells_two_trains_apart_is_named_before_it_comes() {
    check(
        junction().build(),
        "Heron@x>x.b +x Plover@y>y.b +y \n +w \n -y",
        "2: doubt 1: `Heron` stands in `x` and `Plover` stands in `y` and `w` | `Heron` stands in `x` and `w` and `Plover` stands in `y`
         settled by: `y` or `x` emptying next; a person's word which train is in `w`
         3: doubt 1 settled: `y` emptied",
    );
}

#[test]
fn a_reader_near_trains_in_doubt_is_named_and_settles_it() {
    check(
        junction().build(),
        "Heron@x>x.b +x Plover@y>y.b +y \n +w \n +u \n Heron?u",
        "2: doubt 1: `Heron` stands in `x` and `Plover` stands in `y` and `w` | `Heron` stands in `x` and `w` and `Plover` stands in `y`
         settled by: `y` or `x` emptying next; a person's word which train is in `w`
         3: doubt 1: `Heron` stands in `x` and `Plover` stands in `y`, `w` and `u` | `Heron` stands in `x`, `w` and `u` and `Plover` stands in `y`
         settled by: `y` or `x` emptying next; a person's word which train is in `w`; a reading at `gate`
         4: doubt 1 settled: `gate` read `Heron`",
    );
}

#[test]
fn a_train_lost_from_sight_is_a_doubt_until_it_shows_itself() {
    check(
        line("a b c").build(),
        "Heron@a>a.b +a \n -a \n +a",
        "2: doubt 1: `Heron` stands in `a` though nothing shows it there | `Heron` is not there any more
         settled by: `Heron` showing itself in a section near by; a person's word where it stands, or that it was taken off
         3: doubt 1 settled: `a` filled",
    );
}

#[test]
fn a_section_that_no_train_can_have_filled_is_a_doubt_until_it_empties() {
    check(
        line("a b c d e f g").build(),
        "Heron@a +a \n +f \n -f",
        "2: doubt 1: something unknown is in `f` | the detector of `f` is wrong
         settled by: a person's word which train is in `f`, or that nothing is
         3: doubt 1 settled: `f` emptied",
    );
}

#[test]
fn a_train_in_doubt_that_drives_on_keeps_the_number_of_its_doubt() {
    let scene = "Heron@a>a.b +a Plover@d>d.a +d \n +c \n +b \n -a";
    let (_, facts) = play_and_listen(line("a b c d").build(), scene);
    let raised: Vec<u64> = facts
        .iter()
        .filter_map(|(_, fact)| match fact {
            Fact::DoubtRaised { doubt, .. } => Some(doubt.0),
            Fact::DoubtCleared { .. } => panic!("nothing settled it"),
            _ => None,
        })
        .collect();
    assert_eq!(raised, [1, 1, 1]);
}

#[test]
fn a_repeated_report_does_not_raise_a_doubt_anew() {
    let said = doubts(loop_line(), &format!("{SWAP} +n \n +s \n +n"));
    assert_eq!(said.matches("doubt 1:").count(), 1, "{said}");
}

#[test]
fn two_doubts_that_run_together_go_on_as_the_older() {
    // Two pairs swap out of sight of each other; then one train of each pair may have filled the section between them.
    let track = "a b (n s) y m (p q) k l";
    let scene = "Heron@a>a.b +a Plover@m>m.a +m \n +b -a +y -m \n +n +s -b -y \n \
                 Dunlin@m>m.b +m Curlew@l>l.a +l \n +k -l \n +p +q -m -k \n +y \n +m";
    let said = doubts(line(track).build(), scene);
    assert!(said.contains("doubt 2 settled: it is part of doubt 1 now"), "{said}");
}

#[test]
fn a_train_that_runs_through_the_plain_course_of_things_raises_no_doubt() {
    check(line("a b c d").build(), "Heron@a>a.b +a \n +b \n -a \n +c -b \n +d \n -c", "");
}

#[test]
fn a_train_gone_for_good_is_one_doubt_however_many_others_run_past() {
    let mut scene = String::from("Heron@a>a.b +a \n +b -a \n -b \n");
    for _ in 0..12 {
        scene.push_str("Plover@a>a.b +a \n +b -a \n +c -b \n +d -c \n Plover! -d \n");
    }
    let said = doubts(line("a b c d").build(), &scene);
    // Once when it is lost, and once more when it depends on it where the first that runs past is.
    assert!((1..=2).contains(&said.matches("doubt 1:").count()) && !said.contains("doubt 2"), "{said}");
}
