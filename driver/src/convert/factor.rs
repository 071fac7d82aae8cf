//! Factors for readings: fixed point, worked out once, applied without a division.

use super::{divided, times};

/// Nanoamperes for each 256th of a sense unit, with 48 binary places.
///
/// Within half a nanoampere and 2^-17 nA of the exact product, for sense voltages below 2^31
/// 256ths.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CurrentFactor(Fixed);

/// Nanowatts for each product of a 256th of a sense unit and a rail unit, with 64 binary places.
///
/// Within half a nanowatt and what its last binary place makes of the product, for products below
/// 2^62.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PowerFactor(Fixed);

/// A number below 2^62 as `high × 2^32 + low`, both signed: what products are made of.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Fixed {
    high: i32,
    low: i32,
}

impl Fixed {
    const ZERO: Self = Self { high: 0, low: 0 };

    #[inline(always)]
    const fn of(number: i64) -> Self {
        Self {
            high: (number.wrapping_add(1 << 31) >> 32) as i32,
            low: number as i32,
        }
    }

    /// Times a gain in 2^-30, rounded to nearest; `None` if that is nothing, or takes more than 62
    /// bits.
    #[inline(never)] // linked once
    const fn corrected(self, gain: u32) -> Option<Self> {
        let number = ((self.high as i64) << 32).wrapping_add(self.low as i64);
        match corrected(number as u64, gain) {
            number @ 1.. if number >> 62 == 0 => Some(Self::of(number as i64)),
            _ => None,
        }
    }
}

/// A number below 2^63 times a gain in 2^-30 that is below 2, rounded to nearest.
#[inline(never)]
pub(crate) const fn corrected(number: u64, gain: u32) -> u64 {
    (times(number, gain).wrapping_add(1 << 29) >> 30) as u64
}

impl CurrentFactor {
    /// Nothing.
    pub const ZERO: Self = Self(Fixed::ZERO);

    /// `numerator` / (`denominator` × 2^38) nanoamperes for each 256th of a unit; `None` from 2^14
    /// nA on.
    #[must_use]
    #[inline(always)] // with the shift a constant
    pub const fn new(numerator: u128, denominator: u64) -> Option<Self> {
        match fixed(numerator, denominator, 48 - 38) {
            Some(bits) => Some(Self(bits)),
            None => None,
        }
    }

    /// The same times a gain in 2^-30, within the last of its places; `None` if that is nothing, or
    /// 2^14 nA or more.
    pub(crate) const fn corrected(self, gain: u32) -> Option<Self> {
        match self.0.corrected(gain) {
            Some(bits) => Some(Self(bits)),
            None => None,
        }
    }

    /// The current of a sense voltage, in nanoamperes, rounded to nearest, halves up.
    #[must_use]
    #[inline(always)] // a call costs a third of it
    pub const fn apply(self, sense_256ths: i32) -> i64 {
        let nanoamps = product(sense_256ths, self.0.high)
            .wrapping_add(product(sense_256ths, self.0.low) >> 32)
            .wrapping_add(1 << 15);
        nanoamps >> 16
    }
}

impl PowerFactor {
    /// Nothing.
    pub const ZERO: Self = Self(Fixed::ZERO);

    /// `numerator` / (`denominator` × 2^38) nanowatts for each product; `None` from 1/4 nW on.
    #[must_use]
    #[inline(always)]
    pub const fn new(numerator: u128, denominator: u64) -> Option<Self> {
        match fixed(numerator, denominator, 64 - 38) {
            Some(bits) => Some(Self(bits)),
            None => None,
        }
    }

    /// The same times a gain in 2^-30, within the last of its places; `None` if that is nothing, or
    /// 1/4 nW or more.
    pub(crate) const fn corrected(self, gain: u32) -> Option<Self> {
        match self.0.corrected(gain) {
            Some(bits) => Some(Self(bits)),
            None => None,
        }
    }

    /// The power of a product, in nanowatts, rounded to nearest, halves up.
    #[must_use]
    #[inline(always)]
    pub const fn apply(self, product_256ths: i64) -> i64 {
        let Fixed { high, low } = Fixed::of(product_256ths);
        // Each below 2^62, and the last below 2^30.
        let middle = product(high, self.0.low)
            .wrapping_add(product(low, self.0.high))
            .wrapping_add(product(low, self.0.low) >> 32)
            .wrapping_add(1 << 31);
        product(high, self.0.high).wrapping_add(middle >> 32)
    }
}

