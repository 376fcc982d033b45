//! Wheels, rails and detectors that do not do what they should.

use std::time::Duration;

use signaller::{Fact, Suspect, Tag, Time};
use testtrack::{Fault, Faults, Rate};
use track::Resistance;

use crate::railway::{Railway, is_doubt};

#[test]
pub(crate) fn a_train_loses_contact_for_a_moment_on_the_open_line_and_no_tag_moves() {
    let mut railway = Railway::new(1);
    railway.send("Heron", "shore-1");
    railway.until("Heron was well out", 300, |railway| railway.is_all_in("Heron", "harbour-1"));
    let (heron, tags, from) = (railway.train("Heron"), railway.tags(), railway.session.now());
    railway.table().lose_contact(heron, Duration::from_millis(300));
    railway.run(0.6);
    assert_eq!(railway.tags(), tags);
    railway.all_arrive(&[heron], 300);
    assert_eq!(railway.told(from, is_doubt), 0);
    railway.in_order(&[Fault::ContactLoss]);
}

#[test]
pub(crate) fn a_train_comes_to_stand_on_a_dead_spot_and_its_track_is_given_to_nobody_else() {
    let mut railway = Railway::new(2);
    railway.send("Plover", "hill-3");
    railway.until("Plover had all but stopped", 300, |railway| {
        railway.is_all_in("Plover", "hill-3") && railway.session.table().speed(railway.train("Plover")).um() < 40_000
    });
    let plover = railway.train("Plover");
    railway.table().lose_contact(plover, Duration::from_secs(5));
    railway.run(20.0);
    assert!(railway.is_all_in("Plover", "hill-3") && !railway.is_moving("Plover"));
    let asked = railway.doubts();
    assert!(
        asked.iter().any(|doubt| doubt.alternatives[0].contains("`hill-3` though nothing shows it there")),
        "{asked:?}"
    );
    railway.send("Dunlin", "loop-2");
    railway.run(60.0);
    assert!(!railway.lies_in("Dunlin", "hill-3"), "another train was sent to where Plover stands unseen");
    railway.session.heal();
    railway.all_run_on(2, 1800);
    railway.in_order(&[Fault::ContactLoss]);
}

/// Runs for an hour under a fault that happens that often; trains get about as far as they would without.
fn an_hour_of(fault: Fault, rate: Rate, seed: u64) -> Railway {
    let mut railway = Railway::under(seed, Faults::NONE.with(fault, rate));
    railway.let_traffic_begin(seed);
    railway.run(3600.0);
    let (trips, name) = (railway.session.statistics().trips, fault.name());
    assert!(trips >= 15, "seed {seed}: only {trips} trips in an hour of {name}");
    assert!(railway.session.table().mishaps().len() >= 10, "seed {seed}: hardly any {name}");
    railway
}

#[test]
pub(crate) fn wheels_that_lose_contact_again_and_again_for_an_hour_cost_at_most_one_doubt() {
    for seed in 1..4 {
        let railway = an_hour_of(Fault::ContactLoss, Rate::PerMillion(5_000), seed);
        assert!(railway.told(Time::ZERO, is_doubt) <= 1, "seed {seed}");
        railway.in_order(&[Fault::ContactLoss]);
    }
}

#[test]
pub(crate) fn dirty_rails_on_the_hill_make_the_detector_flicker_and_it_is_said_that_they_want_cleaning() {
    let mut railway = Railway::new(3);
    let hill = railway.section("hill-2");
    railway.table().soil(hill, Duration::from_secs(14_400));
    railway.let_traffic_begin(3);
    railway.run(10_800.0);
    let trips = railway.session.statistics().trips;
    assert!(trips >= 40, "only {trips} trips in three hours");
    let named =
        |fact: &Fact| matches!(fact, Fact::Suspected { suspect: Suspect::Section(section), .. } if *section == hill);
    assert!(railway.told(Time::ZERO, named) >= 1, "nobody was told to clean it");
    railway.in_order(&[Fault::DirtySection]);
}

