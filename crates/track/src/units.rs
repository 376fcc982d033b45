//! Lengths, speeds and accelerations in whole micrometres, so that sums are exact and the same everywhere.

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Neg, Sub, SubAssign};
use std::time::Duration;

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $unit:literal) => {
        $(#[$doc])*
        #[derive(
            Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize,
        )]
        pub struct $name(i64);

        impl $name {
            /// Nothing.
            pub const ZERO: Self = Self(0);
            /// More than anything real.
            pub const MAX: Self = Self(i64::MAX / 4);

            /// From millimetres (per second, per second squared).
            pub const fn from_mm(mm: i64) -> Self {
                Self(mm * 1000)
            }

            /// From millimetres with a fraction, rounded to the micrometre.
            pub fn from_mm_f64(mm: f64) -> Self {
                Self((mm * 1000.0).round() as i64)
            }

            /// From micrometres.
            pub const fn from_um(um: i64) -> Self {
                Self(um)
            }

            /// In micrometres.
            pub const fn um(self) -> i64 {
                self.0
            }

            /// In millimetres.
            pub fn mm(self) -> f64 {
                self.0 as f64 / 1000.0
            }

            /// `self * numerator / denominator`, rounded towards zero.
            pub fn scaled(self, numerator: i64, denominator: i64) -> Self {
                Self((i128::from(self.0) * i128::from(numerator) / i128::from(denominator)) as i64)
            }
        }

        impl Add for $name {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self(self.0.saturating_add(other.0))
            }
        }

        impl Sub for $name {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self(self.0.saturating_sub(other.0))
            }
        }

        impl Neg for $name {
            type Output = Self;
            fn neg(self) -> Self {
                Self(-self.0)
            }
        }

        impl AddAssign for $name {
            fn add_assign(&mut self, other: Self) {
                *self = *self + other;
            }
        }

        impl SubAssign for $name {
            fn sub_assign(&mut self, other: Self) {
                *self = *self - other;
            }
        }

        impl Sum for $name {
            fn sum<I: Iterator<Item = Self>>(values: I) -> Self {
                values.fold(Self::ZERO, |total, value| total + value)
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{} {}", self.mm(), $unit)
            }
        }
    };
}

quantity!(
    /// A length on the table.
    Length,
    "mm"
);
quantity!(
    /// A speed on the table.
    Speed,
    "mm/s"
);
quantity!(
    /// An acceleration on the table.
    Acceleration,
    "mm/s2"
);

impl Speed {
    /// How far something at this speed gets in `time`.
    pub fn distance_in(self, time: Duration) -> Length {
        let nanoseconds = time.as_nanos().min(i64::MAX as u128) as i128;
        Length(
            (i128::from(self.0) * nanoseconds / 1_000_000_000)
                .clamp(-i128::from(i64::MAX / 4), i128::from(i64::MAX / 4)) as i64,
        )
    }

    /// How far it takes to stop from this speed at a constant `braking`: v² / 2a.
    pub fn stopping_distance(self, braking: Acceleration) -> Length {
        if braking.0 <= 0 {
            return Length::MAX;
        }
        let squared = i128::from(self.0) * i128::from(self.0);
        Length((squared / (2 * i128::from(braking.0))).min(i128::from(i64::MAX / 4)) as i64)
    }

    /// The highest speed from which a constant `braking` stops within `distance`: √(2ad). Zero where there is no distance.
    pub fn stopping_within(distance: Length, braking: Acceleration) -> Self {
        if distance.0 <= 0 || braking.0 <= 0 {
            return Self::ZERO;
        }
        let squared = 2 * distance.0 as u128 * braking.0 as u128;
        Self((squared.isqrt()).min(i64::MAX as u128 / 4) as i64)
    }

    /// How long it takes to go `distance` at this speed; nothing where the speed is not positive.
    pub fn time_for(self, distance: Length) -> Option<Duration> {
        if self.0 <= 0 {
            return None;
        }
        let nanoseconds = i128::from(distance.0.max(0)) * 1_000_000_000 / i128::from(self.0);
        Some(Duration::from_nanos(nanoseconds.min(i128::from(u64::MAX)) as u64))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stopping_within_a_distance_undoes_the_stopping_distance() {
        let braking = Acceleration::from_mm(150);
        for mm_per_second in [1, 10, 80, 250, 999] {
            let speed = Speed::from_mm(mm_per_second);
            let back = Speed::stopping_within(speed.stopping_distance(braking), braking);
            assert!((speed - back).um().abs() <= 200, "{speed:?} came back as {back:?}");
        }
    }

    #[test]
    fn an_hour_at_walking_pace_does_not_overflow() {
        assert_eq!(Speed::from_mm(100).distance_in(Duration::from_secs(3600)), Length::from_mm(360_000));
    }
}
