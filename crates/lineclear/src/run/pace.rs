//! How fast layout time passes.

use std::fmt;
use std::str::FromStr;
use std::time::{Duration, Instant};

use signaller::Time;

/// How fast layout time passes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) enum Pace {
    /// So many times as fast as life.
    Times(f64),
    /// As fast as the machine can.
    Fast,
}

impl Pace {
    const SLOWEST: f64 = 0.01;
    const FASTEST: f64 = 10_000.0;

    /// A step faster.
    pub(super) fn faster(self) -> Self {
        match self {
            Self::Times(times) if times * 2.0 <= 1000.0 => Self::Times(times * 2.0),
            other => other,
        }
    }

    /// A step slower.
    pub(super) fn slower(self) -> Self {
        match self {
            Self::Times(times) if times / 2.0 >= 0.25 => Self::Times(times / 2.0),
            other => other,
        }
    }
}

impl FromStr for Pace {
    type Err = String;

    fn from_str(written: &str) -> Result<Self, String> {
        if written == "fast" {
            return Ok(Self::Fast);
        }
        match written.parse::<f64>() {
            Ok(times) if (Self::SLOWEST..=Self::FASTEST).contains(&times) => Ok(Self::Times(times)),
            _ => Err(format!("write `fast`, or a number from {} to {}", Self::SLOWEST, Self::FASTEST)),
        }
    }
}

impl fmt::Display for Pace {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Times(times) if *times == 1.0 => write!(f, "true to life"),
            Self::Times(times) => write!(f, "{times} times life"),
            Self::Fast => write!(f, "as fast as it goes"),
        }
    }
}

/// Reads a span such as `90s`, `10m` or `1.5h`.
///
/// # Errors
/// In words, where it is none.
pub(crate) fn span(written: &str) -> Result<Duration, String> {
    let wrong = || "write a number and a unit, such as `90s`, `10m` or `2h`".to_owned();
    let unit = written.chars().last().ok_or_else(wrong)?;
    let seconds_each = match unit {
        's' => 1.0,
        'm' => 60.0,
        'h' => 3600.0,
        _ => return Err(wrong()),
    };
    let number = &written[..written.len() - 1];
    let is_plain = number.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.');
    let seconds = number.parse::<f64>().ok().filter(|_| is_plain).ok_or_else(wrong)? * seconds_each;
    if seconds <= 0.0 || seconds > 1e8 {
        return Err("more than nothing, and less than three years".to_owned());
    }
    Ok(Duration::from_secs_f64(seconds))
}

/// Joins the wall clock to layout time.
#[derive(Debug)]
pub(super) struct Clock {
    pace: Pace,
    /// A moment of the wall clock and the layout time that belonged to it.
    anchor: (Instant, Time),
}

/// How much layout time passes in one go where the machine goes as fast as it can.
const GO: Duration = Duration::from_secs(1);

/// A machine that falls further behind than this in real time does not try to catch up.
const TOO_FAR_BEHIND: Duration = Duration::from_millis(250);

impl Clock {
    /// A clock that shows `layout_time` now.
    pub(super) fn new(pace: Pace, layout_time: Time) -> Self {
        Self { pace, anchor: (Instant::now(), layout_time) }
    }

    /// How fast it goes.
    pub(super) fn pace(&self) -> Pace {
        self.pace
    }

    /// Goes at another pace from now on.
    pub(super) fn set_pace(&mut self, pace: Pace, layout_time: Time) {
        *self = Self::new(pace, layout_time);
    }

    /// How late it is on the layout, where the loop has come to `layout_time`.
    pub(super) fn layout_time(&mut self, layout_time: Time) -> Time {
        let (Pace::Times(times), (instant, anchored)) = (self.pace, self.anchor) else { return layout_time + GO };
        let due = anchored + instant.elapsed().mul_f64(times);
        let most = layout_time + TOO_FAR_BEHIND.mul_f64(times);
        if due > most {
            self.anchor = (Instant::now(), most);
            return most;
        }
        due
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_are_read_with_their_unit() {
        assert_eq!(span("90s"), Ok(Duration::from_secs(90)));
        assert_eq!(span("10m"), Ok(Duration::from_secs(600)));
        assert_eq!(span("1.5h"), Ok(Duration::from_secs(5400)));
        for wrong in ["", "10", "m", "-5m", "1e3s", "0s", "10 m", "NaNs", "infs", "5é"] {
            assert!(span(wrong).is_err(), "`{wrong}` was taken");
        }
    }

    #[test]
    fn a_pace_is_a_number_or_fast() {
        assert_eq!("20".parse(), Ok(Pace::Times(20.0)));
        assert_eq!("fast".parse(), Ok(Pace::Fast));
        for wrong in ["", "0", "-1", "NaN", "1e9", "quick"] {
            assert!(wrong.parse::<Pace>().is_err(), "`{wrong}` was taken");
        }
    }
}
