//! From codes to quantities: code × ratio as one multiply and one constant shift, and the way back by search.

use core::fmt;

mod search;

pub(crate) use search::first_where;
pub use search::{code_at_least, code_at_most};

/// A ratio by which codes are multiplied, worked out once from an exact fraction.
///
/// The result is a whole number of units (nanoamperes, say), **rounded to nearest, halves away from zero**, so the code `-n` always gives
/// minus what `n` gives. Make it in a `const` where the board is known at compile time:
///
/// ```
/// use crake::old::scale::{Scale, ScaleError};
///
/// // 500 nV a code over 4.7 mΩ, in nanoamperes: 500 nV × 10^9 ÷ 4 700 000 nΩ.
/// const CURRENT: Result<Scale, ScaleError> = Scale::new(500_000_000_000, 4_700_000, 18);
/// let current = CURRENT?;
/// assert!(current.is_exact());
/// assert_eq!(current.apply(131_071), 13_943_723_404); // 13 943 723 404.255…
/// assert_eq!(current.apply(-1), -106_383); // -106 382.978…
/// # Ok::<(), ScaleError>(())
/// ```
///
/// # How exact
///
/// The ratio is kept as a mantissa of 32 whole and 64 fractional bits, rounded **up**, hence too great by δ·2^-64 with 0 ≤ δ < 1. So for a code n > 0 the
/// product is too great by less than n·2^-64, and the result is within 1/2 + n·2^-64 of the exact value. With the ratio p/q in lowest terms, n·p/q is a
/// multiple of 1/q, and a value that lies below a half lies at least 1/(2q) below it. So no such value is lifted to the half
/// if n·2^-64 ≤ 1/(2q); values at or above a half stay there, because the error is never negative. Hence: if the greatest
/// code times 2q is at most 2^64, **every** code gives the correctly rounded result, ties included. [`is_exact`](Self::is_exact) tells.
/// (A mantissa rounded to nearest would allow a q twice as great, but would send ties either way.)
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Scale {
    /// The mantissa's bits of weight 2^-1 to 2^-64.
    fraction: u64,
    /// The mantissa's bits of weight 2^31 to 2^0.
    whole: u32,
    exact: bool,
}

impl Scale {
    /// Every code gives 0.
    pub(crate) const ZERO: Self = Self {
        fraction: 0,
        whole: 0,
        exact: true,
    };

    /// The ratio `numerator / denominator` for codes of `code_bits` bits, the sign included where there is one: magnitudes below 2^`code_bits`.
    ///
    /// The fraction need not be in lowest terms. Takes some thousand cycles on a small core, so keep the result.
    ///
    /// # Errors
    /// In this order: `ZeroDenominator`; `RatioTooGreat` if the ratio is 2^32 or more; `ResultTooGreat` if `code_bits` is over 63, or if a
    /// code times the ratio might leave the range of `i64`.
    pub const fn new(
        numerator: u128,
        denominator: u128,
        code_bits: u32,
    ) -> Result<Self, ScaleError> {
        let (Some(whole), Some(mut remainder)) = (
            numerator.checked_div(denominator),
            numerator.checked_rem(denominator),
        ) else {
            return Err(ScaleError::ZeroDenominator);
        };
        if whole >> 32 != 0 {
            return Err(ScaleError::RatioTooGreat);
        }

        // Long division. The remainder stays below the denominator; twice it may take 129 bits, of which `carry` is the top one, and
        // then the wrapped difference is the true one.
        let mut mantissa = whole;
        let mut bit = 0;
        while bit < 64 {
            let carry = remainder >> 127 != 0;
            remainder <<= 1;
            mantissa <<= 1;
            if carry || remainder >= denominator {
                remainder = remainder.wrapping_sub(denominator);
                mantissa |= 1;
            }
            bit = u32::wrapping_add(bit, 1);
        }
        let exhausted = remainder == 0;
        if !exhausted {
            // Below 2^96 so far: no overflow.
            mantissa = mantissa.wrapping_add(1);
        }
        if mantissa >> 96 != 0 {
            return Err(ScaleError::RatioTooGreat);
        }

        // The greatest product is below mantissa · 2^code_bits; shifted right by 64 it must fit 63 bits.
        if code_bits > 63 || mantissa > (u128::MAX >> 1) >> code_bits {
            return Err(ScaleError::ResultTooGreat);
        }
        // The reduction is dear and seldom needed.
        let greatest_denominator = (1 << 63) >> code_bits;
        let exact = exhausted
            || denominator <= greatest_denominator
            || reduced(denominator, numerator) <= greatest_denominator;
        Ok(Self {
            fraction: mantissa as u64,
            whole: (mantissa >> 64) as u32,
            exact,
        })
    }

