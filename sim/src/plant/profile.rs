use super::PlantError;
use super::exact::on_line;

/// A quantity over time, made of straight sections: a load's current in nanoamperes or a source's
/// voltage in nanovolts.
///
/// A profile has no state: whatever time it is asked about, it answers the same. Values are within
/// ±10^12.
pub trait Profile {
    /// The section that holds at `at_ns` (which is before `u64::MAX`): it begins at or before
    /// `at_ns` and ends after it.
    fn section(&self, at_ns: u64) -> Section;

    /// Least and greatest value that the profile takes or could take.
    fn bounds(&self) -> Bounds;
}

/// A straight stretch of a [`Profile`].
///
/// Time is in nanoseconds; values are in the profile's unit. A profile may jump where sections
/// meet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Section {
    /// First instant.
    pub from_ns: u64,
    /// First instant of what follows; `u64::MAX` stands for "for ever".
    pub to_ns: u64,
    /// Value at `from_ns`.
    pub start: i64,
    /// Value that the section has come to at `to_ns`.
    pub end: i64,
}

impl Section {
    /// A section of one value.
    pub const fn flat(from_ns: u64, to_ns: u64, value: i64) -> Self {
        Self {
            from_ns,
            to_ns,
            start: value,
            end: value,
        }
    }

    /// The value at `at_ns`, rounded to nearest. Times outside the section count as its nearer end.
    pub const fn at(&self, at_ns: u64) -> i64 {
        if at_ns <= self.from_ns || self.start == self.end {
            self.start
        } else if at_ns >= self.to_ns {
            self.end
        } else {
            on_line(
                self.start,
                self.end,
                at_ns - self.from_ns,
                self.to_ns - self.from_ns,
            )
        }
    }
}

/// Least and greatest value of a profile, in its unit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Bounds {
    /// The least value.
    pub least: i64,
    /// The greatest value.
    pub greatest: i64,
}

impl Bounds {
    pub(super) fn of(values: impl IntoIterator<Item = i64>) -> Result<Self, PlantError> {
        let mut values = values.into_iter();
        let first = values.next().ok_or(PlantError::Empty)?;
        let bounds = values.fold(
            Self {
                least: first,
                greatest: first,
            },
            |bounds, value| Self {
                least: bounds.least.min(value),
                greatest: bounds.greatest.max(value),
            },
        );
        bounds.checked()
    }

    /// These bounds, if they are within what every profile promises.
    pub(super) fn checked(self) -> Result<Self, PlantError> {
        for value in [self.least, self.greatest] {
            if value.unsigned_abs() > VALUE_MAX {
                return Err(PlantError::Value(value));
            }
        }
        Ok(self)
    }
}

/// One value for ever.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Constant {
    value: i64,
}

impl Constant {
    /// A profile of one value, in nanoamperes for a load and nanovolts for a source.
    ///
    /// # Errors
    /// [`PlantError::Value`] if it is beyond ±10^12.
    pub fn new(value: i64) -> Result<Self, PlantError> {
        Bounds::of([value]).map(|_| Self { value })
    }
}

impl Profile for Constant {
    fn section(&self, _at_ns: u64) -> Section {
        Section::flat(0, u64::MAX, self.value)
    }

    fn bounds(&self) -> Bounds {
        Bounds {
            least: self.value,
            greatest: self.value,
        }
    }
}

/// Such values, over a piece of at most [`PIECE_NS_MAX`](super::piece::PIECE_NS_MAX), leave room in
/// 128 bits.
const VALUE_MAX: u64 = 1_000_000_000_000;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_section_is_a_straight_line_rounded_to_nearest() {
        let section = Section {
            from_ns: 100,
            to_ns: 107,
            start: 0,
            end: -10,
        };
        // -10/7 = -1.43, -20/7 = -2.86, -30/7 = -4.29
        let values: [i64; 4] = [100, 101, 102, 103].map(|at| section.at(at));
        assert_eq!(values, [0, -1, -3, -4]);
        assert_eq!(
            (section.at(99), section.at(107), section.at(900)),
            (0, -10, -10)
        );
    }

    #[test]
    fn a_value_beyond_the_limit_is_refused() {
        assert!(Constant::new(1_000_000_000_000).is_ok());
        let beyond = -1_000_000_000_001;
        assert_eq!(Constant::new(beyond), Err(PlantError::Value(beyond)));
        assert_eq!(Constant::new(i64::MIN), Err(PlantError::Value(i64::MIN)));
    }
}
