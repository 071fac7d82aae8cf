//! Numbers of a log.

/// Decimal text as a whole number of 10^-9 of its unit, times `scale_ns` ÷ 10^9: exact where it
/// fits, `None` where it is no decimal number.
pub(super) fn nanoseconds(text: &[u8], scale_ns: i64) -> Option<i64> {
    let (negative, digits) = match text.split_first()? {
        (b'-', rest) => (true, rest),
        (b'+', rest) => (false, rest),
        _ => (false, text),
    };
    let (mut whole, mut power, mut seen_point) = (0_i128, 1_i128, false);
    for byte in digits {
        match byte {
            b'0'..=b'9' if power < 1_000_000_000_000 => {
                whole = whole
                    .checked_mul(10)?
                    .checked_add(i128::from(byte - b'0'))?;
                power *= if seen_point { 10 } else { 1 };
            }
            b'0'..=b'9' => {}
            b'.' if !seen_point => seen_point = true,
            _ => return scientific(text, scale_ns),
        }
    }
    if !digits.iter().any(u8::is_ascii_digit) {
        return None;
    }
    let ns = whole.checked_mul(i128::from(scale_ns))?;
    let ns = ns.checked_add(power / 2)? / power;
    i64::try_from(if negative { -ns } else { ns }).ok()
}

/// With an exponent.
fn scientific(text: &[u8], scale_ns: i64) -> Option<i64> {
    let ns = (plain(text)? * scale_ns as f64).round();
    (ns.abs() < 9e18).then_some(ns as i64)
}

/// A finite decimal number.
pub(super) fn plain(text: &[u8]) -> Option<f64> {
    let number: f64 = std::str::from_utf8(text).ok()?.parse().ok()?;
    number.is_finite().then_some(number)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_exact() {
        let s = 1_000_000_000;
        assert_eq!(
            nanoseconds(b"1764397816.000000001", s),
            Some(1_764_397_816_000_000_001)
        );
        assert_eq!(nanoseconds(b"-0.5", s), Some(-500_000_000));
        assert_eq!(nanoseconds(b"12", 1_000), Some(12_000));
        assert_eq!(nanoseconds(b"1e-3", s), Some(1_000_000));
        // Without its point the greatest number of 127 bits: rounding goes beyond.
        let most = "17014118346046923173168730371588410572.7";
        assert_eq!(nanoseconds(most.as_bytes(), 1), None);
        for text in ["", ".", "-", "x", "1.2.3", "nan", "1e99"] {
            assert_eq!(nanoseconds(text.as_bytes(), s), None, "{text}");
        }
    }
}
