//! Trains that do not do what they were told, and people who handle them.

use std::time::Duration;

use signaller::{Destination, Direction, Request, Tag};
use testtrack::{Fault, Faults, Return, Talk};
use track::{Length, Lie, Speed};

use crate::railway::{Railway, low_staithe_with};

#[test]
pub(crate) fn a_train_that_is_pushed_out_of_the_station_has_no_turnout_thrown_under_it() {
    let mut railway = Railway::new(1);
    let (heron, turnout) = (railway.train("Heron"), railway.turnout("W1"));
    assert!(railway.table().push(heron, Direction::Forward, Length::from_mm(300), Speed::from_mm(150)));
    railway.run(5.0);
    assert!(railway.lies_in("Heron", "quay-throat"));
    let throw = railway.ask(Request::Throw { turnout, lie: Lie::Diverging });
    railway.run(5.0);
    assert!(railway.refusal(throw).is_some());
    assert_ne!(railway.tag("quay-throat"), &Tag::Free);
    railway.goes_with_help("Heron", "shore-1", 300);
    railway.in_order(&[Fault::Pushed]);
}

#[test]
pub(crate) fn a_train_that_is_pushed_along_while_it_runs_stops_where_it_should_or_sooner() {
    let mut railway = Railway::new(2);
    railway.send("Heron", "shore-1");
    railway.until("Heron was on its way", 300, |railway| railway.lies_in("Heron", "harbour-2"));
    let heron = railway.train("Heron");
    assert!(railway.table().push(heron, Direction::Forward, Length::from_mm(800), Speed::from_mm(300)));
    railway.run(120.0);
    assert!(!railway.is_moving("Heron") && !railway.lies_in("Heron", "shore-2"));
    railway.in_order(&[Fault::Pushed]);
}

#[test]
pub(crate) fn a_train_that_is_lifted_for_repair_and_put_back_with_a_word_runs_on() {
    let mut railway = Railway::new(3);
    let heron = railway.train("Heron");
    railway.table().take_off(heron, Duration::from_secs(40), Talk::Say, Return::SamePlace);
    railway.run(30.0);
    assert_eq!(railway.tag("quay-1"), &Tag::Free);
    railway.run(30.0);
    assert_eq!(railway.tag("quay-1"), &Tag::Sure(heron));
    railway.goes("Heron", "shore-1", 300);
    railway.in_order(&[Fault::Lifted]);
}

#[test]
pub(crate) fn a_train_that_is_put_elsewhere_without_a_word_is_run_into_by_nobody() {
    for seed in 10..14 {
        let mut railway = Railway::new(seed);
        let heron = railway.train("Heron");
        railway.table().take_off(heron, Duration::from_secs(20), Talk::Forget, Return::Elsewhere);
        railway.run(40.0);
        for train in ["Plover", "Dunlin", "Curlew"] {
            railway.send(train, "harbour-2");
        }
        railway.run(300.0);
        assert!(railway.session.statistics().departures >= 1, "seed {seed}: nobody went anywhere");
        railway.in_order(&[Fault::Lifted]);
    }
}

#[test]
pub(crate) fn a_wagon_that_nobody_knows_of_is_not_run_into_and_the_line_is_free_when_it_is_gone() {
    let mut railway = Railway::new(4);
    let on = [railway.section("harbour-2")];
    let seen = Some((Length::from_mm(15), Length::from_mm(85)));
    railway.table().put_wagon(Length::from_mm(100), seen, &on, None).unwrap();
    railway.run(2.0);
    assert_eq!(railway.tag("harbour-2"), &Tag::Unexplained);
    assert!(railway.doubts().iter().any(|doubt| doubt.settled_by.contains("`harbour-2`")), "{:?}", railway.doubts());
    railway.send("Heron", "shore-1");
    railway.run(120.0);
    assert!(!railway.lies_in("Heron", "harbour-2"));
    railway.session.heal();
    let heron = railway.train("Heron");
    railway.all_arrive(&[heron], 600);
    railway.in_order(&[Fault::PutDown]);
}

#[test]
pub(crate) fn a_tail_that_parts_stays_an_obstacle_and_nobody_runs_into_it() {
    let mut railway = Railway::new(5);
    railway.send("Heron", "shore-2");
    railway.until("Heron was on the shore", 300, |railway| {
        railway.lies_in("Heron", "shore-1") && !railway.lies_in("Heron", "junction")
    });
    let heron = railway.train("Heron");
    let tail = railway.table().part(heron, 1).unwrap();
    railway.run(120.0);
    assert_eq!(railway.session.table().footprint(tail).to_vec(), [railway.section("shore-1")]);
    assert_ne!(railway.tag("shore-1"), &Tag::Free);
    railway.send("Plover", "harbour-2");
    railway.run(600.0);
    assert!(!railway.lies_in("Plover", "shore-1"));
    railway.session.heal();
    railway.run(30.0);
    railway.a_person_sees_to(heron);
    railway.all_run_on(5, 1800);
    railway.in_order(&[Fault::Parted]);
}

