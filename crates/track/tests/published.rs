//! Held against published values: scales (NEM 010, edition 2011; NMRA S-1.2), addresses and speed steps of digital command
//! control (NMRA S-9.2, July 2004; NMRA S-9.2.1, July 2012). The tables are in `tests/data`, each row of the scales with its
//! source; the speed tables are S-9.2 section B (14 and 28 steps) and S-9.2.1 section C (128-step instruction).

#![cfg(test)]

use track::dcc::{BroadcastStop, Direction, SpeedOrder, broadcast_stop, emergency_stop, idle, packet, reset};
use track::{Address, Scale, SpeedSteps};

/// The lines of a table behind its heading, split at commas.
fn rows(table: &str) -> Vec<Vec<&str>> {
    table.lines().skip(1).map(|line| line.split(',').collect()).collect()
}

#[test]
fn every_scale_has_its_published_ratio() {
    let table = rows(include_str!("data/scales.csv"));
    assert_eq!(table.len(), 18);
    for row in &table {
        let scale = Scale::named(row[0]).unwrap_or_else(|| panic!("no scale {}", row[0]));
        let (ratio, km_h): (f64, f64) = (row[1].parse().unwrap(), row[2].parse().unwrap());
        assert!((scale.ratio - ratio).abs() < 0.000_05, "{}: {} is not {ratio} ({})", row[0], scale.ratio, row[3]);
        assert!((scale.km_h_per_model_m_s() - km_h).abs() < 0.005, "{}: {km_h} km/h", row[0]);
    }
    let untold: Vec<_> = Scale::all().iter().filter(|scale| !table.iter().any(|row| row[0] == scale.name)).collect();
    assert_eq!(untold, [&Scale::UNKNOWN], "every other scale is in the table");
}

fn order(word: &str) -> SpeedOrder {
    match word {
        "stop" => SpeedOrder::Stop,
        "emergency stop" => SpeedOrder::EmergencyStop,
        step => SpeedOrder::Step(step.parse().unwrap()),
    }
}

fn byte(hexadecimal: &str) -> u8 {
    u8::from_str_radix(hexadecimal.trim_start_matches("0x"), 16).unwrap()
}

/// Checks one row both ways. With 28 steps there are two ways to say stop; the second is understood, never sent.
fn check_row(steps: SpeedSteps, word: &str, instructions: [&[u8]; 2], is_sent: impl Fn(SpeedOrder) -> bool) {
    for (direction, bytes) in [Direction::Forward, Direction::Reverse].into_iter().zip(instructions) {
        assert_eq!(steps.order_of(bytes), Some((order(word), direction)), "{steps:?} {word} {direction:?}");
        if is_sent(order(word)) {
            let sent = steps.instruction(order(word), direction).unwrap();
            assert_eq!(sent.as_slice(), bytes, "{steps:?} {word} {direction:?}");
        }
    }
}

#[test]
fn every_speed_step_of_14_has_its_published_instruction() {
    let table = rows(include_str!("data/dcc_speed_14.csv"));
    assert_eq!(table.len(), 16);
    for row in table {
        check_row(SpeedSteps::Steps14, row[1], [&[byte(row[2])], &[byte(row[3])]], |_| true);
    }
}

#[test]
fn every_speed_step_of_28_has_its_published_instruction() {
    let table = rows(include_str!("data/dcc_speed_28.csv"));
    assert_eq!(table.len(), 32);
    for row in table {
        let is_second_stop = |order| row[1] == "1" && !matches!(order, SpeedOrder::Step(_));
        let instructions: [&[u8]; 2] = [&[byte(row[4])], &[byte(row[5])]];
        check_row(SpeedSteps::Steps28, row[3], instructions, |order| !is_second_stop(order));
    }
}

#[test]
fn every_speed_step_of_126_has_its_published_instruction() {
    let table = rows(include_str!("data/dcc_speed_128.csv"));
    assert_eq!(table.len(), 128);
    for row in table {
        check_row(SpeedSteps::Steps126, row[1], [&[0x3F, byte(row[2])], &[0x3F, byte(row[3])]], |_| true);
    }
}

