use super::{Bounds, PlantError, Profile, Section};

/// Pulses between a low and a high value: radios that transmit, processors that wake.
///
/// Pulse n begins at `first + n × period`, rises over the edge time, is high, begins to fall at
/// `width` after its beginning and falls over the edge time. With an edge time of 0 it jumps.
/// Before the first pulse the value is low.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pulses {
    low: i64,
    high: i64,
    period_ns: u64,
    width_ns: u64,
    first_ns: u64,
    edge_ns: u64,
    train: Option<Train>,
}

/// Pulses that come in groups.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Train {
    /// Pulses in each group, at least 1.
    pub pulses: u64,
    /// From the beginning of one group to the beginning of the next, in nanoseconds.
    pub period_ns: u64,
}

impl Pulses {
    /// Pulses from time 0 on, without edge time, `period_ns` from one beginning to the next and
    /// `width_ns` long.
    ///
    /// # Errors
    /// [`PlantError::Value`] for a value beyond ±10^12, [`PlantError::PulseShape`] unless 0 < width
    /// ≤ period.
    pub fn new(low: i64, high: i64, period_ns: u64, width_ns: u64) -> Result<Self, PlantError> {
        Bounds::of([low, high])?;
        Self {
            low,
            high,
            period_ns,
            width_ns,
            first_ns: 0,
            edge_ns: 0,
            train: None,
        }
        .shaped()
    }

    /// The same with the first pulse at `first_ns`.
    pub const fn first_at(mut self, first_ns: u64) -> Self {
        self.first_ns = first_ns;
        self
    }

    /// The same with straight edges that take `edge_ns` up and as long down.
    ///
    /// # Errors
    /// [`PlantError::PulseShape`] unless edge ≤ width and width + edge ≤ period.
    pub fn with_edges(mut self, edge_ns: u64) -> Result<Self, PlantError> {
        self.edge_ns = edge_ns;
        self.shaped()
    }

    /// The same in groups, the first of which begins with the first pulse.
    ///
    /// # Errors
    /// [`PlantError::TrainShape`] for a group of no pulses, or one that is longer than the train's
    /// period.
    pub fn in_trains(mut self, train: Train) -> Result<Self, PlantError> {
        let fits = train
            .pulses
            .checked_mul(self.period_ns)
            .is_some_and(|length| length <= train.period_ns);
        if train.pulses == 0 || !fits {
            return Err(PlantError::TrainShape);
        }
        self.train = Some(train);
        Ok(self)
    }

    fn shaped(self) -> Result<Self, PlantError> {
        let with_edge = self.width_ns.checked_add(self.edge_ns);
        let fits = with_edge.is_some_and(|length| length <= self.period_ns);
        if self.width_ns == 0 || self.edge_ns > self.width_ns || !fits {
            return Err(PlantError::PulseShape);
        }
        Ok(self)
    }

    /// Beginning of the period of a pulse that `at_ns` lies in, or the section of rest that it lies
    /// in.
    fn pulse_at(&self, at_ns: u64) -> Result<u64, Section> {
        let Some(since_first) = at_ns.checked_sub(self.first_ns) else {
            return Err(Section::flat(0, self.first_ns, self.low));
        };
        let group = match self.train {
            None => self.first_ns,
            Some(train) => at_ns - since_first % train.period_ns,
        };
        let pulse = (at_ns - group) / self.period_ns;
        match self.train {
            Some(train) if pulse >= train.pulses => Err(Section::flat(
                group.saturating_add(train.pulses * self.period_ns),
                group.saturating_add(train.period_ns),
                self.low,
            )),
            _ => Ok(group + pulse * self.period_ns),
        }
    }
}

impl Profile for Pulses {
    fn section(&self, at_ns: u64) -> Section {
        let begin = match self.pulse_at(at_ns) {
            Ok(begin) => begin,
            Err(rest) => return rest,
        };
        let since = at_ns - begin;
        let (width, edge) = (self.width_ns, self.edge_ns);
        let (from, to, start, end) = if since < edge {
            (0, edge, self.low, self.high)
        } else if since < width {
            (edge, width, self.high, self.high)
        } else if since < width + edge {
            (width, width + edge, self.high, self.low)
        } else {
            (width + edge, self.period_ns, self.low, self.low)
        };
        Section {
            from_ns: begin + from,
            // Beyond the end of time there is nothing to be exact about.
            to_ns: begin.saturating_add(to),
            start,
            end,
        }
    }

