//! Stories of trains that do not do what they were told, and of people who handle them.

use std::time::Duration;

use signaller::{Direction, Request, Tag};
use testtrack::{Return, Talk};
use track::{Length, Lie, Speed};

use crate::railway::Railway;

#[test]
fn a_train_that_is_pushed_out_of_the_station_has_no_turnout_thrown_under_it() {
    let mut railway = Railway::new(1);
    let (heron, turnout) = (railway.train("Heron"), railway.layout().turnout_named("W1").unwrap());
    assert!(railway.table().push(heron, Direction::Forward, Length::from_mm(300), Speed::from_mm(150)));
    railway.run(5.0);
    assert!(railway.lies_in("Heron", "quay-throat"));
    let answer = railway.ask(Request::Throw { turnout, lie: Lie::Diverging });
    railway.run(5.0);
    assert!(railway.is_refused(answer));
    assert_ne!(railway.tag("quay-throat"), Some(&Tag::Free));
    railway.is_in_order();
}

#[test]
fn a_train_that_is_pushed_along_while_it_runs_stops_where_it_should_or_sooner() {
    let mut railway = Railway::new(2);
    railway.send("Heron", "shore-1");
    assert!(railway.run_until(5, |railway| railway.lies_in("Heron", "harbour-2")));
    let heron = railway.train("Heron");
    assert!(railway.table().push(heron, Direction::Forward, Length::from_mm(800), Speed::from_mm(300)));
    railway.run(240.0);
    assert!(!railway.is_moving("Heron"));
    railway.is_in_order();
}

#[test]
fn a_train_that_is_lifted_for_repair_and_put_back_with_a_word_runs_on() {
    let mut railway = Railway::new(3);
    let heron = railway.train("Heron");
    railway.table().take_off(heron, Duration::from_secs(40), Talk::Say, Return::SamePlace);
    railway.run(30.0);
    assert_eq!(railway.tag("quay-1"), Some(&Tag::Free));
    railway.run(30.0);
    assert_eq!(railway.tag("quay-1"), Some(&Tag::Sure(heron)));
    railway.send("Heron", "shore-1");
    assert!(railway.run_until(10, |railway| railway.has_arrived("Heron")));
    railway.is_in_order();
}

#[test]
fn a_train_that_is_put_elsewhere_without_a_word_is_run_into_by_nobody() {
    for seed in 10..14 {
        let mut railway = Railway::new(seed);
        let heron = railway.train("Heron");
        railway.table().take_off(heron, Duration::from_secs(20), Talk::Forget, Return::Elsewhere);
        railway.run(40.0);
        for train in ["Plover", "Dunlin", "Curlew"] {
            railway.send(train, "harbour-2");
        }
        railway.run(600.0);
        assert!(railway.session.statistics().departures >= 1, "seed {seed}: nobody went anywhere");
        railway.is_in_order();
    }
}

#[test]
fn a_wagon_that_nobody_knows_of_is_not_run_into_and_the_line_is_free_when_it_is_gone() {
    let mut railway = Railway::new(4);
    let on = [railway.section("harbour-2")];
    let seen = Some((Length::from_mm(15), Length::from_mm(85)));
    railway.table().put_wagon(Length::from_mm(100), seen, &on, None).unwrap();
    railway.run(2.0);
    assert_eq!(railway.tag("harbour-2"), Some(&Tag::Unexplained));
    railway.send("Heron", "shore-1");
    railway.run(300.0);
    assert!(!railway.lies_in("Heron", "harbour-2"));
    railway.session.heal();
    assert!(railway.run_until(10, |railway| railway.has_arrived("Heron")));
    railway.is_in_order();
}

