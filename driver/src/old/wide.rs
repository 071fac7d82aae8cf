//! Products wider than 128 bits, divided once: totals of years stay exact.
//!
//! On a core of 32 bits each of these is long, and longer still where the compiler copies it into every place of use: so each stands once, and what is used most takes
//! references, one word each instead of four.

/// `a × b ÷ c`, rounded to nearest, halves away from zero; the product may take 256 bits.
///
/// `None` if `c` is 0 or the result does not fit.
#[inline(never)]
pub(crate) fn mul_div(a: i128, b: i128, c: u128) -> Option<i128> {
    let negative = (a < 0) != (b < 0);
    let magnitude = mul_div_unsigned(a.unsigned_abs(), b.unsigned_abs(), c)?;
    let magnitude = i128::try_from(magnitude).ok()?;
    Some(if negative {
        magnitude.wrapping_neg()
    } else {
        magnitude
    }) // not i128::MIN
}

fn mul_div_unsigned(a: u128, b: u128, c: u128) -> Option<u128> {
    let (high, low) = product(a, b);
    if high >= c {
        // Covers c = 0, too.
        return None;
    }
    let (quotient, remainder) = long_division(high, low, c);
    round_up(quotient, remainder, c)
}

/// 256 by 128 bits, one bit at a time: the compiler's own routines are several times as long and on cores of 32 bits no faster. `high` is below `divisor`.
#[inline(never)]
const fn long_division(mut high: u128, mut low: u128, divisor: u128) -> (u128, u128) {
    let mut bits = u128::BITS;
    // Words of leading zeros give words of zeros.
    while high == 0 && low >> 96 == 0 && bits > 32 {
        low <<= 32;
        bits = bits.wrapping_sub(32);
    }
    let mut quotient = 0_u128;
    while bits > 0 {
        let carry = high >> 127 != 0;
        high = (high << 1) | (low >> 127);
        low <<= 1;
        quotient <<= 1;
        if carry || high >= divisor {
            // With a carry the true value is 2^128 more than `high`, and the wrapped difference is right.
            high = high.wrapping_sub(divisor);
            quotient |= 1;
        }
        bits = bits.wrapping_sub(1);
    }
    (quotient, high)
}

/// One more where the remainder is at least half of the divisor.
fn round_up(quotient: u128, remainder: u128, divisor: u128) -> Option<u128> {
    quotient.checked_add(u128::from(remainder >= divisor.wrapping_sub(remainder))) // remainder < divisor
}

/// `a ÷ b`, rounded down; `None` where `b` is 0.
pub(crate) const fn divided(a: u128, b: u128) -> Option<u128> {
    if b == 0 {
        return None;
    }
    let (quotient, _) = long_division(0, a, b);
    Some(quotient)
}

/// `a × b`, or the greatest number where it does not fit.
#[inline(never)]
pub(crate) const fn times(a: &u128, b: &u128) -> u128 {
    match product(*a, *b) {
        (0, low) => low,
        _ => u128::MAX,
    }
}

/// `a × b ÷ c`, rounded up; without end where `c` is 0. A product that does not fit counts as the greatest number.
#[inline(never)]
pub(crate) const fn over(a: &u128, b: &u128, c: &u128) -> u128 {
    if *c == 0 {
        return u128::MAX;
    }
    let (quotient, remainder) = long_division(0, times(a, b), *c);
    plus(quotient, (remainder != 0) as u128)
}

/// `a + b`, or the greatest number where it does not fit.
#[inline(never)]
pub(crate) const fn plus(a: u128, b: u128) -> u128 {
    a.saturating_add(b)
}

/// The root of a number, rounded down: two bits at a time, from the top.
#[inline(never)]
pub(crate) const fn root(number: u128) -> u128 {
    let (mut rest, mut root, mut bit) = (number, 0_u128, 1_u128 << 126);
    while bit != 0 {
        // Below 2^128: the bits of `root` and `bit` do not overlap.
        let trial = root | bit;
        root >>= 1;
        if rest >= trial {
            rest = rest.wrapping_sub(trial);
            root |= bit;
        }
        bit >>= 2;
    }
    root
}

/// The 256 bits of a product, as high and low half.
#[inline(never)]
const fn product(a: u128, b: u128) -> (u128, u128) {
    const LOW: u128 = u64::MAX as u128;
    let (a1, a0) = (a >> 64, a & LOW);
    let (b1, b0) = (b >> 64, b & LOW);
    // Products of 64 by 64 bits fit in 128; the sums below have room by the usual bound (2^64-1)^2 + 2(2^64-1) < 2^128.
    let low = a0.wrapping_mul(b0);
    let mid = a1.wrapping_mul(b0).wrapping_add(low >> 64);
    let cross = a0.wrapping_mul(b1).wrapping_add(mid & LOW);
    let high = a1
        .wrapping_mul(b1)
        .wrapping_add(mid >> 64)
        .wrapping_add(cross >> 64);
    (high, (cross << 64) | (low & LOW))
}

