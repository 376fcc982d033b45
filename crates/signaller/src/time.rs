//! The signaller's own time.

use std::fmt;
use std::ops::{Add, Sub};
use std::time::Duration;

/// Nanoseconds since the register began. Never goes back; can be stored and printed.
#[derive(Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize, serde::Deserialize)]
pub struct Time(i64);

impl Time {
    /// When the register began.
    pub const ZERO: Self = Self(0);

    /// So many nanoseconds after the register began.
    pub const fn from_nanos(nanos: i64) -> Self {
        Self(nanos)
    }

    /// So many milliseconds after the register began.
    pub const fn from_millis(millis: i64) -> Self {
        Self(millis * 1_000_000)
    }

    /// So many seconds after the register began, rounded to the nanosecond.
    pub fn from_secs_f64(seconds: f64) -> Self {
        Self((seconds * 1e9).round() as i64)
    }

    /// Nanoseconds since the register began.
    pub const fn nanos(self) -> i64 {
        self.0
    }

    /// Seconds since the register began.
    pub fn secs_f64(self) -> f64 {
        self.0 as f64 / 1e9
    }

    /// How long ago `earlier` was; nothing if it is later than this.
    pub fn since(self, earlier: Self) -> Duration {
        Duration::from_nanos(self.0.saturating_sub(earlier.0).max(0) as u64)
    }
}

impl Add<Duration> for Time {
    type Output = Self;
    fn add(self, span: Duration) -> Self {
        Self(self.0.saturating_add(span.as_nanos().min(i64::MAX as u128) as i64))
    }
}

impl Sub<Duration> for Time {
    type Output = Self;
    fn sub(self, span: Duration) -> Self {
        Self(self.0.saturating_sub(span.as_nanos().min(i64::MAX as u128) as i64))
    }
}

impl fmt::Debug for Time {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:.3} s", self.secs_f64())
    }
}
