//! Locking, as far as it shows in what signals and turnouts do. Source: 49 CFR Part 236 (annual edition of 2015),
//! 236.762 to 236.769. Here the signaller drives; of approach and time locking `us_release` tells, of levers `us_levers`.

use signaller::{Answer, Conduct, Destination, Fact, Input, Request};
use track::{Lie, TrainId};

use super::{Scene, buffer_stops, head, joints, sections, signals, throat};

/// One of the trains of `trains.toml`.
fn train(name: &str, address: u8) -> String {
    format!(
        "[[train]]\nname = \"{name}\"\naddress = {address}\nvehicles = [{{ length = 250, detectable = true }}]\n\
         top-speed = 200\nacceleration = 100\nbraking = 150\n"
    )
}

/// A single line `line` between two loops of two tracks each, signalled at all ends; Heron in `w1`, Plover in `e1`,
/// nose to nose.
fn single_line() -> (Scene, [TrainId; 2]) {
    let text = head("us-block")
        + &sections(&["w1", "w2", "line", "e1", "e2"])
        + &throat("west", "T1")
        + &throat("east", "T2")
        + &joints(&[("w1.b", "west.one"), ("w2.b", "west.two"), ("west.toe", "line.a"), ("line.b", "east.toe")])
        + &joints(&[("east.one", "e1.a"), ("east.two", "e2.a")])
        + &buffer_stops(&["w1.a", "w2.a", "e1.b", "e2.b"])
        + &signals(&[("S1", "w1.b"), ("S3", "w2.b"), ("S2", "e1.a"), ("S4", "e2.a")]);
    let mut scene =
        Scene::new(&(text + "--- trains.toml\n" + &train("Heron", 3) + &train("Plover", 4)), Conduct::Control);
    let trains = [("Heron", "w1", "w1.b"), ("Plover", "e1", "e1.a")].map(|(name, on, nose)| {
        scene.section(on, true);
        let train = scene.layout.train_named(name).unwrap();
        let (on, nose) = (scene.layout.section_named(on).unwrap(), scene.layout.end_named(nose));
        assert_eq!(scene.ask(Request::Place { train, on: vec![on], nose }), Answer::Accepted);
        train
    });
    (scene, trains)
}

fn go(scene: &mut Scene, train: TrainId, to: &str) -> Answer {
    let to = Destination::Section(scene.layout.section_named(to).unwrap());
    scene.ask(Request::Go { train, to })
}

#[test]
fn cfr_236_762_a_switch_that_does_not_follow_keeps_the_signal_at_stop() {
    let (mut scene, [heron, _]) = single_line();
    assert_eq!(go(&mut scene, heron, "e2"), Answer::Accepted);
    assert_eq!(scene.throws, ["T2 Diverging"]);
    for _ in 0..2 {
        scene.hear(&[Input::Woke]);
    }
    assert!(scene.is_at_stop("S1"), "it was called and has not reported yet");
    scene.turnout("T2", Some(Lie::Diverging));
    assert!(scene.is_proceed("S1"));
}

#[test]
fn cfr_236_767_no_switch_of_a_route_moves_ahead_of_the_train_for_which_it_is_set() {
    let (mut scene, [heron, _]) = single_line();
    go(&mut scene, heron, "e2");
    scene.turnout("T2", Some(Lie::Diverging));
    for (turnout, lie) in [("T1", Lie::Diverging), ("T2", Lie::Straight)] {
        let turnout = scene.layout.turnout_named(turnout).unwrap();
        let answer = scene.ask(Request::Throw { turnout, lie });
        assert!(matches!(answer, Answer::Refused(_)), "it is locked");
    }
    assert_eq!(scene.throws, ["T2 Diverging"]);
}

#[test]
fn cfr_236_769_the_direction_of_a_single_line_does_not_change_while_a_signal_into_it_is_clear() {
    let (mut scene, [heron, plover]) = single_line();
    go(&mut scene, heron, "e2");
    scene.turnout("T2", Some(Lie::Diverging));
    assert!(scene.is_proceed("S1"));
    go(&mut scene, plover, "w2");
    assert!(scene.is_at_stop("S2") && scene.is_at_stop("S4"), "the opposing signals stay at stop");
    let line = scene.layout.section_named("line").unwrap();
    let is_given_the_line = |fact: &Fact| matches!(fact, Fact::RouteSet { train, sections } if *train == plover && sections.contains(&line));
    assert!(!scene.facts.iter().any(is_given_the_line));
}

#[test]
fn cfr_236_204_a_train_that_is_let_past_a_head_block_signal_keeps_the_opposing_one_at_stop() {
    let (mut scene, [heron, plover]) = single_line();
    go(&mut scene, heron, "e2");
    scene.turnout("T2", Some(Lie::Diverging));
    go(&mut scene, plover, "w2");
    scene.section("west", true);
    scene.section("w1", false);
    scene.section("line", true);
    assert!(scene.is_at_stop("S1") && scene.is_at_stop("S2"), "a train is on the line between");
}
