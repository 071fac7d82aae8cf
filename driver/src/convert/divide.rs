//! The one division and the one root of the driver: bit by bit, so that no library routine is
//! linked.

use super::factor::product_unsigned as product;

/// Quotient and remainder. By 0, or by more than 2^63, the quotient is the greatest number.
pub(crate) const fn divided(dividend: u128, divisor: u64) -> (u128, u64) {
    if divisor.wrapping_sub(1) >> 63 != 0 {
        return (u128::MAX, 0);
    }
    let mut words = words_of(dividend);
    let rest = divide(&mut words, divisor);
    (number_of(&words), rest)
}

/// Puts the quotient in the place of a number in words, least significant first; the remainder is
/// given back. The divisor is not 0, and at most 2^63.
pub(crate) const fn divide(words: &mut [u32], divisor: u64) -> u64 {
    let (mut rest, mut left) = (0_u64, words);
    while let [others @ .., word] = left {
        // Words of leading zeros, and words before the divisor is reached, make zeros.
        let mut bits = 32_u32;
        if rest >> 32 == 0 && ((rest << 32) | *word as u64) < divisor {
            (rest, *word, bits) = ((rest << 32) | *word as u64, 0, 0);
        }
        while bits > 0 {
            rest = (rest << 1) | (*word >> 31) as u64; // it was below the divisor
            *word <<= 1;
            if rest >= divisor {
                rest = rest.wrapping_sub(divisor);
                *word |= 1;
            }
            bits = bits.wrapping_sub(1);
        }
        left = others;
    }
    rest
}

/// A number in words, least significant first.
#[inline(always)]
pub(crate) const fn words_of(number: u128) -> [u32; 4] {
    [
        number as u32,
        (number >> 32) as u32,
        (number >> 64) as u32,
        (number >> 96) as u32,
    ]
}

/// The other way round.
#[inline(always)]
pub(crate) const fn number_of(&[a, b, c, d]: &[u32; 4]) -> u128 {
    let (high, low) = ((d as u64) << 32 | c as u64, (b as u64) << 32 | a as u64);
    (high as u128) << 64 | low as u128
}

/// The quotient, rounded up; the greatest number where it does not fit.
pub(crate) const fn divided_up(dividend: u128, divisor: u64) -> u64 {
    let (quotient, rest) = divided(dividend, divisor);
    if quotient >> 64 != 0 {
        return u64::MAX;
    }
    (quotient as u64).saturating_add((rest != 0) as u64)
}

/// The product of 64 by 32 bits.
pub(crate) const fn times(a: u64, b: u32) -> u128 {
    let (high, low) = (product((a >> 32) as u32, b), product(a as u32, b));
    ((high as u128) << 32).wrapping_add(low as u128)
}

/// The root, rounded down.
#[inline(never)]
pub(crate) const fn root(number: u64) -> u32 {
    let (mut found, mut bit) = (0_u32, 1_u32 << 31);
    while bit != 0 {
        let tried = (found | bit) as u64;
        if tried.wrapping_mul(tried) <= number {
            found |= bit; // the square of 32 bits fits
        }
        bit >>= 1;
    }
    found
}

#[cfg(test)]
mod tests {
    use super::{divided, divided_up, root, times};

    const NUMBERS: [u64; 10] = [
        1,
        3,
        1_000_000_007,
        (1 << 32) - 1,
        1 << 32,
        0x0123_4567_89AB_CDEF,
        1 << 63,
        (1 << 63) + 1,
        u64::MAX - 1,
        u64::MAX,
    ];
    const TOO_MANY: u64 = (1 << 63) + 1;

    /// Against the host's own 128 bits, with dividends of every length.
    #[test]
    fn quotients() {
        for divisor in NUMBERS.into_iter().filter(|divisor| *divisor < TOO_MANY) {
            for number in NUMBERS {
                for shift in 0..65 {
                    let dividend = u128::from(number) << shift | u128::from(divisor >> 1);
                    let by = u128::from(divisor);
                    let (quotient, rest) = divided(dividend, divisor);
                    assert_eq!((quotient, u128::from(rest)), (dividend / by, dividend % by));
                    let up = u64::try_from(dividend.div_ceil(by)).unwrap_or(u64::MAX);
                    assert_eq!(divided_up(dividend, divisor), up);
                }
            }
        }
        assert_eq!(divided(0, 7), (0, 0));
        for divisor in [0, TOO_MANY, u64::MAX] {
            assert_eq!(divided(5, divisor).0, u128::MAX);
            assert_eq!(divided_up(5, divisor), u64::MAX);
        }
    }

    #[test]
    fn products() {
        for a in NUMBERS {
            for b in NUMBERS {
                let product = u128::from(a) * u128::from(b as u32);
                assert_eq!(times(a, b as u32), product);
            }
        }
    }

    #[test]
    fn roots() {
        for number in NUMBERS.into_iter().chain(0..1_000) {
            let (found, number) = (u128::from(root(number)), u128::from(number));
            assert!(found * found <= number && (found + 1) * (found + 1) > number);
        }
    }
}