    fn bounds(&self) -> Bounds {
        Bounds {
            least: self.low.min(self.high),
            greatest: self.low.max(self.high),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::vec::Vec;

    fn walk(profile: &impl Profile, sections: usize) -> Vec<(u64, i64, i64)> {
        let mut at_ns = 0;
        (0..sections)
            .map(|_| {
                let section = profile.section(at_ns);
                assert_eq!(section.from_ns, at_ns);
                at_ns = section.to_ns;
                (section.to_ns, section.start, section.end)
            })
            .collect()
    }

    #[test]
    fn pulses_jump_between_low_and_high() {
        let pulses = Pulses::new(1, 5, 100, 30).unwrap().first_at(10);
        let expected = [
            (10, 1, 1),
            (40, 5, 5),
            (110, 1, 1),
            (140, 5, 5),
            (210, 1, 1),
        ];
        assert_eq!(walk(&pulses, 5), expected);
    }

    #[test]
    fn edges_take_their_time_within_the_period() {
        let pulses = Pulses::new(0, 8, 100, 30).unwrap().with_edges(4).unwrap();
        let expected = [(4, 0, 8), (30, 8, 8), (34, 8, 0), (100, 0, 0), (104, 0, 8)];
        assert_eq!(walk(&pulses, 5), expected);
        assert_eq!(pulses.section(31).at(31), 6);
    }

    #[test]
    fn a_pulse_may_fill_its_period_with_edges() {
        let pulses = Pulses::new(0, 8, 100, 50).unwrap().with_edges(50).unwrap();
        assert_eq!(
            walk(&pulses, 4),
            [(50, 0, 8), (100, 8, 0), (150, 0, 8), (200, 8, 0)]
        );
    }

    #[test]
    fn trains_rest_after_their_pulses() {
        let train = Train {
            pulses: 2,
            period_ns: 500,
        };
        let pulses = Pulses::new(1, 5, 100, 30)
            .unwrap()
            .in_trains(train)
            .unwrap();
        let expected = [
            (30, 5, 5),
            (100, 1, 1),
            (130, 5, 5),
            (200, 1, 1),
            (500, 1, 1),
            (530, 5, 5),
        ];
        assert_eq!(walk(&pulses, 6), expected);
        assert_eq!(pulses.section(250), Section::flat(200, 500, 1));
    }

    #[test]
    fn shapes_that_cannot_be_are_refused() {
        let pulses = Pulses::new(0, 1, 100, 30).unwrap();
        assert_eq!(Pulses::new(0, 1, 100, 0), Err(PlantError::PulseShape));
        assert_eq!(Pulses::new(0, 1, 100, 101), Err(PlantError::PulseShape));
        assert!(Pulses::new(0, 1, 100, 100).is_ok());
        assert!(Pulses::new(0, 1, 100, 1).is_ok());
        assert_eq!(pulses.with_edges(31), Err(PlantError::PulseShape));
        assert_eq!(pulses.with_edges(u64::MAX), Err(PlantError::PulseShape));
        for (count, period_ns) in [(0, 1000), (11, 1000), (u64::MAX, u64::MAX)] {
            let train = Train {
                pulses: count,
                period_ns,
            };
            assert_eq!(pulses.in_trains(train), Err(PlantError::TrainShape));
        }
        for (pulses_each, period_ns) in [(1, 100), (10, 1000)] {
            let train = Train {
                pulses: pulses_each,
                period_ns,
            };
            assert!(pulses.in_trains(train).is_ok());
        }
    }

    #[test]
    fn the_end_of_time_is_no_trap() {
        let pulses = Pulses::new(0, 1, 1 << 63, 1 << 62).unwrap();
        let section = pulses.section(u64::MAX - 1);
        assert!(section.from_ns < u64::MAX - 1 && section.to_ns == u64::MAX);
    }
}
