use alloc::boxed::Box;
use alloc::vec::Vec;

use super::exact::round_div;
use super::{Bounds, PlantError, Profile, Section};

/// Several profiles added up: the loads of one rail.
pub struct Sum {
    parts: Vec<Box<dyn Profile>>,
}

impl Sum {
    /// The sum of `parts`.
    ///
    /// # Errors
    /// [`PlantError::Empty`] without parts, [`PlantError::Value`] if what their bounds add up to is
    /// beyond ±10^12, even if they never meet there.
    pub fn new(parts: Vec<Box<dyn Profile>>) -> Result<Self, PlantError> {
        if parts.is_empty() {
            return Err(PlantError::Empty);
        }
        let sum = Self { parts };
        sum.bounds().checked()?;
        Ok(sum)
    }
}

impl Profile for Sum {
    fn section(&self, at_ns: u64) -> Section {
        let sections = || self.parts.iter().map(|part| part.section(at_ns));
        let to_ns = sections().map(|section| section.to_ns).min();
        let to_ns = to_ns.unwrap_or(u64::MAX);
        Section {
            from_ns: at_ns,
            to_ns,
            start: sections().map(|section| section.at(at_ns)).sum(),
            end: sections().map(|section| section.at(to_ns)).sum(),
        }
    }

    fn bounds(&self) -> Bounds {
        let sum = |total: Bounds, bounds: Bounds| Bounds {
            least: total.least.saturating_add(bounds.least),
            greatest: total.greatest.saturating_add(bounds.greatest),
        };
        let nothing = Bounds {
            least: 0,
            greatest: 0,
        };
        self.parts
            .iter()
            .map(|part| part.bounds())
            .fold(nothing, sum)
    }
}

/// A profile times a ratio, for instance a recorded current that flows the other way.
pub struct Scaled<P> {
    profile: P,
    numerator: i64,
    denominator: u32,
}

impl<P: Profile> Scaled<P> {
    /// `profile` × `numerator` / `denominator`, rounded to nearest at the ends of each section.
    ///
    /// # Errors
    /// [`PlantError::Scale`] if the denominator is 0 or the ratio beyond ±10^6,
    /// [`PlantError::Value`] if the result is beyond ±10^12.
    pub fn new(profile: P, numerator: i64, denominator: u32) -> Result<Self, PlantError> {
        let greatest = u64::from(denominator) * 1_000_000;
        if denominator == 0 || numerator.unsigned_abs() > greatest {
            return Err(PlantError::Scale);
        }
        let scaled = Self {
            profile,
            numerator,
            denominator,
        };
        scaled.bounds().checked()?;
        Ok(scaled)
    }

    /// `profile` with its sign turned.
    pub const fn reversed(profile: P) -> Self {
        Self {
            profile,
            numerator: -1,
            denominator: 1,
        }
    }

    fn scale(&self, value: i64) -> i64 {
        let product = i128::from(value) * i128::from(self.numerator);
        // 10^12 × 10^6 at most: within 64 bits.
        round_div(product, i128::from(self.denominator)) as i64
    }
}

impl<P: Profile> Profile for Scaled<P> {
    fn section(&self, at_ns: u64) -> Section {
        let section = self.profile.section(at_ns);
        Section {
            start: self.scale(section.start),
            end: self.scale(section.end),
            ..section
        }
    }

    fn bounds(&self) -> Bounds {
        let bounds = self.profile.bounds();
        let (one, other) = (self.scale(bounds.least), self.scale(bounds.greatest));
        Bounds {
            least: one.min(other),
            greatest: one.max(other),
        }
    }
}

impl<P: Profile + ?Sized> Profile for Box<P> {
    fn section(&self, at_ns: u64) -> Section {
        (**self).section(at_ns)
    }

    fn bounds(&self) -> Bounds {
        (**self).bounds()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::{Constant, Pulses, Recorded};
    use alloc::vec;

    #[test]
    fn a_sum_breaks_where_any_part_does() {
        let ramp = Recorded::ramp((0, 0), (100, 100)).unwrap();
        let pulses = Pulses::new(0, 7, 1000, 30).unwrap();
        let base = Constant::new(-2).unwrap();
        let sum = Sum::new(vec![Box::new(ramp), Box::new(pulses), Box::new(base)]).unwrap();
        let first = Section {
            from_ns: 0,
            to_ns: 30,
            start: 5,
            end: 35,
        };
        let second = Section {
            from_ns: 30,
            to_ns: 100,
            start: 28,
            end: 98,
        };
        assert_eq!(sum.section(0), first);
        assert_eq!(sum.section(30), second);
        assert_eq!(sum.section(100), Section::flat(100, 1000, 98));
        let bounds = sum.bounds();
        assert_eq!((bounds.least, bounds.greatest), (-2, 105));
    }

    #[test]
    fn a_sum_that_could_leave_the_limits_is_refused() {
        let kiloampere = || Box::new(Constant::new(1_000_000_000_000).unwrap());
        let refused = Sum::new(vec![kiloampere(), kiloampere()]).err();
        assert_eq!(refused, Some(PlantError::Value(2_000_000_000_000)));
        assert_eq!(Sum::new(vec![]).err(), Some(PlantError::Empty));
    }

    #[test]
    fn scaling_rounds_to_nearest_and_turns_bounds() {
        let ramp = || Recorded::ramp((0, -10), (100, 21)).unwrap();
        let half = Scaled::new(ramp(), -1, 2).unwrap();
        let section = half.section(0);
        assert_eq!((section.start, section.end), (5, -10));
        let bounds = half.bounds();
        assert_eq!((bounds.least, bounds.greatest), (-10, 5));
        let reversed = Scaled::reversed(ramp());
        assert_eq!(reversed.section(0).end, -21);
    }

    #[test]
    fn scales_beyond_the_limits_are_refused() {
        let one = || Constant::new(1_000_000_000).unwrap();
        for numerator in [0, 1] {
            let refused = Scaled::new(one(), numerator, 0).err();
            assert_eq!(refused, Some(PlantError::Scale));
        }
        assert_eq!(
            Scaled::new(one(), 2_000_001, 2).err(),
            Some(PlantError::Scale)
        );
        let refused = Some(PlantError::Value(2_000_000_000_000));
        assert_eq!(Scaled::new(one(), 2_000, 1).err(), refused);
    }
}
