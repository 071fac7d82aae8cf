//! Numbers for people: a sign, four or so digits, a prefix, a unit; and words.

/// With the prefix that leaves one to three digits before the point, and so many digits in all.
pub(crate) fn quantity(value: f64, digits: usize, unit: &str) -> String {
    const PREFIXES: [(f64, &str); 8] = [
        (1e9, "G"),
        (1e6, "M"),
        (1e3, "k"),
        (1.0, ""),
        (1e-3, "m"),
        (1e-6, "µ"),
        (1e-9, "n"),
        (1e-12, "p"),
    ];
    if value == 0.0 {
        return format!("0 {unit}");
    }
    // Half a last digit decides whether a value is shown as 1000 of one prefix or 1 of the next.
    let magnitude = value.abs() * (1.0 + 0.5 * 10f64.powi(-(digits as i32)));
    let (size, prefix) = PREFIXES
        .into_iter()
        .find(|(size, _)| magnitude >= *size)
        .unwrap_or((1e-12, "p"));
    let shown = value / size;
    let whole = if shown.abs() >= 100.0 {
        3
    } else if shown.abs() >= 10.0 {
        2
    } else {
        1
    };
    format!("{shown:.*} {prefix}{unit}", digits.saturating_sub(whole))
}

/// The same with a sign in any case.
pub(crate) fn signed(value: f64, digits: usize, unit: &str) -> String {
    let text = quantity(value, digits, unit);
    if value > 0.0 {
        format!("+{text}")
    } else {
        text
    }
}

/// A count with its digits in groups of three.
pub(crate) fn count(value: u64) -> String {
    let digits = value.to_string();
    let mut text = String::new();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            text.push(' ');
        }
        text.push(digit);
    }
    text
}

/// So many of a thing, by its name for one.
pub(crate) fn some(number: u64, thing: &str) -> String {
    let plural = if number == 1 { "" } else { "s" };
    format!("{} {thing}{plural}", count(number))
}

/// A kind of limit, a word in files, as it is read: "over-current".
pub(crate) fn spoken(kind: &str) -> String {
    kind.replace('_', "-")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn prefixes_and_digits() {
        assert_eq!(quantity(3.3, 4, "V"), "3.300 V");
        assert_eq!(quantity(-0.0125, 3, "A"), "-12.5 mA");
        assert_eq!(quantity(44_512.3, 6, "J"), "44.5123 kJ");
        assert_eq!(quantity(0.0, 4, "W"), "0 W");
        assert_eq!(quantity(4.2e-5, 3, "A"), "42.0 µA");
        assert_eq!(quantity(0.999_96, 4, "V"), "1.000 V");
        assert_eq!(signed(2.5, 2, "C"), "+2.5 C");
        assert_eq!(count(1_234_567), "1 234 567");
        assert_eq!(count(999), "999");
        assert_eq!(some(1, "gap"), "1 gap");
        assert_eq!(some(1_000, "gap"), "1 000 gaps");
    }
}
