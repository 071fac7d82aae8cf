//! Temperature of a board.

use core::fmt;

/// A temperature. Resolution 1 m°C, range ±2.1 million °C, signed.
#[derive(Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Temperature(i32);

impl Temperature {
    /// From thousandths of a degree Celsius. Exact.
    #[must_use]
    pub const fn from_millicelsius(value: i32) -> Self {
        Self(value)
    }

    /// From degrees Celsius. Exact; beyond the range it is the end of the range.
    #[must_use]
    pub const fn from_celsius(value: i32) -> Self {
        Self(value.saturating_mul(1_000))
    }

    /// In thousandths of a degree Celsius. Exact.
    #[must_use]
    pub const fn as_millicelsius(self) -> i32 {
        self.0
    }
}

/// Degrees with three decimals: `-5.250 °C`.
impl fmt::Display for Temperature {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let sign = if self.0 < 0 { "-" } else { "" };
        let magnitude = self.0.unsigned_abs();
        write!(f, "{sign}{}.{:03} °C", magnitude / 1_000, magnitude % 1_000)
    }
}

impl fmt::Debug for Temperature {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Temperature({} m°C)", self.0)
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::Temperature;
    use std::format;

    #[test]
    fn text_keeps_the_sign_below_one_degree() {
        assert_eq!(
            format!("{}", Temperature::from_millicelsius(-250)),
            "-0.250 °C"
        );
        assert_eq!(format!("{}", Temperature::from_celsius(85)), "85.000 °C");
        assert_eq!(
            format!("{:?}", Temperature::from_celsius(-40)),
            "Temperature(-40000 m°C)"
        );
        assert_eq!(
            Temperature::from_celsius(i32::MIN).as_millicelsius(),
            i32::MIN
        );
    }
}
