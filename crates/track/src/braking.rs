//! Braking on straight arithmetic: how far a train needs, and how fast it may be for that.
//!
//! Energy balance with a constant braking rate (D. Barney, D. Haley, G. Nikandros, "Calculating Train Braking Distance",
//! equation 1): what the brakes take over a distance is the energy of motion and of height, so that from a speed v a train
//! needs v²/2(b + gG), with G the rise over the run. What it runs before its brakes bite comes on top: v·t.
//!
//! A [`Braking`] is both: the rate, and the delay. All lengths and speeds are those of the table.

use std::fmt;
use std::time::Duration;

use crate::units::{Acceleration, Length, Speed};

/// The pull of gravity, rounded as engineers do: 9.81 m/s².
const GRAVITY: Acceleration = Acceleration::from_mm(9_810);

/// How steeply track rises, in millionths of its length. Falling track has less than nothing.
#[derive(Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Gradient(i64);

impl Gradient {
    /// Level track.
    pub const LEVEL: Self = Self(0);

    /// From millimetres of rise a metre, rounded to the micrometre.
    pub fn from_permille_f64(permille: f64) -> Self {
        Self((permille * 1000.0).round() as i64)
    }

    /// In millimetres of rise a metre.
    pub fn permille(self) -> f64 {
        self.0 as f64 / 1000.0
    }

    /// As it is for a train that comes from the other side.
    pub fn reversed(self) -> Self {
        Self(-self.0)
    }

    /// What gravity takes of a train's speed on it, of which so many thousandths get through the train's gears.
    pub fn pull(self, share_permille: i64) -> Acceleration {
        GRAVITY.scaled(self.0, 1_000_000).scaled(share_permille, 1000)
    }
}

impl fmt::Debug for Gradient {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} per mille", self.permille())
    }
}

/// How a train brakes: at a constant rate, after a delay.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Braking {
    /// The speed it loses in a second.
    pub rate: Acceleration,
    /// How long it runs on before that.
    pub delay: Duration,
}

impl Braking {
    /// The same where gravity helps, or the other way: see [`Gradient::pull`]. The rate is never negative.
    pub fn helped_by(self, pull: Acceleration) -> Self {
        Self { rate: (self.rate + pull).max(Acceleration::ZERO), ..self }
    }

    /// How far it needs to stop: v·t + v²/2b. [`Length::MAX`] where it does not brake at all.
    pub fn distance_to_stop(self, speed: Speed) -> Length {
        self.distance_to_slow(speed, Speed::ZERO)
    }

    /// How far it needs to come down from a speed to another: v·t + (v² - w²)/2b. Nothing where it is no faster.
    pub fn distance_to_slow(self, from: Speed, to: Speed) -> Length {
        if from <= to {
            return Length::ZERO;
        }
        if self.rate <= Acceleration::ZERO {
            return Length::MAX;
        }
        let squared = |speed: Speed| i128::from(speed.um()) * i128::from(speed.um());
        let braked = (squared(from) - squared(to)) / (2 * i128::from(self.rate.um()));
        Length::from_um(braked.min(i128::from(Length::MAX.um())) as i64) + from.distance_in(self.delay)
    }

    /// The highest speed from which it comes down to another within a distance: v·t + (v² - w²)/2b = d, solved for v. Where
    /// there is no delay that is √(w² + 2bd); with one it may be less than `to`, for the delay counts at any speed.
    pub fn speed_before(self, distance: Length, to: Speed) -> Speed {
        let rate = i128::from(self.rate.um().max(0));
        let lost = rate * self.delay.as_micros().min(1 << 40) as i128 / 1_000_000;
        let to = i128::from(to.um());
        let under_root = lost * lost + 2 * rate * i128::from(distance.um().max(0)) + to * to;
        let speed = (under_root.max(0) as u128).isqrt() as i128 - lost;
        Speed::from_um(speed.clamp(0, i128::from(Speed::MAX.um())) as i64)
    }
}

/// The rate that stops a train from a speed within a distance: v²/2d. Without a distance it is nothing that brakes have.
pub fn rate_to_stop(speed: Speed, distance: Length) -> Acceleration {
    if distance <= Length::ZERO {
        return Acceleration::MAX;
    }
    let squared = i128::from(speed.um()) * i128::from(speed.um());
    Acceleration::from_um((squared / (2 * i128::from(distance.um()))).min(i128::from(Acceleration::MAX.um())) as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn braking(mm_s2: i64, ms: u64) -> Braking {
        Braking { rate: Acceleration::from_mm(mm_s2), delay: Duration::from_millis(ms) }
    }

    #[test]
    fn the_speed_before_a_distance_is_the_highest_from_which_a_train_stops_in_it() {
        for ms in [0, 250, 2000] {
            for mm in [0, 5, 50, 400, 3000] {
                let (braking, distance) = (braking(96, ms), Length::from_mm(mm));
                let speed = braking.speed_before(distance, Speed::ZERO);
                let room = Length::from_um(10);
                assert!(braking.distance_to_stop(speed) <= distance + room, "{mm} mm, {ms} ms: {speed:?}");
                let faster = speed + Speed::from_um(200);
                assert!(braking.distance_to_stop(faster) + room > distance, "{mm} mm, {ms} ms: {speed:?}");
            }
        }
    }

    #[test]
    fn a_train_that_gravity_pulls_on_as_hard_as_it_brakes_does_not_stop() {
        let fall = Gradient::from_permille_f64(-100.0).pull(1000);
        assert_eq!(fall, Acceleration::from_mm(-981));
        let braking = braking(900, 0).helped_by(fall);
        assert_eq!(braking.rate, Acceleration::ZERO);
        assert_eq!(braking.distance_to_stop(Speed::from_mm(1)), Length::MAX);
        assert_eq!(braking.distance_to_stop(Speed::ZERO), Length::ZERO);
        assert_eq!(braking.speed_before(Length::from_mm(1000), Speed::from_mm(5)), Speed::from_mm(5));
    }

    #[test]
    fn a_rise_for_one_train_is_a_fall_for_the_next_that_comes_from_the_other_side() {
        let rise = Gradient::from_permille_f64(12.5);
        assert_eq!(rise.reversed().permille(), -12.5);
        assert_eq!(rise.reversed().pull(100), -rise.pull(100));
    }

    #[test]
    fn a_train_that_has_no_distance_left_would_need_endless_brakes() {
        assert_eq!(rate_to_stop(Speed::from_mm(100), Length::ZERO), Acceleration::MAX);
        assert_eq!(rate_to_stop(Speed::from_mm(100), Length::from_mm(50)), Acceleration::from_mm(100));
    }
}
