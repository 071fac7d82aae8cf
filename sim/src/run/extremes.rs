use crake::Reading;
use schemars::JsonSchema;
use serde::Serialize;

/// Least, mean and greatest of one quantity over all readings of a rail, in whole nano-units.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Extreme {
    least: i64,
    greatest: i64,
    sum: i128,
    count: u64,
}

impl Extreme {
    fn note(&mut self, value: i64) {
        if self.count == 0 {
            (self.least, self.greatest) = (value, value);
        }
        self.least = self.least.min(value);
        self.greatest = self.greatest.max(value);
        self.sum += i128::from(value);
        self.count += 1;
    }

    /// In base units; `None` without a reading.
    pub(super) fn spread(&self) -> Option<Spread> {
        (self.count > 0).then(|| Spread {
            least: self.least as f64 / 1e9,
            mean: self.sum as f64 / self.count as f64 / 1e9,
            greatest: self.greatest as f64 / 1e9,
        })
    }
}

/// Extremes of the readings of one rail.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Extremes {
    pub(super) voltage: Extreme,
    pub(super) current: Extreme,
    pub(super) power: Extreme,
}

impl Extremes {
    pub(super) fn note(&mut self, reading: &Reading) {
        self.voltage.note(reading.voltage.as_nanovolts());
        self.current.note(reading.current.as_nanoamps());
        self.power.note(reading.power.as_nanowatts());
    }
}

/// Least, mean and greatest over all readings, in volts, amperes or watts.
#[derive(Clone, Copy, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Spread {
    /// Least reading.
    pub least: f64,
    /// Mean of the readings: of the moments at which they were taken, not of the whole time. Energy
    /// and charge over time are exact.
    pub mean: f64,
    /// Greatest reading.
    pub greatest: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_never_was_zero_has_no_zero_in_its_spread() {
        let spread = |values: &[i64]| {
            let mut extreme = Extreme::default();
            values.iter().for_each(|value| extreme.note(*value));
            extreme.spread().map(|it| [it.least, it.mean, it.greatest])
        };
        assert_eq!(spread(&[]), None);
        assert_eq!(
            spread(&[-3_000_000_000, -5_000_000_000]),
            Some([-5.0, -4.0, -3.0])
        );
        assert_eq!(
            spread(&[5_000_000_000, 3_000_000_000]),
            Some([3.0, 4.0, 5.0])
        );
    }
}
