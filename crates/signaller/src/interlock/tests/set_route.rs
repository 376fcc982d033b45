//! Routes that people set for trains they drive.

use track::routes::Exit;

use super::*;
use crate::RouteStage;
use crate::interlock::RELEASE_DELAY;

/// The passing loop with Heron alone, in a person's hands, in `w0`.
fn with_a_driver() -> World {
    let mut world = World::new(passing_loop());
    world.put("Heron", "w0", "w0.b");
    let train = world.train("Heron");
    assert_eq!(world.ask(Request::TakeOver { train }), Answer::Accepted);
    world.run(1.0, |_| false);
    world
}

fn set(world: &mut World, entry: &str, exit: &str) -> Answer {
    let signal = |name: &str| world.layout.signal_named(name).unwrap();
    world.ask(Request::SetRoute { entry: signal(entry), exit: Exit::Signal(signal(exit)), via: Vec::new() })
}

fn cancel(world: &mut World, entry: &str) -> Answer {
    let entry = world.layout.signal_named(entry).unwrap();
    world.ask(Request::CancelRoute { entry })
}

/// How far the routes from a signal have come, in order.
fn stages(world: &World, entry: &str) -> Vec<RouteStage> {
    let signal = world.layout.signal_named(entry).unwrap();
    let stages = world.facts().filter_map(|fact| match fact {
        Fact::RouteStage { entry, stage, .. } if *entry == signal => Some(*stage),
        _ => None,
    });
    stages.collect()
}

fn throw(world: &mut World, turnout: &str, lie: Lie) -> Answer {
    let turnout = world.layout.turnout_named(turnout).unwrap();
    world.ask(Request::Throw { turnout, lie })
}

#[test]
fn a_route_is_called_cleared_used_and_released_behind_the_train() {
    use RouteStage::{ApproachLocked, Called, Cleared, Released, Used};
    let mut world = with_a_driver();
    assert_eq!(world.shows("S1"), "red");
    assert_eq!(set(&mut world, "S1", "S5"), Answer::Accepted);
    assert_eq!((stages(&world, "S1"), world.shows("S1")), (vec![Called], "red"), "the turnout is on its way");
    assert!(world.run(10.0, |world| world.shows("S1") == "yellow"));
    assert_eq!(stages(&world, "S1"), [Called, Cleared, ApproachLocked], "Heron stands before it");
    let locked = "turnout `W1` is locked for the route that is set from `S1`";
    assert_eq!(refusal(throw(&mut world, "W1", Lie::Straight)), locked);
    world.by_hand("Heron", Direction::Forward, 60);
    assert!(world.run(60.0, |world| world.nose("Heron").0 == "west"));
    world.run(0.5, |_| false);
    assert_eq!((stages(&world, "S1").last(), world.shows("S1")), (Some(&Used), "red"));
    assert_eq!(refusal(throw(&mut world, "W1", Lie::Straight)), locked);
    let west = world.section("west");
    assert!(world.run(60.0, |world| !world.signaller.identity().is_occupied(west)));
    world.by_hand("Heron", Direction::Forward, 0);
    world.run(2.0, |_| false);
    assert_eq!(stages(&world, "S1"), [Called, Cleared, ApproachLocked, Used, Released]);
    assert_eq!(throw(&mut world, "W1", Lie::Straight), Answer::Accepted);
}

#[test]
fn a_train_found_in_a_route_that_is_set_for_another_is_sent_out_behind_a_signal_at_stop() {
    let mut world = World::new(passing_loop());
    assert_eq!(set(&mut world, "S2", "S4"), Answer::Accepted);
    assert!(world.run(10.0, |world| world.shows("S2") == "yellow"));
    world.put("Plover", "north", "north.a");
    world.run(1.0, |_| false);
    assert_eq!(world.shows("S2"), "red", "something is in its route");
    let locked = "something is in `north`, and the route is locked under it";
    assert_eq!(refusal(cancel(&mut world, "S2")), locked, "so only going on frees it");
    assert_eq!(world.go("Plover", "far west"), Answer::Accepted);
    let north = world.section("north");
    assert!(world.run(60.0, |world| {
        assert!(world.shows("S2") == "red" || !world.signaller.identity().is_occupied(north));
        world.has_arrived("Plover")
    }));
    assert_eq!(world.shows("S2"), "yellow", "the route is as it was");
}

