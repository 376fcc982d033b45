//! What detectors of each kind see of what trains draw. Thresholds and figures of kinds are common practice, no source.

use signaller::{Direction, Input, Time};
use testtrack::Settings;
use track::{
    Axle, Current, Detector, DetectorKind, DistrictId, Draw, Layout, Length, Resistance, Scale, Sensing, SensingKind,
    Train, Vehicle, Voltage,
};

use crate::fixture::{Corner, OFF_DELAY, ON_DELAY, corner_with, heron, vehicle};

const TEN_KILOOHM: Draw = Draw::Resistor(Resistance::from_ohm(10_000));

/// A wagon of 100 mm with axles at these places from its front that draw so.
fn wagon(axles: &[(i64, Draw)]) -> Vehicle {
    let axles = axles.iter().map(|&(mm, draw)| Axle { at: Length::from_mm(mm), draw }).collect();
    Vehicle { axles, ..vehicle(100, None) }
}

/// A corner whose quay-1 has a detector of that kind and threshold, and Curlew made of that wagon alone.
fn sensed(kind: SensingKind, threshold_ua: i64, wagon: Vehicle) -> Layout {
    corner_with(|builder| {
        let section = builder.layout().section_named("quay-1").unwrap();
        let sensing = Some(Sensing { kind, threshold: Current::from_ua(threshold_ua) });
        let plain = Detector::new("sensed", DetectorKind::Area(section));
        builder.detector(Detector { on_delay: ON_DELAY, off_delay: OFF_DELAY, sensing, ..plain });
        builder.train(Train { name: "Curlew".into(), vehicles: vec![wagon], ..heron() });
    })
}

/// The current in quay-1 when Curlew stands there, in microamperes, and whether its detector says so within a second.
fn put_on_quay(layout: Layout, seed: u64) -> (i64, bool) {
    let mut corner = Corner::with(layout, &Settings::seeded(seed));
    corner.put("Curlew", &["quay-1"], "quay-1.b");
    let section = corner.section("quay-1");
    let heard = corner.run(1.0);
    let says =
        |input: &Input| matches!(*input, Input::SectionReported { section: of, occupied: true } if of == section);
    (corner.table.current_in(section).unwrap().ua(), heard.iter().any(|(_, input)| says(input)))
}

#[test]
fn a_resistor_axle_behind_a_diode_drop_is_seen_at_one_milliampere_and_not_at_two() {
    let axle = wagon(&[(50, TEN_KILOOHM)]);
    for seed in 0..20 {
        // 15 V (NMRA S-9.1, Table 3) less 0.5 to 0.7 V, through 10 kOhm.
        let (ua, seen) = put_on_quay(sensed(SensingKind::DiodeDrop, 1_000, axle.clone()), seed);
        assert!((1_430..=1_450).contains(&ua), "seed {seed}: {ua} uA");
        assert!(seen, "seed {seed}");
        let (_, seen) = put_on_quay(sensed(SensingKind::DiodeDrop, 2_000, axle.clone()), seed);
        assert!(!seen, "seed {seed}");
    }
    let drops = (0..20).map(|seed| put_on_quay(sensed(SensingKind::DiodeDrop, 1_000, axle.clone()), seed).0);
    assert!(drops.collect::<std::collections::BTreeSet<_>>().len() > 5, "every detector takes as much away");
}

#[test]
fn two_resistor_axles_together_are_seen_where_one_is_not() {
    let axles = wagon(&[(20, TEN_KILOOHM), (80, TEN_KILOOHM)]);
    let (ua, seen) = put_on_quay(sensed(SensingKind::DiodeDrop, 2_000, axles), 3);
    assert!((2_860..=2_900).contains(&ua), "{ua} uA");
    assert!(seen);
}

#[test]
fn a_current_transformer_takes_nothing_away_and_misses_small_currents_whatever_its_threshold() {
    let (ua, seen) = put_on_quay(sensed(SensingKind::CurrentTransformer, 1_000, wagon(&[(50, TEN_KILOOHM)])), 1);
    assert_eq!(ua, 1_500);
    let always = (0..40)
        .all(|seed| put_on_quay(sensed(SensingKind::CurrentTransformer, 1_000, wagon(&[(50, TEN_KILOOHM)])), seed).1);
    assert!(!always, "its noise floor lies between 1 and 3 mA; with seed 1 it sees: {seen}");
    let lamp = Draw::Share(Current::from_ua(20_000));
    for seed in 0..40 {
        assert!(put_on_quay(sensed(SensingKind::CurrentTransformer, 10_000, wagon(&[(50, lamp)])), seed).1);
    }
}

#[test]
fn a_hall_sensor_is_unsure_of_what_lies_within_its_noise_of_the_threshold_and_of_nothing_else() {
    let draws = |ma: i64| wagon(&[(50, Draw::Share(Current::from_ua(ma * 1_000)))]);
    let seen =
        |ma: i64| (0..40).filter(|&seed| put_on_quay(sensed(SensingKind::Hall, 10_000, draws(ma)), seed).1).count();
    assert_eq!((seen(6), seen(14)), (0, 40));
    assert!((5..35).contains(&seen(10)), "seen by {} of 40", seen(10));
}

#[test]
fn a_detector_of_which_nothing_was_said_sees_a_resistor_axle_and_every_vehicle_said_to_be_detectable() {
    let layout = |wagon: Vehicle| {
        corner_with(|builder| {
            builder.train(Train { name: "Curlew".into(), vehicles: vec![wagon], ..heron() });
        })
    };
    assert_eq!(put_on_quay(layout(wagon(&[(50, TEN_KILOOHM)])), 1), (1_500, true));
    assert!(put_on_quay(layout(vehicle(100, Some((50, 50)))), 1).1);
    assert!(!put_on_quay(layout(wagon(&[(50, Draw::Resistor(Resistance::from_ohm(100_000)))])), 1).1);
}

