//! What follows from a person's word that does not fit what trains were granted, or were led to.

use super::*;
use crate::Suspect;

/// Heron runs from the west to the far east, and Plover was taken off.
fn heron_runs_alone() -> World {
    let mut world = World::with_two_trains();
    let (plover, e0) = (world.train("Plover"), world.section("e0"));
    world.ask(Request::Lift { train: plover });
    world.trains[plover] = None;
    world.step(&[Input::SectionReported { section: e0, occupied: false }]);
    assert_eq!(world.go("Heron", "far east"), Answer::Accepted);
    assert!(world.run(30.0, |world| world.speed("Heron") > 0.0 && world.granted("Heron").contains(&"north")));
    world
}

fn is_held_for(world: &World, train: &str, kind: HoldKind) -> bool {
    world.signaller.interlock().hold_kinds(world.train(train)).any(|it| it == kind)
}

#[test]
fn whoever_says_that_a_train_stands_in_anothers_way_stops_that_other() {
    let mut world = heron_runs_alone();
    let (plover, north) = (world.train("Plover"), world.section("north"));
    let nose = world.layout.end_named("north.a");
    let place = Request::Place { train: plover, on: vec![north], nose };
    assert!(refusal(world.ask(place.clone())).starts_with("`Heron` has `north`; hint: lift it first"));
    assert!(is_held_for(&world, "Heron", HoldKind::Disputed));
    assert_eq!(world.shows("S1"), "red");
    assert!(world.run(5.0, |world| world.speed("Heron") == 0.0), "it stands at once");
    world.run(2.0, |_| false);
    assert!(!world.granted("Heron").contains(&"north"), "it gives back what lies ahead of it");
    assert_eq!(world.ask(place), Answer::Accepted);
    assert!(!is_held_for(&world, "Heron", HoldKind::Disputed), "it is clear now what is there");
    world.run(60.0, |_| false);
    assert_ne!(world.nose("Heron").0, "north");
}

#[test]
fn a_train_that_was_stopped_for_another_goes_on_when_somebody_releases_it() {
    let mut world = heron_runs_alone();
    let (heron, plover, north) = (world.train("Heron"), world.train("Plover"), world.section("north"));
    refusal(world.ask(Request::Place { train: plover, on: vec![north], nose: None }));
    assert!(world.run(5.0, |world| world.speed("Heron") == 0.0));
    assert!(!world.run(60.0, |world| world.speed("Heron") > 0.0), "not by itself");
    assert_eq!(world.ask(Request::Release { train: heron }), Answer::Accepted);
    assert!(world.run(180.0, |world| world.has_arrived("Heron")));
}

#[test]
fn a_train_that_is_put_down_elsewhere_while_it_runs_stands_at_once() {
    let mut world = heron_runs_alone();
    let (heron, w0) = (world.train("Heron"), world.section("w0"));
    let is_stopped = |world: &World| world.said.iter().any(|(_, it)| *it == Output::EmergencyStop { train: heron });
    assert!(!is_stopped(&world));
    let nose = world.layout.end_named("w0.b");
    assert_eq!(world.ask(Request::Place { train: heron, on: vec![w0], nose }), Answer::Accepted);
    assert!(is_stopped(&world));
    assert_eq!(world.speed("Heron"), 0.0);
}

/// Track `x`, and the turnout `W1`, which nobody reports, from there into `y` or `z`.
fn unreported_throat() -> (Layout, TurnoutId) {
    let mut builder = builder();
    let [x, y, z] = ["x", "y", "z"].map(|name| builder.plain_section(name, Some(Length::from_mm(1000))));
    let (throat, turnout) = throat(&mut builder, "throat", "W1");
    builder.turnout_mut(turnout).reported = false;
    for (section, leg) in [(x, "toe"), (y, "one"), (z, "two")] {
        let (near, leg) = (end(&builder, section, "a"), end(&builder, throat, leg));
        builder.join(near, leg);
        let far = end(&builder, section, "b");
        builder.close(far, track::Beyond::BufferStop);
    }
    builder.train(railcar("Heron"));
    (builder.build(), turnout)
}

