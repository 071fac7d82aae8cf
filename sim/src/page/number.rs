//! Numbers as short as they can be, for what a program reads.

use std::fmt::Write;

/// Writes a value with so many significant digits at the most; `null` for what is no number.
pub(super) fn shortest(value: f64, digits: usize, out: &mut String) {
    if !value.is_finite() {
        out.push_str("null");
        return;
    }
    let rounded = format!("{value:.*e}", digits.saturating_sub(1));
    // The greatest numbers may round to none.
    let rounded = rounded.parse().ok().filter(|it: &f64| it.is_finite());
    let rounded = rounded.unwrap_or(value);
    let magnitude = rounded.abs();
    // Writing to a string cannot fail.
    let _ = if magnitude != 0.0 && !(1e-3..1e12).contains(&magnitude) {
        write!(out, "{rounded:e}")
    } else {
        write!(out, "{rounded}")
    };
}

#[cfg(test)]
mod tests {
    use super::shortest;

    #[test]
    fn digits_that_say_nothing_are_left_out() {
        for (value, digits, expected) in [
            (1.234_567_89, 4, "1.235"),
            (0.1 + 0.2, 8, "0.3"),
            (-4.12e-5, 3, "-4.12e-5"),
            (3_600.0, 8, "3600"),
            (0.0, 4, "0"),
            (1e300, 9, "1e300"),
            (f64::MAX, 4, "1.7976931348623157e308"),
            (-f64::MAX, 17, "-1.7976931348623157e308"),
            (f64::from_bits(1), 4, "5e-324"),
            (f64::NAN, 4, "null"),
        ] {
            let mut text = String::new();
            shortest(value, digits, &mut text);
            assert_eq!(text, expected);
        }
    }
}
