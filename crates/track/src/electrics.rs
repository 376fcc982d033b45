//! Currents and voltages, and what a detector makes of them.

/// A current in whole microamperes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Current(i64);

/// A voltage in whole millivolts.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Voltage(i64);

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

impl Voltage {
    /// From millivolts.
    pub const fn from_mv(mv: i64) -> Self {
        Self(mv)
    }

    /// In millivolts.
    pub const fn mv(self) -> i64 {
        self.0
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

/// An area detector's sense.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sensing {
    /// How it senses.
    pub kind: SensingKind,
    /// From how much current on it says that something is there.
    pub threshold: Current,
}