#[test]
fn a_decoder_is_not_asked_for_a_step_it_does_not_have() {
    for steps in [SpeedSteps::Steps14, SpeedSteps::Steps28, SpeedSteps::Steps126] {
        let highest = steps.highest();
        assert!(steps.instruction(SpeedOrder::Step(highest), Direction::Forward).is_some());
        assert!(steps.instruction(SpeedOrder::Step(highest + 1), Direction::Forward).is_none());
        assert!(steps.instruction(SpeedOrder::Step(0), Direction::Forward).is_none());
        assert!(steps.order_of(&[0x80]).is_none(), "a function instruction gives no speed");
    }
}

#[test]
fn addresses_keep_within_their_published_ranges() {
    // S-9.2 section A: 1 to 127; S-9.2.1 section A: 0xC0 to 0xE7 and a second byte, so 0 to 10239.
    assert_eq!(Address::short(0), None);
    assert_eq!(Address::short(128), None);
    assert_eq!(Address::long(10_240), None);
    for number in 1..=127 {
        assert_eq!(Address::short(number).unwrap().bytes().as_slice(), [number as u8]);
    }
    for number in 0..=10_239_u64 {
        let bytes = Address::long(number).unwrap().bytes();
        let [first, second] = bytes.as_slice() else { panic!("a long address has two bytes") };
        assert!((0xC0..=0xE7).contains(first));
        assert_eq!(u64::from(first - 0xC0) * 256 + u64::from(*second), number);
    }
}

#[test]
fn whole_packets_are_as_published() {
    // S-9.2, figure 2: locomotive 55, forward, step 6.
    let short = |number| Address::short(number).unwrap();
    let forward = |steps: SpeedSteps, step| steps.instruction(SpeedOrder::Step(step), Direction::Forward).unwrap();
    assert_eq!(packet(short(55), forward(SpeedSteps::Steps28, 6)), [0x37, 0x74, 0x43]);
    // Derived from S-9.2 section B and S-9.2.1 sections A and C.
    assert_eq!(packet(short(3), forward(SpeedSteps::Steps28, 28)), [0x03, 0x7F, 0x7C]);
    assert_eq!(packet(short(3), forward(SpeedSteps::Steps126, 126)), [0x03, 0x3F, 0xFF, 0xC3]);
    let long = Address::long(1000).unwrap();
    assert_eq!(packet(long, forward(SpeedSteps::Steps126, 50)), [0xC3, 0xE8, 0x3F, 0xB3, 0xA7]);
}

#[test]
fn the_packets_that_stop_trains_are_as_published() {
    let [forward, reverse] = [Direction::Forward, Direction::Reverse];
    let short = |number| Address::short(number).unwrap();
    // S-9.2 section B and S-9.2.1 section C: speed value 1.
    assert_eq!(emergency_stop(short(3), SpeedSteps::Steps14, reverse), [0x03, 0x41, 0x42]);
    assert_eq!(emergency_stop(short(3), SpeedSteps::Steps28, forward), [0x03, 0x61, 0x62]);
    assert_eq!(emergency_stop(short(3), SpeedSteps::Steps126, reverse), [0x03, 0x3F, 0x01, 0x3D]);
    let long = Address::long(1000).unwrap();
    assert_eq!(emergency_stop(long, SpeedSteps::Steps126, forward), [0xC3, 0xE8, 0x3F, 0x81, 0x95]);
    // S-9.2 section B: 00000000 01DC000S, with its exclusive or.
    for (how, direction, told) in [
        (BroadcastStop::Brake, Some(forward), 0b0110_0000),
        (BroadcastStop::Brake, Some(reverse), 0b0100_0000),
        (BroadcastStop::Brake, None, 0b0101_0000),
        (BroadcastStop::Cut, Some(forward), 0b0110_0001),
        (BroadcastStop::Cut, Some(reverse), 0b0100_0001),
        (BroadcastStop::Cut, None, 0b0101_0001),
    ] {
        assert_eq!(broadcast_stop(how, direction), [0, told, told], "{how:?} {direction:?}");
    }
    assert_eq!((reset(), idle()), (vec![0, 0, 0], vec![0xFF, 0, 0xFF]));
}
