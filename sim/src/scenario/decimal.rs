//! Decimal text to whole numbers, without a binary fraction in between.

use core::fmt;

/// Reads a decimal number such as `-0.012859`, `1_000` or `2.5e-3` as a whole number of units of
/// 10^-`places`.
///
/// Digits below one unit are rounded to nearest, halves away from zero; what fits the unit is
/// exact.
pub(crate) fn parse(text: &str, places: u32) -> Result<i128, NotDecimal> {
    let text = text.trim();
    let (negative, digits) = match text.strip_prefix(['-', '+']) {
        Some(rest) => (text.starts_with('-'), rest),
        None => (false, text),
    };
    let spelled = digits.to_ascii_lowercase();
    if ["nan", "inf", "infinity"].contains(&spelled.as_str()) {
        return Err(NotDecimal::NotFinite);
    }
    let (mantissa, exponent) = match digits.split_once(['e', 'E']) {
        Some((mantissa, exponent)) => {
            let exponent = exponent
                .parse::<i64>()
                .map_err(|_| NotDecimal::NotANumber)?;
            (mantissa, exponent)
        }
        None => (digits, 0),
    };
    let (number, below_point) = mantissa_of(mantissa)?;
    let shift = exponent
        .saturating_add(i64::from(places))
        .saturating_sub(below_point);
    let magnitude = shifted(number, shift)?;
    Ok(if negative { -magnitude } else { magnitude })
}

/// What is no decimal number of any use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum NotDecimal {
    NotANumber,
    NotFinite,
    TooGreat,
}

impl fmt::Display for NotDecimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NotANumber => "not a number; write a decimal number such as 0.25 or 2.5e-3",
            Self::NotFinite => "not a finite number; write a decimal number such as 0.25",
            Self::TooGreat => "too great a number",
        })
    }
}

/// The digits as one whole number, and how many of them stood below the point.
fn mantissa_of(text: &str) -> Result<(i128, i64), NotDecimal> {
    let (mut number, mut below_point) = (0_i128, 0_i64);
    let (mut seen_point, mut seen_digit) = (false, false);
    for character in text.chars() {
        match character {
            '0'..='9' => {
                seen_digit = true;
                if number >= DIGITS_END && seen_point {
                    // So far below the leading digit that no rounding to nearest can depend on it.
                    continue;
                }
                let digit = i128::from(character as u8 - b'0');
                let next = number
                    .checked_mul(10)
                    .and_then(|tens| tens.checked_add(digit));
                number = next.ok_or(NotDecimal::TooGreat)?;
                below_point += i64::from(seen_point);
            }
            '.' if !seen_point => seen_point = true,
            '_' if seen_digit => {}
            _ => return Err(NotDecimal::NotANumber),
        }
    }
    if seen_digit {
        Ok((number, below_point))
    } else {
        Err(NotDecimal::NotANumber)
    }
}

/// `number` × 10^`shift`, rounded to nearest, halves away from zero; `number` is not negative.
fn shifted(number: i128, shift: i64) -> Result<i128, NotDecimal> {
    if number == 0 {
        return Ok(0);
    }
    let power = u32::try_from(shift.unsigned_abs()).ok();
    let factor = power.and_then(|power| 10_i128.checked_pow(power));
    if shift.is_negative() {
        // Without such a factor it is less than half a unit by far.
        let rounded = |factor| number / factor + i128::from(number % factor >= factor / 2);
        return Ok(factor.map(rounded).unwrap_or_default());
    }
    let product = factor.and_then(|factor| number.checked_mul(factor));
    product.ok_or(NotDecimal::TooGreat)
}

/// Thirty digits, leaving room for the shift.
const DIGITS_END: i128 = 10_i128.pow(30);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimal_text_becomes_whole_units_exactly() {
        let cases = [
            ("0.012859", 9, 12_859_000),
            ("-0.00027238", 9, -272_380),
            ("+4.181100464", 9, 4_181_100_464),
            ("1_000", 9, 1_000_000_000_000),
            ("2.5e-3", 9, 2_500_000),
            ("2E2", 0, 200),
            (".5", 1, 5),
            ("5.", 1, 50),
            (" 7 ", 0, 7),
            ("-0", 9, 0),
            ("0e99999999999", 9, 0),
            ("0.30000000000000004", 9, 300_000_000),
        ];
        for (text, places, expected) in cases {
            assert_eq!(parse(text, places), Ok(expected), "{text}");
        }
    }

    #[test]
    fn more_digits_than_the_unit_holds_are_rounded_to_nearest() {
        let cases = [
            ("0.0000000014", 1),
            ("0.0000000015", 2),
            ("-0.0000000015", -2),
            ("0.00000000149999999999999999999999999999999999999", 1),
            ("1e-99", 0),
            ("1e-9999999999999", 0),
        ];
        for (text, expected) in cases {
            assert_eq!(parse(text, 9), Ok(expected), "{text}");
        }
    }

    #[test]
    fn what_is_no_number_is_refused() {
        for text in [
            "", "-", ".", "1.2.3", "1,5", "0x10", "1e", "--1", "one", "_1", "1e2.5",
        ] {
            assert_eq!(parse(text, 9), Err(NotDecimal::NotANumber), "{text}");
        }
        for text in ["nan", "-inf", "NaN", "Infinity"] {
            assert_eq!(parse(text, 9), Err(NotDecimal::NotFinite), "{text}");
        }
        for text in ["1e60", "1e99999999999", &"9".repeat(60)] {
            assert_eq!(parse(text, 9), Err(NotDecimal::TooGreat), "{text}");
        }
    }
}
