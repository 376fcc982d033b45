//! Scenarios about trains that people drive through the signaller.

use track::TrainId;

use crate::model::{World, refusal};
use crate::{Answer, Direction, Fact, Protection, Request};

fn take(world: &mut World, protection: Protection) -> TrainId {
    let train = world.train("Heron");
    assert_eq!(world.ask(Request::TakeThrottle { train, protection }), Answer::Accepted);
    train
}

fn set(world: &mut World, train: TrainId, step: u8) {
    let request = Request::SetThrottle { train, direction: Direction::Forward, step };
    assert_eq!(world.ask(request), Answer::Accepted);
}

fn kept_back(world: &World) -> Vec<&str> {
    let told = world.facts().filter_map(|fact| match fact {
        Fact::KeptBack { reason, .. } => Some(reason.as_str()),
        _ => None,
    });
    told.collect()
}

#[test]
fn a_train_at_a_throttle_runs_as_fast_as_its_driver_wants_and_no_faster_than_it_may() {
    let mut world = World::with_two_trains();
    let train = take(&mut world, Protection::On);
    world.go("Heron", "halt");
    world.run(5.0, |_| false);
    assert_eq!(world.speed("Heron"), 0.0, "the throttle is closed");
    set(&mut world, train, 40);
    assert!(world.run(20.0, |world| world.speed("Heron") > 55.0));
    world.run(3.0, |_| false);
    assert!(world.speed("Heron") < 70.0, "{}", world.speed("Heron"));
    set(&mut world, train, 126);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")), "it is braked though the throttle stays open");
    let (section, short) = world.nose("Heron");
    assert_eq!(section, "north");
    assert!(short > 60.0 && short < 400.0, "{short} mm short of the end");
    assert!(!kept_back(&world).is_empty());
}

#[test]
fn a_protected_train_does_not_pass_a_signal_at_danger_whatever_its_driver_does() {
    let mut world = World::with_two_trains();
    let signal = world.layout.signal_named("S1").unwrap();
    world.ask(Request::KeepAtDanger { signal, held: true });
    let train = take(&mut world, Protection::On);
    world.go("Heron", "halt");
    set(&mut world, train, 126);
    // The table itself looks that no train enters what it was not granted.
    world.run(60.0, |_| false);
    assert_eq!((world.nose("Heron").0, world.speed("Heron")), ("w1", 0.0));
    assert_eq!(kept_back(&world).len(), 1, "it is said once: {:?}", kept_back(&world));
}

#[test]
fn an_unprotected_train_passes_the_end_of_its_authority_and_is_stopped_behind_it() {
    let mut world = World::with_two_trains();
    let signal = world.layout.signal_named("S1").unwrap();
    world.ask(Request::KeepAtDanger { signal, held: true });
    world.by_hand = vec!["Heron".to_owned()];
    let train = take(&mut world, Protection::Off);
    world.go("Heron", "halt");
    set(&mut world, train, 60);
    assert!(world.run(60.0, |world| world.nose("Heron").0 == "west"));
    world.run(5.0, |_| false);
    assert_eq!((world.nose("Heron").0, world.speed("Heron")), ("west", 0.0));
    assert!(world.signaller.interlock().is_held(train));
}

#[test]
fn a_driver_who_does_what_is_advised_stops_before_the_end_of_the_authority_and_gets_there() {
    for (end, protection) in [("halt", Protection::Off), ("far east", Protection::On), ("halt", Protection::On)] {
        let mut world = World::with_two_trains();
        world.ask(Request::Lift { train: world.train("Plover") });
        let plover = world.train("Plover");
        world.trains[plover] = None;
        world.run(5.0, |_| false);
        let train = take(&mut world, protection);
        world.go("Heron", end);
        let mut seen = false;
        for _ in 0..600 {
            if world.has_arrived("Heron") {
                break;
            }
            world.run(0.3, |_| false);
            let advice = world.signaller.advice(train, world.now).unwrap();
            seen |= advice.signal.is_some() && advice.to_stand.is_some();
            // They take a moment to do it.
            world.run(0.4, |_| false);
            set(&mut world, train, advice.step);
        }
        assert!(world.has_arrived("Heron") && seen, "{end} {protection:?}: {:?}", world.nose("Heron"));
    }
}

#[test]
fn a_driver_cannot_turn_a_train_by_the_throttle_alone() {
    let mut world = World::with_two_trains();
    let train = take(&mut world, Protection::Off);
    world.go("Heron", "halt");
    let request = Request::SetThrottle { train, direction: Direction::Backward, step: 30 };
    assert_eq!(world.ask(request), Answer::Accepted);
    world.run(5.0, |_| false);
    assert_eq!(world.speed("Heron"), 0.0);
    assert_eq!(kept_back(&world), ["it may go forward only; to turn it, send it there"]);
}

#[test]
fn a_train_that_is_handed_back_runs_on_by_itself() {
    let mut world = World::with_two_trains();
    let train = world.train("Heron");
    let request = Request::SetThrottle { train, direction: Direction::Forward, step: 3 };
    assert_eq!(refusal(world.ask(request)), "`Heron` is not driven at a throttle; hint: take it first");
    take(&mut world, Protection::On);
    let request = Request::SetThrottle { train, direction: Direction::Forward, step: 127 };
    assert_eq!(refusal(world.ask(request)), "`Heron` has no speed step 127; hint: name one from 0 to 126");
    world.go("Heron", "halt");
    world.run(3.0, |_| false);
    assert!(world.signaller.advice(train, world.now).is_some_and(|advice| advice.step > 0));
    assert_eq!(world.ask(Request::HandBack { train }), Answer::Accepted);
    assert_eq!(world.signaller.advice(train, world.now), None);
    assert!(world.run(60.0, |world| world.has_arrived("Heron")));
}
