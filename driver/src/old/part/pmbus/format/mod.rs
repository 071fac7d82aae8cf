//! Number formats of PMBus Part II: words to whole numbers of a unit, and back. No reading is rounded more than once.

mod direct;
mod linear;

pub use direct::Coefficients;
pub use linear::{linear11, linear16};

use core::num::NonZeroU32;

use crate::old::wide::divided;

/// The unit in which values are counted, in thousand-millionths of a volt, an ampere or a watt.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Unit(NonZeroU32);

impl Unit {
    /// Nanovolts, nanoamperes or nanowatts.
    pub const NANO: Self = Self(NonZeroU32::MIN);

    /// So many of them; 0 counts as 1.
    #[must_use]
    pub const fn nano(count: u32) -> Self {
        match NonZeroU32::new(count) {
            Some(count) => Self(count),
            None => Self::NANO,
        }
    }

    /// How many nanovolts, nanoamperes or nanowatts it is.
    #[must_use]
    pub const fn as_nano(self) -> u32 {
        self.0.get()
    }
}

/// Which way a value goes that has no word of its own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Rounding {
    /// To a value that is not greater: for over-limits, which trip no later than asked for.
    Down,
    /// To the nearest; halves to the even word (of LINEAR11: the even mantissa).
    Nearest,
    /// To a value that is not less: for under-limits.
    Up,
}

/// How a device writes a quantity in two bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Format {
    /// Mantissa of 11 bits and exponent of 5, both two's complement: Y × 2^N.
    Linear11,
    /// Unsigned mantissa of 16 bits, with the exponent that VOUT_MODE tells: V × 2^N.
    Linear16(i8),
    /// Coefficients that COEFFICIENTS tells: (Y × 10^-R − b) ÷ m.
    Direct(Coefficients),
}

impl Format {
    /// The value of a word in `unit`s: rounded to nearest, ties to even, once; the end of the range of `i64` where it does not fit.
    ///
    /// # Source
    /// PMBus Part II, data formats.
    ///
    /// ```
    /// use crake::old::part::pmbus::format::{Format, Unit};
    ///
    /// let millivolts = Unit::nano(1_000_000);
    /// assert_eq!(Format::Linear16(-9).value(0x069A, millivolts), 3_301); // 3.30078125 V
    /// assert_eq!(Format::Linear11.value(0xEAC0, millivolts), 88_000);
    /// ```
    #[must_use]
    pub fn value(self, word: u16, unit: Unit) -> i64 {
        let (numerator, denominator) = match self {
            Self::Linear11 => linear11(word),
            Self::Linear16(exponent) => linear16(word, exponent),
            Self::Direct(coefficients) => coefficients.fraction(i64::from(word as i16), 1),
        };
        counted((numerator, denominator), unit)
    }

    /// The word for `value` `unit`s, rounded as told; `None` where no word's value lies on that side of it, or, to the nearest, where it lies beyond the last word.
    ///
    /// Beyond the last word on the safe side that last word is given: [`value`](Self::value) tells what it stands for.
    ///
    /// ```
    /// use crake::old::part::pmbus::format::{Format, Rounding, Unit};
    ///
    /// let limit = |rounding| Format::Linear11.word(3_300, Unit::nano(1_000_000), rounding);
    /// assert_eq!(limit(Rounding::Up), Some(0xC34D)); // 845 × 2^-8 = 3.30078125
    /// assert_eq!(limit(Rounding::Down), Some(0xC34C)); // 844 × 2^-8 = 3.296875
    /// ```
    #[must_use]
    pub fn word(self, value: i64, unit: Unit, rounding: Rounding) -> Option<u16> {
        // Below 2^95 in magnitude.
        let nano = i128::from(value).saturating_mul(i128::from(unit.as_nano()));
        match self {
            Self::Linear11 => linear::word11(nano, rounding),
            Self::Linear16(exponent) => linear::word16(nano, exponent, rounding),
            Self::Direct(coefficients) => coefficients.word(nano, rounding),
        }
    }

    /// The word at an end of the format: the greatest value, or the least.
    #[must_use]
    pub fn end(self, greatest: bool) -> u16 {
        match self {
            Self::Linear11 => linear::end11(greatest),
            Self::Linear16(_) if greatest => u16::MAX,
            Self::Linear16(_) => 0,
            Self::Direct(coefficients) => coefficients.end(greatest),
        }
    }

    /// The word one step up or down in value, for LINEAR11 with the same exponent; `None` at the end.
    #[must_use]
    pub fn neighbour(self, word: u16, up: bool) -> Option<u16> {
        match self {
            Self::Linear11 => linear::neighbour11(word, up),
            Self::Linear16(_) if up => word.checked_add(1),
            Self::Linear16(_) => word.checked_sub(1),
            Self::Direct(coefficients) => coefficients.neighbour(word, up),
        }
    }
}

