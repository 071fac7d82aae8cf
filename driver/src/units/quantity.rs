//! What all quantities that are counted in billionths of an SI unit have in common.

use core::fmt::{self, Write as _};

/// Defines what every quantity has: `from_*`, `as_*`, bounds and text. `finest` is the unit that is
/// stored; the factor of each other unit is even.
macro_rules! quantity {
    (
        $(#[$doc:meta])*
        $Name:ident($Int:ty), $symbol:literal;
        finest $from_finest:ident, $as_finest:ident, $finest_name:literal;
        $($from:ident, $as:ident, $factor:literal, $unit_name:literal;)*
    ) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
        #[cfg_attr(feature = "defmt", derive(defmt::Format))]
        pub struct $Name($Int);

        impl $Name {
            /// Nothing.
            pub const ZERO: Self = Self(0);
            /// The least value that can be held.
            pub const MIN: Self = Self(<$Int>::MIN);
            /// The greatest value that can be held.
            pub const MAX: Self = Self(<$Int>::MAX);

            #[doc = concat!("From ", $finest_name, ", the resolution. Exact.")]
            #[must_use]
            pub const fn $from_finest(value: $Int) -> Self {
                Self(value)
            }

            #[doc = concat!("In ", $finest_name, ", the resolution. Exact.")]
            #[must_use]
            pub const fn $as_finest(self) -> $Int {
                self.0
            }

            $(
                #[doc = concat!("From ", $unit_name, ". Exact; beyond the range it is the end of the range.")]
                #[must_use]
                pub const fn $from(value: $Int) -> Self {
                    Self(value.saturating_mul($factor))
                }

                #[doc = concat!("In ", $unit_name, ", rounded to nearest, halves away from zero.")]
                #[must_use]
                pub const fn $as(self) -> $Int {
                    // What is left over is less than two halves of a unit, so this adds one step
                    // away from zero or none. The quotient is at most a thousandth of the range:
                    // one step more stays in it.
                    let away = (self.0 % $factor) / ($factor / 2);
                    (self.0 / $factor).wrapping_add(away)
                }
            )*

            /// The sum, or `None` beyond the range.
            #[must_use]
            pub const fn checked_add(self, other: Self) -> Option<Self> {
                match self.0.checked_add(other.0) {
                    Some(sum) => Some(Self(sum)),
                    None => None,
                }
            }

            /// The difference, or `None` beyond the range.
            #[must_use]
            pub const fn checked_sub(self, other: Self) -> Option<Self> {
                match self.0.checked_sub(other.0) {
                    Some(difference) => Some(Self(difference)),
                    None => None,
                }
            }

            /// The sum; beyond the range it is the end of the range.
            #[must_use]
            pub const fn saturating_add(self, other: Self) -> Self {
                Self(self.0.saturating_add(other.0))
            }

            /// The difference; beyond the range it is the end of the range.
            #[must_use]
            pub const fn saturating_sub(self, other: Self) -> Self {
                Self(self.0.saturating_sub(other.0))
            }
        }

        impl core::fmt::Display for $Name {
            fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
                crate::units::quantity::engineering(f, i128::from(self.0), $symbol)
            }
        }

        impl core::fmt::Debug for $Name {
            fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
                write!(f, concat!(stringify!($Name), "({} n", $symbol, ")"), self.0)
            }
        }
    };
}

/// Adds what only a quantity with a sign has.
macro_rules! signed {
    ($($Name:ident),*) => {$(
        impl $Name {
            /// The same without its sign. [`MIN`](Self::MIN) becomes [`MAX`](Self::MAX), one step
            /// of the resolution nearer to zero.
            #[must_use]
            pub const fn abs(self) -> Self {
                Self(self.0.saturating_abs())
            }

            /// The same with the other sign. [`MIN`](Self::MIN) becomes [`MAX`](Self::MAX), one
            /// step of the resolution nearer to zero.
            #[must_use]
            pub const fn saturating_neg(self) -> Self {
                Self(self.0.saturating_neg())
            }

            /// Whether a difference lies within this as a bound, either way; the bound itself does.
            #[must_use]
            pub const fn contains(self, difference: Self) -> bool {
                difference.0.saturating_abs() <= self.0
            }

            /// Whether it is below zero.
            #[must_use]
            pub const fn is_negative(self) -> bool {
                self.0.is_negative()
            }
        }

        /// As [`saturating_neg`](Self::saturating_neg).
        impl core::ops::Neg for $Name {
            type Output = Self;

            fn neg(self) -> Self {
                self.saturating_neg()
            }
        }
    )*};
}

