//! What a resistor axle draws, held against Ohm's law at the voltages of NMRA S-9.1, table 3.
//!
//! The table beside this file gives, for each voltage that the standard names, usual resistors, and none, one or two silicon
//! junctions in the feed (0.7 V each; common practice, no source), the current worked out by I = (V - drop) / R.

#![cfg(test)]

use track::{Axle, Current, Draw, Length, Resistance, Voltage};

struct Row {
    voltage: Voltage,
    source: &'static str,
    resistance: Resistance,
    drop: Voltage,
    current: Current,
}

fn rows() -> Vec<Row> {
    let lines = include_str!("axle_resistor_current.csv").lines().skip(1);
    let thousandths = |text: &str| (text.parse::<f64>().unwrap() * 1000.0).round() as i64;
    let row = |line: &'static str| {
        let [voltage, source, resistance, drop, current] = line.split(',').collect::<Vec<_>>()[..] else {
            panic!("five columns: {line}")
        };
        Row {
            voltage: Voltage::from_mv(thousandths(voltage)),
            source,
            resistance: Resistance::from_ohm(resistance.parse().unwrap()),
            drop: Voltage::from_mv(thousandths(drop)),
            current: Current::from_ua(thousandths(current)),
        }
    };
    lines.map(row).collect()
}

#[test]
fn a_resistor_axle_draws_what_ohms_law_says_at_every_voltage_of_the_standard() {
    let rows = rows();
    assert_eq!(rows.len(), 54, "six voltages, three resistors, three drops");
    for row in rows {
        let axle = Axle { at: Length::ZERO, draw: Draw::Resistor(row.resistance) };
        assert_eq!(axle.current(row.voltage, row.drop), row.current, "{} {:?}", row.source, row.resistance);
    }
}

#[test]
fn the_least_voltages_of_station_and_decoder_are_those_of_the_standard() {
    let rows = rows();
    let voltage = |source: &str| rows.iter().find(|row| row.source == source).map(|row| row.voltage);
    assert_eq!(voltage("S-9.1 station minimum"), Some(Voltage::STATION_LEAST));
    assert_eq!(voltage("S-9.1 decoder minimum"), Some(Voltage::DECODER_LEAST));
}

#[test]
fn a_pickup_draws_its_share_at_any_voltage_but_none() {
    let share = Current::from_ua(8000);
    let axle = Axle { at: Length::ZERO, draw: Draw::Share(share) };
    let drop = Voltage::from_mv(700);
    assert_eq!(axle.current(Voltage::STATION_LEAST, drop), share);
    assert_eq!(axle.current(Voltage::from_mv(22_000), drop), share);
    assert_eq!(axle.current(drop, drop), Current::ZERO, "the detector takes all there is");
}