    /// Whether each code of the promised width gives the correctly rounded result; otherwise a result may be off by 1/2 + |code|·2^-64 instead of 1/2.
    #[must_use]
    pub const fn is_exact(&self) -> bool {
        self.exact
    }

    /// A code of up to 32 bits, sign included, times the ratio; rounded to nearest, halves away from zero.
    ///
    /// Three products of 32 × 32 bits, no division and no shift by a variable. Cannot overflow, whatever the code.
    #[must_use]
    pub const fn apply(&self, code: i32) -> i64 {
        // All ones below zero: what is turned over by it and lessened by it has changed its sign, without a jump.
        let sign = code >> 31;
        let magnitude = (code ^ sign).wrapping_sub(sign) as u32;
        let low = product(magnitude, self.fraction as u32);
        // Half a unit is 2^31 at this place; what lies lower cannot carry. A product of at most 2^31 × (2^32 - 1) has room for both.
        let middle = product(magnitude, (self.fraction >> 32) as u32)
            .wrapping_add(low >> 32)
            .wrapping_add(1 << 31);
        // 2^31 codes times a mantissa below 2^96, shifted by 64: below 2^63, or 2^63 itself for the code -2^31 alone.
        let result = product(magnitude, self.whole).wrapping_add(middle >> 32) as i64;
        let sign = sign as i64;
        (result ^ sign).wrapping_sub(sign)
    }

    /// A code of any width times the ratio, as [`apply`](Self::apply); for powers, whose codes are products.
    ///
    /// Beyond the promised width a result that does not fit is the end of the range of `i64`.
    #[must_use]
    pub const fn apply_wide(&self, code: i64) -> i64 {
        const LOW: u64 = 0xFFFF_FFFF;
        let magnitude = code.unsigned_abs();
        let (high, low) = ((magnitude >> 32) as u32, magnitude as u32);
        let (upper, lower) = ((self.fraction >> 32) as u32, self.fraction as u32);
        // A product of 32 by 32 bits has room for two numbers of 32 bits more. The second line has half a unit, which is 2^31 at this place, as one of them.
        let low_upper = product(low, upper).wrapping_add(product(low, lower) >> 32);
        let high_lower = product(high, lower)
            .wrapping_add(low_upper & LOW)
            .wrapping_add(1 << 31);
        let low_whole = product(low, self.whole)
            .wrapping_add(low_upper >> 32)
            .wrapping_add(high_lower >> 32);
        let high_upper = product(high, upper).wrapping_add(low_whole & LOW);
        let high_whole = product(high, self.whole)
            .wrapping_add(low_whole >> 32)
            .wrapping_add(high_upper >> 32);
        if high_whole >> 31 != 0 {
            return if code < 0 { i64::MIN } else { i64::MAX };
        }
        let result = ((high_whole << 32) | (high_upper & LOW)) as i64;
        if code < 0 {
            result.wrapping_neg()
        } else {
            result
        }
    }
}

