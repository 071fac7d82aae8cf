use crake::board::Rail;

use super::{Broken, Candidate, Demands, Impossible, Series};

/// All resistors of the series against the demands, and the one to take.
///
/// Of those that meet every demand it is the one with the least worst-case error at the least
/// current; of equals, the one with the least burden.
#[derive(Clone, Debug)]
pub struct Choice {
    /// Ascending.
    candidates: Vec<Candidate>,
    series: Series,
    chosen: Option<usize>,
}

impl Choice {
    /// Tries every resistor that the driver can be told of, 100 µΩ to 10 Ω.
    ///
    /// # Errors
    /// Demands that contradict each other, or that no resistor of whatever size can meet.
    pub fn of(demands: &Demands) -> Result<Self, Impossible> {
        demands.check()?;
        let (least, greatest) = (Rail::RESISTANCE_MIN, Rail::RESISTANCE_MAX);
        let series = demands
            .series
            .between(least.as_nanoohms(), greatest.as_nanoohms());
        let candidates: Vec<_> = series.map(|nohm| Candidate::new(demands, nohm)).collect();
        let fitting = candidates.iter().enumerate().filter(|(_, one)| one.fits());
        // The first of equals, which is the smallest.
        let chosen = fitting
            .min_by(|(_, a), (_, b)| a.error.total_cmp(&b.error))
            .map(|(index, _)| index);
        Ok(Self {
            candidates,
            series: demands.series,
            chosen,
        })
    }

    /// The one to take; `None` where nothing fits.
    #[must_use]
    pub fn chosen(&self) -> Option<&Candidate> {
        self.candidates.get(self.chosen?)
    }

    /// The next smaller and the next larger of the series.
    #[must_use]
    pub fn neighbours(&self) -> [Option<&Candidate>; 2] {
        let Some(chosen) = self.chosen else {
            return [None, None];
        };
        let smaller = chosen.checked_sub(1);
        [smaller, Some(chosen + 1)].map(|index| self.candidates.get(index?))
    }

    /// All that were tried, ascending.
    pub fn candidates(&self) -> impl Iterator<Item = &Candidate> {
        self.candidates.iter()
    }

    /// Those that meet every demand but, at most, that of the error.
    pub(super) fn but_for_the_error(&self) -> impl Iterator<Item = &Candidate> {
        let only_error = |one: &&Candidate| {
            let mut broken = one.broken.iter();
            broken.all(|broken| matches!(broken, Broken::Error { .. }))
        };
        self.candidates.iter().filter(only_error)
    }

    /// What comes closest where nothing fits: the least error of those that break that demand
    /// alone.
    pub(super) fn closest(&self) -> Option<&Candidate> {
        let least = self.but_for_the_error();
        least.min_by(|a, b| a.error.total_cmp(&b.error))
    }

    /// Those worth a look, ascending: the chosen one, two steps of the series to either side, and
    /// some that are smaller by about two, five and ten.
    #[must_use]
    pub fn worth_a_look(&self) -> Vec<&Candidate> {
        let Some(chosen) = self.chosen else {
            return Vec::new();
        };
        let decade = self.series.decade().len();
        let below = [decade, 2 * decade / 3, decade / 3, 2, 1, 0];
        let below = below.iter().map(|steps| chosen.checked_sub(*steps));
        let above = [1, 2].map(|steps| Some(chosen + steps));
        let places = below.chain(above).flatten();
        places
            .filter_map(|index| self.candidates.get(index))
            .collect()
    }
}
