//! Limits as short numbers that are never less than what they stand for.
//!
//! A bound need not be exact, it must hold. 32 bits and an exponent, rounded up at every step, take a fraction of the code, time and memory of exact
//! arithmetic on a core of 32 bits, and are no more than 2^-30 (a thousand millionth) too great for each step.

use crate::old::wide::root;

/// `mantissa × 2^exponent`, rounded up; the mantissa's top bit is set, or all is zero.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Upper {
    mantissa: u32,
    exponent: i32,
}

impl Upper {
    pub(crate) const ZERO: Self = Self {
        mantissa: 0,
        exponent: 0,
    };
    /// Beyond whatever has a unit.
    pub(crate) const MAX: Self = Self {
        mantissa: u32::MAX,
        exponent: 127,
    };

    /// A whole number.
    #[inline(never)]
    pub(crate) const fn from(number: u64) -> Self {
        Self::rounded(number, 0)
    }

    /// A whole number of any length.
    #[inline(never)]
    pub(crate) const fn from_wide(number: u128) -> Self {
        let (mut number, mut exponent) = (number, 64_i32);
        // Words of leading zeros; after that 33 bits at least are in the upper half.
        while number != 0 && number >> 96 == 0 {
            number <<= 32;
            exponent = exponent.wrapping_sub(32);
        }
        let below = (number as u64 != 0) as u64;
        Self::rounded((number >> 64) as u64 | below, exponent)
    }

    /// `number × 2^exponent`.
    const fn rounded(number: u64, exponent: i32) -> Self {
        if number == 0 {
            return Self::ZERO;
        }
        let zeros = number.leading_zeros();
        let number = number << zeros;
        let exponent = exponent.wrapping_add(32).wrapping_sub(zeros as i32);
        let below = (number as u32 != 0) as u32;
        match ((number >> 32) as u32).checked_add(below) {
            Some(mantissa) => Self { mantissa, exponent },
            None => Self {
                mantissa: 1 << 31,
                exponent: exponent.wrapping_add(1),
            },
        }
    }

    /// `self × 2^places`.
    pub(crate) const fn shifted(self, places: i32) -> Self {
        Self {
            mantissa: self.mantissa,
            exponent: self.exponent.wrapping_add(places),
        }
    }

    /// `self × other`.
    #[inline(never)]
    pub(crate) const fn times(self, other: Self) -> Self {
        // 32 by 32 bits fit in 64.
        let product = (self.mantissa as u64).wrapping_mul(other.mantissa as u64);
        Self::rounded(product, self.exponent.wrapping_add(other.exponent))
    }

    /// `self + other`.
    #[inline(never)]
    pub(crate) const fn plus(self, other: Self) -> Self {
        let (great, small) =
            if other.mantissa == 0 || (self.mantissa != 0 && self.exponent >= other.exponent) {
                (self, other)
            } else {
                (other, self)
            };
        if small.mantissa == 0 {
            return great;
        }
        // Both with 31 places more: whatever of the smaller lies below them counts as one.
        let whole = (small.mantissa as u64) << 31;
        let apart = great.exponent.wrapping_sub(small.exponent) as u32;
        let shifted = match whole.checked_shr(apart) {
            Some(shifted) => shifted,
            None => 0,
        };
        let lost = match shifted.checked_shl(apart) {
            Some(again) => again != whole,
            None => true,
        };
        // Below 2^63 each.
        let sum = ((great.mantissa as u64) << 31)
            .wrapping_add(shifted)
            .wrapping_add(lost as u64);
        Self::rounded(sum, great.exponent.wrapping_sub(31))
    }

