use crate::rng::Rng;

/// A bounded triangular wander of an offset in time.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Drift {
    /// Greatest departure, either sign, in nanovolts.
    pub amplitude_nv: f64,
    /// Time from peak to peak in nanoseconds; 0 for no drift.
    pub period_ns: u64,
    /// Where in the period time 0 falls, in nanoseconds.
    pub phase_ns: u64,
}

impl Drift {
    /// A drift that never departs by more than `limit_nv` nanovolts.
    pub fn from_seed(rng: &mut Rng, limit_nv: f64) -> Self {
        // Periods that a test of minutes crosses; datasheets bound the amplitude alone.
        let period_ns = rng.integer(20_000_000_000..=200_000_000_000) as u64;
        Self {
            amplitude_nv: rng.rectangular(limit_nv),
            period_ns,
            phase_ns: rng.below(period_ns),
        }
    }

    /// Departure in nanovolts at a moment.
    pub fn at(&self, ns: u64) -> f64 {
        match ns.wrapping_add(self.phase_ns).checked_rem(self.period_ns) {
            None => 0.0,
            Some(into) => {
                let turn = into as f64 / self.period_ns as f64;
                let rising = if turn < 0.5 { turn } else { 1.0 - turn };
                self.amplitude_nv * (4.0 * rising - 1.0)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn drift_is_a_bounded_triangle() {
        let drift = Drift {
            amplitude_nv: 20.0,
            period_ns: 1_000,
            phase_ns: 250,
        };
        let at = [0, 125, 250, 500, 750, 1_000].map(|ns| drift.at(ns));
        assert_eq!(at, [0.0, 10.0, 20.0, 0.0, -20.0, 0.0]);
        assert_eq!(Drift::default().at(77), 0.0);
    }
}
