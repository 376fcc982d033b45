//! Times as people write them, to whole nanoseconds and back, without a float between.

use signaller::Time;

/// The latest time that is understood: some 126 years. Leaves room for the signaller to reckon ahead.
const LATEST_SECONDS: i64 = 4_000_000_000;

const NANOS: i64 = 1_000_000_000;

/// Reads a number in JSON's form. Finer than a nanosecond is rounded to the nearest.
///
/// # Errors
/// In plain words, where the time is before the start or too far away.
pub(super) fn read(number: &str) -> Result<Time, String> {
    let (mantissa, exponent) = number.split_once(['e', 'E']).unwrap_or((number, "0"));
    let (negative, mantissa) = match mantissa.strip_prefix('-') {
        Some(rest) => (true, rest),
        None => (false, mantissa),
    };
    let (whole, fraction) = mantissa.split_once('.').unwrap_or((mantissa, ""));
    let digits: Vec<u8> = whole.bytes().chain(fraction.bytes()).skip_while(|&digit| digit == b'0').collect();
    let leading_zeros = whole.len() + fraction.len() - digits.len();
    if digits.is_empty() {
        return Ok(Time::ZERO);
    }
    let sign_and_digits = exponent.trim_start_matches('+');
    let exponent =
        sign_and_digits.parse::<i64>().unwrap_or(if sign_and_digits.starts_with('-') { -9999 } else { 9999 });
    // How many of the digits stand before the point once the number counts nanoseconds.
    let before_point = whole.len() as i64 - leading_zeros as i64 + exponent.clamp(-9999, 9999) + 9;
    if negative {
        return Err("is before the start: times are seconds since the record began".to_owned());
    }
    if before_point > 19 {
        return Err(format!("is too far away: the latest time understood is {LATEST_SECONDS} seconds"));
    }
    let digit = |place: i64| {
        usize::try_from(place).ok().and_then(|place| digits.get(place)).map_or(0, |&d| i128::from(d - b'0'))
    };
    let mut nanos = (0..before_point).fold(0_i128, |sum, place| sum * 10 + digit(place));
    nanos += i128::from(digit(before_point) >= 5);
    if nanos > i128::from(LATEST_SECONDS) * i128::from(NANOS) {
        return Err(format!("is too far away: the latest time understood is {LATEST_SECONDS} seconds"));
    }
    Ok(Time::from_nanos(nanos as i64))
}

/// Writes a time as the shortest decimal of the same value, with at least one digit behind the point.
pub(super) fn write(time: Time, out: &mut Vec<u8>) {
    let (mut seconds, mut fraction) = ((time.nanos() / NANOS) as u64, time.nanos() % NANOS);
    let mut text = [0_u8; 32];
    let mut first = 20;
    loop {
        first -= 1;
        text[first] = b'0' + (seconds % 10) as u8;
        seconds /= 10;
        if seconds == 0 {
            break;
        }
    }
    text[20] = b'.';
    let mut last = 21;
    let mut place = NANOS / 10;
    loop {
        text[last] = b'0' + (fraction / place) as u8;
        last += 1;
        fraction %= place;
        place /= 10;
        if fraction == 0 {
            break;
        }
    }
    out.extend_from_slice(&text[first..last]);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn there_and_back(number: &str) -> String {
        let mut out = Vec::new();
        write(read(number).unwrap(), &mut out);
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn a_time_comes_back_as_it_was_written() {
        for number in
            ["0.0", "12.5", "57212.0", "22428.689", "0.000000001", "1763000000.123456789", "3999999999.999999999"]
        {
            assert_eq!(there_and_back(number), number);
        }
    }

    #[test]
    fn other_spellings_of_a_time_mean_the_same() {
        for (number, same) in [
            ("12", "12.0"),
            ("12.500", "12.5"),
            ("1.25e1", "12.5"),
            ("125E-1", "12.5"),
            ("0.00125e+4", "12.5"),
            ("-0.0", "0.0"),
            ("0.30000000000000004", "0.3"),
            ("0.9999999999", "1.0"),
            ("1e-400", "0.0"),
        ] {
            assert_eq!(there_and_back(number), same, "for {number}");
        }
    }

    #[test]
    fn a_time_before_the_start_or_beyond_reckoning_is_refused() {
        for number in
            ["-1", "-0.001", "4000000001", "1e10", "1e308", "1e99999999999999999999", "99999999999999999999999"]
        {
            assert!(read(number).is_err(), "{number} was taken");
        }
    }
}
