//! Quantiles and a histogram in bounded memory.

use hdrhistogram::Histogram;

/// Significant digits of a quantile.
const DIGITS: u8 = 3;
/// Greatest magnitude, in nano-units.
const MOST: u64 = 1_000_000_000_000_000;

/// Signed values by magnitude: one sketch for each sign. A value is kept to one part in 1000 of
/// itself, and to 1 nano-unit.
pub(super) struct Sketch {
    above: Histogram<u64>,
    below: Histogram<u64>,
}

impl Sketch {
    pub(super) fn new() -> Option<Self> {
        let one = || Histogram::new_with_bounds(1, MOST, DIGITS).ok();
        Some(Self {
            above: one()?,
            below: one()?,
        })
    }

    /// A value in base units, with a weight.
    pub(super) fn take(&mut self, value: f64, weight: u64) {
        let nano = ((value.abs() * 1e9).round() as u64).min(MOST);
        let side = if value < 0.0 {
            &mut self.below
        } else {
            &mut self.above
        };
        side.saturating_record_n(nano, weight);
    }

    fn weight(&self) -> u64 {
        self.above.len() + self.below.len()
    }

    /// The least value below or at which so great a share of the weight lies.
    pub(super) fn quantile(&self, share: f64) -> f64 {
        let wanted = ((self.weight() as f64 * share).ceil() as u64).max(1);
        let below = self.below.len();
        let nano = match wanted <= below {
            true => -(at(&self.below, below - wanted + 1) as f64),
            false => at(&self.above, wanted - below) as f64,
        };
        nano / 1e9
    }

    /// Shares of the weight in so many equal stretches between two values.
    pub(super) fn histogram(&self, least: f64, greatest: f64, stretches: usize) -> Vec<f64> {
        let mut shares = vec![0.0; stretches];
        let (weight, span) = (self.weight() as f64, greatest - least);
        for (side, sign) in [(&self.above, 1.0), (&self.below, -1.0)] {
            for bucket in side.iter_recorded() {
                let middle = side.median_equivalent(bucket.value_iterated_to());
                let value = sign * middle as f64 / 1e9;
                let place = match span > 0.0 {
                    true => ((value - least) / span * stretches as f64).max(0.0) as usize,
                    false => 0,
                };
                shares[place.min(stretches - 1)] +=
                    bucket.count_since_last_iteration() as f64 / weight;
            }
        }
        shares
    }
}

/// The middle of the bucket in which the so-and-so-manieth value lies, from 1.
fn at(side: &Histogram<u64>, wanted: u64) -> u64 {
    let mut seen = 0;
    for bucket in side.iter_recorded() {
        seen += bucket.count_since_last_iteration();
        if seen >= wanted {
            return side.median_equivalent(bucket.value_iterated_to());
        }
    }
    0
}