/// `number × Π factors ÷ Π divisors`, rounded down, and whether something was rounded off; the greatest number where it does not fit, or a divisor is 0.
///
/// One loop over words for all of them: what a total takes is in the hundreds of bits. Rounding down after each division comes to the same as once after the last.
/// Divisors below 2^63; at most 384 bits in between.
#[inline(never)]
pub(crate) const fn chained(number: u128, factors: &[u64], divisors: &[u64]) -> (u128, bool) {
    // Most significant first.
    let mut words = [0_u32; 12];
    if let Some(low) = words.last_chunk_mut::<4>() {
        *low = [
            (number >> 96) as u32,
            (number >> 64) as u32,
            (number >> 32) as u32,
            number as u32,
        ];
    }
    let mut factors = factors;
    while let [factor, more @ ..] = factors {
        if *factor != 1 {
            multiply(&mut words, *factor);
        }
        factors = more;
    }
    let (mut divisors, mut rounded) = (divisors, false);
    while let [divisor, more @ ..] = divisors {
        if *divisor == 0 {
            return (u128::MAX, true);
        }
        rounded |= *divisor != 1 && divide(&mut words, *divisor) != 0;
        divisors = more;
    }
    let [beyond @ .., a, b, c, d] = words;
    let mut beyond: &[u32] = &beyond;
    while let [word, more @ ..] = beyond {
        if *word != 0 {
            return (u128::MAX, true);
        }
        beyond = more;
    }
    let (high, low) = ((a as u64) << 32 | b as u64, (c as u64) << 32 | d as u64);
    ((high as u128) << 64 | low as u128, rounded)
}

const fn multiply(words: &mut [u32], factor: u64) {
    const LOW: u64 = u32::MAX as u64;
    let (high, low) = (factor >> 32, factor & LOW);
    let (mut carry, mut before) = (0_u64, 0_u64);
    let mut rest = words;
    while let [more @ .., word] = rest {
        let now = *word as u64;
        // A product and one 32-bit number more fit in 64 bits: each product takes the low half of what is carried, and the upper halves go on together.
        let first = now.wrapping_mul(low).wrapping_add(carry & LOW);
        let second = before.wrapping_mul(high).wrapping_add(first & LOW);
        *word = second as u32;
        carry = (carry >> 32)
            .wrapping_add(first >> 32)
            .wrapping_add(second >> 32);
        before = now;
        rest = more;
    }
}

/// Gives the remainder.
const fn divide(words: &mut [u32], divisor: u64) -> u64 {
    let (mut remainder, mut rest) = (0_u64, words);
    while let [word, more @ ..] = rest {
        // Words of leading zeros give words of zeros.
        let mut bits = if remainder == 0 && *word == 0 {
            0
        } else {
            32_u32
        };
        while bits > 0 {
            remainder = (remainder << 1) | (*word >> 31) as u64;
            *word <<= 1;
            if remainder >= divisor {
                remainder = remainder.wrapping_sub(divisor);
                *word |= 1;
            }
            bits = bits.wrapping_sub(1);
        }
        rest = more;
    }
    remainder
}

/// The same rounded up.
#[inline(never)]
pub(crate) const fn chained_up(number: u128, factors: &[u64], divisors: &[u64]) -> u128 {
    let (quotient, rounded) = chained(number, factors, divisors);
    plus(quotient, rounded as u128)
}

