//! A limit of error, relative to the value it belongs to.

use core::fmt;

/// How far a value may be off, relative to itself: `Tolerance::from_ppm(5000)` is ±0.5 %.
/// Resolution 1 part per million, never negative.
#[derive(Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Tolerance(u32);

impl Tolerance {
    /// No error at all.
    pub const ZERO: Self = Self(0);

    /// From parts per million. Exact.
    #[must_use]
    pub const fn from_ppm(value: u32) -> Self {
        Self(value)
    }

    /// From percent. Exact; beyond the range it is the end of the range, 4 294 967 295 ppm.
    #[must_use]
    pub const fn from_percent(value: u32) -> Self {
        Self(value.saturating_mul(10_000))
    }

    /// In parts per million. Exact.
    #[must_use]
    pub const fn as_ppm(self) -> u32 {
        self.0
    }
}

/// Parts per million: `±5000 ppm`.
impl fmt::Display for Tolerance {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "±{} ppm", self.0)
    }
}

impl fmt::Debug for Tolerance {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Tolerance({} ppm)", self.0)
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::Tolerance;
    use std::format;

    #[test]
    fn percent_are_ten_thousand_ppm() {
        assert_eq!(Tolerance::from_percent(1).as_ppm(), 10_000);
        assert_eq!(Tolerance::from_percent(u32::MAX).as_ppm(), u32::MAX);
        assert_eq!(format!("{}", Tolerance::from_ppm(50)), "±50 ppm");
    }
}