    /// `self ÷ divisor`; without end where that is 0.
    #[inline(never)]
    pub(crate) const fn over(self, divisor: u64) -> Self {
        if divisor == 0 {
            return Self::MAX;
        }
        // The divisor is rounded down.
        let zeros = divisor.leading_zeros();
        let by = ((divisor << zeros) >> 32) as u32;
        // One bit of the quotient at a time; both have their top bit set, so the first is for the mantissa as it is.
        let (mut rest, mut quotient, mut bits) = (self.mantissa as u64, 0_u64, 34_u32);
        while bits > 0 {
            quotient <<= 1;
            if rest >= by as u64 {
                rest = rest.wrapping_sub(by as u64);
                quotient |= 1;
            }
            rest <<= 1;
            bits = bits.wrapping_sub(1);
        }
        let quotient = (quotient << 1) | (rest != 0) as u64;
        // mantissa ÷ by × 2^33, and one place more; by × 2^(32 − zeros) is the divisor.
        let exponent = self.exponent.wrapping_sub(34);
        let exponent = exponent.wrapping_sub(32_i32.wrapping_sub(zeros as i32));
        Self::rounded(quotient, exponent)
    }

    /// The root.
    #[inline(never)]
    pub(crate) const fn root(self) -> Self {
        // 31 or 32 places more, so that an even exponent is left.
        let places = 32_i32.wrapping_sub(self.exponent & 1);
        let number = (self.mantissa as u64) << places;
        let found = root(number as u128) as u64;
        let up = (found.wrapping_mul(found) != number) as u64;
        let exponent = self.exponent.wrapping_sub(places) >> 1;
        Self::rounded(found.wrapping_add(up), exponent)
    }

    /// The greater of both.
    pub(crate) const fn max(self, other: Self) -> Self {
        let greater = self.exponent > other.exponent
            || self.exponent == other.exponent && self.mantissa >= other.mantissa;
        if other.mantissa == 0 || self.mantissa != 0 && greater {
            self
        } else {
            other
        }
    }

    /// As a whole number, rounded up; the greatest where it does not fit.
    #[inline(never)]
    pub(crate) const fn whole(self) -> u128 {
        if self.exponent > 96 {
            return u128::MAX;
        }
        let whole = self.ceiling();
        let mut number = whole.mantissa as u128;
        let mut exponent = whole.exponent;
        // A whole number: what falls away below is nothing.
        while exponent < 0 {
            number >>= 1;
            exponent = exponent.wrapping_add(1);
        }
        while exponent > 0 {
            number <<= 1;
            exponent = exponent.wrapping_sub(1);
        }
        number
    }

    /// The next whole number.
    pub(crate) const fn ceiling(self) -> Self {
        match self.exponent {
            0.. => self,
            _ if self.mantissa == 0 => Self::ZERO,
            ..-31 => Self::from(1),
            places => {
                // From 1 to 31 places.
                let places = places.wrapping_neg() as u32;
                let below = (1_u32 << places).wrapping_sub(1);
                let whole = (self.mantissa >> places) as u64;
                Self::from(whole.wrapping_add((self.mantissa & below != 0) as u64))
            }
        }
    }

    /// Mantissa and exponent in five bytes; what is less than 2^-97 counts as that.
    pub(crate) const fn packed(self) -> (u32, i8) {
        match self.exponent {
            _ if self.mantissa == 0 => (0, 0),
            -128..=127 => (self.mantissa, self.exponent as i8),
            ..-128 => (1 << 31, -128),
            _ => (u32::MAX, 127),
        }
    }