/// The same. Heron was sent to `z`, the turnout stayed as it was, and what came into `y` nobody heard.
fn led_astray() -> World {
    let (layout, turnout) = unreported_throat();
    let mut world = World::new(layout);
    world.put("Heron", "x", "x.a");
    world.stuck.push(turnout);
    world.mute.push(world.section("y"));
    world.by_hand.push("Heron".to_owned());
    assert_eq!(world.go_to_section("Heron", "z"), Answer::Accepted);
    assert!(world.run(60.0, |world| is_held_for(world, "Heron", HoldKind::NoAnswer)));
    assert!(world.run(20.0, |world| world.speed("Heron") == 0.0));
    world.by_hand.clear();
    world
}

fn is_suspected(world: &World, turnout: TurnoutId) -> bool {
    world.facts().any(|fact| matches!(fact, Fact::Suspected { suspect: Suspect::Turnout(it), .. } if *it == turnout))
}

#[test]
fn a_turnout_that_led_a_train_elsewhere_is_not_run_over_again_until_somebody_has_seen_to_it() {
    let mut world = led_astray();
    let (train, y) = (world.train("Heron"), world.section("y"));
    let turnout = world.layout.turnout_named("W1").unwrap();
    assert!(!is_suspected(&world, turnout));
    world.mute.clear();
    let throat = world.section("throat");
    let on = if world.nose("Heron").0 == "y" { vec![throat, y] } else { vec![throat] };
    let nose = world.layout.end_named("y.b");
    assert_eq!(world.ask(Request::Place { train, on, nose }), Answer::Accepted);
    assert!(is_suspected(&world, turnout), "{:?}", world.facts().collect::<Vec<_>>());
    assert_eq!(world.signaller.interlock().lie(turnout), None, "it may have been carried there as well");
}

#[test]
fn a_train_that_stands_on_the_turnout_that_led_it_astray_goes_back_the_way_it_came() {
    let mut world = led_astray();
    let (train, throat, y) = (world.train("Heron"), world.section("throat"), world.section("y"));
    let turnout = world.layout.turnout_named("W1").unwrap();
    assert_eq!(world.nose("Heron").0, "y");
    let nose = world.layout.end_named("y.b");
    assert_eq!(world.ask(Request::Place { train, on: vec![throat, y], nose }), Answer::Accepted);
    assert_eq!(world.signaller.interlock().lie(turnout), None);
    assert_eq!(world.go_to_section("Heron", "x"), Answer::Accepted);
    let goes_back = |world: &World| world.granted("Heron").contains(&"x") && world.speed("Heron") != 0.0;
    assert!(world.run(20.0, goes_back), "{:?} {:?}", world.waits("Heron"), world.granted("Heron"));
}

#[test]
fn a_train_that_was_carried_to_where_a_turnout_does_not_lead_casts_no_suspicion() {
    let mut world = World::with_two_trains();
    let (train, south) = (world.train("Heron"), world.section("south"));
    let turnout = world.layout.turnout_named("W1").unwrap();
    assert_eq!(world.go("Heron", "halt"), Answer::Accepted);
    let nose = world.layout.end_named("south.b");
    assert_eq!(world.ask(Request::Place { train, on: vec![south], nose }), Answer::Accepted);
    assert!(!is_suspected(&world, turnout), "it answered all the while");
}

#[test]
fn a_train_does_not_set_out_where_another_may_stand_in_its_section_unseen() {
    let mut world = World::with_two_trains();
    let (plover, w0) = (world.train("Plover"), world.section("w0"));
    assert_eq!(world.ask(Request::Identify { section: w0, train: plover }), Answer::Accepted);
    let nose = world.layout.end_named("w0.b");
    world.ask(Request::Place { train: plover, on: vec![w0], nose });
    assert_eq!(world.signaller.identity().tag(w0), Tag::Sure(plover));
    world.go_to_section("Plover", "w1");
    assert!(!world.run(20.0, |world| world.granted("Plover").contains(&"w1")));
    assert_eq!(world.waits("Plover").last(), Some(&"`w0` is taken by `Heron`"));
}

/// Track `a b c` of which `b` has no detector and was not measured.
fn hidden() -> World {
    let mut builder = builder();
    let a = builder.plain_section("a", Some(Length::from_mm(1000)));
    let b = builder.section("b");
    let (near, far) = (builder.end(b, "a"), builder.end(b, "b"));
    builder.way(near, far, None);
    let c = builder.plain_section("c", Some(Length::from_mm(1000)));
    for (one, other) in [(a, b), (b, c)] {
        let (one, other) = (end(&builder, one, "b"), end(&builder, other, "a"));
        builder.join(one, other);
    }
    let far = end(&builder, c, "b");
    builder.close(far, track::Beyond::BufferStop);
    builder.train(railcar("Heron"));
    let mut world = World::new(builder.build());
    world.put("Heron", "a", "a.b");
    world
}

