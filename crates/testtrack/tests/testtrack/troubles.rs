//! Each fault of detection, messages, links and power does what it says, and shifts nothing else.

use std::time::Duration;

use signaller::{Direction, Input, Output, Time};
use testtrack::{DarkSays, Fault, Faults, Happening, Mishap, PowerReports, Rate, Settings};
use track::{DetectorKind, DistrictId, Layout, Lie, LinkId, Resistance, SectionId, Speed};

use crate::fixture::{Corner, OFF_DELAY, ON_DELAY, corner, corner_with};

type Heard = Vec<(Time, Input)>;

const DETECTION: [Fault; 14] = [
    Fault::ContactLoss,
    Fault::DirtySection,
    Fault::FalseFill,
    Fault::StuckDetector,
    Fault::SlowDetector,
    Fault::MessageLate,
    Fault::MessageLost,
    Fault::MessageDoubled,
    Fault::MessageReordered,
    Fault::LinkDown,
    Fault::NodeRestart,
    Fault::DarkSaysFree,
    Fault::DarkSaysOccupied,
    Fault::BrownOut,
];

/// The corner in one district, with a link that carries everything.
fn wired() -> Layout {
    let mut layout = corner_with(|builder| {
        let district = builder.district("corner");
        let sections: Vec<_> = builder.layout().sections.ids().collect();
        sections.into_iter().for_each(|section| builder.feed(section, district));
        builder.link("cable");
    });
    let link = layout.link_named("cable");
    layout.detectors.values_mut().for_each(|detector| detector.link = link);
    layout.turnouts.values_mut().for_each(|turnout| turnout.link = link);
    layout
}

fn with(faults: Faults, seed: u64) -> Corner {
    Corner::with(wired(), &Settings { faults, ..Settings::seeded(seed) })
}

fn cable(corner: &Corner) -> LinkId {
    corner.layout.link_named("cable").unwrap()
}

fn district(corner: &Corner) -> DistrictId {
    corner.layout.district_named("corner").unwrap()
}

/// Drives Plover to and fro between line-1 and line-2 for so long, from the same place again and again, and gathers what is
/// heard.
fn shuttle(corner: &mut Corner, minutes: u32) -> Heard {
    let mut heard = Heard::new();
    for _ in 0..minutes * 6 {
        corner.put("Plover", &["line-1", "line-2"], "line-2.b");
        corner.drive("Plover", Direction::Forward, 60);
        heard.extend(corner.run(5.0));
        corner.drive("Plover", Direction::Backward, 60);
        heard.extend(corner.run(5.0));
    }
    heard
}

fn reports(heard: &Heard, section: SectionId) -> Vec<(Time, bool)> {
    let report = |(at, input): &(Time, Input)| match *input {
        Input::SectionReported { section: of, occupied } if of == section => Some((*at, occupied)),
        _ => None,
    };
    heard.iter().filter_map(report).collect()
}

fn befell(corner: &Corner, fault: Fault) -> Vec<Mishap> {
    corner.table.mishaps().iter().filter(|mishap| mishap.fault == fault).copied().collect()
}

#[test]
fn a_fault_with_a_rate_of_zero_changes_nothing() {
    let run = |faults| shuttle(&mut with(faults, 5), 2);
    let fault_free = run(Faults::NONE);
    assert!(fault_free.len() > 20);
    for fault in DETECTION {
        for rate in [Rate::PerHour(0), Rate::PerMillion(0)] {
            assert_eq!(run(Faults::NONE.with(fault, rate)), fault_free, "{}", fault.name());
        }
    }
}