    /// The other way round.
    pub(crate) const fn unpacked((mantissa, exponent): (u32, i8)) -> Self {
        Self {
            mantissa,
            exponent: exponent as i32,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_bigint::BigInt;
    use num_rational::BigRational;

    fn exact(upper: Upper) -> BigRational {
        let two = BigRational::from_integer(2.into());
        BigRational::from_integer(upper.mantissa.into()) * two.pow(upper.exponent)
    }

    fn ratio(numerator: u128, denominator: u128) -> BigRational {
        BigRational::new(BigInt::from(numerator), BigInt::from(denominator))
    }

    /// Never less, and at most 2^-30 more.
    fn close(got: Upper, truth: &BigRational) {
        let got_exact = exact(got);
        let most = truth * (ratio(1, 1) + ratio(1, 1 << 30));
        assert!(
            *truth <= got_exact && got_exact <= most,
            "{got:?} for {truth}"
        );
        assert!(got.mantissa == 0 || got.mantissa >> 31 == 1, "{got:?}");
    }

    const NUMBERS: [u64; 14] = [
        0,
        1,
        3,
        1_000_000_000,
        (1 << 31) - 1,
        1 << 31,
        (1 << 32) - 1,
        1 << 32,
        (1 << 32) + 1,
        10_000_000_000,
        0x0123_4567_89AB_CDEF,
        (1 << 63) - 1,
        u64::MAX - 1,
        u64::MAX,
    ];

    #[test]
    fn sums_products_quotients_and_roots_are_never_less_and_hardly_more() {
        for a in NUMBERS {
            let (wide_a, upper_a) = (u128::from(a), Upper::from(a));
            close(upper_a, &ratio(wide_a, 1));
            let root = upper_a.root();
            let squared = exact(root) * exact(root);
            let given = exact(upper_a);
            let most = &given * (ratio(1, 1) + ratio(1, 1 << 30));
            assert!(given <= squared && squared <= most, "root of {a}");
            for b in NUMBERS {
                let (wide_b, upper_b) = (u128::from(b), Upper::from(b));
                close(upper_a.plus(upper_b), &ratio(wide_a + wide_b, 1));
                close(upper_a.times(upper_b), &ratio(wide_a * wide_b, 1));
                if b == 0 {
                    assert_eq!(upper_a.over(b), Upper::MAX);
                } else {
                    close(upper_a.over(b), &ratio(wide_a, wide_b));
                }
                let greater = if a >= b { upper_a } else { upper_b };
                assert_eq!(upper_a.max(upper_b), greater);
                assert_eq!(exact(upper_a.shifted(-7)) * ratio(128, 1), exact(upper_a));
            }
        }
    }

    /// What fits 32 bits stays exact.
    #[test]
    fn small_numbers_are_exact() {
        let six = Upper::from(6);
        assert_eq!(six.times(Upper::from(7)).whole(), 42);
        assert_eq!(six.plus(Upper::from(36)).over(2).whole(), 21);
        assert_eq!(Upper::from(49).root().whole(), 7);
        assert_eq!(Upper::from(1).over(3).whole(), 1);
        assert_eq!(Upper::from(4).over(3).whole(), 2);
        assert_eq!(Upper::ZERO.over(3).whole(), 0);
        for (number, places, expected) in [
            (12, 2, 3),
            (13, 2, 4),
            (1, 40, 1),
            (1, 31, 1),
            (0, 1, 0),
            (3, 0, 3),
        ] {
            let ceiling = Upper::from(number).shifted(-places).ceiling();
            assert_eq!(ceiling, Upper::from(expected), "{number} {places}");
        }
    }

    #[test]
    fn wide_numbers_there_and_back() {
        for bits in 0..128 {
            let number = 1_u128 << bits;
            assert_eq!(Upper::from_wide(number).whole(), number);
            close(Upper::from_wide(number | 1), &ratio(number | 1, 1));
            close(Upper::from_wide(number - 1), &ratio(number - 1, 1));
        }
        assert_eq!(Upper::from_wide(0), Upper::ZERO);
        assert_eq!(Upper::MAX.whole(), u128::MAX);
        assert_eq!(Upper::from_wide(u128::MAX).whole(), u128::MAX);
    }

    #[test]
    fn five_bytes_hold_it() {
        for upper in [Upper::ZERO, Upper::MAX, Upper::from(77).shifted(-90)] {
            assert_eq!(Upper::unpacked(upper.packed()), upper);
        }
        let small = Upper::from(1).shifted(-200);
        assert!(exact(Upper::unpacked(small.packed())) > exact(small));
        let great = Upper::from(1).shifted(300);
        assert_eq!(Upper::unpacked(great.packed()), Upper::MAX);
    }
}
