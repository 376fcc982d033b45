//! Numbers: what they count, between which bounds they are believed, and speeds in the real railway's units.

use toml::de::DeValue;
use track::Speed;

use crate::diagnostic::Findings;
use crate::keys::wrong_type;
use crate::source::Said;

/// Nothing on a table is longer than a kilometre; who writes more took another unit.
const LONGEST_MM: f64 = 1_000_000.0;
/// Nothing on a table is faster than this, in millimetres a second.
const FASTEST_MM_S: f64 = 20_000.0;
/// Nothing on a table changes its speed faster than this, in millimetres a second squared.
const STEEPEST_MM_S2: f64 = 100_000.0;
/// No turnout and no detector takes longer than this, in seconds.
const SLOWEST_S: f64 = 600.0;
/// No train climbs more than this, in millimetres a metre: the steepest rack railways have 480 (from memory).
const STEEPEST_PERMILLE: f64 = 500.0;
/// No model railway's track carries more volts.
const HIGHEST_V: f64 = 60.0;
/// Nothing on a table draws less than this that a detector could see, nor more than that, in milliamperes.
const SMALLEST_MA: f64 = 0.01;
const LARGEST_MA: f64 = 10_000.0;
/// What lets more through is a heater, and what lets less through an insulator, in ohms.
const SMALLEST_OHM: f64 = 500.0;
const LARGEST_OHM: f64 = 10_000_000.0;
/// From miles to kilometres (international mile).
const KM_PER_MILE: f64 = 1.609_344;

/// A speed as it was written: on the table, or as the real train would run.
#[derive(Clone, Copy, Debug)]
pub(crate) enum WrittenSpeed {
    /// In millimetres a second on the table.
    OnTable(f64),
    /// In kilometres an hour of the real railway.
    Real(f64),
}

impl WrittenSpeed {
    /// The speed on the table, at a scale of one to `ratio`.
    pub(crate) fn on_table(self, ratio: f64) -> Speed {
        match self {
            Self::OnTable(mm_s) => Speed::from_mm_f64(mm_s),
            Self::Real(km_h) => Speed::from_mm_f64(km_h / 3.6 * 1000.0 / ratio),
        }
    }
}

/// What a number counts, and between which bounds it is believed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Unit {
    Millimetres,
    MillimetresFromEnd,
    MillimetresPerSecond,
    MillimetresPerSecondSquared,
    Seconds,
    Volts,
    Milliamperes,
    Ohms,
    /// Of rise; may be less than nothing.
    Permille,
    Share,
    Count,
    /// A whole number whose bounds the caller checks.
    Address,
}

impl Unit {
    fn words(self) -> &'static str {
        match self {
            Self::Millimetres | Self::MillimetresFromEnd => "a number of millimetres",
            Self::MillimetresPerSecond => "a number of millimetres a second",
            Self::MillimetresPerSecondSquared => "a number of millimetres a second squared",
            Self::Seconds => "a number of seconds",
            Self::Volts => "a number of volts",
            Self::Milliamperes => "a number of milliamperes",
            Self::Ohms => "a number of ohms",
            Self::Permille => "a number of millimetres a metre, less than zero where the track falls",
            Self::Share => "a number between 0 and 1",
            Self::Count | Self::Address => "a whole number",
        }
    }

    /// What is wrong with a value, where something is.
    fn objection(self, value: f64) -> Option<String> {
        let (zero_is_fine, most, too_much) = match self {
            Self::Millimetres => (false, LONGEST_MM, "more than a kilometre on the table"),
            Self::MillimetresFromEnd => (true, LONGEST_MM, "more than a kilometre on the table"),
            Self::MillimetresPerSecond => (false, FASTEST_MM_S, "more than 20 metres a second on the table"),
            Self::MillimetresPerSecondSquared => (false, STEEPEST_MM_S2, "more than ten times the pull of gravity"),
            Self::Seconds => (true, SLOWEST_S, "more than ten minutes"),
            Self::Volts => (false, HIGHEST_V, "more than 60 volts, which no model railway's track carries"),
            Self::Milliamperes => (false, LARGEST_MA, "more than ten amperes"),
            Self::Ohms => (false, LARGEST_OHM, "more than ten megohms"),
            Self::Permille if value.abs() > STEEPEST_PERMILLE => {
                return Some("is more than half a metre a metre".to_owned());
            }
            Self::Permille if value.is_finite() => return None,
            Self::Permille => (true, STEEPEST_PERMILLE, ""),
            Self::Share => (true, 1.0, "more than the whole"),
            Self::Count => (true, 1e9, "more than can be counted here"),
            Self::Address => return None,
        };
        if !value.is_finite() {
            Some(format!("is `{value}`"))
        } else if value < 0.0 {
            Some("is negative".to_owned())
        } else if value == 0.0 && !zero_is_fine {
            Some("is zero".to_owned())
        } else if self == Self::Milliamperes && value < SMALLEST_MA {
            Some("is less than ten microamperes".to_owned())
        } else if self == Self::Ohms && value < SMALLEST_OHM {
            Some("is less than 500 ohms, and would burn".to_owned())
        } else {
            (value > most).then(|| format!("is {too_much}"))
        }
    }
}

/// Reads a value as a number within what its unit believes.
pub(crate) fn number_of(key: &str, unit: Unit, value: Said<&DeValue<'_>>, out: &mut Findings) -> Option<Said<f64>> {
    let number = match value.value {
        DeValue::Integer(number) => {
            i64::from_str_radix(number.as_str(), number.radix()).ok().map(|number| number as f64)
        }
        DeValue::Float(number) if !matches!(unit, Unit::Count | Unit::Address) => number.as_str().parse::<f64>().ok(),
        other => {
            let literal = match other {
                DeValue::String(text) if text.trim().parse::<f64>().is_ok() => Some(text.trim()),
                _ => None,
            };
            wrong_type(key, unit.words(), value, out)
                .hint_if(literal.map(|literal| format!("write `{key} = {literal}`, without quotes")));
            return None;
        }
    };
    let objection = number.map_or_else(|| Some("has too many digits".to_owned()), |number| unit.objection(number));
    if let Some(objection) = objection {
        out.mistake(value.span, format!("`{key}` {objection}")).hint(format!("`{key}` is {}", unit.words()));
        return None;
    }
    number.map(|number| Said { value: number, span: value.span })
}

/// Reads a speed such as `40 km/h` or `25 mph`.
pub(crate) fn read_speed(text: &str) -> Option<WrittenSpeed> {
    let split = text.find(|letter: char| letter.is_alphabetic())?;
    let (number, unit) = text.split_at(split);
    let number: f64 = number.trim().parse().ok()?;
    let speed = match unit.trim() {
        "km/h" => WrittenSpeed::Real(number),
        "mph" => WrittenSpeed::Real(number * KM_PER_MILE),
        "mm/s" => WrittenSpeed::OnTable(number),
        _ => return None,
    };
    (number > 0.0 && number <= FASTEST_MM_S).then_some(speed)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn forty_kilometres_an_hour_are_slow_in_h0() {
        let speed = read_speed("40 km/h").unwrap().on_table(87.0);
        assert_eq!(speed.um(), 127_714, "40 km/h / 3.6 / 87 = 127.714 mm/s");
        assert_eq!(read_speed("10 mph").unwrap().on_table(87.0).um(), 51_384);
        assert!(read_speed("fast").is_none() && read_speed("-3 km/h").is_none());
    }
}
