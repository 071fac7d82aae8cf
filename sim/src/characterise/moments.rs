//! Mean, mean square and extremes in one passage, with weights or without.

/// Moments of one quantity; Welford's way of adding up, West's with weights.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Moments {
    weight: f64,
    mean: f64,
    squares: f64,
}

impl Moments {
    pub(super) fn take(&mut self, value: f64, weight: f64) {
        if weight <= 0.0 {
            return;
        }
        self.weight += weight;
        let from_mean = value - self.mean;
        self.mean += from_mean * weight / self.weight;
        self.squares += weight * from_mean * (value - self.mean);
    }

    pub(super) fn mean(&self) -> f64 {
        self.mean
    }

    /// Root of the mean of squares.
    pub(super) fn rms(&self) -> f64 {
        (self.mean * self.mean + self.variance()).sqrt()
    }

    /// Standard deviation of what was seen, not of what it is a sample of.
    pub(super) fn deviation(&self) -> f64 {
        self.variance().sqrt()
    }

    fn variance(&self) -> f64 {
        match self.weight > 0.0 {
            true => (self.squares / self.weight).max(0.0),
            false => 0.0,
        }
    }
}

/// Least and greatest, and when first.
#[derive(Clone, Copy, Debug)]
pub(super) struct Extremes {
    pub(super) least: (f64, i64),
    pub(super) greatest: (f64, i64),
}

impl Default for Extremes {
    fn default() -> Self {
        Self {
            least: (f64::INFINITY, 0),
            greatest: (f64::NEG_INFINITY, 0),
        }
    }
}

impl Extremes {
    pub(super) fn take(&mut self, value: f64, at_ns: i64) {
        if value < self.least.0 {
            self.least = (value, at_ns);
        }
        if value > self.greatest.0 {
            self.greatest = (value, at_ns);
        }
    }
}
