use alloc::vec::Vec;

use super::{Bounds, PlantError, Profile, Section};

/// Values at given times: a recording, steps or a ramp.
///
/// Before its first point the profile has the first value. A recording that flows both ways (a
/// negative current goes back into the source) needs nothing special.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Recorded {
    points: Vec<(u64, i64)>,
    interpolation: Interpolation,
    after: AfterEnd,
    bounds: Bounds,
}

/// What a recording does between two of its points.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Interpolation {
    /// It keeps the earlier point's value and jumps at the later.
    Hold,
    /// It goes straight from one to the other.
    Linear,
}

/// What a recording does from its last point on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AfterEnd {
    /// It keeps the last value for ever.
    Hold,
    /// It has this value for ever.
    Value(i64),
    /// It starts over. A pass lasts from the first point to the last, and the last point's time is
    /// the first point's of the next pass, so that with [`Interpolation::Hold`] the last value does
    /// not show at all.
    Repeat,
}

impl Recorded {
    /// A profile through `points`, each a time in nanoseconds and a value in nanoamperes or
    /// nanovolts.
    ///
    /// # Errors
    /// [`PlantError::Empty`] without points, [`PlantError::Order`] if times do not increase,
    /// [`PlantError::Value`] for a value beyond ±10^12, and [`PlantError::Pass`] if a single point
    /// is to be repeated.
    pub fn new(
        points: Vec<(u64, i64)>,
        interpolation: Interpolation,
        after: AfterEnd,
    ) -> Result<Self, PlantError> {
        let after_value = match after {
            AfterEnd::Value(value) => Some(value),
            AfterEnd::Hold | AfterEnd::Repeat => None,
        };
        if points.is_empty() {
            return Err(PlantError::Empty);
        }
        let bounds = Bounds::of(points.iter().map(|point| point.1).chain(after_value))?;
        let disorder = points.windows(2).position(|pair| pair[1].0 <= pair[0].0);
        match disorder {
            Some(index) => Err(PlantError::Order(index + 1)),
            None if after == AfterEnd::Repeat && points.len() < 2 => Err(PlantError::Pass),
            None => Ok(Self {
                points,
                interpolation,
                after,
                bounds,
            }),
        }
    }

    /// The value `initial` until the first of `steps`, then each step's value from its time on, the
    /// last for ever.
    ///
    /// # Errors
    /// As [`new`](Self::new); a step at time 0 is out of order, since `initial` is at time 0.
    pub fn steps(initial: i64, steps: &[(u64, i64)]) -> Result<Self, PlantError> {
        let points = core::iter::once((0, initial)).chain(steps.iter().copied());
        Self::new(points.collect(), Interpolation::Hold, AfterEnd::Hold)
    }

    /// A straight line from one point (time in nanoseconds, value) to the other, level before and
    /// after.
    ///
    /// # Errors
    /// As [`new`](Self::new).
    pub fn ramp(from: (u64, i64), to: (u64, i64)) -> Result<Self, PlantError> {
        Self::new(alloc::vec![from, to], Interpolation::Linear, AfterEnd::Hold)
    }

    fn first(&self) -> (u64, i64) {
        self.points[0]
    }

    fn last(&self) -> (u64, i64) {
        self.points[self.points.len() - 1]
    }

    /// The section of the points at `at_ns`, which is neither before the first nor at or after the
    /// last.
    fn between_points(&self, at_ns: u64) -> Section {
        let next = self.points.partition_point(|point| point.0 <= at_ns);
        let (from, to) = (self.points[next - 1], self.points[next]);
        Section {
            from_ns: from.0,
            to_ns: to.0,
            start: from.1,
            end: match self.interpolation {
                Interpolation::Hold => from.1,
                Interpolation::Linear => to.1,
            },
        }
    }
}