#[test]
fn a_tail_that_parts_stays_an_obstacle_and_nobody_runs_into_it() {
    let mut railway = Railway::new(5);
    railway.send("Heron", "shore-2");
    assert!(
        railway.run_until(5, |railway| railway.lies_in("Heron", "shore-1") && !railway.lies_in("Heron", "junction"))
    );
    let heron = railway.train("Heron");
    let tail = railway.table().part(heron, 1).unwrap();
    railway.run(120.0);
    assert_eq!(railway.session.table().footprint(tail).to_vec(), [railway.section("shore-1")]);
    assert_ne!(railway.tag("shore-1"), Some(&Tag::Free));
    railway.send("Plover", "harbour-2");
    railway.run(900.0);
    assert!(!railway.lies_in("Plover", "shore-1"));
    railway.is_in_order();
}

#[test]
fn a_locomotive_that_stalls_for_a_while_is_tried_again_and_arrives_later() {
    let mut railway = Railway::new(6);
    railway.send("Heron", "shore-1");
    assert!(railway.run_until(5, |railway| railway.lies_in("Heron", "harbour-1")));
    let heron = railway.train("Heron");
    railway.table().stall(heron, Duration::from_secs(18));
    railway.run(10.0);
    assert!(!railway.is_moving("Heron"));
    assert!(railway.run_until(15, |railway| railway.has_arrived("Heron")));
    railway.is_in_order();
}

#[test]
fn a_train_that_was_pushed_over_a_joint_is_called_found_and_runs_on() {
    let mut railway = Railway::new(7);
    railway.send("Heron", "harbour-2");
    assert!(railway.run_until(5, |railway| railway.has_arrived("Heron")));
    railway.run(10.0);
    let (heron, beyond) = (railway.train("Heron"), "junction");
    assert!(railway.table().push(heron, Direction::Forward, Length::from_mm(300), Speed::from_mm(150)));
    railway.run(10.0);
    assert!(railway.lies_in("Heron", "harbour-2") && railway.lies_in("Heron", beyond));
    assert_eq!(railway.tag(beyond), Some(&Tag::Doubt([heron].into_iter().collect())));
    let call = railway.ask(Request::RollCall { train: Some(heron) });
    let is_sure = |railway: &Railway, section: &str| railway.tag(section) == Some(&Tag::Sure(heron));
    assert!(railway.run_until(3, |railway| is_sure(railway, "harbour-2") && railway.tag(beyond) == Some(&Tag::Free)));
    assert!(!railway.is_refused(call));
    assert!(railway.run_until(5, |railway| !railway.is_moving("Heron")));
    railway.run(30.0);
    railway.send("Heron", "shore-1");
    assert!(railway.run_until(10, |railway| railway.has_arrived("Heron")));
    railway.is_in_order();
}

#[test]
fn a_train_that_starts_by_itself_while_another_is_on_its_way_is_met_by_nobody() {
    for seed in 20..24 {
        let mut railway = Railway::new(seed);
        let heron = railway.train("Heron");
        railway.send("Plover", "harbour-1");
        railway.run(60.0);
        railway.table().run_away(heron, Speed::from_mm(150), Duration::from_secs(3));
        railway.run(900.0);
        railway.is_in_order();
    }
}

#[test]
fn a_train_that_does_not_hear_that_it_should_brake_does_no_harm() {
    for seed in 30..34 {
        let mut railway = Railway::new(seed);
        railway.send("Heron", "harbour-1");
        assert!(railway.run_until(5, |railway| railway.lies_in("Heron", "harbour-1")));
        let heron = railway.train("Heron");
        railway.run(4.0);
        railway.table().deafen(heron, Duration::from_secs(3));
        railway.run(120.0);
        assert!(!railway.is_moving("Heron"));
        assert_eq!(railway.leading("Heron"), Direction::Forward);
        railway.is_in_order();
    }
}

#[test]
fn a_train_that_a_guest_drives_without_a_word_is_kept_clear_of() {
    for seed in 40..44 {
        let mut railway = Railway::new(seed);
        let heron = railway.train("Heron");
        railway.table().drive_by_hand(heron);
        railway.let_traffic_begin(seed);
        railway.run(1800.0);
        assert!(railway.session.statistics().trips >= 1, "seed {seed}: nobody got anywhere beside the guest");
        railway.is_in_order();
    }
}
