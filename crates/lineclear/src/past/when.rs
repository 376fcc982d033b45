//! Times as people write them.

use jiff::civil::{DateTime, Time as TimeOfDay};
use jiff::tz::TimeZone;
use jiff::{Timestamp, ToSpan, Unit, Zoned};
use signaller::Time;

/// Reads a time on the wall, and gives milliseconds since 1970: `20:14`, the last one there was; `2026-11-29 20:14:30`.
///
/// # Errors
/// In words, where it is none.
pub(super) fn wall(written: &str, now: &Zoned) -> Result<i64, String> {
    let wrong = || format!("`{written}` is no time; write it as `20:14`, `20:14:30` or `2026-11-29 20:14`");
    let zoned = match (written.parse::<DateTime>(), written.parse::<TimeOfDay>()) {
        (Ok(moment), _) => moment.to_zoned(now.time_zone().clone()).map_err(|_| wrong())?,
        (Err(_), Ok(time)) => {
            let today = now.date().to_datetime(time).to_zoned(now.time_zone().clone()).map_err(|_| wrong())?;
            if today <= *now { today } else { today.checked_sub(1.day()).map_err(|_| wrong())? }
        }
        (Err(_), Err(_)) => return Err(wrong()),
    };
    Ok(zoned.timestamp().as_millisecond())
}

/// Writes a time on the wall, to the second.
pub(super) fn in_words(wall_ms: i64, zone: &TimeZone) -> String {
    let Ok(moment) = Timestamp::from_millisecond(wall_ms) else { return "?".to_owned() };
    let moment = moment.to_zoned(zone.clone()).datetime();
    moment.round(Unit::Second).unwrap_or(moment).to_string().replace('T', " ")
}

/// Reads a layout time: `12.5` or `12.5s` seconds, `0:03:05.5` hours, minutes and seconds.
///
/// # Errors
/// In words, where it is none.
pub(super) fn layout_time(written: &str) -> Result<Time, String> {
    let wrong = || format!("`{written}` is no layout time; write seconds, such as `12.5`, or `0:03:05.5`");
    let number = |text: &str| {
        let is_plain = !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.');
        text.parse::<f64>().ok().filter(|_| is_plain).ok_or_else(wrong)
    };
    let mut seconds = 0.0;
    for part in written.strip_suffix('s').unwrap_or(written).split(':') {
        seconds = seconds * 60.0 + number(part)?;
    }
    if seconds > 1e9 { Err(wrong()) } else { Ok(Time::from_secs_f64(seconds)) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_time_of_day_is_the_last_one_there_was() {
        let now: Zoned = "2026-11-29T12:00:00+00:00[UTC]".parse().unwrap();
        let said = |written: &str| in_words(wall(written, &now).unwrap(), &TimeZone::UTC);
        assert_eq!(said("11:30"), "2026-11-29 11:30:00");
        assert_eq!(said("20:14"), "2026-11-28 20:14:00");
        assert_eq!(said("20:14:31"), "2026-11-28 20:14:31");
        assert_eq!(said("2026-11-01 20:14"), "2026-11-01 20:14:00");
        for wrong in ["", "25:00", "8 o'clock", "2026-13-01 10:00", "now"] {
            assert!(wall(wrong, &now).is_err(), "{wrong}");
        }
    }

    #[test]
    fn layout_time_is_read_as_it_is_written() {
        assert_eq!(layout_time("12.5"), Ok(Time::from_millis(12_500)));
        assert_eq!(layout_time("12.5s"), Ok(Time::from_millis(12_500)));
        assert_eq!(layout_time("1:02:03.0"), Ok(Time::from_millis(3_723_000)));
        for wrong in ["", "-1", "1e3", "1:", "NaN", "abc"] {
            assert!(layout_time(wrong).is_err(), "{wrong}");
        }
    }
}