/// What VOUT_MODE says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum VoutMode {
    /// ULINEAR16 with this exponent, −16 to 15.
    Linear(i8),
    /// Codes of a manufacturer's table.
    Vid,
    /// DIRECT.
    Direct,
    /// Half precision floating point (Part II rev 1.3).
    Half,
    /// Limits that are relative to the output command (Part II rev 1.3): they move with it.
    Relative,
    /// None that the standard names.
    Unknown,
}

impl VoutMode {
    /// Bit 7: relative limits; bits 6 and 5: mode; bits 4 to 0: parameter, in linear mode a two's complement exponent.
    #[must_use]
    pub const fn from_byte(byte: u8) -> Self {
        if byte & 0x80 != 0 {
            return Self::Relative;
        }
        match byte >> 5 {
            0 => Self::Linear(((byte << 3) as i8) >> 3),
            1 => Self::Vid,
            2 => Self::Direct,
            3 => Self::Half,
            _ => Self::Unknown,
        }
    }
}

/// Nano-units in a whole one.
const NANO: i128 = 1_000_000_000;

/// A fraction of thousand-millionths in `unit`s, rounded to nearest, ties to even.
pub(super) fn counted((numerator, denominator): (i128, u128), unit: Unit) -> i64 {
    // Denominators are at most 2^32 × 2^40 × 2^15.
    nearest(
        numerator,
        denominator.wrapping_mul(u128::from(unit.as_nano())),
    )
}

/// A fraction, rounded to nearest, ties to even; the end of the range of `i64` where it does not fit.
fn nearest(numerator: i128, denominator: u128) -> i64 {
    let magnitude = quotient(numerator.unsigned_abs(), denominator, Rounding::Nearest);
    let magnitude = u64::try_from(magnitude).unwrap_or(u64::MAX);
    if numerator < 0 {
        0_i64.saturating_sub_unsigned(magnitude)
    } else {
        0_i64.saturating_add_unsigned(magnitude)
    }
}

/// A fraction, rounded as told; the greatest number where `denominator` is 0.
fn rounded(numerator: i128, denominator: u128, rounding: Rounding) -> i128 {
    let negative = numerator < 0;
    let rounding = match rounding {
        Rounding::Down if negative => Rounding::Up,
        Rounding::Up if negative => Rounding::Down,
        as_it_is => as_it_is,
    };
    let magnitude = quotient(numerator.unsigned_abs(), denominator, rounding);
    let magnitude = i128::try_from(magnitude).unwrap_or(i128::MAX);
    if negative {
        magnitude.wrapping_neg() // not the least number
    } else {
        magnitude
    }
}

fn quotient(numerator: u128, denominator: u128, rounding: Rounding) -> u128 {
    let Some(quotient) = divided(numerator, denominator) else {
        return u128::MAX;
    };
    let rest = numerator.wrapping_sub(quotient.wrapping_mul(denominator)); // below the denominator
    let missing = denominator.wrapping_sub(rest);
    let up = match rounding {
        Rounding::Down => false,
        Rounding::Up => rest != 0,
        Rounding::Nearest => rest > missing || (rest == missing && quotient & 1 == 1),
    };
    quotient.saturating_add(u128::from(up))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// PMBus Part II rev 1.3, VOUT_MODE: three modes of the revisions before, and the two that 1.3 added.
    #[test]
    fn vout_mode_byte_by_byte() {
        assert_eq!(VoutMode::from_byte(0x17), VoutMode::Linear(-9));
        assert_eq!(VoutMode::from_byte(0x14), VoutMode::Linear(-12));
        assert_eq!(VoutMode::from_byte(0x10), VoutMode::Linear(-16));
        assert_eq!(VoutMode::from_byte(0x0F), VoutMode::Linear(15));
        assert_eq!(VoutMode::from_byte(0x21), VoutMode::Vid);
        assert_eq!(VoutMode::from_byte(0x40), VoutMode::Direct);
        assert_eq!(VoutMode::from_byte(0x60), VoutMode::Half);
        assert_eq!(VoutMode::from_byte(0x97), VoutMode::Relative);
    }

    /// Quotients by hand, each sign and each way.
    #[test]
    fn rounding_three_ways() {
        for (numerator, down, nearest_even, up) in [
            (5, 2, 2, 3),
            (7, 3, 4, 4),
            (-5, -3, -2, -2),
            (-7, -4, -4, -3),
            (6, 3, 3, 3),
            (-6, -3, -3, -3),
            (0, 0, 0, 0),
        ] {
            assert_eq!(rounded(numerator, 2, Rounding::Down), down);
            assert_eq!(rounded(numerator, 2, Rounding::Nearest), nearest_even);
            assert_eq!(rounded(numerator, 2, Rounding::Up), up);
            assert_eq!(i128::from(nearest(numerator, 2)), nearest_even);
        }
        assert_eq!(nearest(i128::MAX, 1), i64::MAX);
        assert_eq!(nearest(i128::MIN, 1), i64::MIN);
    }
}
