//! What people wish of the track: a dispatcher in a trial, and the rules about what was granted over it.

use std::sync::Arc;
use std::time::Duration;

use signaller::{Fact, Output, RouteStage};
use testtrack::Rule;
use testtrack::network::Fixture;
use testtrack::swarm::{FaultSet, Log, Plan};
use track::routes::{Exit, Routes};
use track::{Lie, SignalId};

use crate::checkers::Watched;

/// The signal before the throat on `quay-1`, and where a route from it ends.
fn route_from_quay_1(watched: &Watched) -> (SignalId, Exit) {
    let layout = &watched.corner.layout;
    let at = layout.end_named("quay-1.b").unwrap();
    let entry = layout.ends[at].signal.unwrap();
    let routes = Routes::new(layout.clone());
    let id = routes.from_signal(entry).next().unwrap();
    (entry, routes.route(id).exit)
}

fn stage(watched: &mut Watched, (entry, exit): (SignalId, Exit), stage: RouteStage) {
    watched.say(&Output::Fact(Fact::RouteStage { entry, exit, stage }));
}

#[test]
fn n2_a_section_that_is_locked_for_a_route_is_no_trains_until_that_is_released() {
    let mut watched = Watched::new();
    watched.corner.put("Heron", &["quay-2"], "quay-2.b");
    let route = route_from_quay_1(&watched);
    stage(&mut watched, route, RouteStage::Called);
    watched.grant("Heron", &["throat"]);
    let (rule, sentence) = (Rule::N2, "Heron was granted throat, which is locked for the route from Q1");
    assert_eq!(watched.broken(), [(rule, sentence)]);
    watched.release("Heron", "throat");
    stage(&mut watched, route, RouteStage::Cancelled);
    watched.grant("Heron", &["throat"]);
    assert_eq!(watched.broken().len(), 2, "cancelled is not released");
    watched.release("Heron", "throat");
    stage(&mut watched, route, RouteStage::Released);
    watched.grant("Heron", &["throat"]);
    assert_eq!(watched.broken().len(), 2);
}

#[test]
fn n2_a_train_that_stands_in_a_route_is_given_what_it_stands_on_and_no_more_of_it() {
    let mut watched = Watched::new();
    watched.corner.put("Plover", &["throat"], "throat.toe");
    let route = route_from_quay_1(&watched);
    stage(&mut watched, route, RouteStage::Called);
    watched.grant("Plover", &["throat"]);
    assert_eq!(watched.broken(), [], "it must be able to leave");
    watched.grant("Plover", &["line-1"]);
    let sentence = "Plover was granted line-1, which is locked for the route from Q1";
    assert_eq!(watched.broken(), [(Rule::N2, sentence)]);
}

#[test]
fn n3_a_turnout_of_a_route_is_thrown_for_nobody_else() {
    let mut watched = Watched::new();
    let route = route_from_quay_1(&watched);
    stage(&mut watched, route, RouteStage::Called);
    watched.throw("W1", Lie::Straight);
    assert_eq!(watched.broken(), [], "it needs it so");
    watched.throw("W1", Lie::Diverging);
    assert_eq!(watched.broken(), [(Rule::N3, "W1 was thrown though the route from Q1 needs it otherwise")]);
}

#[test]
fn n2_a_section_over_which_no_train_is_worked_is_granted_to_none() {
    let mut watched = Watched::new();
    watched.corner.put("Heron", &["quay-1"], "quay-1.b");
    let section = watched.corner.section("line-1");
    watched.say(&Output::Fact(Fact::Withdrawn { section, because: "it is being cleaned".to_owned() }));
    watched.grant("Heron", &["throat", "line-1"]);
    assert_eq!(watched.broken(), [(Rule::N2, "Heron was granted line-1, over which no train is worked")]);
    watched.release("Heron", "line-1");
    watched.say(&Output::Fact(Fact::InService { section }));
    watched.grant("Heron", &["line-1"]);
    assert_eq!(watched.broken().len(), 1);
}

#[test]
fn trains_break_no_law_and_move_on_where_a_dispatcher_sets_routes_and_withdraws_track() {
    for (fixture, seed) in [(Fixture::PassingLoop, 1), (Fixture::YardLadder, 2), (Fixture::ReversingLoop, 13)] {
        let faults = FaultSet::read("none+dispatcher").unwrap();
        let plan = Plan { seed, layout: Arc::new(fixture.layout()), faults, span: Duration::from_secs(1200) };
        let outcome = plan.try_out().unwrap();
        assert_eq!(outcome.broken, [], "{}", fixture.name());
        let mut log = Log::of_the_last(1_000_000);
        plan.explain(&mut log).unwrap();
        for what in ["stage: Cleared", "stage: Released", "Withdrawn", "InService"] {
            assert!(log.lines().any(|line| line.contains(what)), "{}: nothing `{what}`", fixture.name());
        }
    }
}
