//! Currents, voltages and resistances, and what a detector makes of them.

use std::iter::Sum;
use std::ops::{Add, AddAssign, Sub};

/// A current in whole microamperes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
pub struct Current(i64);

/// A voltage in whole millivolts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Voltage(i64);

/// A resistance in whole ohms.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
pub struct Resistance(i64);

impl Current {
    /// None.
    pub const ZERO: Self = Self(0);

    /// From microamperes.
    pub const fn from_ua(ua: i64) -> Self {
        Self(ua)
    }

    /// In microamperes.
    pub const fn ua(self) -> i64 {
        self.0
    }

    /// In milliamperes.
    pub fn ma(self) -> f64 {
        self.0 as f64 / 1000.0
    }
}

impl Add for Current {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl AddAssign for Current {
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl Sum for Current {
    fn sum<I: Iterator<Item = Self>>(values: I) -> Self {
        values.fold(Self::ZERO, |total, value| total + value)
    }
}

impl Voltage {
    /// None.
    pub const ZERO: Self = Self(0);
    /// The least that a command station puts on the track (NMRA S-9.1, table 3).
    pub const STATION_LEAST: Self = Self(8_500);
    /// The least that a decoder works at (NMRA S-9.1, table 3).
    pub const DECODER_LEAST: Self = Self(7_000);
    /// The most that a decoder stands, of the larger scales (NMRA S-9.1, table 3).
    pub const DECODER_MOST: Self = Self(27_000);

    /// From millivolts.
    pub const fn from_mv(mv: i64) -> Self {
        Self(mv)
    }

    /// In millivolts.
    pub const fn mv(self) -> i64 {
        self.0
    }

    /// In volts.
    pub fn volts(self) -> f64 {
        self.0 as f64 / 1000.0
    }
}

impl Sub for Voltage {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

impl Resistance {
    /// From ohms.
    pub const fn from_ohm(ohm: i64) -> Self {
        Self(ohm)
    }

    /// In ohms.
    pub const fn ohm(self) -> i64 {
        self.0
    }

    /// The current that a voltage drives through it (Ohm's law), rounded down to the microampere. None where the voltage or
    /// the resistance is not positive.
    pub fn current_at(self, voltage: Voltage) -> Current {
        if self.0 <= 0 || voltage.0 <= 0 {
            return Current::ZERO;
        }
        Current((i128::from(voltage.0) * 1000 / i128::from(self.0)) as i64)
    }
}

/// How an area detector senses that current flows in its section.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SensingKind {
    /// By the voltage across diodes in the feed: it takes 0.5 to 0.7 V away, and sees very small currents, so moisture can
    /// fill it. Common practice, no source.
    DiodeDrop,
    /// By a current transformer around the feed: it takes nothing away, and its signal is in proportion to the current, so that
    /// small currents are missed. Common practice, no source.
    CurrentTransformer,
    /// By a Hall sensor: about 100 mV an ampere, so that it is weak at milliamperes. Common practice, no source.
    Hall,
}

impl SensingKind {
    /// The most voltage that the detector takes away from what stands in its section: one silicon diode's worth. Common
    /// practice, no source.
    pub const fn drop(self) -> Voltage {
        match self {
            Self::DiodeDrop => Voltage::from_mv(700),
            Self::CurrentTransformer | Self::Hall => Voltage::ZERO,
        }
    }

    /// Whatever its threshold, from how much current on the detector can be relied on: a current transformer of few turns gives
    /// no signal below 1 to 3 mA. Common practice, no source.
    pub const fn floor(self) -> Current {
        match self {
            Self::CurrentTransformer => Current::from_ua(3_000),
            Self::DiodeDrop | Self::Hall => Current::ZERO,
        }
    }

    /// How far off its reading may be: at 100 mV an ampere, 3 mA are 0.3 mV. Common practice, no source.
    pub const fn error(self) -> Current {
        match self {
            Self::Hall => Current::from_ua(3_000),
            Self::DiodeDrop | Self::CurrentTransformer => Current::ZERO,
        }
    }
}

/// An area detector's sense.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sensing {
    /// How it senses.
    pub kind: SensingKind,
    /// From how much current on it says that something is there.
    pub threshold: Current,
}

impl Sensing {
    /// The least current that it is sure to see: its threshold, if need be lifted to what its kind is good for.
    pub fn sure_from(&self) -> Current {
        (self.threshold + self.kind.error()).max(self.kind.floor())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_resistor_axle_draws_nothing_from_dead_track() {
        let axle = Resistance::from_ohm(10_000);
        assert_eq!(axle.current_at(Voltage::from_mv(15_000)), Current::from_ua(1500));
        assert_eq!(axle.current_at(Voltage::ZERO - SensingKind::DiodeDrop.drop()), Current::ZERO);
    }

    #[test]
    fn only_a_diode_drop_detector_is_sure_to_see_a_resistor_axle() {
        let sure_from = |kind| Sensing { kind, threshold: Current::from_ua(1_000) }.sure_from();
        let drawn = Resistance::from_ohm(10_000).current_at(Voltage::from_mv(15_000) - SensingKind::DiodeDrop.drop());
        assert!(drawn >= sure_from(SensingKind::DiodeDrop));
        assert_eq!(sure_from(SensingKind::CurrentTransformer), Current::from_ua(3_000));
        assert_eq!(sure_from(SensingKind::Hall), Current::from_ua(4_000));
    }
}