#[test]
fn no_fault_shifts_when_another_one_strikes() {
    let often = |fault: Fault| match Faults::only(&[fault]).rate(fault) {
        Rate::PerHour(_) => Rate::PerHour(60_000),
        _ => Rate::PerMillion(300_000),
    };
    // What brings reports, or the way that trains roll, brings chances; what comes by the hour depends on nothing.
    let by_the_hour: Vec<_> = DETECTION.into_iter().filter(|&fault| matches!(often(fault), Rate::PerHour(_))).collect();
    let times = |faults: Faults, fault: Fault| {
        let mut corner = with(faults, 9);
        shuttle(&mut corner, 10);
        befell(&corner, fault).iter().map(|mishap| (mishap.at, mishap.section)).collect::<Vec<_>>()
    };
    let all = DETECTION.into_iter().fold(Faults::NONE, |faults, fault| faults.with(fault, often(fault)));
    for fault in [Fault::DirtySection, Fault::SlowDetector, Fault::LinkDown] {
        assert!(by_the_hour.contains(&fault));
        let alone = times(Faults::NONE.with(fault, often(fault)), fault);
        assert!(alone.len() > 2, "{}: {alone:?}", fault.name());
        assert_eq!(alone, times(all.clone(), fault), "{}", fault.name());
    }
    let alone = times(Faults::NONE.with(Fault::ContactLoss, often(Fault::ContactLoss)), Fault::ContactLoss);
    let reports = [Fault::MessageLost, Fault::MessageLate, Fault::FalseFill, Fault::LinkDown];
    let others = reports.into_iter().fold(Faults::NONE, |faults, fault| faults.with(fault, often(fault)));
    let together = times(others.with(Fault::ContactLoss, often(Fault::ContactLoss)), Fault::ContactLoss);
    assert!(alone.len() > 10);
    assert_eq!(alone, together);
}

#[test]
fn an_axle_that_loses_contact_draws_nothing_for_a_moment_and_all_is_well_again() {
    let faults = Faults::NONE.with(Fault::ContactLoss, Rate::PerMillion(20_000_000));
    let mut corner = with(faults, 2);
    corner.put("Plover", &["line-2"], "line-2.b");
    let section = corner.section("line-2");
    let whole = corner.table.current_in(section).unwrap();
    corner.drive("Plover", Direction::Backward, 30);
    let (mut without, mut since) = (0, None);
    let mut longest = Duration::ZERO;
    for _ in 0..300 {
        corner.run(0.01);
        let lacks = corner.table.current_in(section).unwrap() < whole;
        without += usize::from(lacks);
        let now = corner.table.now();
        match (lacks, since) {
            (true, None) => since = Some(now),
            (true, Some(since)) => longest = longest.max(now.since(since)),
            (false, _) => since = None,
        }
    }
    assert!(without > 3 && without < 250, "{without} of 300 ticks");
    assert!(longest >= Duration::from_millis(20));
    assert!(!befell(&corner, Fault::ContactLoss).is_empty());
    corner.table.heal();
    let struck = befell(&corner, Fault::ContactLoss).len();
    corner.run(1.0);
    assert_eq!(befell(&corner, Fault::ContactLoss).len(), struck);
    assert_eq!(corner.table.current_in(section), Some(whole));
}

#[test]
fn an_axle_that_stands_on_a_dead_spot_stays_without_contact_until_it_rolls_on() {
    let faults = Faults::NONE.with(Fault::ContactLoss, Rate::PerMillion(3_000_000));
    let mut corner = with(faults, 4);
    corner.put("Plover", &["line-2"], "line-2.b");
    let section = corner.section("line-2");
    let whole = corner.table.current_in(section).unwrap();
    for _ in 0..40 {
        corner.drive("Plover", Direction::Backward, 20);
        corner.run(0.7);
        corner.drive("Plover", Direction::Backward, 0);
        corner.run(2.0);
        let standing = corner.table.current_in(section).unwrap();
        if standing < whole {
            corner.run(30.0);
            assert_eq!(corner.table.current_in(section), Some(standing), "it stands on a dead spot");
            assert!(corner.table.active_faults().iter().any(|it| it.ends_with("axles of Plover have no contact")));
            return;
        }
    }
    panic!("it never stopped on a dead spot");
}