/// A number below 2^62 times one below 2^16, if the result is below 2^63.
#[must_use]
#[inline(always)]
pub(crate) const fn scaled(number: i64, by: u16) -> i64 {
    let Fixed { high, low } = Fixed::of(number);
    let above = high.wrapping_mul(by as i32) as i64;
    product_by_short(low, by).wrapping_add(above << 32)
}

/// `numerator` / `denominator` × 2^`places`, rounded to nearest; `None` if it takes more than 62
/// bits, or the numerator too many.
#[inline(always)]
const fn fixed(numerator: u128, denominator: u64, places: u32) -> Option<Fixed> {
    if denominator == 0 || numerator >> (128_u32.wrapping_sub(places)) != 0 {
        return None;
    }
    let (bits, rest) = divided(numerator << places, denominator);
    let bits = bits.wrapping_add((rest >= denominator.wrapping_sub(rest)) as u128);
    if bits >> 62 == 0 {
        Some(Fixed::of(bits as i64))
    } else {
        None
    }
}

/// A product of 32 by 32 bits, signed.
///
/// Cores that do not give it in one instruction call a routine for 64 by 64 bits; four products of
/// half words cost less. Such a core has no compare-and-swap either, which the compiler tells.
#[inline(always)]
pub(crate) const fn product(a: i32, b: i32) -> i64 {
    if WITHOUT_LONG_PRODUCT {
        product_of_half_words(a, b)
    } else {
        (a as i64).wrapping_mul(b as i64)
    }
}

/// The same of a number of 16 bits: two products of half words.
#[inline(always)]
pub(crate) const fn product_by_short(a: i32, b: u16) -> i64 {
    if WITHOUT_LONG_PRODUCT {
        let low = (a as u32 & 0xFFFF).wrapping_mul(b as u32);
        let high = (a >> 16).wrapping_mul(b as i32);
        ((high as i64) << 16).wrapping_add(low as i64)
    } else {
        (a as i64).wrapping_mul(b as i64)
    }
}

const WITHOUT_LONG_PRODUCT: bool = cfg!(all(target_arch = "arm", not(target_has_atomic = "32")));

/// The same of numbers without a sign: what has its highest bit set counts 2^32 more than it shows.
#[inline(always)]
pub(crate) const fn product_unsigned(a: u32, b: u32) -> u64 {
    if cfg!(all(target_arch = "arm", not(target_has_atomic = "32"))) {
        unsigned_of_half_words(a, b)
    } else {
        (a as u64).wrapping_mul(b as u64)
    }
}

/// A number times one without a sign, if the result is below 2^63.
#[inline(always)]
pub(crate) const fn product_wide(number: i64, by: u32) -> i64 {
    if WITHOUT_LONG_PRODUCT {
        wide_of_half_words(number, by)
    } else {
        number.wrapping_mul(by as i64)
    }
}

#[inline(never)]
const fn wide_of_half_words(number: i64, by: u32) -> i64 {
    let above = ((number >> 32) as u32).wrapping_mul(by);
    (product_unsigned(number as u32, by) as i64).wrapping_add((above as i64) << 32)
}

#[inline(never)]
const fn unsigned_of_half_words(a: u32, b: u32) -> u64 {
    let (mask_a, mask_b) = ((a as i32 >> 31) as u32, (b as i32 >> 31) as u32);
    let more = (b & mask_a).wrapping_add(a & mask_b);
    (product_of_half_words(a as i32, b as i32) as u64).wrapping_add((more as u64) << 32)
}

