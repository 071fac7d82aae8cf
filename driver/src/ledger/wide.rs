//! Products wider than 128 bits, divided once: totals of years stay exact.

/// `a × b ÷ c`, rounded to nearest, halves away from zero; the product may take 256 bits.
///
/// `None` if `c` is 0 or the result does not fit.
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
    let (mut high, mut low) = product(a, b);
    if high >= c {
        // Covers c = 0, too.
        return None;
    }
    if high == 0 {
        let (quotient, remainder) = (low.checked_div(c)?, low.checked_rem(c)?);
        return round_up(quotient, remainder, c);
    }
    // Long division of 256 by 128 bits, one bit at a time: queries are rare, and this is the smallest.
    let mut quotient = 0_u128;
    for _ in 0..u128::BITS {
        let carry = high >> 127 != 0;
        high = (high << 1) | (low >> 127);
        low <<= 1;
        quotient <<= 1;
        if carry || high >= c {
            // With a carry the true value is 2^128 more than `high`, and the wrapped difference is right.
            high = high.wrapping_sub(c);
            quotient |= 1;
        }
    }
    round_up(quotient, high, c)
}

/// One more where the remainder is at least half of the divisor.
fn round_up(quotient: u128, remainder: u128, divisor: u128) -> Option<u128> {
    quotient.checked_add(u128::from(remainder >= divisor.wrapping_sub(remainder))) // remainder < divisor
}

/// The 256 bits of a product, as high and low half.
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn small_numbers_round_to_nearest() {
        assert_eq!(mul_div(7, 3, 2), Some(11)); // 10.5
        assert_eq!(mul_div(-7, 3, 2), Some(-11));
        assert_eq!(mul_div(7, 3, 5), Some(4)); // 4.2
        assert_eq!(mul_div(1, 1, 0), None);
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
}