#[test]
fn every_axle_loses_contact_again_and_again_on_dirty_rails_and_nowhere_else() {
    let mut corner = with(Faults::NONE, 3);
    let line_1 = corner.section("line-1");
    corner.table.soil(line_1, Duration::from_secs(3600));
    assert_eq!(corner.table.active_faults(), ["the rails of line-1 are dirty"]);
    let heard = shuttle(&mut corner, 3);
    let clean = shuttle(&mut with(Faults::NONE, 3), 3);
    let (line_2, count) = (corner.section("line-2"), |heard: &Heard, section| reports(heard, section).len());
    assert!(count(&heard, line_1) > count(&clean, line_1), "{} reports", count(&heard, line_1));
    assert_eq!(count(&heard, line_2), count(&clean, line_2));
    let mut after = with(Faults::NONE, 3);
    after.table.soil(line_1, Duration::from_millis(1));
    assert_eq!(shuttle(&mut after, 3).len(), clean.len(), "somebody cleaned them");
}

#[test]
fn a_tool_across_the_rails_fills_a_section_for_as_long_as_it_lies_there() {
    let mut corner = with(Faults::NONE, 1);
    let section = corner.section("quay-2");
    corner.table.bridge_rails(section, Resistance::from_ohm(200), Duration::from_secs(3));
    assert_eq!(corner.table.trains_in(section), []);
    let heard = reports(&corner.run(6.0), section);
    let [(filled, true), (emptied, false)] = heard[..] else { panic!("{heard:?}") };
    assert!(filled <= Time::ZERO + ON_DELAY + Duration::from_millis(90));
    assert!(emptied >= Time::from_millis(3_000) + OFF_DELAY);
    let [mishap] = befell(&corner, Fault::FalseFill)[..] else { panic!("not one false fill") };
    assert_eq!(corner.table.mishap_in_words(&mishap), "quay-2: something came to lie across the rails");
    assert_eq!(mishap.until, Some(Time::from_millis(3_000)));
}

#[test]
fn moisture_fills_only_detectors_that_see_very_small_currents() {
    let damp = |kind, threshold| {
        let layout = corner_with(|builder| {
            let section = builder.layout().section_named("quay-1").unwrap();
            let sensing = Some(track::Sensing { kind, threshold: track::Current::from_ua(threshold) });
            builder
                .detector(track::Detector { sensing, ..track::Detector::new("sensed", DetectorKind::Area(section)) });
        });
        let mut corner = Corner::of(layout);
        let section = corner.section("quay-1");
        corner.table.bridge_rails(section, Resistance::from_ohm(5_000), Duration::from_secs(60));
        !reports(&corner.run(2.0), section).is_empty()
    };
    assert!(damp(track::SensingKind::DiodeDrop, 1_000));
    assert!(!damp(track::SensingKind::CurrentTransformer, 10_000));
    assert!(!damp(track::SensingKind::Hall, 10_000));
}

#[test]
fn a_stuck_detector_goes_on_saying_what_it_said_until_it_comes_free() {
    let mut corner = with(Faults::NONE, 1);
    corner.put("Plover", &["line-1"], "line-1.b");
    let line_2 = corner.section("line-2");
    corner.run(1.0);
    corner.table.stick_detector(line_2, None);
    corner.drive("Plover", Direction::Forward, 60);
    let mut heard = corner.run(8.0);
    assert!(corner.table.covers(corner.train("Plover"), line_2));
    assert_eq!(reports(&heard, line_2), []);
    assert_eq!(corner.table.active_faults(), ["the detector of line-2 is stuck"]);
    corner.table.heal();
    heard = corner.run(1.0);
    assert!(matches!(reports(&heard, line_2)[..], [.., (_, true)]));
    assert_eq!(corner.table.active_faults(), Vec::<String>::new());
}

#[test]
fn a_slow_detector_is_late_by_as_much_as_it_is_slow() {
    let mut corner = with(Faults::NONE, 1);
    let line_2 = corner.section("line-2");
    corner.table.slow_detector(line_2, Duration::from_secs(2), Duration::from_secs(60));
    corner.put("Plover", &["line-2"], "line-2.b");
    let heard = reports(&corner.run(4.0), line_2);
    let [(at, true)] = heard[..] else { panic!("{heard:?}") };
    assert!(at >= Time::from_millis(2_060) && at <= Time::from_millis(2_130), "{at:?}");
}