pub(super) use {quantity, signed};

/// Writes a number of billionths with the prefix that leaves one to three digits before the point.
pub(super) fn engineering(
    f: &mut fmt::Formatter<'_>,
    billionths: i128,
    symbol: &str,
) -> fmt::Result {
    let magnitude = billionths.unsigned_abs();
    let precision = f.precision().unwrap_or(3);
    let (prefix, number) = PREFIXES
        .iter()
        .map(|&(prefix, exponent)| (prefix, Decimal::new(magnitude, exponent, precision)))
        .find(|(prefix, number)| match magnitude {
            0 => prefix.is_empty(),
            _ => number.whole < 1000 || *prefix == LAST_PREFIX,
        })
        .ok_or(fmt::Error)?;

    // The longest: 21 digits, a point, 18 decimals, a space, a prefix and a symbol.
    let mut text = heapless::String::<64>::new();
    write!(text, "{number} {prefix}{symbol}")?;
    f.pad_integral(billionths >= 0, "", &text)
}

/// The prefixes, smallest first, each with its power of ten over a billionth.
const PREFIXES: [(&str, usize); 7] = [
    ("n", 0),
    ("µ", 3),
    ("m", 6),
    ("", 9),
    ("k", 12),
    ("M", 15),
    (LAST_PREFIX, 18),
];
const LAST_PREFIX: &str = "G";

/// A number with a fixed number of decimals.
struct Decimal {
    whole: u128,
    /// What stands after the point, below `one`.
    part: u128,
    /// `10^decimals`.
    one: u128,
}

impl Decimal {
    /// A number of billionths in the unit that is `10^exponent` of them, rounded to `precision`
    /// decimals (halves up) or to as many as the unit bears.
    fn new(magnitude: u128, exponent: usize, precision: usize) -> Self {
        let decimals = precision.min(exponent);
        let (step, one) = (
            power_of_ten(exponent.saturating_sub(decimals)),
            power_of_ten(decimals),
        );
        // At most 2^127 + 10^18: no overflow.
        let steps = magnitude
            .wrapping_add(step / 2)
            .checked_div(step)
            .unwrap_or(0);
        Self {
            whole: steps.checked_div(one).unwrap_or(0),
            part: steps.checked_rem(one).unwrap_or(0),
            one,
        }
    }
}

impl fmt::Display for Decimal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.whole)?;
        let mut place = self.one;
        if place > 1 {
            f.write_char('.')?;
        }
        // Digit by digit: a width that is known at run time only would link a panic.
        while place > 1 {
            place /= 10;
            let digit = self.part.checked_div(place).unwrap_or(0) % 10;
            write!(f, "{digit}")?;
        }
        Ok(())
    }
}

/// `10^exponent`, for exponents to 18.
fn power_of_ten(exponent: usize) -> u128 {
    (0..exponent).fold(1, |power, _| power.wrapping_mul(10))
}

#[cfg(test)]
mod tests {
    extern crate std;
    use crate::units::{Charge, Current, Energy, Power, Resistance, Voltage};
    use std::format;

    /// Halves, and one below and above them, on both sides of zero and at both ends of the range.
    #[test]
    fn a_bound_contains_its_ends_either_way() {
        let bound = Current::from_nanoamps(3);
        for (off, contained) in [(3, true), (-3, true), (4, false), (-4, false), (0, true)] {
            assert_eq!(
                bound.contains(Current::from_nanoamps(off)),
                contained,
                "{off}"
            );
        }
        assert!(!Current::from_nanoamps(-1).contains(Current::ZERO));
    }

