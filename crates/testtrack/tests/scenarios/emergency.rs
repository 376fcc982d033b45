//! Emergencies: trains that are stopped as quickly as they can be, power that is cut, and a train that nothing else stops.

use std::time::Duration;

use signaller::{Extent, Fact, Request, Tag};
use testtrack::Fault;
use track::{DistrictId, Speed, TrainId};

use crate::railway::Railway;

/// Heron runs fast; tells how many millimetres it needs to stand once it is asked to.
fn room_to_stop(request: impl FnOnce(TrainId) -> Request) -> i64 {
    let mut railway = Railway::new(1);
    let heron = railway.train("Heron");
    railway.send("Heron", "shore-1");
    railway.until("Heron ran fast", 300, |it| it.session.table().speed(heron) > Speed::from_mm(80));
    let from = railway.session.table().travelled(heron);
    railway.ask(request(heron));
    railway.run(8.0);
    assert!(!railway.is_moving("Heron"));
    (railway.session.table().travelled(heron) - from).um().abs() / 1000
}

#[test]
pub(crate) fn a_train_that_is_stopped_in_an_emergency_stands_much_sooner_than_one_that_is_held() {
    let held = room_to_stop(|train| Request::Hold { train, reason: "smoke".to_owned() });
    let dead = room_to_stop(|train| Request::EmergencyStop { of: Extent::Train(train) });
    let all = room_to_stop(|_| Request::EmergencyStop { of: Extent::Everything });
    assert!(dead * 2 < held && all * 2 < held && dead > 0, "held {held} mm, stopped dead {dead} mm, all {all} mm");
}

#[test]
pub(crate) fn a_train_that_was_stopped_in_an_emergency_stands_until_it_is_released() {
    let mut railway = Railway::new(2);
    railway.send("Heron", "shore-1");
    railway.until("Heron was on its way", 300, |railway| railway.lies_in("Heron", "harbour-1"));
    let heron = railway.train("Heron");
    railway.ask(Request::EmergencyStop { of: Extent::Train(heron) });
    railway.run(60.0);
    assert!(railway.hold("Heron").contains("emergency"), "{}", railway.hold("Heron"));
    assert!(!railway.is_moving("Heron"));
    railway.ask(Request::Release { train: heron });
    railway.all_arrive(&[heron], 200);
    railway.in_order(&[]);
}

#[test]
pub(crate) fn only_the_trains_of_a_region_are_stopped_in_an_emergency_there() {
    let mut railway = Railway::new(3);
    railway.send("Heron", "shore-1");
    railway.send("Dunlin", "tunnel-2");
    railway.until("both ran", 300, |railway| railway.is_moving("Heron") && railway.is_moving("Dunlin"));
    let sections = ["quay-1", "quay-throat", "harbour-1", "harbour-2"].map(|name| railway.section(name)).to_vec();
    railway.ask(Request::EmergencyStop { of: Extent::Region(sections) });
    railway.run(2.0);
    assert!(!railway.is_moving("Heron") && railway.is_moving("Dunlin"), "{}", railway.hold("Dunlin"));
    railway.in_order(&[]);
}

#[test]
pub(crate) fn trains_in_a_district_that_is_cut_stand_and_run_on_when_the_power_is_back() {
    for seed in 4..8 {
        let mut railway = Railway::new(seed);
        railway.send("Heron", "shore-1");
        let is_seen = |railway: &Railway| *railway.tag("harbour-1") == Tag::Sure(railway.train("Heron"));
        railway.until("Heron was on its way", 300, is_seen);
        let district = district_of(&railway, "harbour-1");
        railway.ask(Request::CutPower { district });
        railway.run(10.0);
        assert!(!railway.is_moving("Heron") && railway.hold("Heron").contains("the power is off"));
        railway.run(20.0);
        assert_eq!(railway.told(signaller::Time::ZERO, |fact| matches!(fact, Fact::PowerBack { .. })), 0, "it is cut");
        railway.ask(Request::RestorePower { district });
        railway.until("the power was back", 30, |railway| railway.hold("Heron").is_empty());
        railway.all_arrive(&[railway.train("Heron")], 200);
        railway.in_order(&[]);
    }
}

#[test]
pub(crate) fn a_train_that_runs_on_after_an_emergency_stop_has_its_power_cut_and_is_met_by_nobody() {
    for seed in 8..12 {
        let mut railway = Railway::new(seed);
        railway.send("Heron", "shore-1");
        let is_seen = |railway: &Railway| *railway.tag("harbour-1") == Tag::Sure(railway.train("Heron"));
        railway.until("Heron was on its way", 300, is_seen);
        let heron = railway.train("Heron");
        railway.table().run_away(heron, Speed::from_mm(60), Duration::from_secs(600));
        railway.ask(Request::EmergencyStop { of: Extent::Train(heron) });
        railway.run(1.0);
        assert!(railway.is_moving("Heron"), "it does not obey");
        railway.until("Heron was stopped", 120, |railway| !railway.is_moving("Heron"));
        let says = |fact: &Fact| matches!(fact, Fact::Suspected { because, .. } if because.contains("runs though it was told to stand"));
        assert!(railway.told(signaller::Time::ZERO, says) > 0, "seed {seed}");
        let is_cut = |id| railway.session.table().is_cut(id);
        assert!(railway.layout.districts.ids().any(is_cut), "seed {seed}");
        railway.in_order(&[Fault::Runaway]);
    }
}

fn district_of(railway: &Railway, section: &str) -> DistrictId {
    railway.layout.sections[railway.section(section)].district.unwrap()
}