#[test]
fn messages_get_lost_late_doubled_and_overtaken_each_as_often_as_said() {
    let half = Rate::PerMillion(500_000);
    let clean = shuttle(&mut with(Faults::NONE, 6), 5);
    let run = |fault: Fault| {
        let mut corner = with(Faults::NONE.with(fault, half), 6);
        let heard = shuttle(&mut corner, 5);
        (heard, befell(&corner, fault).len())
    };
    let (heard, lost) = run(Fault::MessageLost);
    assert_eq!(heard.len() + lost, clean.len());
    assert!(lost * 3 > clean.len() && lost * 3 < clean.len() * 2, "{lost} of {}", clean.len());
    let (heard, doubled) = run(Fault::MessageDoubled);
    assert!((heard.len() as i64 - (clean.len() + doubled) as i64).abs() <= 1, "the last may still be on its way");
    let (heard, late) = run(Fault::MessageLate);
    let later = |heard: &Heard| {
        let pairs = heard.iter().zip(&clean);
        pairs.filter(|(one, other)| one.0.since(other.0) >= Duration::from_millis(200)).count()
    };
    assert!(late > 5 && later(&heard) > late / 2, "{late} late");
    let line_2 = with(Faults::NONE, 6).section("line-2");
    let alike = |heard: &Heard| reports(heard, line_2).windows(2).filter(|pair| pair[0].1 == pair[1].1).count();
    assert_eq!((alike(&clean), alike(&heard)), (0, 0), "late reports of one thing keep their order");
    let (heard, held_up) = run(Fault::MessageReordered);
    assert!(held_up > 5 && heard.len() + 2 > clean.len());
}

#[test]
fn a_report_that_was_held_up_is_overtaken_by_the_next_one_of_the_same_detector() {
    let faults = Faults::NONE.with(Fault::MessageReordered, Rate::PerMillion(500_000));
    let mut corner = with(faults, 8);
    let section = corner.section("quay-2");
    let mut heard = Heard::new();
    for _ in 0..40 {
        corner.table.bridge_rails(section, Resistance::from_ohm(200), Duration::from_millis(100));
        heard.extend(corner.run(3.0));
    }
    let said = reports(&heard, section);
    assert_eq!(said.len(), 80, "every report arrives");
    let overtaken = said.windows(2).filter(|pair| pair[0].1 == pair[1].1).count();
    assert!(overtaken > 4, "{overtaken} reports alike in a row");
}

#[test]
fn a_link_that_was_down_first_says_what_it_said_before_and_then_what_is_so() {
    let mut corner = with(Faults::NONE, 1);
    corner.put("Plover", &["line-1"], "line-1.b");
    let mut inputs = corner.table.first_inputs(|| signaller::Ticket(0));
    inputs.clear();
    let (link, line_1, line_2) = (cable(&corner), corner.section("line-1"), corner.section("line-2"));
    corner.table.drop_link(link, Duration::from_secs(10));
    corner.drive("Plover", Direction::Forward, 60);
    let heard = corner.run(9.9);
    let [(at, Input::LinkReported { up: false, .. })] = heard[..] else { panic!("{heard:?}") };
    assert!(at >= Time::from_millis(500) && at <= Time::from_millis(1_500), "{at:?}");
    assert!(!corner.table.covers(corner.train("Plover"), line_1), "it has moved on meanwhile");
    let heard = corner.run(0.5);
    assert_eq!(heard[0], (Time::from_millis(10_000), Input::LinkReported { link, up: true }));
    let said = |section| reports(&heard, section).iter().map(|&(_, occupied)| occupied).collect::<Vec<_>>();
    assert_eq!((said(line_1), said(line_2)), (vec![true, false], vec![false, true]));
    assert!(heard.iter().all(|(at, _)| *at <= Time::from_millis(10_300)), "all within 0.3 s");
    let lies = |(_, input): &&(Time, Input)| matches!(input, Input::TurnoutReported { lie: Some(Lie::Straight), .. });
    assert_eq!(heard.iter().filter(lies).count(), 2, "the turnout too");
}

