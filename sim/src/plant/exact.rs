//! Rounding of exact quotients; everything else on a rail is whole numbers.

/// `numerator / denominator` rounded to nearest, halves towards plus infinity. `denominator` must
/// be positive, and is below 2^126 wherever this is called.
pub(super) const fn round_div(numerator: i128, denominator: i128) -> i128 {
    let quotient = numerator.div_euclid(denominator);
    let remainder = numerator.rem_euclid(denominator);
    quotient + (2 * remainder >= denominator) as i128
}

/// The value at `x` of the straight line from (0, `start`) to (`length`, `end`), rounded to
/// nearest.
///
/// `x` is at most `length`, which is positive; the values are below 2^62, so that the product fits.
pub(super) const fn on_line(start: i64, end: i64, x: u64, length: u64) -> i64 {
    let change = end as i128 - start as i128;
    (start as i128 + round_div(change * x as i128, length as i128)) as i64
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quotients_round_to_nearest_and_halves_upwards() {
        let cases = [
            (7, 2, 4),
            (-7, 2, -3),
            (5, 4, 1),
            (-5, 4, -1),
            (-6, 4, -1),
            (6, 4, 2),
            (0, 3, 0),
        ];
        for (numerator, denominator, expected) in cases {
            assert_eq!(
                round_div(numerator, denominator),
                expected,
                "{numerator}/{denominator}"
            );
        }
    }

    #[test]
    fn a_line_meets_its_ends_at_the_limits_of_the_rail() {
        let (low, high) = (-1_000_000_000_000, 1_000_000_000_000);
        assert_eq!(on_line(low, high, 0, u64::MAX), low);
        assert_eq!(on_line(low, high, u64::MAX, u64::MAX), high);
        assert_eq!(on_line(low, high, u64::MAX / 2 + 1, u64::MAX), 0);
    }
}
