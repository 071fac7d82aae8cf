//! Products of hundreds of bits, in a loop over words: what totals are made by.

use super::divide::{divided, number_of, words_of};
use super::factor::product_unsigned as product;

/// `numerator ÷ denominator` as mantissa × 2^(places − from), where the mantissa has 62 bits,
/// rounded down; `None` where it would take more than 43 places or less than none.
pub(crate) const fn long_factor(numerator: u128, denominator: u64, from: u8) -> Option<(u64, u8)> {
    let (mut numerator, mut places) = (numerator, from);
    while numerator >> 61 < denominator as u128 {
        if places == 0 {
            return None;
        }
        numerator <<= 1;
        places = places.wrapping_sub(1);
    }
    let (quotient, _) = divided(numerator, denominator);
    if quotient >> 62 == 0 && places <= 43 {
        Some((quotient as u64, places))
    } else {
        None
    }
}

/// `number × factor` modulo 2^128: right for numbers below zero, too, as long as the product fits.
#[inline(never)] // linked once
pub(crate) fn scaled_wide(number: i128, factor: u64) -> i128 {
    let mut words = words_of(number as u128);
    multiply(&mut words, factor);
    number_of(&words) as i128
}

/// `number × Π factors`, within 320 bits, least significant word first.
pub(crate) fn long_product(number: u128, factors: &[u64]) -> Words {
    let mut words = Words([0; 10]);
    if let Some(low) = words.0.first_chunk_mut() {
        *low = words_of(number);
    }
    for factor in factors {
        multiply(&mut words.0, *factor);
    }
    words
}

/// A number in words, least significant first.
#[repr(align(8))] // see the monitor's `Core`
pub(crate) struct Words(pub(crate) [u32; 10]);

/// Words, least significant first, times a factor; what is beyond them is lost.
#[inline(never)] // linked once
fn multiply(words: &mut [u32], factor: u64) {
    const LOW: u64 = u32::MAX as u64;
    let (high, low) = ((factor >> 32) as u32, factor as u32);
    let mut carry = 0_u64;
    for word in words {
        if u64::from(*word) | carry == 0 {
            continue; // most words are zero
        }
        // A product and two numbers of 32 bits fit in 64 bits.
        let first = product(*word, low).wrapping_add(carry & LOW);
        carry = product(*word, high)
            .wrapping_add(carry >> 32)
            .wrapping_add(first >> 32);
        *word = first as u32;
    }
}

/// `a × b ÷ 2^32`, rounded down.
pub(crate) const fn share(a: u64, b: u32) -> u64 {
    product((a >> 32) as u32, b).wrapping_add(product(a as u32, b) >> 32)
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::{long_factor, long_product, scaled_wide, share};
    use num_bigint::BigUint;
    use std::vec::Vec;

    const FACTORS: [u64; 8] = [
        0,
        1,
        3,
        1_000_000_007,
        1 << 32,
        0x0123_4567_89AB_CDEF,
        u32::MAX as u64,
        u64::MAX,
    ];

    fn numbers() -> Vec<u128> {
        let bits = (0..128).step_by(7).map(|bit| 1_u128 << bit);
        bits.flat_map(|bit| [bit - 1, bit, bit | 0x1234_5678, u128::MAX - bit])
            .collect()
    }

    #[test]
    fn products_modulo_128_bits() {
        for number in numbers() {
            for factor in FACTORS {
                let expected = number.wrapping_mul(factor.into()) as i128;
                assert_eq!(scaled_wide(number as i128, factor), expected);
                let negative = (number as i128).wrapping_neg();
                assert_eq!(scaled_wide(negative, factor), expected.wrapping_neg());
            }
        }
    }

    /// Against arbitrary precision.
    #[test]
    fn products_of_320_bits() {
        for number in numbers() {
            for a in FACTORS {
                for b in FACTORS {
                    let exact = BigUint::from(number) * a * b * 1_000_003_u64;
                    let got = BigUint::from_slice(&long_product(number, &[a, 1_000_003, b]).0);
                    assert_eq!(got, exact, "{number} × {a} × {b}");
                }
            }
        }
    }

    #[test]
    fn shares() {
        for a in FACTORS {
            for b in FACTORS.map(|b| b as u32) {
                let exact = (u128::from(a) * u128::from(b)) >> 32;
                assert_eq!(u128::from(share(a, b)), exact);
            }
        }
    }

    /// 62 bits, never more than the ratio, and less than one in the last place below it.
    #[test]
    fn long_factors() {
        for (numerator, denominator) in [
            (1, 1),
            (107_374_182_400_000, 10_000_000_000),
            (107_374_182_400_000, 100_000),
            (5_368_709_120_000_000, 10_000_000_000_000_000),
            ((1 << 33) - 1, 3),
        ] {
            let (mantissa, places) = long_factor(numerator, denominator, 70).unwrap_or((0, 0));
            assert_eq!(mantissa >> 61, 1, "{numerator} over {denominator}");
            let exact = (BigUint::from(numerator) << (70 - places)) / denominator;
            assert_eq!(BigUint::from(mantissa), exact);
        }
        assert_eq!(long_factor(1, 1 << 20, 70), None);
        assert_eq!(long_factor(1 << 34, 1, 70), Some((1 << 61, 43)));
        assert_eq!(long_factor(1 << 35, 1, 70), None);
        assert_eq!(long_factor(0, 1, 70), None);
    }
}