#[test]
fn a_route_that_nobody_can_have_seen_cleared_is_cancelled_at_once() {
    use RouteStage::{Called, Cancelled, Cleared, Released};
    let mut world = with_a_driver();
    assert_eq!(set(&mut world, "S2", "S4"), Answer::Accepted);
    assert!(world.run(10.0, |world| world.shows("S2") == "yellow"));
    assert_eq!(cancel(&mut world, "S2"), Answer::Accepted);
    assert_eq!((stages(&world, "S2"), world.shows("S2")), (vec![Called, Cleared, Cancelled, Released], "red"));
    assert_eq!(refusal(cancel(&mut world, "S2")), "no route is set from `S2`");
    assert_eq!(throw(&mut world, "W2", Lie::Diverging), Answer::Accepted);
}

#[test]
fn a_route_cancelled_before_a_train_that_may_have_seen_it_stays_locked_for_a_time() {
    let mut world = with_a_driver();
    assert_eq!(set(&mut world, "S1", "S3"), Answer::Accepted);
    assert!(world.run(10.0, |world| world.shows("S1") == "yellow"));
    assert_eq!(cancel(&mut world, "S1"), Answer::Accepted);
    assert_eq!(world.shows("S1"), "red", "its signal does not wait");
    world.run(RELEASE_DELAY.as_secs_f64() - 1.0, |_| false);
    let locked = "turnout `W1` is locked for the route that is set from `S1`";
    assert_eq!(refusal(throw(&mut world, "W1", Lie::Diverging)), locked);
    world.run(2.0, |_| false);
    assert_eq!(stages(&world, "S1").last(), Some(&RouteStage::Released));
    assert_eq!(throw(&mut world, "W1", Lie::Diverging), Answer::Accepted);
}

#[test]
fn a_train_that_runs_past_a_cancelled_signal_finds_its_turnouts_locked() {
    let mut world = with_a_driver();
    assert_eq!(set(&mut world, "S1", "S3"), Answer::Accepted);
    world.by_hand("Heron", Direction::Forward, 60);
    assert!(world.run(60.0, |world| world.nose("Heron").0 == "w1"));
    assert_eq!(cancel(&mut world, "S1"), Answer::Accepted);
    assert!(world.run(60.0, |world| world.nose("Heron").0 == "west"));
    world.run(0.5, |_| false);
    assert_eq!(stages(&world, "S1").last(), Some(&RouteStage::Used));
    assert_eq!(refusal(cancel(&mut world, "S1")), "something is in `west`, and the route is locked under it");
    assert_eq!(
        refusal(throw(&mut world, "W1", Lie::Diverging)),
        "turnout `W1` is locked for the route that is set from `S1`"
    );
}

#[test]
fn a_route_that_conflicts_is_refused_with_the_reason_and_one_beside_it_is_not() {
    let mut world = with_a_driver();
    assert_eq!(set(&mut world, "S1", "S3"), Answer::Accepted);
    assert_eq!(refusal(set(&mut world, "S2", "S4")), "route `S1-S3` is set: they meet in `north`");
    assert_eq!(refusal(set(&mut world, "S1", "S5")), "route `S1-S3` is set: both begin at `S1`");
    assert_eq!(set(&mut world, "S2", "S6"), Answer::Accepted);
    assert_eq!(refusal(set(&mut world, "S3", "S1")), "no route leads from `S3` to `S1` that way");
}

#[test]
fn trains_that_are_driven_for_people_and_set_routes_keep_out_of_each_others_way() {
    let mut world = World::new(passing_loop());
    world.put("Heron", "w0", "w0.b");
    assert_eq!(set(&mut world, "S2", "S4"), Answer::Accepted);
    let north = Request::TakeOutOfService { section: world.section("north"), reason: "weeds".to_owned() };
    assert_eq!(refusal(world.ask(north)), "`north` is locked for the route that is set from `S2`");
    assert_eq!(world.go("Heron", "halt"), Answer::Accepted);
    world.run(20.0, |_| false);
    assert_eq!(world.waits("Heron"), ["`north` is locked for the route that is set from `S2`"]);
    assert_eq!(cancel(&mut world, "S2"), Answer::Accepted);
    assert!(world.run(60.0, |world| world.nose("Heron").0 == "west"));
    assert_eq!(refusal(set(&mut world, "S2", "S4")), "`north` is taken by `Heron`");
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
}

#[test]
fn a_signal_does_not_clear_before_its_turnout_is_proved_and_people_are_told_why() {
    let mut world = with_a_driver();
    let west = world.layout.turnout_named("W1").unwrap();
    world.stuck.push(west);
    assert_eq!(set(&mut world, "S1", "S5"), Answer::Accepted);
    world.run(20.0, |_| false);
    assert_eq!((stages(&world, "S1"), world.shows("S1")), (vec![RouteStage::Called], "red"));
    let reasons: Vec<&str> = world
        .facts()
        .filter_map(|fact| match fact {
            Fact::RouteWaiting { reason, .. } => Some(reason.as_str()),
            _ => None,
        })
        .collect();
    assert_eq!(reasons, ["turnout `W1` was thrown and does not report that it moved"], "once");
    world.stuck.clear();
    assert!(world.run(20.0, |world| world.shows("S1") == "yellow"), "it is thrown again until it moves");
    world.step(&[Input::TurnoutReported { turnout: west, lie: None }]);
    assert_eq!(world.shows("S1"), "red", "what is lost again takes the signal back");
}