#[test]
fn an_order_to_a_turnout_is_lost_with_its_link() {
    let mut corner = with(Faults::NONE, 1);
    let (link, turnout) = (cable(&corner), corner.turnout("W1"));
    corner.table.drop_link(link, Duration::from_secs(5));
    corner.table.act(&Output::Throw { turnout, lie: Lie::Diverging });
    corner.run(6.0);
    assert_eq!(corner.table.lie(turnout), Some(Lie::Straight));
    corner.table.act(&Output::Throw { turnout, lie: Lie::Diverging });
    corner.run(2.0);
    assert_eq!(corner.table.lie(turnout), Some(Lie::Diverging));
}

#[test]
fn a_node_that_starts_anew_says_free_and_then_what_it_sees_and_nobody_hears_of_a_link() {
    let mut corner = with(Faults::NONE, 1);
    corner.put("Plover", &["line-1"], "line-1.b");
    corner.run(1.0);
    let line_1 = corner.section("line-1");
    corner.table.restart_node(line_1, Duration::from_millis(700));
    let heard = corner.run(2.0);
    let said = reports(&heard, line_1);
    let [(free, false), (again, true)] = said[..] else { panic!("{said:?}") };
    assert!(free <= Time::from_millis(1_050) && again >= Time::from_millis(1_700) + ON_DELAY);
    assert!(!heard.iter().any(|(_, input)| matches!(input, Input::LinkReported { .. })));
    assert_eq!(reports(&heard, corner.section("quay-2")).len(), 1, "free sections say free once more");
}

#[test]
fn on_a_layout_without_links_a_node_watches_a_district() {
    let mut corner = Corner::of(corner());
    corner.put("Plover", &["line-1"], "line-1.b");
    corner.run(1.0);
    corner.table.restart_node(corner.section("line-1"), Duration::from_millis(500));
    assert_eq!(reports(&corner.run(2.0), corner.section("line-1")).len(), 2);
}

/// Plover runs in line-1 when the power goes for ten seconds. Gives what was heard and what its detector said, in order.
fn power_fails(says: DarkSays, power_reports: PowerReports) -> (Corner, Heard) {
    let mut corner = with(Faults::NONE, 1);
    let district = district(&corner);
    corner.table.set_power_reports(district, power_reports);
    corner.put("Plover", &["line-2"], "line-2.b");
    corner.run(1.0);
    corner.drive("Plover", Direction::Backward, 40);
    corner.run(3.0);
    let speed = corner.table.speed(corner.train("Plover"));
    corner.table.go_dark(district, says, Duration::from_secs(10));
    let mut heard = corner.run(8.0);
    assert_eq!(corner.table.speed(corner.train("Plover")), Speed::ZERO);
    heard.extend(corner.run(6.0));
    assert_eq!(corner.table.speed(corner.train("Plover")), speed, "it runs on as it was told");
    (corner, heard)
}

#[test]
fn when_the_power_fails_trains_stand_still_and_every_detector_says_free() {
    let (corner, heard) = power_fails(DarkSays::Free, PowerReports::Missing);
    let said = reports(&heard, corner.section("line-2"));
    assert!(!said[0].1);
    assert!(said[0].0 >= Time::from_millis(4_000) + OFF_DELAY && said[0].0 <= Time::from_millis(4_400));
    assert!(said[1].1);
    assert!(said[1].0 >= Time::from_millis(14_000) + ON_DELAY);
    assert_eq!(reports(&heard, corner.section("quay-1")), []);
    assert!(!heard.iter().any(|(_, input)| matches!(input, Input::PowerReported { .. })));
}

#[test]
fn other_detectors_say_occupied_when_the_power_fails() {
    let (corner, heard) = power_fails(DarkSays::Occupied, PowerReports::Given);
    let said = |section: &str| {
        reports(&heard, corner.section(section)).iter().map(|&(_, occupied)| occupied).collect::<Vec<_>>()
    };
    assert_eq!((said("quay-1"), said("throat")), (vec![true, false], vec![true, false]));
    let power: Vec<_> = heard.iter().filter(|(_, input)| matches!(input, Input::PowerReported { .. })).collect();
    let [(dark, Input::PowerReported { live: false, .. }), (live, Input::PowerReported { live: true, .. })] = power[..]
    else {
        panic!("{power:?}")
    };
    assert!(*dark >= Time::from_millis(4_200) && *dark <= Time::from_millis(4_800));
    assert!(*live >= Time::from_millis(14_200) && *live <= Time::from_millis(14_800));
}

