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