#[test]
fn the_nominal_voltage_is_that_of_the_scale_unless_the_district_says_otherwise() {
    let current = |scale: &str, said: Option<Voltage>| {
        let mut layout = corner_with(|builder| {
            let district = builder.district("quay");
            builder.district_mut(district).voltage = said;
            let section = builder.layout().section_named("quay-1").unwrap();
            builder.feed(section, district);
            let vehicles = vec![wagon(&[(50, TEN_KILOOHM)])];
            builder.train(Train { name: "Curlew".into(), vehicles, ..heron() });
        });
        layout.scale = Scale::named(scale).unwrap();
        put_on_quay(layout, 1).0
    };
    // NMRA S-9.1, Table 3: 12, 15 and 18 V nominal.
    assert_eq!(["N", "H0", "0", "I"].map(|scale| current(scale, None)), [1_200, 1_500, 1_500, 1_800]);
    assert_eq!(current("H0", Some(Voltage::from_mv(20_000))), 2_000);
}

/// A wagon with one resistor axle is invisible, and becomes visible when a second one comes to stand in the same section: then
/// both are seen, as long as they stand together.
#[test]
fn two_wagons_that_are_invisible_alone_are_seen_together() {
    let layout = corner_with(|builder| {
        let section = builder.layout().section_named("line-1").unwrap();
        let sensing = Some(Sensing { kind: SensingKind::DiodeDrop, threshold: Current::from_ua(2_000) });
        builder.detector(Detector { sensing, ..Detector::new("sensed", DetectorKind::Area(section)) });
        for name in ["Curlew", "Dunlin"] {
            let vehicles = vec![wagon(&[(50, TEN_KILOOHM)])];
            builder.train(Train { name: name.into(), vehicles, ..heron() });
        }
    });
    let mut corner = Corner::of(layout);
    corner.put("Curlew", &["line-1"], "line-1.a");
    corner.put("Dunlin", &["line-2"], "line-2.b");
    let line_1 = corner.section("line-1");
    let seen = |corner: &Corner| -> Vec<bool> {
        corner.table.trains_in(line_1).iter().map(|presence| presence.seen_since.is_some()).collect()
    };
    assert_eq!(seen(&corner), [false]);
    corner.drive("Dunlin", Direction::Backward, 60);
    let mut came = Time::ZERO;
    for _ in 0..1_000 {
        corner.run(0.01);
        if seen(&corner) == [true, true] {
            came = corner.table.now();
            break;
        }
    }
    assert!(came > Time::ZERO, "never seen");
    corner.drive("Dunlin", Direction::Forward, 60);
    corner.run(6.0);
    assert_eq!(seen(&corner), [false], "Dunlin has left again");
}

#[test]
fn a_blind_tail_comes_out_of_what_its_axles_draw() {
    let layout = corner_with(|builder| {
        let lamp = Draw::Share(Current::from_ua(30_000));
        let vehicles = vec![wagon(&[(20, lamp), (80, lamp)]), wagon(&[(20, TEN_KILOOHM), (80, TEN_KILOOHM)])];
        builder.train(Train { name: "Curlew".into(), vehicles, ..heron() });
        for name in ["quay-1", "throat"] {
            let section = builder.layout().section_named(name).unwrap();
            let sensing = Some(Sensing { kind: SensingKind::CurrentTransformer, threshold: Current::from_ua(5_000) });
            builder.detector(Detector { sensing, ..Detector::new(name, DetectorKind::Area(section)) });
        }
    });
    let mut corner = Corner::of(layout);
    corner.put("Curlew", &["quay-1"], "quay-1.b");
    corner.drive("Curlew", Direction::Forward, 60);
    let (curlew, quay) = (corner.train("Curlew"), corner.section("quay-1"));
    for _ in 0..1_000 {
        let heard = corner.run(0.01);
        let free = |(_, input): &(Time, Input)| *input == Input::SectionReported { section: quay, occupied: false };
        if heard.iter().any(free) {
            assert!(corner.table.covers(curlew, quay), "the tail with its resistors is still there");
            assert!(corner.table.current_in(quay).unwrap() > Current::ZERO);
            return;
        }
    }
    panic!("quay-1 never read free");
}

#[test]
fn a_dark_district_feeds_nothing() {
    let layout = corner_with(|builder| {
        let district = builder.district("quay");
        let section = builder.layout().section_named("quay-1").unwrap();
        builder.feed(section, district);
    });
    let mut corner = Corner::of(layout);
    corner.put("Heron", &["quay-1"], "quay-1.b");
    let (quay, district): (_, DistrictId) = (corner.section("quay-1"), corner.layout.district_named("quay").unwrap());
    let ample = corner.table.current_in(quay).unwrap();
    corner.table.brown_out(district, std::time::Duration::from_secs(1));
    let brown = corner.table.current_in(quay).unwrap();
    assert_eq!(brown.ua() * 10, ample.ua() * 6);
    corner.run(2.0);
    corner.table.go_dark(district, testtrack::DarkSays::Free, std::time::Duration::from_secs(1));
    assert_eq!(corner.table.current_in(quay), Some(Current::ZERO));
    corner.run(2.0);
    assert_eq!(corner.table.current_in(quay), Some(ample));
}