#[test]
fn somebody_reports_the_power_of_about_half_of_the_districts() {
    let count = (0..200).filter(|&seed| {
        let corner = with(Faults::NONE, seed);
        corner.table.reports_power(district(&corner))
    });
    assert!((70..130).contains(&count.count()));
}

#[test]
fn in_a_brown_out_trains_slow_down_to_three_fifths_and_go_on() {
    let mut corner = with(Faults::NONE, 1);
    corner.put("Plover", &["line-2"], "line-2.b");
    corner.drive("Plover", Direction::Backward, 60);
    corner.run(3.0);
    let (plover, district) = (corner.train("Plover"), district(&corner));
    let speed = corner.table.speed(plover).um();
    corner.table.brown_out(district, Duration::from_secs(2));
    let heard = corner.run(1.5);
    assert_eq!(corner.table.speed(plover).um(), speed * 600 / 1000);
    assert_eq!(heard, [], "ample currents stay above every threshold");
    corner.run(1.5);
    assert_eq!(corner.table.speed(plover).um(), speed);
}

#[test]
fn a_train_whose_engine_stands_on_live_track_is_not_stopped_by_the_dark_district_under_its_tail() {
    let layout = corner_with(|builder| {
        let district = builder.district("line");
        let section = builder.layout().section_named("line-1").unwrap();
        builder.feed(section, district);
    });
    let mut corner = Corner::of(layout);
    corner.put("Plover", &["line-1", "line-2"], "line-2.b");
    corner.drive("Plover", Direction::Forward, 30);
    let district = corner.layout.district_named("line").unwrap();
    corner.table.go_dark(district, DarkSays::Free, Duration::from_secs(20));
    corner.run(3.0);
    assert!(corner.table.speed(corner.train("Plover")) > Speed::ZERO);
}

#[test]
fn healing_ends_everything_and_nothing_begins_any_more() {
    let often = DETECTION.into_iter().fold(Faults::NONE, |faults, fault| {
        let rate = match Faults::only(&[fault]).rate(fault) {
            Rate::PerHour(_) => Rate::PerHour(60_000),
            _ => Rate::PerMillion(300_000),
        };
        faults.with(fault, rate)
    });
    for seed in 0..6 {
        let mut corner = with(often.clone(), seed);
        corner.put("Heron", &["quay-1"], "quay-1.b");
        shuttle(&mut corner, 10);
        for fault in DETECTION {
            assert!(!befell(&corner, fault).is_empty(), "seed {seed}: no {}", fault.name());
        }
        assert!(!corner.table.active_faults().is_empty(), "seed {seed}");
        let happened = corner.table.take_happenings();
        let faulted = happened.iter().filter(|(_, it)| matches!(it, Happening::Faulted { .. })).count();
        assert_eq!(faulted, corner.table.mishaps().len(), "seed {seed}: whoever listens hears of each");
        corner.table.heal();
        assert_eq!(corner.table.active_faults(), Vec::<String>::new(), "seed {seed}");
        let struck = corner.table.mishaps().len();
        corner.drive("Plover", Direction::Forward, 0);
        let mut says = std::collections::BTreeMap::new();
        for (_, input) in corner.run(6.0) {
            if let Input::SectionReported { section, occupied } = input {
                says.insert(section, occupied);
            }
        }
        for section in corner.layout.sections.ids() {
            let there = corner.table.trains_in(section).iter().any(|presence| presence.seen_since.is_some());
            assert_eq!(says.get(&section), Some(&there), "seed {seed}: {}", corner.layout.sections[section].name);
        }
        assert_eq!(corner.table.mishaps().len(), struck, "seed {seed}");
        assert!(corner.table.mishaps().iter().all(|it| it.until.is_some()), "seed {seed}: something never ended");
    }
}