/// The passing loop with Heron in a person's hands in `w0`, and the eastern throat as the overlap of `S3`.
fn with_an_overlap() -> World {
    let mut layout = passing_loop();
    let (signal, east) = (layout.signal_named("S3").unwrap(), layout.section_named("east").unwrap());
    layout.signals[signal].overlap = track::Overlap::Sections(vec![east]);
    // A second way out of the eastern throat, over a turnout in the overlap.
    let mut builder = track::Builder::from(layout);
    let (leg, one) = (builder.end(east, "aside"), builder.layout().sections[east].ends[1]);
    let siding = builder.plain_section("siding", Some(Length::from_mm(1000)));
    let turnout = builder.turnout("W3");
    builder.turnout_mut(turnout).reported = true;
    let aside = builder.way(one, leg, Some(Length::from_mm(240)));
    builder.need(aside, turnout, Lie::Diverging);
    let straight = builder.layout().sections[east].ways[0];
    builder.need(straight, turnout, Lie::Straight);
    let near = end(&builder, siding, "a");
    builder.join(leg, near);
    let far = end(&builder, siding, "b");
    builder.close(far, track::Beyond::BufferStop);
    let mut world = World::new(builder.build());
    world.put("Heron", "w0", "w0.b");
    let train = world.train("Heron");
    assert_eq!(world.ask(Request::TakeOver { train }), Answer::Accepted);
    world.run(1.0, |_| false);
    world
}

fn set_to_end(world: &mut World, entry: &str, exit: &str) -> Answer {
    let (entry, end) = (world.layout.signal_named(entry).unwrap(), world.layout.end_named(exit).unwrap());
    world.ask(Request::SetRoute { entry, exit: Exit::BufferStop(end), via: Vec::new() })
}

#[test]
fn the_overlap_of_a_route_swings_for_the_route_that_goes_on_from_its_end_and_back_when_that_is_cancelled() {
    let mut world = with_an_overlap();
    let turnout = world.layout.turnout_named("W3").unwrap();
    assert_eq!(set(&mut world, "S1", "S3"), Answer::Accepted);
    world.run(5.0, |_| false);
    assert_eq!((world.lies[turnout], world.shows("S1")), (Lie::Straight, "yellow"));
    let throw_it = Request::Throw { turnout, lie: Lie::Diverging };
    assert_eq!(refusal(world.ask(throw_it)), "turnout `W3` is locked for the route that is set from `S1`");
    assert_eq!(set_to_end(&mut world, "S3", "siding.b"), Answer::Accepted);
    world.run(5.0, |_| false);
    assert_eq!((world.lies[turnout], world.shows("S1"), world.shows("S3")), (Lie::Diverging, "green", "yellow"));
    assert_eq!(cancel(&mut world, "S3"), Answer::Accepted);
    world.run(RELEASE_DELAY.as_secs_f64() + 5.0, |_| false);
    assert_eq!(stages(&world, "S3").last(), Some(&RouteStage::Released));
    assert_eq!(world.shows("S1"), "yellow", "its overlap is proved again");
}

#[test]
fn the_overlap_does_not_swing_before_a_train_that_may_be_upon_it() {
    let mut world = with_an_overlap();
    assert_eq!(set(&mut world, "S1", "S3"), Answer::Accepted);
    world.by_hand("Heron", Direction::Forward, 60);
    assert!(world.run(60.0, |world| world.nose("Heron").0 == "north"));
    world.run(0.5, |_| false);
    let near = "turnout `W3` is the overlap of a train that runs up to `S3` and may not stand yet";
    assert_eq!(refusal(set_to_end(&mut world, "S3", "siding.b")), near);
    let west = world.section("west");
    assert!(world.run(60.0, |world| !world.signaller.identity().is_occupied(west)));
    world.by_hand("Heron", Direction::Forward, 0);
    world.run(crate::interlock::OVERLAP_DELAY.as_secs_f64() + 1.0, |_| false);
    assert_eq!(stages(&world, "S1").last(), Some(&RouteStage::Released));
    assert_eq!(set_to_end(&mut world, "S3", "siding.b"), Answer::Accepted);
    assert!(world.run(5.0, |world| world.shows("S3") == "yellow"));
}
