//! Overlaps: what is kept clear beyond a signal that a train runs up to.

use super::*;

/// The passing loop, with the eastern throat as the overlap of the signal at the far end of `north`.
fn with_an_overlap() -> World {
    let mut layout = passing_loop();
    let (signal, east) = (layout.signal_named("S3").unwrap(), layout.section_named("east").unwrap());
    layout.signals[signal].overlap = track::Overlap::Sections(vec![east]);
    let mut world = World::new(layout);
    world.put("Heron", "w0", "w0.b");
    world.put("Plover", "e0", "e0.a");
    world
}

#[test]
fn nobody_is_let_into_the_overlap_of_a_train_that_runs_up_to_its_signal() {
    let mut world = with_an_overlap();
    assert_eq!(world.go_to_section("Heron", "north"), Answer::Accepted);
    assert!(world.run(40.0, |world| world.nose("Heron").0 == "west"));
    let signal = |name: &str| world.layout.signal_named(name).unwrap();
    let exit = track::routes::Exit::Signal(signal("S6"));
    let route = Request::SetRoute { entry: signal("S2"), exit, via: Vec::new() };
    assert_eq!(refusal(world.ask(route)), "`east` is kept clear while `Heron` runs up to the signal before it");
    assert_eq!(world.go_to_section("Plover", "south"), Answer::Accepted);
    assert!(
        world.run(60.0, |world| {
            let section = |name: &str| world.section(name);
            let shared = world.signaller.interlock().granted_to(section("east")) == Some(world.train("Plover"));
            assert!(!shared || world.speed("Heron") == 0.0, "Plover is let into the overlap while Heron moves");
            world.has_arrived("Heron")
        }),
        "{:?}",
        world.waits("Heron")
    );
    let waited = "`east` is kept clear while `Heron` runs up to the signal before it";
    assert!(world.waits("Plover").contains(&waited), "{:?}", world.waits("Plover"));
    assert!(world.run(60.0, |world| world.has_arrived("Plover")), "Heron stands: the overlap is anybody's again");
}

#[test]
fn a_train_is_not_let_up_to_a_signal_whose_overlap_is_taken() {
    let mut world = with_an_overlap();
    let east = world.section("east");
    let request = Request::TakeOutOfService { section: east, reason: "it is being cleaned".to_owned() };
    assert_eq!(world.ask(request), Answer::Accepted);
    assert_eq!(world.go_to_section("Heron", "north"), Answer::Accepted);
    world.run(30.0, |_| false);
    assert_eq!((world.nose("Heron").0, world.shows("S1")), ("w0", "red"));
    assert_eq!(world.waits("Heron"), ["`east` is out of service"]);
    assert_eq!(world.ask(Request::PutInService { section: east }), Answer::Accepted);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
}

#[test]
fn a_turnout_in_an_overlap_is_brought_to_lie_for_whoever_overruns_and_locked_until_the_train_stands() {
    let mut world = with_an_overlap();
    let turnout = world.layout.turnout_named("W2").unwrap();
    assert_eq!(world.ask(Request::Throw { turnout, lie: Lie::Diverging }), Answer::Accepted);
    world.run(5.0, |_| false);
    assert_eq!((world.lies[turnout], world.go_to_section("Heron", "north")), (Lie::Diverging, Answer::Accepted));
    assert!(world.run(40.0, |world| world.nose("Heron").0 == "north"));
    assert_eq!(world.lies[turnout], Lie::Straight, "nobody runs through a turnout there");
    let kept = "turnout `W2` is kept as it lies while `Heron` runs up to the signal before it";
    assert_eq!(refusal(world.ask(Request::Throw { turnout, lie: Lie::Diverging })), kept);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
    assert_eq!(world.ask(Request::Throw { turnout, lie: Lie::Diverging }), Answer::Accepted);
}

#[test]
fn a_train_is_not_let_up_to_a_signal_in_whose_overlap_a_turnout_does_not_move() {
    let mut world = with_an_overlap();
    let turnout = world.layout.turnout_named("W2").unwrap();
    assert_eq!(world.ask(Request::Throw { turnout, lie: Lie::Diverging }), Answer::Accepted);
    world.run(5.0, |_| false);
    world.stuck.push(turnout);
    assert_eq!(world.go_to_section("Heron", "north"), Answer::Accepted);
    world.run(20.0, |_| false);
    assert_eq!((world.nose("Heron").0, world.speed("Heron"), world.shows("S1")), ("w1", 0.0, "red"));
    assert_eq!(world.waits("Heron"), ["turnout `W2` was thrown and does not report that it moved"]);
    world.stuck.clear();
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
}

#[test]
fn the_overlap_swings_when_the_train_itself_goes_on_another_way() {
    let mut layout = passing_loop();
    let (signal, west) = (layout.signal_named("S1").unwrap(), layout.section_named("west").unwrap());
    layout.signals[signal].overlap = track::Overlap::Sections(vec![west]);
    let mut world = World::new(layout);
    world.put("Heron", "w0", "w0.b");
    let (signal, turnout) = (world.layout.signal_named("S1").unwrap(), world.layout.turnout_named("W1").unwrap());
    assert_eq!(world.ask(Request::KeepAtDanger { signal, held: true }), Answer::Accepted);
    assert_eq!(world.go_to_section("Heron", "south"), Answer::Accepted);
    assert!(world.run(40.0, |world| world.nose("Heron").0 == "w1"));
    let throw = Request::Throw { turnout, lie: Lie::Diverging };
    let kept = "turnout `W1` is kept as it lies while `Heron` runs up to the signal before it";
    assert_eq!((refusal(world.ask(throw)).as_str(), world.lies[turnout]), (kept, Lie::Straight));
    assert_eq!(world.ask(Request::KeepAtDanger { signal, held: false }), Answer::Accepted);
    assert!(world.speed("Heron") > 0.0, "it runs up to the signal");
    assert!(world.run(40.0, |world| world.nose("Heron").0 == "west"));
    assert_eq!(world.lies[turnout], Lie::Diverging);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
}

#[test]
fn a_train_may_stand_before_a_signal_in_whose_overlap_a_turnout_moves() {
    let mut layout = passing_loop();
    let (signal, west) = (layout.signal_named("S1").unwrap(), layout.section_named("west").unwrap());
    layout.signals[signal].overlap = track::Overlap::Sections(vec![west]);
    let mut world = World::new(layout);
    world.put("Heron", "w1", "w1.b");
    let turnout = world.layout.turnout_named("W1").unwrap();
    world.stuck.push(turnout);
    assert_eq!(world.ask(Request::Throw { turnout, lie: Lie::Diverging }), Answer::Accepted);
    assert_eq!(world.go_to_section("Heron", "north"), Answer::Accepted);
    world.run(20.0, |_| false);
    assert!(!world.signaller.interlock().is_held(world.train("Heron")), "it is where it may be");
    world.stuck.clear();
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
}
