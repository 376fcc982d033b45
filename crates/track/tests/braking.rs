//! Held against published braking: the energy balance with gradient and delay (D. Barney, D. Haley, G. Nikandros, "Calculating
//! Train Braking Distance", equation 1; the tables in `tests/data` were worked out from it, with 9.81 m/s² for gravity), and
//! the braking distances of German law (EBO of 1967, section 35(4), with the speeds of section 40).
//!
//! The tables are about the real railway, which is a layout at 1:1: lengths stay whole micrometres, and are compared to the
//! last digit of the table.

#![cfg(test)]

use std::time::Duration;

use track::braking::{Braking, Gradient, rate_to_stop};
use track::{Acceleration, Length, Speed};

/// The lines of a table behind its heading, as numbers, as far as they are.
fn rows(table: &str) -> Vec<Vec<f64>> {
    let row = |line: &str| line.split(',').map_while(|cell| cell.parse().ok()).collect();
    table.lines().skip(1).map(row).collect()
}

fn km_h(speed: f64) -> Speed {
    Speed::from_mm_f64(speed / 3.6 * 1000.0)
}

fn m_s2(rate: f64) -> Acceleration {
    Acceleration::from_mm_f64(rate * 1000.0)
}

fn metres(length: Length) -> f64 {
    length.mm() / 1000.0
}

#[test]
fn trains_stop_in_the_distance_of_the_energy_balance() {
    let table = rows(include_str!("data/braking_constant_decel.csv"));
    assert_eq!(table.len(), 252);
    for row in table {
        let [speed, rate, delay, gradient, delayed, braked, total] = row[..] else { panic!("{row:?}") };
        let pull = Gradient::from_permille_f64(gradient * 1000.0).pull(1000);
        let braking = Braking { rate: m_s2(rate), delay: Duration::ZERO }.helped_by(pull);
        let late = Braking { delay: Duration::from_secs_f64(delay), ..braking };
        let speed = km_h(speed);
        let near = |length: Length, told: f64| (metres(length) - told).abs() <= 0.000_6;
        assert!(near(braking.distance_to_stop(speed), braked), "{row:?}: {:?}", braking.distance_to_stop(speed));
        assert!(near(speed.distance_in(late.delay), delayed), "{row:?}");
        assert!(near(late.distance_to_stop(speed), total), "{row:?}: {:?}", late.distance_to_stop(speed));
        let back = late.speed_before(Length::from_mm_f64(total * 1000.0), Speed::ZERO);
        assert!((back - speed).um().abs() <= 400, "{row:?}: {back:?} is not {speed:?}");
    }
}

#[test]
fn trains_keep_to_the_curve_of_permitted_speed_before_a_target() {
    let table = rows(include_str!("data/braking_permitted_speed_curve.csv"));
    assert_eq!(table.len(), 60);
    for row in table {
        let [distance, rate, target, told, _] = row[..] else { panic!("{row:?}") };
        let braking = Braking { rate: m_s2(rate), delay: Duration::ZERO };
        let distance = Length::from_mm_f64(distance * 1000.0);
        let permitted = braking.speed_before(distance, km_h(target));
        assert!((permitted.mm() / 1000.0 - told).abs() <= 0.000_002, "{row:?}: {permitted:?}");
        let needed = braking.distance_to_slow(permitted, km_h(target));
        assert!((needed - distance).um().abs() <= 500, "{row:?}: {needed:?}");
    }
}

#[test]
fn trains_brake_as_hard_as_the_distances_of_the_law_imply() {
    let table = rows(include_str!("data/braking_implied_decel_EBO.csv"));
    assert_eq!(table.len(), 5);
    for row in table {
        let [speed, distance, told, time] = row[..] else { panic!("{row:?}") };
        let rate = rate_to_stop(km_h(speed), Length::from_mm_f64(distance * 1000.0));
        assert!((rate.mm() / 1000.0 - told).abs() <= 0.000_002, "{row:?}: {rate:?}");
        assert!((km_h(speed).mm() / rate.mm() - time).abs() <= 0.001, "{row:?}");
    }
}
