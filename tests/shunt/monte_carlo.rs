//! The budget against a hundred thousand individuals of part and sense resistor.

use crake::part::corncrake::INFO;
use crake::units::{Current, Voltage};
use crake_sim::shunt::{Candidate, Demands, Errors};

use crate::bench::measured;

/// Four of them are on one part.
const PARTS: u64 = 25_000;

/// Current and power of as many individuals against the budget: all within the worst case, the
/// standard deviation within 2 % of the predicted one, and at least 95 % within k = 2. The share
/// within k = 2 of current and power.
fn agree(demands: &Demands, current: Current) -> [f64; 2] {
    let candidate = Candidate::new(demands, 11_000_000);
    let budget = candidate.budget(demands, current).expect("a range");
    let mut tallies = [Tally::new(&budget.current_a), Tally::new(&budget.power_w)];
    for seed in 1..=PARTS {
        let warmest_mc = demands.ambient_mc.1;
        for off in measured(demands, &candidate, current, warmest_mc, seed) {
            for (tally, off) in tallies.iter_mut().zip(off) {
                tally.add(off, seed);
            }
        }
    }
    tallies.map(|tally| tally.judge(current))
}

struct Tally<'e> {
    errors: &'e Errors,
    number: f64,
    sum: f64,
    squares: f64,
    inside: f64,
}

impl<'e> Tally<'e> {
    fn new(errors: &'e Errors) -> Self {
        Self {
            errors,
            number: 0.0,
            sum: 0.0,
            squares: 0.0,
            inside: 0.0,
        }
    }

    fn add(&mut self, off: f64, seed: u64) {
        let worst = self.errors.worst_case;
        assert!(off.abs() <= worst, "seed {seed}: {off} beyond {worst}");
        self.number += 1.0;
        self.sum += off;
        self.squares += off * off;
        self.inside += f64::from(off.abs() <= self.errors.expanded);
    }

    fn judge(&self, current: Current) -> f64 {
        let mean = self.sum / self.number;
        let deviation = (self.squares / self.number - mean * mean).sqrt();
        let ratio = deviation / self.errors.standard;
        let inside = self.inside / self.number;
        println!(
            "{current}: seeds 1 to {PARTS}; standard deviation {deviation:.3e}, {ratio:.4} of the \
             predicted one; {:.2} % within k = 2",
            100.0 * inside
        );
        assert!((ratio - 1.0).abs() <= 0.02, "{ratio}");
        assert!(inside >= 0.95, "{inside}");
        // Errors come either way.
        assert!(mean.abs() < 0.02 * deviation, "{mean} beside {deviation}");
        inside
    }
}

/// 12 V, 50 mA to 5 A, 11 mΩ ± 1 %, 50 ppm/K; the warmest is 60 K from 25 °C, as far as the board
/// goes.
fn demands() -> Demands {
    let currents = (Current::from_milliamps(50), Current::from_amps(5));
    let mut demands = Demands::new(&INFO, Voltage::from_volts(12), currents, 100_000);
    demands.ambient_mc = (-20_000, 85_000);
    demands
}

/// At 5 A the resistor's 1 % rules, a rectangular contribution: 2 u are 2 ÷ √3 of its limit, so
/// that far more than 95 % lie inside.
#[test]
fn a_hundred_thousand_individuals_at_the_greatest_current() {
    let inside = agree(&demands(), Current::from_amps(5));
    assert!(inside.iter().all(|share| *share > 0.98), "{inside:?}");
}

/// At 50 mA the offset rules, a rectangular one too, beside noise and the resistor.
#[test]
fn a_hundred_thousand_individuals_at_the_least_current() {
    agree(&demands(), Current::from_milliamps(50));
}
