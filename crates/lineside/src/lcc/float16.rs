//! Speeds of trains in sixteen bits (Train Control, section 4.1; IEEE 754 half precision).
//!
//! The sign is the direction, and minus zero is a train that stands and faces backward.

/// Bits of the fraction.
const FRACTION: u32 = 10;
/// What the exponent counts from.
const BIAS: i32 = 15;
/// The bit of the sign.
const SIGN: u16 = 0x8000;

/// The nearest number of sixteen bits; of two that are as near, the even one.
pub fn to_float16(value: f64) -> u16 {
    let sign = if value.is_sign_negative() { SIGN } else { 0 };
    let size = value.abs();
    if size.is_nan() {
        return 0xFFFF;
    }
    // Below the smallest normal number steps are even: 2^-24 each.
    let exponent = if size == 0.0 { -14 } else { size.log2().floor().clamp(-14.0, 16.0) as i32 };
    let steps = round_half_even(size * f64::from(1 << FRACTION) / 2f64.powi(exponent));
    // What was rounded up into the next exponent carries over by itself, for a hidden one is added, not set.
    let coded = (f64::from((exponent + BIAS - 1) << FRACTION) + steps).min(f64::from(0x7C00));
    let is_subnormal = exponent == -14 && steps < f64::from(1 << FRACTION);
    sign | if is_subnormal { steps as u16 } else { coded as u16 }
}

fn round_half_even(value: f64) -> f64 {
    let down = value.floor();
    match (value - down).total_cmp(&0.5) {
        std::cmp::Ordering::Less => down,
        std::cmp::Ordering::Greater => down + 1.0,
        std::cmp::Ordering::Equal => down + down % 2.0,
    }
}

/// The number in sixteen bits; nothing where they are none: a speed that is not known.
pub fn from_float16(bits: u16) -> Option<f64> {
    let exponent = i32::from(bits >> FRACTION & 0x1F);
    let fraction = f64::from(bits & 0x03FF) / f64::from(1 << FRACTION);
    let size = match exponent {
        0x1F => return None,
        0 => fraction * 2f64.powi(1 - BIAS),
        _ => (1.0 + fraction) * 2f64.powi(exponent - BIAS),
    };
    Some(if bits & SIGN == 0 { size } else { -size })
}
