//! What detectors make of a train that rolls over them: late, out of order with one another, never wrong.

use std::time::Duration;

use signaller::{Direction, Input, Output, Time};
use testtrack::{Settings, Spread};
use track::{Detector, DetectorKind, Length, Lie, SectionId};

use crate::fixture::{Corner, OFF_DELAY, ON_DELAY, corner_with};

fn reports(heard: &[(Time, Input)], section: SectionId) -> Vec<(Time, bool)> {
    let report = |(at, input): &(Time, Input)| match *input {
        Input::SectionReported { section: of, occupied } if of == section => Some((*at, occupied)),
        _ => None,
    };
    heard.iter().filter_map(report).collect()
}

/// Runs until the train has really entered the section, and tells when.
fn run_into(corner: &mut Corner, train: &str, section: &str) -> (Time, Vec<(Time, Input)>) {
    let mut heard = Vec::new();
    for _ in 0..6000 {
        heard.extend(corner.run(0.01));
        if corner.table.covers(corner.train(train), corner.section(section)) {
            return (corner.table.now(), heard);
        }
    }
    panic!("{train} never came to {section}");
}

#[test]
fn a_section_reports_a_train_late_by_its_delay_and_the_message() {
    let mut corner = Corner::new();
    corner.put("Heron", &["quay-1"], "quay-1.b");
    corner.drive("Heron", Direction::Forward, 100);
    let (entered, mut heard) = run_into(&mut corner, "Heron", "throat");
    heard.extend(corner.run(8.0));
    let throat = reports(&heard, corner.section("throat"));
    let [(filled, true), (emptied, false)] = throat[..] else { panic!("{throat:?}") };
    let late = filled.since(entered);
    // The first axle is 10 mm behind the front, which takes 30 to 60 ms at this speed.
    let (least, most) = (ON_DELAY + Duration::from_millis(20), ON_DELAY + Duration::from_millis(60 + 10 + 80 + 20));
    assert!(late >= least && late <= most, "{late:?}");
    assert!(emptied > filled + OFF_DELAY);
}

#[test]
fn a_blind_tail_is_still_there_when_its_section_reads_free() {
    let mut corner = Corner::new();
    corner.put("Heron", &["quay-1"], "quay-1.b");
    corner.drive("Heron", Direction::Forward, 40);
    for _ in 0..3000 {
        let heard = corner.run(0.01);
        if reports(&heard, corner.section("quay-1")).iter().any(|&(_, occupied)| !occupied) {
            assert!(corner.table.covers(corner.train("Heron"), corner.section("quay-1")), "110 mm of it are unseen");
            return;
        }
    }
    panic!("quay-1 never read free");
}

#[test]
fn a_train_that_draws_no_current_is_never_reported() {
    let mut corner = Corner::of(corner_with(|builder| {
        let vehicles = vec![crate::fixture::vehicle(200, None)];
        builder.train(track::Train { name: "Curlew".into(), vehicles, ..crate::fixture::heron() });
    }));
    corner.put("Curlew", &["quay-1"], "quay-1.b");
    corner.drive("Curlew", Direction::Forward, 100);
    assert_eq!(corner.run(12.0), []);
    assert!(corner.table.covers(corner.train("Curlew"), corner.section("line-2")));
}

#[test]
fn a_train_that_only_looks_in_for_less_than_the_on_delay_is_not_reported() {
    let layout = corner_with(|builder| {
        let section = builder.layout().section_named("throat").unwrap();
        let (kind, delay) = (DetectorKind::Area(section), Duration::from_secs(4));
        builder.detector(Detector { on_delay: delay, off_delay: delay, ..Detector::new("slow", kind) });
    });
    let mut corner = Corner::of(layout);
    corner.put("Plover", &["quay-1"], "quay-1.b");
    corner.drive("Plover", Direction::Forward, 126);
    let heard = corner.run(12.0);
    assert!(corner.table.covers(corner.train("Plover"), corner.section("line-2")), "it has run through");
    assert_eq!(reports(&heard, corner.section("throat")), []);
}

#[test]
fn a_turnout_reports_how_it_lies_when_it_has_moved_and_only_then() {
    let mut corner = Corner::new();
    let turnout = corner.turnout("W1");
    corner.table.act(&Output::Throw { turnout, lie: Lie::Diverging });
    corner.table.act(&Output::Throw { turnout, lie: Lie::Diverging });
    let heard = corner.run(3.0);
    let [(at, Input::TurnoutReported { lie: Some(Lie::Diverging), .. })] = heard[..] else { panic!("{heard:?}") };
    assert!(at >= Time::from_millis(720) && at <= Time::from_millis(1080), "{at:?}");
    corner.table.act(&Output::Throw { turnout, lie: Lie::Diverging });
    assert_eq!(corner.run(3.0), [], "an order that repeats changes nothing");
}

#[test]
fn every_axle_passes_a_spot_and_a_reader_reads_the_train_once() {
    let mut corner = Corner::of(corner_with(|builder| {
        let section = builder.layout().section_named("line-1").unwrap();
        let way = builder.layout().sections[section].ways[0];
        let spot = DetectorKind::Spot { way, from_first_end: Some(Length::from_mm(500)) };
        builder.detector(Detector::new("spot", spot));
        let reader = DetectorKind::Reader(section);
        builder.detector(Detector::new("gate", reader));
    }));
    corner.put("Heron", &["quay-1"], "quay-1.b");
    corner.drive("Heron", Direction::Forward, 100);
    let heard = corner.run(20.0);
    let count = |what: fn(&Input) -> bool| heard.iter().filter(|(_, input)| what(input)).count();
    // Heron shows 100 mm and 80 mm, with an axle at least every 60 mm: three axles each.
    assert_eq!(count(|input| matches!(input, Input::SpotPassed { .. })), 6);
    assert_eq!(count(|input| matches!(input, Input::TrainRead { .. })), 1);
}

#[test]
fn reports_of_one_detector_never_overtake_each_other() {
    let layout = corner_with(|builder| {
        let section = builder.layout().section_named("line-2").unwrap();
        builder.area_detector(section);
    });
    let message_delay = Spread { least: Duration::ZERO, most: Duration::from_secs(5) };
    let mut corner = Corner::with(layout, &Settings { message_delay, ..Settings::seeded(5) });
    corner.put("Plover", &["line-1", "line-2"], "line-2.b");
    corner.drive("Plover", Direction::Forward, 60);
    corner.run(2.5);
    let (mut says, mut count) = (true, 0);
    for _ in 0..40 {
        for direction in [Direction::Backward, Direction::Forward] {
            corner.drive("Plover", direction, 60);
            for (_, occupied) in reports(&corner.run(5.0), corner.section("line-2")) {
                assert_ne!(occupied, says, "two reports alike in a row: one was overtaken");
                (says, count) = (occupied, count + 1);
            }
        }
    }
    assert!(count > 20, "only {count} reports");
}
