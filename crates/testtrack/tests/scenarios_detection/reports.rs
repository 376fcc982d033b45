//! Wheels, rails, detectors, links and messages that do not do what they should.

use std::time::Duration;

use signaller::{Fact, Tag};
use testtrack::{Fault, Faults, Rate};
use track::Resistance;

use crate::railway::{Railway, is_doubt};

/// Runs for an hour under a fault that happens that often; trains get about as far as they would without.
fn an_hour_of(fault: Fault, rate: Rate, seed: u64) -> Railway {
    let mut railway = Railway::with(seed, Faults::NONE.with(fault, rate));
    railway.run(3600.0);
    let (trips, name) = (railway.session.statistics().trips, fault.name());
    assert!(trips >= 15, "seed {seed}: only {trips} trips in an hour of {name}");
    assert!(railway.session.table().mishaps().len() >= 10, "seed {seed}: hardly any {name}");
    railway
}

#[test]
fn wheels_that_lose_contact_for_a_moment_cost_nobody_a_doubt() {
    for seed in 1..5 {
        let railway = an_hour_of(Fault::ContactLoss, Rate::PerMillion(5_000), seed);
        assert_eq!(railway.told(signaller::Time::ZERO, is_doubt), 0, "seed {seed}");
    }
}

#[test]
fn messages_that_come_twice_are_heard_once() {
    for seed in 1..5 {
        let railway = an_hour_of(Fault::MessageDoubled, Rate::PerMillion(10_000), seed);
        assert_eq!(railway.told(signaller::Time::ZERO, is_doubt), 0, "seed {seed}");
    }
}

#[test]
fn a_tool_across_the_rails_keeps_trains_out_until_somebody_takes_it_away() {
    let mut railway = Railway::new(2);
    railway.run(30.0);
    let hill = railway.section("hill-2");
    railway.run_until("hill-2 was free", 60, |railway| {
        let around = ["hill-1", "hill-2", "hill-3"].map(|name| railway.section(name));
        around.iter().all(|&section| railway.session.table().trains_in(section).is_empty())
    });
    railway.table().bridge_rails(hill, Resistance::from_ohm(100), Duration::from_secs(60));
    railway.run(2.0);
    assert!(!matches!(railway.tags.get(&hill), Some(Tag::Free | Tag::Sure(_))), "{:?}", railway.tags.get(&hill));
    for _ in 0..55 {
        railway.run(1.0);
        assert!(railway.session.table().trains_in(hill).is_empty(), "a train ran into what lies there");
    }
    railway.run(10.0);
    assert_eq!(railway.tags.get(&hill), Some(&Tag::Free));
    let trains: Vec<_> = railway.layout.trains.ids().collect();
    railway.all_arrive(&trains, 30);
}

#[test]
fn a_node_starts_anew_under_a_standing_train_and_its_tag_stays() {
    let mut railway = Railway::new(1);
    railway.run(0.4);
    let quay = railway.section("quay-1");
    let heron = railway.layout.train_named("Heron").unwrap();
    assert_eq!(railway.tags[&quay], Tag::Sure(heron));
    railway.table().restart_node(quay, Duration::from_millis(600));
    railway.run(2.0);
    let on = railway.session.table().footprint(heron);
    assert!(on.iter().any(|section| railway.tags[section] == Tag::Sure(heron)), "{:?}", railway.tags);
    railway.all_arrive(&[heron], 15);
}

#[test]
fn a_link_goes_down_while_nothing_moves_and_all_is_as_it_was_when_it_is_up_again() {
    let mut railway = Railway::new(1);
    railway.run(0.3);
    let links: Vec<_> = railway.layout.links.ids().collect();
    for &link in &links {
        railway.table().drop_link(link, Duration::from_secs(20));
    }
    let from = railway.session.now();
    railway.run(19.0);
    let lost = |fact: &Fact| matches!(fact, Fact::LinkLost { .. });
    let back = |fact: &Fact| matches!(fact, Fact::LinkBack { .. });
    assert_eq!((railway.told(from, lost), railway.told(from, back)), (links.len(), 0));
    railway.run(3.0);
    assert_eq!(railway.told(from, back), links.len());
    let trains: Vec<_> = railway.layout.trains.ids().collect();
    railway.all_arrive(&trains, 30);
    assert_eq!(railway.told(from, is_doubt), 0);
}