#[inline(never)]
const fn product_of_half_words(a: i32, b: i32) -> i64 {
    const LOW: i32 = 0xFFFF;
    // The upper halves are signed, the lower ones are not.
    let (a1, a0, b1, b0) = (a >> 16, a & LOW, b >> 16, b & LOW);
    let low = (a0 as u32).wrapping_mul(b0 as u32);
    // Between -2^31 and 2^31: a product of 15 by 16 bits, and one or two numbers of 16 bits.
    let middle = a1.wrapping_mul(b0).wrapping_add((low >> 16) as i32);
    let cross = a0.wrapping_mul(b1).wrapping_add(middle & LOW);
    let high = a1
        .wrapping_mul(b1)
        .wrapping_add(middle >> 16)
        .wrapping_add(cross >> 16);
    ((high as i64) << 32) | ((cross as u32) << 16 | (low & LOW as u32)) as i64
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::{CurrentFactor, PowerFactor, product_of_half_words, product_unsigned};
    use num_bigint::BigInt;
    use num_rational::BigRational;
    use std::vec::Vec;

    /// Against the host's own 64 bits: words with bits set or cleared at either end of a half.
    #[test]
    fn products_of_half_words() {
        let words = [
            0,
            1,
            -1,
            0x7FFF,
            0x8000,
            0xFFFF,
            0x1_0000,
            -0x8000,
            -0x1_0000,
            -0xFFFF,
            0x7FFF_FFFF,
            0x7FFF_0000,
            -0x7FFF_FFFF,
            i32::MIN,
        ];
        for a in words {
            for b in words {
                assert_eq!(product_of_half_words(a, b), i64::from(a) * i64::from(b));
                let (a, b) = (a as u32, b as u32);
                assert_eq!(product_unsigned(a, b), u64::from(a) * u64::from(b));
            }
        }
    }

    fn off(got: i64, code: i64, numerator: u128, denominator: u128) -> BigRational {
        let exact = BigRational::new(
            BigInt::from(code) * BigInt::from(numerator),
            BigInt::from(denominator),
        );
        let off = BigRational::from(BigInt::from(got)) - exact;
        if off < BigRational::from(BigInt::from(0)) {
            -off
        } else {
            off
        }
    }

    /// Ratios from 1e-2 to 1e4 against exact fractions, at the ends and all over.
    #[test]
    fn currents_are_within_half_a_nanoampere() {
        let codes: Vec<i32> = (0..31)
            .flat_map(|bit| [1 << bit, -(1 << bit), (1 << bit) - 1])
            .collect();
        let most = BigRational::new(BigInt::from((1 << 16) + 1), BigInt::from(1 << 17));
        for (numerator, denominator) in [
            (1, 1),
            (3_906, 1),
            (1, 256),
            (100_000, 2_560_007),
            (39, 1_000),
        ] {
            let factor = CurrentFactor::new(numerator << 38, denominator).expect("a usual ratio");
            for &code in &codes {
                let got = factor.apply(code);
                assert!(
                    off(got, code.into(), numerator, denominator.into()) <= most,
                    "{numerator}/{denominator} {code} {got}"
                );
            }
        }
        assert_eq!(CurrentFactor::new(1 << (14 + 38), 1), None);
        assert_eq!(CurrentFactor::new(1, 0), None);
    }

    /// Against exact fractions: a factor times a gain is off by its own last place and one more.
    #[test]
    fn a_gain_changes_a_factor_by_no_more_than_its_last_place() {
        let most = BigRational::new(BigInt::from((1 << 15) + 1), BigInt::from(1 << 16));
        let (numerator, denominator) = (100_000_u128, 2_560_007_u64);
        let factor = CurrentFactor::new(numerator << 38, denominator).expect("a usual ratio");
        for gain in [
            1,
            1 << 29,
            (1 << 30) - 1,
            1 << 30,
            (1 << 30) + 12_345,
            (1 << 31) - 1,
        ] {
            let corrected = factor.corrected(gain).expect("a usual gain");
            for code in (0..31).flat_map(|bit| [1_i32 << bit, -(1 << bit)]) {
                let got = corrected.apply(code);
                let (top, bottom) = (numerator * u128::from(gain), u128::from(denominator) << 30);
                assert!(
                    off(got, code.into(), top, bottom) <= most,
                    "{gain} {code} {got}"
                );
            }
        }
        assert_eq!(factor.corrected(0), None);
        let great = CurrentFactor::new(10_000 << 38, 1).expect("below 2^14");
        assert_eq!(great.corrected((1 << 31) - 1), None);
        assert_eq!(great.corrected(1 << 30), Some(great));
    }

    #[test]
    fn powers_are_within_half_a_nanowatt() {
        let codes: Vec<i64> = (0..61)
            .flat_map(|bit| [1 << bit, -(1 << bit), (1_i64 << bit) - 1])
            .collect();
        let most = BigRational::new(BigInt::from((1_u64 << 33) + 1), BigInt::from(1_u64 << 34));
        for (numerator, denominator) in [(1, 5), (19, 100), (1, 1_000_003), (5, 10_000_019)] {
            let factor = PowerFactor::new(numerator << 38, denominator).expect("a usual ratio");
            for &code in codes.iter().filter(|code| code.unsigned_abs() < 1 << 56) {
                let got = factor.apply(code);
                let slack = BigRational::new(
                    BigInt::from(code.unsigned_abs()),
                    BigInt::from(1_u128 << 64),
                );
                let slack =
                    slack + BigRational::new(BigInt::from(1), BigInt::from(1_u64 << 32)) + &most;
                assert!(
                    off(got, code, numerator, denominator.into()) <= slack,
                    "{numerator}/{denominator} {code} {got}"
                );
            }
        }
        assert_eq!(PowerFactor::new(1 << 38, 4), None);
    }
}
