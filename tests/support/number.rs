//! Numbers as the tables write them, read exactly.

/// A number with a unit as a whole number of billionths of that unit: `billionths("62.5 µs", "s")`
/// is 62 500. A sign `±` is taken for plus.
///
/// # Panics
/// If the text is not a decimal number, a prefix and the unit, or is no whole number of billionths.
#[must_use]
pub fn billionths(text: &str, unit: &str) -> i128 {
    let text = text.trim().trim_start_matches('±');
    let scaled = text
        .strip_suffix(unit)
        .unwrap_or_else(|| panic!("'{text}' is not in {unit}"))
        .trim_end();
    let (number, exponent) = match scaled.chars().last() {
        Some('n') => (scaled.trim_end_matches('n'), 0),
        Some('µ') => (scaled.trim_end_matches('µ'), 3),
        Some('m') => (scaled.trim_end_matches('m'), 6),
        _ => (scaled, 9),
    };
    decimal(number.trim_end(), exponent)
}

/// A percentage as parts per million: `ppm("±0.20 %")` is 2000.
///
/// # Panics
/// If the text is not a decimal number and `%`, or is no whole number of parts per million.
#[must_use]
pub fn ppm(text: &str) -> u32 {
    let number = text.trim().trim_start_matches('±').strip_suffix('%');
    let number = number
        .unwrap_or_else(|| panic!("'{text}' is not in %"))
        .trim_end();
    u32::try_from(decimal(number, 4)).unwrap_or_else(|_| panic!("'{text}' is out of range"))
}

/// A whole number, hexadecimal after `0x`, else decimal.
///
/// # Panics
/// If the text is none.
#[must_use]
pub fn integer(text: &str) -> i128 {
    let parsed = match text.strip_prefix("0x") {
        Some(digits) => i128::from_str_radix(digits, 16),
        None => text.parse(),
    };
    parsed.unwrap_or_else(|_| panic!("'{text}' is no whole number"))
}

/// A decimal number times `10^exponent`, which must come out whole.
fn decimal(text: &str, exponent: usize) -> i128 {
    let (whole, part) = text.split_once('.').unwrap_or((text, ""));
    assert!(
        part.len() <= exponent,
        "'{text}' is finer than 10^-{exponent}"
    );
    integer(&format!("{whole}{part:0<exponent$}"))
}

#[cfg(test)]
mod tests {
    use super::{billionths, integer, ppm};

    #[test]
    fn numbers_are_read_exactly() {
        assert_eq!(billionths("62.5 µs", "s"), 62_500);
        assert_eq!(billionths("±2.5 mV", "V"), 2_500_000);
        assert_eq!(billionths("6.5536 V", "V"), 6_553_600_000);
        assert_eq!(billionths("1 s", "s"), 1_000_000_000);
        assert_eq!(ppm("±0.20 %"), 2000);
        assert_eq!(
            (integer("0x9E37C401"), integer("-131072")),
            (0x9E37_C401, -131_072)
        );
    }

    #[test]
    #[should_panic(expected = "finer than")]
    fn a_number_finer_than_a_billionth_is_refused() {
        let _ = billionths("0.5 nV", "V");
    }
}