#[test]
pub(crate) fn a_locomotive_that_stalls_for_a_while_is_tried_again_and_arrives_later() {
    let mut railway = Railway::new(6);
    railway.send("Heron", "shore-1");
    railway.until("Heron was on its way", 300, |railway| railway.lies_in("Heron", "harbour-1"));
    let heron = railway.train("Heron");
    railway.table().stall(heron, Duration::from_secs(15));
    railway.until("Heron was held", 60, |railway| railway.hold("Heron").contains("does not answer"));
    assert!(railway.hold("Heron").contains("tried again"), "{}", railway.hold("Heron"));
    railway.until("Heron ran on by itself", 600, |railway| railway.lies_in("Heron", "shore-1"));
    railway.in_order(&[Fault::Stall]);
}

#[test]
pub(crate) fn a_train_that_was_pushed_over_a_joint_is_called_found_and_runs_on() {
    let mut railway = Railway::new(7);
    let heron = railway.train("Heron");
    railway.goes("Heron", "harbour-2", 300);
    railway.run(10.0);
    assert!(railway.table().push(heron, Direction::Forward, Length::from_mm(450), Speed::from_mm(150)));
    railway.run(10.0);
    assert!(railway.lies_in("Heron", "harbour-2") && railway.lies_in("Heron", "junction"));
    assert_eq!(railway.tag("junction"), &Tag::Doubt([heron].into_iter().collect()));
    let call = railway.ask(Request::RollCall { train: Some(heron) });
    railway.run(1.0);
    assert_eq!(railway.refusal(call), Some("`Heron` moves, though it was told to stand"));
    railway.run(20.0);
    let call = railway.ask(Request::RollCall { train: Some(heron) });
    let is_found =
        |railway: &Railway| railway.tag("harbour-2") == &Tag::Sure(heron) && railway.tag("junction") == &Tag::Free;
    railway.until("Heron was found", 180, is_found);
    assert_eq!(railway.refusal(call), None);
    railway.run(30.0);
    railway.goes("Heron", "shore-1", 600);
    railway.in_order(&[Fault::Pushed]);
}

#[test]
pub(crate) fn a_train_that_starts_by_itself_while_another_is_on_its_way_is_met_by_nobody() {
    for seed in 20..24 {
        let mut railway = Railway::new(seed);
        let heron = railway.train("Heron");
        railway.send("Plover", "harbour-1");
        railway.run(60.0);
        railway.table().run_away(heron, Speed::from_mm(150), Duration::from_secs(3));
        railway.run(400.0);
        railway.in_order(&[Fault::Runaway]);
    }
}

#[test]
pub(crate) fn a_train_that_does_not_hear_that_it_should_brake_does_no_harm() {
    for seed in 30..34 {
        let mut railway = Railway::new(seed);
        railway.send("Heron", "harbour-1");
        railway.until("Heron was about to stop", 300, |railway| railway.lies_in("Heron", "harbour-1"));
        let heron = railway.train("Heron");
        railway.run(4.0);
        railway.table().deafen(heron, Duration::from_secs(3));
        railway.run(60.0);
        assert!(!railway.is_moving("Heron"));
        assert_eq!(railway.leading("Heron"), Direction::Forward);
        railway.in_order(&[Fault::OrderIgnored]);
    }
}

#[test]
pub(crate) fn a_train_that_a_guest_drives_without_a_word_is_kept_clear_of() {
    for seed in [40, 41, 42, 44] {
        let mut railway = Railway::new(seed);
        let heron = railway.train("Heron");
        railway.table().drive_by_hand(heron);
        railway.let_traffic_begin(seed);
        railway.run(900.0);
        assert!(railway.session.statistics().trips >= 1, "seed {seed}: nobody got anywhere beside the guest");
        railway.in_order(&[Fault::HandDriven]);
    }
}

/// A trailer leads, a carriage that draws nothing follows, and the engine pushes.
const PUSH_PULL: &str = r#"
[[train]]
name         = "Teal"
vehicles     = [
  { name = "driving trailer", length = 262, pickups = [25, 53, 209, 237], draws = 8 },
  { name = "carriage",        length = 236 },
  { name = "engine",          length = 205, pickups = [30, 85, 117, 149, 180], draws = 30, address = 58, reversed = true },
]
speed-steps  = 126
top-speed    = "65 km/h"
acceleration = 60
braking      = 100
stands       = { on = ["quay-2"], nose = "quay-2.b" }
"#;

#[test]
fn a_push_pull_train_stops_with_whichever_end_leads() {
    for seed in 60..63 {
        let mut railway = Railway::with(low_staithe_with(PUSH_PULL), seed, Faults::NONE, |_, _| {});
        let teal = railway.train("Teal");
        for (place, leads) in [
            ("loop-1.b", Direction::Forward),
            ("quay-2.a", Direction::Backward),
            ("shore-2.b", Direction::Forward),
            ("quay-2.a", Direction::Backward),
        ] {
            let to = Destination::Stop(railway.layout.stop_named(place).unwrap());
            railway.ask(Request::Go { train: teal, to });
            railway.all_arrive(&[teal], 400);
            assert_eq!(railway.leading("Teal"), leads, "on its way to {place}");
        }
        let stops = railway.session.statistics().stops;
        assert_eq!((stops.elsewhere, stops.beyond_um_most), (0, 0), "seed {seed}");
        assert!(stops.count >= 4 && stops.short_um_most < 40_000, "seed {seed}: {stops:?}");
        railway.in_order(&[]);
    }
}