#[test]
fn a_train_is_not_sent_to_where_nobody_would_know_when_to_stop_it() {
    let mut world = hidden();
    let reason = refusal(world.go_to_section("Heron", "b"));
    assert!(reason.starts_with("no detector watches `b`, and lengths are missing there"), "{reason}");
    assert_eq!(world.go_to_section("Heron", "c"), Answer::Accepted);
    assert!(world.run(120.0, |world| world.has_arrived("Heron")));
    assert_eq!(world.nose("Heron").0, "c");
}

#[test]
fn a_train_that_goes_the_other_way_than_it_was_said_to_point_is_in_doubt_and_stops() {
    let mut builder = builder();
    let line = row(&mut builder, &["a", "b", "c", "d", "e"], 1200);
    for (section, at) in [(line[0], "a"), (line[4], "b")] {
        let far = end(&builder, section, at);
        builder.close(far, track::Beyond::BufferStop);
    }
    builder.train(railcar("Heron"));
    let mut world = World::new(builder.build());
    world.put("Heron", "c", "c.b");
    let (train, c) = (world.train("Heron"), world.section("c"));
    let wrong = world.layout.end_named("c.a");
    assert_eq!(world.ask(Request::Place { train, on: vec![c], nose: wrong }), Answer::Accepted);
    world.by_hand.push("Heron".to_owned());
    assert_eq!(world.go_to_section("Heron", "a"), Answer::Accepted);
    assert!(world.run(60.0, |world| world.nose("Heron").0 == "d"), "its front points there");
    assert!(world.run(1.0, |world| is_held_for(world, "Heron", HoldKind::Doubt)));
    let stands = world.signaller.identity().possible_whereabouts(train, world.now);
    let points = |stand: &Whereabouts| {
        (stand.footprint.last().map(|hold| hold.section) == Some(world.section("d"))).then_some(stand.leading)
    };
    let ways: Vec<Direction> = stands.iter().filter_map(points).collect();
    assert!(ways.contains(&Direction::Forward) && ways.contains(&Direction::Backward), "{stands:?}");
    assert!(world.run(10.0, |world| world.speed("Heron") == 0.0));
}

#[test]
fn a_train_placed_on_a_turnout_with_its_nose_at_the_toe_lies_over_the_leg_for_which_that_lies() {
    for (lie, leg) in [(Lie::Straight, "west.one"), (Lie::Diverging, "west.two")] {
        let mut world = World::with_two_trains();
        let (heron, west) = (world.train("Heron"), world.section("west"));
        let turnout = world.layout.turnout_named("W1").unwrap();
        assert_eq!(world.ask(Request::Throw { turnout, lie }), Answer::Accepted);
        world.run(10.0, |_| false);
        let (w0, nose) = (world.section("w0"), world.layout.end_named("west.toe"));
        world.step(&[
            Input::SectionReported { section: west, occupied: true },
            Input::SectionReported { section: w0, occupied: false },
        ]);
        assert_eq!(world.ask(Request::Place { train: heron, on: vec![west], nose }), Answer::Accepted);
        let stand = world.signaller.identity().whereabouts(heron, world.now).unwrap();
        assert_eq!(stand.footprint[0].enter, world.layout.end_named(leg), "{lie:?}");
    }
}

#[test]
fn a_turnout_that_reports_nothing_lies_as_a_train_that_somebody_places_over_it_needs() {
    for (leg, beyond, lie) in [("throat.one", "y", Lie::Straight), ("throat.two", "z", Lie::Diverging)] {
        let mut world = World::new(unreported_throat().0);
        let (heron, throat, x) = (world.train("Heron"), world.section("throat"), world.section("x"));
        let turnout = world.layout.turnout_named("W1").unwrap();
        assert_eq!(world.signaller.interlock().lie(turnout), None);
        world.step(&[
            Input::SectionReported { section: x, occupied: true },
            Input::SectionReported { section: throat, occupied: true },
        ]);
        let nose = world.layout.end_named(leg);
        assert_eq!(world.ask(Request::Place { train: heron, on: vec![x, throat], nose }), Answer::Accepted);
        assert_eq!(world.signaller.interlock().lie(turnout), Some(lie));
        assert_eq!(world.go_to_section("Heron", beyond), Answer::Accepted);
        assert_eq!(world.waits("Heron"), [] as [&str; 0]);
    }
}
