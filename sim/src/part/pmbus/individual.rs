use alloc::vec::Vec;

use super::description::Description;
use crate::rng::Rng;

/// The errors of one device. The fields are open so that a test can build the worst that a
/// description allows.
#[derive(Clone, Debug, PartialEq)]
pub struct Individual {
    /// By page.
    pub pages: Vec<PageErrors>,
    /// Its true sample period in nanoseconds.
    pub sample_period_ns: u64,
}

/// Gain and offset errors of a page's converters: measured = input × (1 + gain) + offset.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PageErrors {
    /// 0.01 is +1 %.
    pub voltage_gain: f64,
    /// Volts.
    pub voltage_offset: f64,
    /// 0.01 is +1 %.
    pub current_gain: f64,
    /// Amperes.
    pub current_offset: f64,
}

impl Individual {
    /// A device without errors.
    pub fn ideal(description: &Description) -> Self {
        Self {
            pages: description
                .pages
                .iter()
                .map(|_| PageErrors::default())
                .collect(),
            sample_period_ns: description.sample_period_ns,
        }
    }

    /// Errors from a seed, spread evenly within the limits of the description.
    pub fn from_seed(description: &Description, rng: &Rng) -> Self {
        let (mut gain, mut offset) = (rng.stream("gain"), rng.stream("offset"));
        let pages = description.pages.iter().map(|page| PageErrors {
            voltage_gain: gain.rectangular(page.voltage.gain_limit),
            voltage_offset: offset.rectangular(page.voltage.offset_limit),
            current_gain: gain.rectangular(page.current.gain_limit),
            current_offset: offset.rectangular(page.current.offset_limit),
        });
        // In whole nanoseconds, rounded inwards; a description's period is at most a day, so this
        // fits.
        let departure = description.sample_period_ns / 1_000_000
            * u64::from(description.oscillator_limit_ppm.min(500_000));
        let least = description.sample_period_ns - departure;
        Self {
            pages: pages.collect(),
            sample_period_ns: least + rng.stream("oscillator").below(2 * departure + 1),
        }
    }
}

#[cfg(test)]
mod tests {
    use alloc::collections::BTreeSet;

    use super::*;

    /// One part per million of a millisecond is a nanosecond, either way.
    #[test]
    fn the_oscillator_fills_its_limit_and_never_stands_still() {
        let mut description = Description::gallinule();
        description.sample_period_ns = 1_000_000;
        let mut periods = |ppm| -> BTreeSet<u64> {
            description.oscillator_limit_ppm = ppm;
            let drawn = (0..1_000).map(|seed| Individual::from_seed(&description, &Rng::new(seed)));
            drawn
                .map(|individual| individual.sample_period_ns)
                .collect()
        };
        assert!(periods(1).into_iter().eq([999_999, 1_000_000, 1_000_001]));
        assert!(periods(0).into_iter().eq([1_000_000]));
        // No more than half, whatever is said.
        let far = periods(u32::MAX);
        assert!(far.first() < Some(&505_000) && far.last() > Some(&1_495_000));
        assert!(far.iter().all(|ns| (500_000..=1_500_000).contains(ns)));
    }
}