/// The 64 bits of a product of 32 by 32.
///
/// Cores that do not give them in one instruction call a routine for 64 by 64 bits; four products of half words cost less. A core of that kind has no compare-and-swap, either, which is
/// what the compiler tells of it.
const fn product(a: u32, b: u32) -> u64 {
    if cfg!(all(target_arch = "arm", not(target_has_atomic = "32"))) {
        product_of_half_words(a, b)
    } else {
        (a as u64).wrapping_mul(b as u64)
    }
}

#[inline(never)]
const fn product_of_half_words(a: u32, b: u32) -> u64 {
    const LOW: u32 = 0xFFFF;
    let (a1, a0, b1, b0) = (a >> 16, a & LOW, b >> 16, b & LOW);
    // Below 2^32 each, sums of a product and one or two numbers of 16 bits included.
    let low = a0.wrapping_mul(b0);
    let middle = a1.wrapping_mul(b0).wrapping_add(low >> 16);
    let cross = a0.wrapping_mul(b1).wrapping_add(middle & LOW);
    let high = a1
        .wrapping_mul(b1)
        .wrapping_add(middle >> 16)
        .wrapping_add(cross >> 16);
    ((high as u64) << 32) | ((cross << 16) | (low & LOW)) as u64
}

/// Why a [`Scale`] cannot be made.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ScaleError {
    /// The denominator is zero.
    ZeroDenominator,
    /// The ratio is 2^32 or more. A finer unit of code, or a coarser unit of result, makes it smaller.
    RatioTooGreat,
    /// The greatest code times the ratio exceeds the range of `i64`, or codes have more than 63 bits.
    ResultTooGreat,
}

impl fmt::Display for ScaleError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::ZeroDenominator => "scale: the denominator is zero",
            Self::RatioTooGreat => "scale: the ratio is 2^32 or more",
            Self::ResultTooGreat => "scale: the greatest code times the ratio exceeds 63 bits",
        })
    }
}

impl core::error::Error for ScaleError {}

/// The denominator of the fraction in lowest terms.
const fn reduced(denominator: u128, numerator: u128) -> u128 {
    let (mut divisor, mut rest) = (denominator, numerator);
    // Euclid; at most 185 steps for 128 bits.
    while let Some(next) = divisor.checked_rem(rest) {
        divisor = rest;
        rest = next;
    }
    match denominator.checked_div(divisor) {
        Some(denominator) => denominator,
        None => denominator,
    }
}

#[cfg(test)]
mod tests {
    use super::{Scale, ScaleError, product_of_half_words};

    /// Against the host's own 64 bits: every pair of words with a few bits set or cleared at either end of a half.
    #[test]
    fn products_of_half_words() {
        let words = [
            0,
            1,
            0x7FFF,
            0x8000,
            0xFFFF,
            0x1_0000,
            0x1_FFFF,
            0x7FFF_FFFF,
            0x8000_0000,
            0x8000_FFFF,
            0xFFFF_0000,
            0xFFFF_FFFF,
            0x0123_4567,
            0xFEDC_BA98,
        ];
        for a in words {
            for b in words {
                let expected = u64::from(a) * u64::from(b);
                assert_eq!(product_of_half_words(a, b), expected, "{a:#x} × {b:#x}");
            }
        }
    }

    #[test]
    fn what_cannot_be_scaled_is_refused() {
        assert_eq!(Scale::new(1, 0, 18), Err(ScaleError::ZeroDenominator));
        assert_eq!(Scale::new(1 << 32, 1, 18), Err(ScaleError::RatioTooGreat));
        // Below 2^32, but rounded up to it.
        assert_eq!(
            Scale::new(u128::MAX, 1 << 96, 18),
            Err(ScaleError::RatioTooGreat)
        );
        assert_eq!(Scale::new(1 << 31, 1, 32), Err(ScaleError::ResultTooGreat));
        assert_eq!(Scale::new(1, 1, 64), Err(ScaleError::ResultTooGreat));
        assert!(Scale::new((1 << 32) - 1, 1, 31).is_ok());
    }