/// The same of a number with a sign, rounded to nearest, halves away from zero.
#[inline(never)]
pub(crate) fn chained_signed(number: i128, factors: &[u64], divisors: &[u64]) -> i128 {
    let (twice, _) = chained(number.unsigned_abs().wrapping_mul(2), factors, divisors);
    let magnitude = i128::try_from(twice.saturating_add(1) >> 1).unwrap_or(i128::MAX);
    if number < 0 {
        magnitude.wrapping_neg()
    } else {
        magnitude
    } // not i128::MIN
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_bigint::BigUint;

    #[test]
    fn small_numbers_round_to_nearest() {
        assert_eq!(mul_div(7, 3, 2), Some(11)); // 10.5
        assert_eq!(mul_div(-7, 3, 2), Some(-11));
        assert_eq!(mul_div(7, 3, 5), Some(4)); // 4.2
        assert_eq!(mul_div(1, 1, 0), None);
    }

    /// Against the core library's own.
    #[test]
    fn roots() {
        for bits in 0..128 {
            for number in [
                1_u128 << bits,
                (1 << bits) - 1,
                u128::MAX >> bits,
                0x0123_4567_89AB_CDEF << (bits / 2),
            ] {
                assert_eq!(root(number), number.isqrt(), "{number}");
            }
        }
        assert_eq!(root(u128::MAX), u128::from(u64::MAX));
    }

    #[test]
    fn products_and_quotients_end_at_the_greatest_number() {
        assert_eq!(
            times(&(1 << 64), &((1 << 64) - 1)),
            u128::MAX - u128::from(u64::MAX)
        );
        assert_eq!(times(&(1 << 64), &(1 << 64)), u128::MAX);
        assert_eq!(
            (over(&7, &3, &5), over(&7, &5, &5), over(&0, &5, &7)),
            (5, 7, 0)
        );
        assert_eq!(
            (over(&1, &1, &0), over(&u128::MAX, &2, &1)),
            (u128::MAX, u128::MAX)
        );
    }

    /// Against the core library's own.
    #[test]
    fn quotients() {
        let numbers = [
            1,
            3,
            1_000_000,
            u128::from(u32::MAX),
            1 << 32,
            1 << 64,
            (1 << 96) - 1,
            u128::MAX / 3,
            u128::MAX,
        ];
        for a in numbers.into_iter().chain([0]) {
            for b in numbers {
                assert_eq!(divided(a, b), Some(a / b), "{a} over {b}");
                assert_eq!(over(&a, &1, &b), a.div_ceil(b), "{a} over {b}");
            }
            assert_eq!(divided(a, 0), None);
        }
    }

    #[test]
    fn products_beyond_128_bits() {
        // (2^100)(2^90) ÷ 2^80 = 2^110, and one unit of 2^80 more or less.
        assert_eq!(mul_div(1 << 100, 1 << 90, 1 << 80), Some(1 << 110));
        assert_eq!(
            mul_div(-(1 << 100), (1 << 90) + 1, 1 << 80),
            Some(-((1 << 110) + (1 << 20)))
        );
        // (2^126 - 1)(2^126 + 1) = 2^252 - 1; over 2^126: 2^126 less 2^-126, which rounds to 2^126.
        assert_eq!(
            mul_div((1 << 126) - 1, (1 << 126) + 1, 1 << 126),
            Some(1 << 126)
        );
        assert_eq!(mul_div(1 << 126, 1 << 126, 1 << 100), None);
    }

    #[test]
    fn chains_of_factors_and_divisors() {
        let big = |number: u128| BigUint::from(number);
        let numbers = [
            0,
            1,
            7,
            u128::from(u32::MAX),
            1 << 64,
            (1 << 96) - 1,
            (1 << 127) - 1,
        ];
        let factors = [1, 3, 1_000_000_000, u64::from(u32::MAX), 1 << 32, u64::MAX];
        let divisors = [1, 2, 10_000_000_000, (1 << 40) + 1, (1 << 63) - 1];
        for number in numbers {
            for pair in factors.into_iter().zip(factors.into_iter().rev()) {
                for by in divisors.into_iter().zip(divisors.into_iter().rev()) {
                    let product = big(number) * pair.0 * pair.1 * pair.0;
                    let divisor = BigUint::from(by.0) * by.1;
                    let [pair, by] = [&[pair.0, pair.1, pair.0][..], &[by.0, by.1]];
                    let exact = &product / &divisor;
                    let expected = u128::try_from(&exact).unwrap_or(u128::MAX);
                    let rounded = &exact * &divisor != product || exact.bits() > 128;
                    assert_eq!(
                        chained(number, pair, by),
                        (expected, rounded),
                        "{number} {pair:?} {by:?}"
                    );
                    let up = u128::try_from(&exact + u8::from(rounded)).unwrap_or(u128::MAX);
                    assert_eq!(chained_up(number, pair, by), up);
                    let nearest = (&product * 2_u8 + &divisor) / (&divisor * 2_u8);
                    let nearest = i128::try_from(&nearest).unwrap_or(i128::MAX);
                    let signed = number as i128;
                    assert_eq!(chained_signed(signed, pair, by), nearest);
                    assert_eq!(chained_signed(-signed, pair, by), -nearest);
                }
            }
        }
        assert_eq!(chained(5, &[], &[0]), (u128::MAX, true));
    }
}