impl Profile for Recorded {
    fn section(&self, at_ns: u64) -> Section {
        let (first, last) = (self.first(), self.last());
        if at_ns < first.0 {
            return Section::flat(0, first.0, first.1);
        }
        let rest = match self.after {
            AfterEnd::Hold => last.1,
            AfterEnd::Value(value) => value,
            AfterEnd::Repeat => {
                let pass = last.0 - first.0;
                let shift = (at_ns - first.0) / pass * pass;
                let section = self.between_points(at_ns - shift);
                return Section {
                    from_ns: section.from_ns + shift,
                    to_ns: section.to_ns.saturating_add(shift),
                    ..section
                };
            }
        };
        if at_ns >= last.0 {
            Section::flat(last.0, u64::MAX, rest)
        } else {
            self.between_points(at_ns)
        }
    }

    fn bounds(&self) -> Bounds {
        self.bounds
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::vec;

    fn recorded(interpolation: Interpolation, after: AfterEnd) -> Recorded {
        Recorded::new(vec![(10, 5), (20, -5), (40, 7)], interpolation, after).unwrap()
    }

    #[test]
    fn hold_keeps_each_value_until_the_next_point() {
        let profile = recorded(Interpolation::Hold, AfterEnd::Hold);
        assert_eq!(profile.section(3), Section::flat(0, 10, 5));
        assert_eq!(profile.section(10), Section::flat(10, 20, 5));
        assert_eq!(profile.section(39), Section::flat(20, 40, -5));
        assert_eq!(profile.section(40), Section::flat(40, u64::MAX, 7));
    }

    #[test]
    fn linear_goes_straight_from_point_to_point() {
        let profile = recorded(Interpolation::Linear, AfterEnd::Value(0));
        let section = profile.section(25);
        let expected = Section {
            from_ns: 20,
            to_ns: 40,
            start: -5,
            end: 7,
        };
        assert_eq!(section, expected);
        assert_eq!(section.at(25), -2);
        assert_eq!(profile.section(1000), Section::flat(40, u64::MAX, 0));
    }

    #[test]
    fn a_repeated_recording_starts_over_at_its_last_point() {
        let profile = recorded(Interpolation::Hold, AfterEnd::Repeat);
        assert_eq!(profile.section(40), Section::flat(40, 50, 5));
        assert_eq!(profile.section(69), Section::flat(50, 70, -5));
        // 30 ns a pass: pass number 1000 begins at 10 + 30 000.
        assert_eq!(profile.section(30_010), Section::flat(30_010, 30_020, 5));
    }

    #[test]
    fn steps_and_ramps_are_recordings_too() {
        let steps = Recorded::steps(1, &[(100, 2), (300, 0)]).unwrap();
        assert_eq!(steps.section(0), Section::flat(0, 100, 1));
        assert_eq!(steps.section(299), Section::flat(100, 300, 2));
        assert_eq!(steps.section(300), Section::flat(300, u64::MAX, 0));
        let ramp = Recorded::ramp((100, 2), (200, 12)).unwrap();
        assert_eq!(ramp.section(50).at(50), 2);
        assert_eq!(ramp.section(150).at(150), 7);
        assert_eq!(ramp.section(200), Section::flat(200, u64::MAX, 12));
    }

    #[test]
    fn recordings_without_sense_are_refused() {
        let new = |points, after| Recorded::new(points, Interpolation::Hold, after);
        assert_eq!(new(vec![], AfterEnd::Hold), Err(PlantError::Empty));
        assert_eq!(new(vec![], AfterEnd::Value(1)), Err(PlantError::Empty));
        assert_eq!(
            new(vec![(0, 1), (5, 1), (5, 2)], AfterEnd::Hold),
            Err(PlantError::Order(2))
        );
        assert_eq!(new(vec![(0, 1)], AfterEnd::Repeat), Err(PlantError::Pass));
        assert!(new(vec![(0, 1)], AfterEnd::Hold).is_ok());
        assert!(new(vec![(0, 1), (1, 1)], AfterEnd::Repeat).is_ok());
        let beyond = 1_000_000_000_001;
        let refused = Err(PlantError::Value(beyond));
        assert_eq!(new(vec![(0, 1)], AfterEnd::Value(beyond)), refused);
    }

    #[test]
    fn bounds_include_what_comes_after_the_end() {
        let bounds = recorded(Interpolation::Linear, AfterEnd::Value(-9)).bounds();
        assert_eq!((bounds.least, bounds.greatest), (-9, 7));
    }
}