    /// Fractions at the ends of 128 bits, where doubling the remainder takes a 129th.
    #[test]
    fn fractions_of_any_size_are_divided_exactly() {
        let scale = |numerator, denominator| Scale::new(numerator, denominator, 32);
        assert_eq!(scale(u128::MAX, u128::MAX), scale(1, 1));
        assert_eq!(scale(u128::MAX / 3, u128::MAX), scale(1, 3));
        assert_eq!(scale(u128::MAX / 3 * 2, u128::MAX), scale(2, 3));
        assert_eq!(scale(0, 7).map(|scale| scale.apply(i32::MIN)), Ok(0));
    }

    #[test]
    fn halves_go_away_from_zero() {
        // 1/6 is no binary fraction: its halves come out right because the mantissa is rounded up.
        for (numerator, denominator) in [(1, 2), (1, 6), (7, 10)] {
            let scale = Scale::new(numerator, denominator, 18).expect("a small ratio");
            let code = i32::try_from(denominator / 2).expect("small");
            let half = i64::try_from(numerator).expect("small");
            assert_eq!(
                (scale.apply(code), scale.apply(-code)),
                ((half + 1) / 2, -(half + 1) / 2)
            );
        }
    }

    /// Products that fill every bit: the carry between limbs, and the ends of the codes.
    #[test]
    fn narrow_and_wide_agree_and_never_overflow() {
        for numerator in [
            1,
            0xFFFF_FFFF,
            u64::MAX >> 1,
            0x0000_0001_FFFF_FFFF,
            0xFFFF_FFFF_0000_0001,
        ] {
            let ratios = [
                Scale::new(u128::from(numerator), 1 << 32, 18),
                Scale::new(u128::from(numerator), u128::from(u64::MAX), 18),
            ];
            for scale in ratios.into_iter().flatten() {
                for code in [
                    0,
                    1,
                    -1,
                    2,
                    131_071,
                    -131_072,
                    i32::MAX,
                    i32::MIN,
                    i32::MIN + 1,
                ] {
                    assert_eq!(
                        scale.apply(code),
                        scale.apply_wide(i64::from(code)),
                        "{numerator} × {code}"
                    );
                }
            }
        }
        let greatest = Scale::new((1 << 96) - 1, 1 << 64, 31).expect("the greatest ratio");
        assert_eq!(
            (greatest.apply(i32::MAX), greatest.apply(i32::MIN)),
            (((1 << 31) - 1) << 32, i64::MIN)
        );
        assert_eq!(
            (greatest.apply_wide(i64::MAX), greatest.apply_wide(i64::MIN)),
            (i64::MAX, i64::MIN)
        );
    }

    /// The code whose value lies 1/(2q) below a half, worked out with Python's `fractions`: 3030303020 × 500000000 ÷ 9999999967
    /// is 151515151.49999999995. The mantissa lifts it over the half, and the scale had said that it might.
    #[test]
    fn a_scale_that_is_not_exact_says_so() {
        let scale = Scale::new(500_000_000, 9_999_999_967, 34).expect("a small ratio");
        assert!(!scale.is_exact());
        assert_eq!(scale.apply_wide(3_030_303_020), 151_515_152);
        // The same for narrower codes is exact, and so is a fraction that shrinks, or one that is binary.
        assert!(Scale::new(500_000_000, 9_999_999_967, 29).is_ok_and(|scale| scale.is_exact()));
        assert!(Scale::new(1_000_000, 10_000_000_000_000, 34).is_ok_and(|scale| scale.is_exact()));
        assert!(Scale::new(3, 1 << 60, 34).is_ok_and(|scale| scale.is_exact()));
        // 2^29 is the greatest denominator for 34 bits that are not binary; these are the primes on either side of it.
        assert!(Scale::new(1, 536_870_909, 34).is_ok_and(|scale| scale.is_exact()));
        assert!(Scale::new(1, 536_870_923, 34).is_ok_and(|scale| !scale.is_exact()));
    }
}
