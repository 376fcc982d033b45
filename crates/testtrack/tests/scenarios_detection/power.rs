//! The power goes, or sags, under running trains.

use std::time::Duration;

use signaller::{Fact, Tag};
use testtrack::{DarkSays, PowerReports};
use track::DistrictId;

use crate::railway::{Railway, is_doubt};

/// Three trains are out when the power of the whole railway goes for half a minute, and somebody reports it.
#[test]
fn power_fails_with_three_trains_out_all_sections_read_free_power_returns_no_tag_has_moved_and_all_run_on() {
    for seed in 1..9 {
        let mut railway = Railway::new(seed);
        railway.run_until("three trains were out", 60, |railway| railway.moving().len() >= 3);
        let out = railway.moving();
        let districts: Vec<DistrictId> = railway.layout.districts.ids().collect();
        for &district in &districts {
            railway.table().set_power_reports(district, PowerReports::Given);
            railway.table().go_dark(district, DarkSays::Free, Duration::from_secs(30));
        }
        let dark_from = railway.session.now();
        railway.run(5.0);
        assert_eq!(railway.moving(), [], "seed {seed}: without power nothing moves");
        let tags = railway.tags.clone();
        railway.run(24.0);
        assert_eq!(railway.tags, tags, "seed {seed}: a tag moved while the power was off");
        railway.run(5.0);
        assert_eq!(railway.told(dark_from, |fact| matches!(fact, Fact::PowerLost { .. })), districts.len());
        railway.all_arrive(&out, 15);
        assert_eq!(railway.told(dark_from, is_doubt), 0, "seed {seed}");
    }
}

/// Nobody reports it, but three sections that all read free at once did not see trains move.
#[test]
fn power_fails_in_the_yard_under_three_standing_trains_and_nobody_says_so() {
    let mut railway = Railway::new(4);
    railway.run(0.3);
    let (yard, from) = (railway.layout.district_named("yard").unwrap(), railway.session.now());
    let standing = ["Plover", "Dunlin", "Curlew"].map(|name| railway.layout.train_named(name).unwrap());
    railway.table().set_power_reports(yard, PowerReports::Missing);
    railway.table().go_dark(yard, DarkSays::Free, Duration::from_secs(30));
    railway.run(29.0);
    for train in standing {
        let on = railway.session.table().footprint(train);
        assert!(on.iter().all(|section| railway.tags[section] == Tag::Sure(train)), "{:?}", railway.tags);
    }
    assert_eq!(railway.told(from, |fact| matches!(fact, Fact::PowerLost { .. })), 1);
    railway.all_arrive(&standing, 20);
    assert_eq!(railway.told(from, is_doubt), 0);
}

#[test]
fn the_voltage_sags_for_two_seconds_and_nobody_notices() {
    let mut railway = Railway::new(3);
    railway.run_until("three trains were out", 60, |railway| railway.moving().len() >= 3);
    let (out, from) = (railway.moving(), railway.session.now());
    for district in railway.layout.districts.ids() {
        railway.session.table_mut().brown_out(district, Duration::from_secs(2));
    }
    railway.all_arrive(&out, 15);
    assert_eq!(railway.told(from, |fact| is_doubt(fact) || matches!(fact, Fact::PowerLost { .. })), 0);
}
