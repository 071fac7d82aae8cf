//! From a quantity back to the code on the safe side of it.

/// The greatest code from `first` to `last` whose converted value is at most `value`; `None` if
/// that of `first` is greater already (or there is no code).
///
/// `convert` must never fall as the code rises. It is called at most 65 times. Because it is the
/// very conversion that readings go through, a limit set to the code found and a reading agree by
/// construction:
///
/// ```
/// use crake::{convert::{code_at_least, code_at_most}, units::Voltage};
///
/// let convert = |code: i64| Voltage::from_microvolts(code.saturating_mul(250));
/// let limit = Voltage::from_millivolts(3300).saturating_add(Voltage::from_microvolts(100));
/// assert_eq!(code_at_most(0, 65_535, limit, convert), Some(13_200)); // 3.300 V
/// assert_eq!(code_at_least(0, 65_535, limit, convert), Some(13_201)); // 3.30025 V
/// assert_eq!(code_at_least(0, 65_535, Voltage::from_volts(20), convert), None);
/// ```
#[must_use]
pub fn code_at_most<T: PartialOrd>(
    first: i64,
    last: i64,
    value: T,
    convert: impl Fn(i64) -> T,
) -> Option<i64> {
    if first > last {
        return None;
    }
    match first_where(first, last, |code| convert(code) > value) {
        None => Some(last),
        Some(code) if code == first => None,
        // Greater than `first`, so it has one below it.
        Some(code) => Some(code.wrapping_sub(1)),
    }
}

/// The least code from `first` to `last` whose converted value is at least `value`; `None` if that
/// of `last` is still smaller (or there is no code).
///
/// See [`code_at_most`].
#[must_use]
pub fn code_at_least<T: PartialOrd>(
    first: i64,
    last: i64,
    value: T,
    convert: impl Fn(i64) -> T,
) -> Option<i64> {
    first_where(first, last, |code| convert(code) >= value)
}

/// The least code from `first` to `last` for which `holds`, which never turns false again as the
/// code rises.
pub(crate) fn first_where(first: i64, last: i64, holds: impl Fn(i64) -> bool) -> Option<i64> {
    if first > last || !holds(last) {
        return None;
    }
    // It holds for `high`; the distance halves each time.
    let (mut low, mut high) = (first, last);
    while low < high {
        let middle = low.wrapping_add_unsigned(high.abs_diff(low) / 2);
        if holds(middle) {
            high = middle;
        } else {
            // Below `high`, so it has one above it.
            low = middle.wrapping_add(1);
        }
    }
    Some(high)
}

#[cfg(test)]
mod tests {
    use super::{code_at_least, code_at_most};

    /// Every interval of a staircase with flat steps and jumps, against a search from end to end.
    #[test]
    fn search_agrees_with_trying_all() {
        let convert = |code: i64| if code < 3 { code / 2 } else { code * 3 };
        for first in -6..8 {
            for last in -6..8 {
                for value in -20..30 {
                    let most = (first..=last).rev().find(|&code| convert(code) <= value);
                    let least = (first..=last).find(|&code| convert(code) >= value);
                    assert_eq!(
                        code_at_most(first, last, value, convert),
                        most,
                        "{first}..={last}, {value}"
                    );
                    assert_eq!(
                        code_at_least(first, last, value, convert),
                        least,
                        "{first}..={last}, {value}"
                    );
                }
            }
        }
        assert_eq!(code_at_most(i64::MIN, i64::MAX, 12, |code| code), Some(12));
        assert_eq!(
            code_at_least(i64::MIN, i64::MAX, i64::MIN, |code| code),
            Some(i64::MIN)
        );
    }
}