    #[test]
    fn reading_rounds_to_nearest_halves_away_from_zero() {
        let milliamps = |nanoamps| Current::from_nanoamps(nanoamps).as_milliamps();
        assert_eq!(
            [499_999, 500_000, 500_001, 1_499_999, 1_500_000].map(milliamps),
            [0, 1, 1, 1, 2]
        );
        assert_eq!(
            [-499_999, -500_000, -500_001, -1_499_999, -1_500_000].map(milliamps),
            [0, -1, -1, -1, -2]
        );
        assert_eq!(Current::MAX.as_microamps(), 9_223_372_036_854_776);
        assert_eq!(Current::MIN.as_microamps(), -9_223_372_036_854_776);
        assert_eq!(Resistance::from_nanoohms(1_500).as_microohms(), 2);
        assert_eq!(Resistance::MAX.as_microohms(), 18_446_744_073_709_552);
    }

    #[test]
    fn building_beyond_the_range_stops_at_its_end() {
        assert_eq!(Voltage::from_volts(i64::MAX), Voltage::MAX);
        assert_eq!(Voltage::from_volts(i64::MIN), Voltage::MIN);
        assert_eq!(Voltage::from_volts(9_223_372_037), Voltage::MAX);
        assert_eq!(
            Voltage::from_volts(9_223_372_036).as_nanovolts(),
            9_223_372_036_000_000_000
        );
    }

    #[test]
    fn sums_stop_at_the_end_of_the_range() {
        let step = Power::from_nanowatts(1);
        assert_eq!(Power::MAX.checked_add(step), None);
        assert_eq!(Power::MAX.saturating_add(step), Power::MAX);
        assert_eq!(Power::MIN.checked_sub(step), None);
        assert_eq!(Power::MIN.saturating_sub(step), Power::MIN);
        assert_eq!(
            Power::from_watts(2).checked_sub(Power::from_watts(5)),
            Some(Power::from_watts(-3))
        );
        assert_eq!((-Power::MIN, Power::MIN.abs()), (Power::MAX, Power::MAX));
        assert_eq!(
            Resistance::from_ohms(1).checked_sub(Resistance::from_ohms(2)),
            None
        );
    }

    /// 3600 s in an hour: SI Brochure, 9th edition, table 8.
    #[test]
    fn hours_are_3600_seconds() {
        assert_eq!(Charge::from_amp_hours(1), Charge::from_coulombs(3600));
        assert_eq!(Charge::from_milliamp_hours(-5), Charge::from_coulombs(-18));
        assert_eq!(
            Energy::from_microwatt_hours(1),
            Energy::from_microjoules(3600)
        );
        assert_eq!(Energy::from_joules(5399).as_watt_hours(), 1);
        assert_eq!(Energy::from_joules(5400).as_watt_hours(), 2);
    }

    #[test]
    fn text_takes_the_prefix_that_fits() {
        let text = |nanovolts| format!("{}", Voltage::from_nanovolts(nanovolts));
        assert_eq!(text(0), "0.000 V");
        assert_eq!(text(-1), "-1 nV");
        assert_eq!(text(999), "999 nV");
        assert_eq!(text(1_000), "1.000 µV");
        assert_eq!(text(-12_500_000), "-12.500 mV");
        assert_eq!(text(3_300_000_000), "3.300 V");
        assert_eq!(text(i64::MAX), "9.223 GV");
        assert_eq!(format!("{}", Energy::MIN), "-170141183460469231731.687 GJ");
        assert_eq!(format!("{}", Resistance::from_microohms(4_700)), "4.700 mΩ");
    }

    /// A value that rounds up to a thousand of one unit is one of the next.
    #[test]
    fn text_rounds_before_it_chooses_the_prefix() {
        assert_eq!(
            format!("{}", Voltage::from_nanovolts(999_999_499)),
            "999.999 mV"
        );
        assert_eq!(
            format!("{}", Voltage::from_nanovolts(999_999_500)),
            "1.000 V"
        );
        assert_eq!(format!("{:.0}", Voltage::from_nanovolts(-999_500)), "-1 mV");
    }

    #[test]
    fn text_takes_precision_width_and_sign() {
        let value = Current::from_nanoamps(1_234_567_891);
        assert_eq!(
            format!("{value:.0}|{value:.1}|{value:.9}|{value:.99}"),
            "1 A|1.2 A|1.234567891 A|1.234567891 A"
        );
        assert_eq!(
            format!("{value:>9}|{value:<9}|{value:+}"),
            "  1.235 A|1.235 A  |+1.235 A"
        );
        assert_eq!(format!("{:?}", -value), "Current(-1234567891 nA)");
    }
}
