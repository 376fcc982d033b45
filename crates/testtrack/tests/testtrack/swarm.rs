//! Trials of the swarm: that they run, that they can be run again, and that they tell what happened.

use std::sync::Arc;
use std::time::Duration;

use testtrack::network::{self, Fixture};
use testtrack::swarm::{FaultSet, Log, Plan};

fn plan(seed: u64, fixture: Fixture, faults: &str) -> Plan {
    let faults = FaultSet::read(faults).unwrap();
    Plan { seed, layout: Arc::new(fixture.layout()), faults, span: Duration::from_secs(600) }
}

#[test]
fn trains_on_small_layouts_break_no_law_where_nothing_goes_wrong() {
    for fixture in [Fixture::PassingLoop, Fixture::Terminal, Fixture::YardLadder, Fixture::ReversingLoop] {
        let outcome = plan(3, fixture, "none").try_out().unwrap();
        assert_eq!(outcome.broken, [], "{}", fixture.name());
        let trips = outcome.figures.session.trips;
        assert!(trips >= 4, "{}: only {trips} trips in ten minutes", fixture.name());
        assert!(outcome.figures.claims_made > 4, "{}", fixture.name());
    }
}

#[test]
fn a_trial_with_faults_can_be_run_again_and_replayed_to_the_last_byte() {
    let outcome = plan(5, Fixture::YardLadder, "message-lost,stall,false-fill").try_out().unwrap();
    let differs = outcome.broken.iter().find(|broken| broken.law == testtrack::swarm::Law::Replay);
    assert_eq!(differs, None);
}

#[test]
fn somebody_who_looks_into_a_trial_reads_as_many_of_the_last_things_that_happened_as_they_ask_for() {
    let told = |most| {
        let mut log = Log::of_the_last(most);
        plan(3, Fixture::PassingLoop, "none").explain(&mut log).unwrap();
        log.lines().map(str::to_owned).collect::<Vec<_>>()
    };
    let (some, all) = (told(40), told(100_000));
    assert_eq!(some, all[all.len() - 40..]);
    for what in ["rolls into", "is occupied", "surely holds", "is granted"] {
        assert!(all.iter().any(|line| line.contains(what)), "nothing `{what}` in {} lines", all.len());
    }
}

#[test]
fn a_network_without_a_joint_is_found_to_be_wrong() {
    let mut layout = network::drawn(1);
    assert_eq!(network::faults_of(&layout), Vec::<String>::new());
    let end = layout.ends.ids().find(|&end| !layout.ends[end].meets.is_empty()).unwrap();
    layout.ends[end].meets.clear();
    assert!(network::faults_of(&layout).iter().any(|fault| fault.ends_with("leads nowhere")));
}
