//! Reports that are late, lost, doubled or overtaken; links and nodes that go down and come back.

use std::time::Duration;

use signaller::{Fact, Request, Tag, Time};
use testtrack::{Fault, Faults, Harm, Rate};

use crate::railway::{Railway, is_doubt};

/// Heron runs from the quay to the loop; harm is done to the report that it came into, or left, a section on its way.
fn heron_runs_past(harm: Harm, section: &str, whose: Report, seed: u64) -> Railway {
    let mut railway = Railway::new(seed);
    railway.send("Heron", "loop-1");
    let there = railway.section(section);
    match whose {
        Report::Filled => {
            let near = if section == "harbour-2" { "harbour-1" } else { "junction" };
            railway.until("Heron came near", 300, |railway| railway.lies_in("Heron", near));
            assert!(!railway.lies_in("Heron", section));
        }
        Report::Emptied => {
            railway.until("Heron was there", 300, |railway| matches!(railway.tag(section), Tag::Sure(_)));
        }
    }
    railway.table().harm_next_report(there, harm);
    railway
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Report {
    Filled,
    Emptied,
}

#[test]
pub(crate) fn the_report_that_a_train_came_is_late_by_a_second_and_the_train_arrives() {
    for seed in 1..4 {
        let mut railway = heron_runs_past(Harm::Late(Duration::from_secs(1)), "harbour-2", Report::Filled, seed);
        let heron = railway.train("Heron");
        railway.all_arrive(&[heron], 600);
        assert!(railway.doubts().is_empty(), "seed {seed}: {:?}", railway.doubts());
        railway.in_order(&[Fault::MessageLate]);
    }
}

#[test]
pub(crate) fn the_report_that_a_train_came_is_lost_and_the_train_is_found_at_the_next_section_or_stopped() {
    for seed in 1..4 {
        let mut railway = heron_runs_past(Harm::Lost, "shore-1", Report::Filled, seed);
        let heron = railway.train("Heron");
        railway.until("Heron was in the section that reads free", 300, |railway| railway.lies_in("Heron", "shore-1"));
        railway.run(60.0);
        assert!(railway.trains().iter().all(|&train| train == heron || railway.tag("shore-1") != &Tag::Sure(train)));
        // Where it was stopped, a person looks where it stands, and says so.
        assert!(railway.hold("Heron").is_empty() || !railway.is_moving("Heron"), "a train that is held runs on");
        railway.session.heal();
        railway.goes_with_help("Heron", "loop-1", 600);
        railway.in_order(&[Fault::MessageLost]);
    }
}

#[test]
pub(crate) fn the_report_that_a_train_left_is_lost_and_nobody_is_sent_there_until_the_section_speaks_again() {
    let mut railway = heron_runs_past(Harm::Lost, "shore-1", Report::Emptied, 4);
    railway.goes_with_help("Heron", "loop-1", 600);
    assert_ne!(railway.tag("shore-1"), &Tag::Free);
    railway.send("Plover", "harbour-2");
    railway.run(600.0);
    assert!(!railway.lies_in("Plover", "shore-1"), "it ran into what the signaller cannot know to be free");
    railway.session.heal();
    railway.run(2.0);
    assert_eq!(railway.tag("shore-1"), &Tag::Free);
    railway.all_run_on(4, 1800);
    railway.in_order(&[Fault::MessageLost]);
}

#[test]
pub(crate) fn reports_that_come_twice_for_an_hour_cost_at_most_one_doubt() {
    for seed in 1..4 {
        let mut railway = Railway::under(seed, Faults::NONE.with(Fault::MessageDoubled, Rate::PerMillion(10_000)));
        railway.let_traffic_begin(seed);
        railway.run(3600.0);
        let trips = railway.session.statistics().trips;
        assert!(trips >= 15, "seed {seed}: only {trips} trips");
        assert!(railway.told(Time::ZERO, is_doubt) <= 1, "seed {seed}");
        railway.in_order(&[Fault::MessageDoubled]);
    }
}

#[test]
pub(crate) fn a_report_comes_again_after_the_train_has_left_and_nobody_sees_a_second_train() {
    for whose in [Report::Filled, Report::Emptied] {
        let mut railway = heron_runs_past(Harm::Doubled(Duration::from_millis(300)), "shore-1", whose, 5);
        let (heron, from) = (railway.train("Heron"), railway.session.now());
        railway.all_arrive(&[heron], 600);
        assert_eq!(railway.told(from, is_doubt), 0);
        railway.in_order(&[Fault::MessageDoubled]);
    }
}

#[test]
pub(crate) fn a_report_that_is_overtaken_by_the_next_one_leaves_an_obstacle_and_no_train_of_another_name() {
    let mut railway = heron_runs_past(Harm::Overtaken(Duration::from_secs(30)), "shore-1", Report::Filled, 6);
    let heron = railway.train("Heron");
    railway.until("Heron was through", 300, |railway| {
        railway.lies_in("Heron", "shore-2") && !railway.lies_in("Heron", "shore-1") || !railway.hold("Heron").is_empty()
    });
    railway.run(60.0);
    assert!(railway.trains().iter().all(|&train| railway.tag("shore-1") != &Tag::Sure(train) || train == heron));
    railway.session.heal();
    railway.run(2.0);
    railway.a_person_sees_to(heron);
    railway.all_run_on(6, 1800);
    railway.in_order(&[Fault::MessageReordered]);
}

#[test]
pub(crate) fn a_node_starts_anew_under_a_standing_train_and_its_tag_stays() {
    let mut railway = Railway::new(1);
    let (quay, heron) = (railway.section("quay-1"), railway.train("Heron"));
    assert_eq!(railway.tag("quay-1"), &Tag::Sure(heron));
    railway.table().restart_node(quay, Duration::from_millis(600));
    railway.run(2.0);
    assert!(railway.is_known(heron), "{:?}", railway.tags());
    railway.let_traffic_begin(1);
    railway.all_arrive(&[heron], 900);
    railway.in_order(&[Fault::NodeRestart]);
}

#[test]
pub(crate) fn the_node_of_the_hill_starts_anew_while_trains_run_there_and_they_are_known_and_run_on() {
    for seed in 1..5 {
        let mut railway = Railway::new(seed);
        let hill = railway.section("hill-2");
        railway.let_traffic_begin(seed);
        railway.until("a train ran on the hill", 3600, |railway| {
            railway.session.table().trains_in(hill).iter().any(|it| railway.moving().contains(&it.train))
        });
        let running = railway.session.table().trains_in(hill)[0].train;
        railway.table().restart_node(hill, Duration::from_millis(900));
        railway.run(30.0);
        assert!(railway.is_known(running) || !railway.doubts().is_empty(), "seed {seed}: {:?}", railway.tags());
        railway.all_run_on(seed, 1800);
        railway.in_order(&[Fault::NodeRestart]);
    }
}

#[test]
pub(crate) fn a_link_goes_down_while_nothing_moves_and_all_is_as_it_was_when_it_is_up_again() {
    let mut railway = Railway::new(1);
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
    let trains = railway.trains();
    railway.let_traffic_begin(1);
    railway.all_arrive(&trains, 1800);
    assert_eq!(railway.told(from, is_doubt), 0);
    railway.in_order(&[Fault::LinkDown]);
}

#[test]
pub(crate) fn the_cable_of_the_hill_is_pulled_under_a_running_train_and_plugged_in_again_and_the_train_arrives() {
    for seed in 1..4 {
        let mut railway = Railway::new(seed);
        railway.send("Dunlin", "loop-2");
        railway.until("Dunlin ran on the hill", 300, |railway| railway.is_all_in("Dunlin", "hill-2"));
        let link = railway.layout.links.iter().find(|(_, link)| link.name == "hill box").unwrap().0;
        railway.table().drop_link(link, Duration::from_secs(20));
        railway.run(15.0);
        assert!(!railway.is_moving("Dunlin"), "seed {seed}: it runs on, and nobody sees it");
        railway.run(10.0);
        let dunlin = railway.train("Dunlin");
        railway.until("Dunlin was known again", 60, |railway| railway.is_known(dunlin));
        railway.ask(Request::Release { train: dunlin });
        railway.run(1.0);
        railway.goes("Dunlin", "loop-2", 600);
        railway.in_order(&[Fault::LinkDown]);
    }
}
