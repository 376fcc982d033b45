//! The power goes, or sags, under standing and under running trains.

use std::time::Duration;

use signaller::Fact;
use testtrack::{DarkSays, Fault, PowerReports};
use track::{DistrictId, TrainId};

use crate::railway::{Railway, is_doubt};

const OFF: Duration = Duration::from_secs(30);

fn fault(says: DarkSays) -> Fault {
    match says {
        DarkSays::Free => Fault::DarkSaysFree,
        DarkSays::Occupied => Fault::DarkSaysOccupied,
    }
}

/// Where sections read occupied, the first that fills next to a train may have been filled by it: that is doubt for a moment, and
/// tags that are frozen then may want a person's word afterwards.
///
/// Three trains are out when the power of the whole railway goes for half a minute.
fn power_fails_with_three_trains_out(says: DarkSays, reports: PowerReports) {
    for seed in [1, 4, 7, 8] {
        let mut railway = Railway::new(seed);
        let out = railway.trains_are_out(3, seed);
        let districts: Vec<DistrictId> = railway.layout.districts.ids().collect();
        let dark_from = railway.session.now();
        // Where nobody says so, what stands nowhere cannot show that the power is off.
        let told_of = |&&district: &&DistrictId| {
            let on = |&train: &TrainId| railway.session.table().footprint(train);
            let stand = railway.trains().iter().flat_map(on).collect::<Vec<_>>();
            let stands = stand.iter().any(|&section| railway.layout.sections[section].district == Some(district));
            stands || says == DarkSays::Occupied || reports == PowerReports::Given
        };
        let told_of = districts.iter().filter(told_of).count();
        for &district in &districts {
            railway.table().set_power_reports(district, reports);
            railway.table().go_dark(district, says, OFF);
        }
        railway.run(5.0);
        assert_eq!(railway.moving(), [], "seed {seed}: without power nothing moves");
        let tags = railway.tags();
        railway.run(24.0);
        assert_eq!(railway.tags(), tags, "seed {seed}: a tag moved while the power was off");
        for train in railway.trains() {
            assert!(
                railway.is_known(train),
                "seed {seed}: {} is not known any more",
                railway.layout.trains[train].name
            );
            let held = railway.hold(&railway.layout.trains[train].name);
            assert!(held.contains("the power is off"), "seed {seed}: {held}");
        }
        assert_eq!(railway.told(dark_from, |fact| matches!(fact, Fact::PowerLost { .. })), told_of);
        // Where the last train left right before, nobody sees that the power is back until nobody waits for it any longer.
        railway.until("the power was known to be back", 13, |railway| {
            railway.told(dark_from, |fact| matches!(fact, Fact::PowerBack { .. })) == told_of
        });
        if says == DarkSays::Free {
            railway.all_arrive(&out, 900);
            assert_eq!(railway.told(dark_from, is_doubt), 0, "seed {seed}");
        } else {
            railway.all_run_on(seed + 50, 1800);
        }
        railway.in_order(&[fault(says)]);
    }
}

#[test]
pub(crate) fn power_fails_with_three_trains_out_all_sections_read_free_power_returns_no_tag_has_moved_and_all_run_on() {
    power_fails_with_three_trains_out(DarkSays::Free, PowerReports::Given);
}

#[test]
pub(crate) fn power_fails_with_three_trains_out_all_sections_read_free_and_nobody_says_why_and_no_tag_moves() {
    power_fails_with_three_trains_out(DarkSays::Free, PowerReports::Missing);
}

#[test]
pub(crate) fn power_fails_with_three_trains_out_all_sections_read_occupied_and_no_train_is_lost_among_them() {
    power_fails_with_three_trains_out(DarkSays::Occupied, PowerReports::Given);
}

#[test]
pub(crate) fn power_fails_with_three_trains_out_all_sections_read_occupied_and_nobody_says_why_and_no_tag_moves() {
    power_fails_with_three_trains_out(DarkSays::Occupied, PowerReports::Missing);
}

/// The yard alone goes dark under three standing trains, and nobody says so: sections that all read the same at once did not
/// see trains move.
fn the_yard_goes_dark_under_three_standing_trains(says: DarkSays) {
    let mut railway = Railway::new(4);
    let (yard, from) = (railway.layout.district_named("yard").unwrap(), railway.session.now());
    let standing = ["Plover", "Dunlin", "Curlew"].map(|name| railway.train(name));
    railway.table().set_power_reports(yard, PowerReports::Missing);
    railway.table().go_dark(yard, says, OFF);
    railway.run(29.0);
    for train in standing {
        assert!(railway.is_known(train), "{:?}", railway.tags());
    }
    assert_eq!(railway.told(from, |fact| matches!(fact, Fact::PowerLost { .. })), 1);
    assert_eq!(railway.hold("Heron"), "", "it stands where there is power");
    railway.let_traffic_begin(4);
    railway.all_arrive(&standing, 1800);
    assert_eq!(railway.told(from, is_doubt), 0);
    railway.in_order(&[fault(says)]);
}

#[test]
pub(crate) fn power_fails_in_the_yard_under_three_standing_trains_and_nobody_says_so() {
    the_yard_goes_dark_under_three_standing_trains(DarkSays::Free);
}

#[test]
pub(crate) fn power_fails_in_the_yard_under_three_standing_trains_and_every_track_there_reads_occupied() {
    the_yard_goes_dark_under_three_standing_trains(DarkSays::Occupied);
}

#[test]
pub(crate) fn the_voltage_sags_for_two_seconds_and_nobody_notices() {
    let mut railway = Railway::new(3);
    let (out, from) = (railway.trains_are_out(3, 3), railway.session.now());
    for district in railway.layout.districts.ids() {
        railway.session.table_mut().brown_out(district, Duration::from_secs(2));
    }
    railway.all_arrive(&out, 900);
    assert_eq!(railway.told(from, |fact| is_doubt(fact) || matches!(fact, Fact::PowerLost { .. })), 0);
    railway.in_order(&[Fault::BrownOut]);
}
