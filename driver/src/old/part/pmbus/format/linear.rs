use super::{NANO, Rounding, rounded};

/// The word of LINEAR11 with the greatest value, 1023 × 2^15, or the least, −1024 × 2^15.
pub(super) const fn end11(greatest: bool) -> u16 {
    if greatest { 0x7BFF } else { 0x7C00 }
}

/// One more or less in the mantissa.
pub(super) const fn neighbour11(word: u16, up: bool) -> Option<u16> {
    let (exponent, mantissa) = (word & 0xF800, word & 0x07FF);
    match (mantissa, up) {
        (0x03FF, true) | (0x0400, false) => None,
        (_, true) => Some(exponent | (mantissa.wrapping_add(1) & 0x07FF)),
        (_, false) => Some(exponent | (mantissa.wrapping_sub(1) & 0x07FF)),
    }
}

/// Exponents, five bits in two's complement.
const EXPONENTS: core::ops::RangeInclusive<i8> = -16..=15;

/// The exact value of a LINEAR11 word as numerator, in thousand-millionths, and denominator.
///
/// Bits 15 to 11 are the exponent N, bits 10 to 0 the mantissa Y, both two's complement: X = Y × 2^N. A device may write the same value with any N.
#[must_use]
pub fn linear11(word: u16) -> (i128, u128) {
    let mantissa = ((word << 5) as i16) >> 5;
    let exponent = (word as i16) >> 11;
    fraction(i64::from(mantissa), exponent as i8)
}

/// The exact value of a ULINEAR16 word as numerator, in thousand-millionths, and denominator: X = V × 2^N. Exponents beyond −16 and 15 count as these.
#[must_use]
pub fn linear16(word: u16, exponent: i8) -> (i128, u128) {
    fraction(i64::from(word), exponent)
}

/// Below 2^16 × 2^15 × 2^30 over at most 2^16.
fn fraction(mantissa: i64, exponent: i8) -> (i128, u128) {
    let exponent = exponent.clamp(*EXPONENTS.start(), *EXPONENTS.end());
    let scaled = i128::from(mantissa).wrapping_mul(NANO);
    let places = u32::from(exponent.unsigned_abs());
    if exponent < 0 {
        (scaled, 1_u128.wrapping_shl(places))
    } else {
        (scaled.wrapping_shl(places), 1)
    }
}

/// The mantissa of a value with an exponent.
fn mantissa(nano: i128, exponent: i8, rounding: Rounding) -> i128 {
    let places = u32::from(exponent.unsigned_abs());
    if exponent < 0 {
        // Below 2^95 × 2^16.
        rounded(nano.wrapping_shl(places), NANO as u128, rounding)
    } else {
        rounded(nano, (NANO as u128).wrapping_shl(places), rounding)
    }
}

/// The least exponent with which the mantissa fits has the finest step, and so the closest word.
pub(super) fn word11(nano: i128, rounding: Rounding) -> Option<u16> {
    let found = EXPONENTS.into_iter().find_map(|exponent| {
        let mantissa = i16::try_from(mantissa(nano, exponent, rounding)).ok()?;
        (-1024..=1023)
            .contains(&mantissa)
            .then_some((exponent, mantissa))
    });
    match (found, rounding) {
        (Some((exponent, mantissa)), _) => {
            Some(((exponent as u16) << 11) | (mantissa as u16 & 0x07FF))
        }
        // Beyond the scale: its end, where that is the safe side.
        (None, Rounding::Down) if nano > 0 => Some(end11(true)),
        (None, Rounding::Up) if nano < 0 => Some(end11(false)),
        (None, _) => None,
    }
}

pub(super) fn word16(nano: i128, exponent: i8, rounding: Rounding) -> Option<u16> {
    let exponent = exponent.clamp(*EXPONENTS.start(), *EXPONENTS.end());
    let mantissa = mantissa(nano, exponent, rounding);
    match (u16::try_from(mantissa), rounding) {
        (Ok(word), _) => Some(word),
        (Err(_), Rounding::Down) if mantissa > 0 => Some(u16::MAX),
        (Err(_), Rounding::Up) if mantissa < 0 => Some(0),
        (Err(_), _) => None,
    }
}
