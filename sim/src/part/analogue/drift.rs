use crate::rng::Rng;

/// A bounded triangular wander in time, of an offset or of a clock.
///
/// A function of the moment alone, whose sum over any stretch is known without going through it.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Drift {
    /// Greatest departure, either sign, in the unit of what drifts.
    pub amplitude: f64,
    /// Time from peak to peak in nanoseconds; 0 for no drift.
    pub period_ns: u64,
    /// Where in the period time 0 falls, in nanoseconds.
    pub phase_ns: u64,
}

impl Drift {
    /// A drift that never departs by more than `limit`, with a period of 20 s to 200 s.
    pub fn from_seed(rng: &mut Rng, limit: f64) -> Self {
        // Periods that a test of minutes crosses; datasheets bound the amplitude alone.
        let period_ns = rng.integer(20_000_000_000..=200_000_000_000) as u64;
        Self {
            amplitude: rng.rectangular(limit),
            period_ns,
            phase_ns: rng.below(period_ns),
        }
    }

    /// Departure at a moment.
    pub fn at(&self, ns: u64) -> f64 {
        match self.past_trough(ns) {
            None => 0.0,
            Some(into) => {
                let turn = into as f64 / self.period_ns as f64;
                self.amplitude * (4.0 * turn.min(1.0 - turn) - 1.0)
            }
        }
    }

    /// Departure times nanoseconds from one moment to another, negative where time goes back.
    ///
    /// Up to the middle of a period P the integral, x after its trough, is 2x²/P - x; beyond, it is
    /// the opposite of what it is as long before the next trough. Times P it is a whole number, so
    /// stretches add up but for the rounding to an f64.
    pub fn integral(&self, from_ns: u64, to_ns: u64) -> f64 {
        let triangle = self.since_trough(to_ns) - self.since_trough(from_ns);
        self.amplitude * (triangle as f64 / self.period_ns.max(1) as f64)
    }

    /// The integral of the unit triangle from the last trough to a moment, times the period.
    fn since_trough(&self, ns: u64) -> i128 {
        let into = i128::from(self.past_trough(ns).unwrap_or_default());
        let period = i128::from(self.period_ns);
        let from_trough = into.min(period - into);
        from_trough * (2 * from_trough - period) * (period - 2 * into).signum()
    }

    fn past_trough(&self, ns: u64) -> Option<u64> {
        ns.wrapping_add(self.phase_ns).checked_rem(self.period_ns)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn drift_is_a_bounded_triangle() {
        let drift = Drift {
            amplitude: 20.0,
            period_ns: 1_000,
            phase_ns: 250,
        };
        let at = [0, 125, 250, 500, 750, 1_000].map(|ns| drift.at(ns));
        assert_eq!(at, [0.0, 10.0, 20.0, 0.0, -20.0, 0.0]);
        assert_eq!(Drift::default().at(77), 0.0);
    }

    /// A triangle of 20 over 1000 ns from its zero at 250 ns: a quarter period is a half of 250 x
    /// 20, half a period twice that, a whole one nothing; 100 ns of the rise from zero are 100² / 2
    /// x 0.08.
    #[test]
    fn the_integral_of_a_drift_is_its_area() {
        let drift = Drift {
            amplitude: 20.0,
            period_ns: 1_000,
            phase_ns: 250,
        };
        let areas = [
            (0, 100, 400.0),
            (0, 250, 2_500.0),
            (0, 500, 5_000.0),
            (500, 1_000, -5_000.0),
            (250, 750, 0.0),
            (0, 1_000, 0.0),
            (0, 1_000_000_500, 5_000.0),
            (500, 0, -5_000.0),
        ];
        for (from_ns, to_ns, area) in areas {
            assert_eq!(drift.integral(from_ns, to_ns), area, "{from_ns} {to_ns}");
        }
        assert_eq!(Drift::default().integral(0, 77), 0.0);
    }

    #[test]
    fn periods_and_phases_fill_their_ranges() {
        let mut rng = Rng::new(1);
        let drifts: Vec<_> = (0..5_000)
            .map(|_| Drift::from_seed(&mut rng, 1.0))
            .collect();
        let fills = |share: fn(&Drift) -> f64| {
            let shares = drifts.iter().map(share);
            let (least, greatest) = shares.fold((2.0, -2.0), |(least, greatest), share| {
                (share.min(least), share.max(greatest))
            });
            assert!((0.0..0.001).contains(&least), "{least}");
            assert!((0.999..=1.0).contains(&greatest), "{greatest}");
        };
        fills(|drift| (drift.period_ns as f64 / 1e9 - 20.0) / 180.0);
        fills(|drift| drift.phase_ns as f64 / drift.period_ns as f64);
        fills(|drift| (drift.amplitude + 1.0) / 2.0);
    }

    /// Stretches add up, and the integral is what many moments add up to: the sum of the values in
    /// the middle of n steps, exact on straight lines, so off only in the steps with a corner.
    #[test]
    fn stretches_of_a_drift_add_up() {
        let mut rng = Rng::new(8);
        for _ in 0..100 {
            let drift = Drift::from_seed(&mut rng, 25.0);
            let mut at = [0; 3].map(|_| rng.below(7_200_000_000_000));
            at.sort_unstable();
            let [a, b, c] = at;
            let parts = drift.integral(a, b) + drift.integral(b, c);
            // Rounding of a sum of three numbers below 25 nV x 200 s.
            assert!((parts - drift.integral(a, c)).abs() <= 3.0 * 5e12 * f64::EPSILON);

            let steps = 10_000;
            let step_ns = (c - a) / steps;
            let middles = (0..steps).map(|n| drift.at(a + n * step_ns + step_ns / 2));
            let sum = middles.sum::<f64>() * step_ns as f64;
            let corners = 2.0 + 2.0 * (c - a) as f64 / drift.period_ns as f64;
            let slope = 4.0 * drift.amplitude.abs() / drift.period_ns as f64;
            // A corner in the middle of a step cuts off less than slope x step² / 2; half a
            // nanosecond is lost by halving.
            let step = step_ns as f64 + 1.0;
            let bound = corners * slope * step * step / 2.0 + slope * (c - a) as f64;
            let exact = drift.integral(a, a + steps * step_ns);
            assert!((sum - exact).abs() <= bound, "{sum} {exact} {bound}");
        }
    }
}