#[test]
pub(crate) fn a_tool_across_the_rails_keeps_trains_out_until_somebody_takes_it_away() {
    let mut railway = Railway::new(2);
    railway.let_traffic_begin(2);
    railway.run(30.0);
    let around = ["hill-1", "hill-2", "hill-3"].map(|name| railway.section(name));
    railway.until("the hill was free", 3600, |railway| {
        around.iter().all(|&section| railway.session.table().trains_in(section).is_empty())
    });
    railway.table().bridge_rails(around[1], Resistance::from_ohm(100), Duration::from_secs(60));
    railway.run(2.0);
    assert!(!matches!(railway.tag("hill-2"), Tag::Free | Tag::Sure(_)), "{:?}", railway.tag("hill-2"));
    for _ in 0..55 {
        railway.run(1.0);
        assert!(railway.session.table().trains_in(around[1]).is_empty(), "a train ran into what lies there");
    }
    railway.run(10.0);
    assert_eq!(railway.tag("hill-2"), &Tag::Free);
    let trains = railway.trains();
    railway.all_arrive(&trains, 1800);
    railway.in_order(&[Fault::FalseFill]);
}

#[test]
pub(crate) fn moisture_fills_the_track_beside_a_standing_train_and_no_second_train_is_made_of_it() {
    let mut railway = Railway::new(5);
    let yard = railway.section("yard-4");
    railway.table().bridge_rails(yard, Resistance::from_ohm(5_000), Duration::from_secs(120));
    railway.run(5.0);
    assert_eq!(railway.tag("yard-4"), &Tag::Unexplained);
    assert!(railway.doubts().iter().any(|doubt| doubt.settled_by.contains("`yard-4`")), "{:?}", railway.doubts());
    assert!(railway.trains().into_iter().all(|train| railway.is_known(train)));
    railway.goes("Dunlin", "loop-2", 300);
    railway.until("the track was dry and free", 120, |railway| railway.tag("yard-4") == &Tag::Free);
    assert!(railway.doubts().is_empty(), "{:?}", railway.doubts());
    railway.in_order(&[Fault::FalseFill]);
}

#[test]
pub(crate) fn a_detector_that_is_stuck_on_free_stops_the_train_that_should_have_shown_itself_there() {
    let mut railway = Railway::new(6);
    let (heron, harbour) = (railway.train("Heron"), railway.section("harbour-1"));
    railway.table().stick_detector(harbour, None);
    railway.send("Heron", "shore-1");
    railway.until("Heron was held", 60, |railway| railway.hold("Heron").contains("does not answer in `harbour-1`"));
    railway.run(4.0);
    assert!(railway.lies_in("Heron", "harbour-1") && !railway.is_moving("Heron"));
    assert_eq!(railway.hold("Plover"), "", "what is far away runs on");
    railway.session.heal();
    railway.a_person_sees_to(heron);
    railway.goes("Heron", "shore-1", 300);
    railway.in_order(&[Fault::StuckDetector]);
}

#[test]
pub(crate) fn a_detector_that_is_stuck_on_occupied_keeps_everybody_out_behind_the_train() {
    let mut railway = Railway::new(7);
    railway.send("Heron", "loop-1");
    railway.until("Heron was in the section", 300, |railway| railway.is_all_in("Heron", "shore-1"));
    let shore = railway.section("shore-1");
    railway.table().stick_detector(shore, None);
    railway.run(200.0);
    railway.send("Plover", "harbour-1");
    railway.run(400.0);
    assert!(!railway.lies_in("Plover", "shore-1"));
    assert_ne!(railway.tag("shore-1"), &Tag::Free);
    railway.session.heal();
    railway.run(2.0);
    railway.all_run_on(7, 1800);
    railway.in_order(&[Fault::StuckDetector]);
}

#[test]
pub(crate) fn a_detector_that_takes_a_second_too_long_costs_time_and_nothing_else() {
    for seed in 1..4 {
        let mut railway = Railway::new(seed);
        let hill = railway.section("hill-1");
        railway.table().slow_detector(hill, Duration::from_secs(1), Duration::from_secs(3600));
        railway.let_traffic_begin(seed);
        railway.run(1800.0);
        let trips = railway.session.statistics().trips;
        assert!(trips >= 6, "seed {seed}: only {trips} trips");
        railway.in_order(&[Fault::SlowDetector]);
    }
}
