use crate::old::wide::{chained_up, plus};
use crate::units::{Charge, Current};

/// Which way current can flow on a rail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Flow {
    /// From source to load alone.
    Forward,
    /// Both ways: a battery that is charged and discharged, a motor that feeds back.
    Both,
}

/// How often, and by how much, a load jumps.
///
/// A jump that falls between two conversions is dated wrongly by up to one round; what that costs enters the bound as its own part, in full, for
/// loads may jump in step with the pace.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Edges {
    /// Greatest number of jumps (up or down each count) in 1000 seconds.
    pub per_1000_s: u32,
    /// Greatest jump, up or down.
    pub step: Current,
}

/// What the engineer knows of a rail's load and declares: the bound of every total leans on it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Load {
    greatest: Current,
    flow: Flow,
    edges: Edges,
    mean: Current,
    mean_over_us: u64,
}

impl Load {
    /// A load that never jumps (its current hardly changes within a round) and never draws more than `greatest`.
    #[must_use]
    pub const fn smooth(greatest: Current) -> Self {
        let greatest = greatest.abs();
        let edges = Edges {
            per_1000_s: 0,
            step: Current::ZERO,
        };
        Self {
            greatest,
            flow: Flow::Forward,
            edges,
            mean: greatest,
            mean_over_us: 0,
        }
    }

    /// The same for a rail on which current flows both ways, at most the greatest either way.
    #[must_use]
    pub const fn both_ways(mut self) -> Self {
        self.flow = Flow::Both;
        self
    }

    /// The same where the mean of the current's *magnitude* is at most `mean` over any stretch of at least `over_s` seconds.
    ///
    /// Matters where current flows both ways: what changes while it flows (temperature of the sense resistor, the oscillator) acts on the charge turned over,
    /// which the totals do not tell. Without it the greatest current is taken for all the time.
    #[must_use]
    pub const fn with_mean(mut self, mean: Current, over_s: u32) -> Self {
        self.mean = mean.abs();
        self.mean_over_us = (over_s as u64).saturating_mul(1_000_000);
        self
    }

    /// The same for a load that jumps.
    #[must_use]
    pub const fn with_edges(mut self, edges: Edges) -> Self {
        self.edges = edges;
        self
    }

    /// Greatest current in either direction.
    #[must_use]
    pub const fn greatest(&self) -> Current {
        self.greatest
    }

    /// Which way current can flow.
    #[must_use]
    pub const fn flow(&self) -> Flow {
        self.flow
    }

    /// How often and how far it jumps.
    #[must_use]
    pub const fn edges(&self) -> Edges {
        self.edges
    }

    /// Greatest charge that can be turned over, whichever way, in `duration_us`; rounded up.
    #[must_use]
    #[inline(never)]
    pub const fn turnover(&self, duration_us: u64) -> Charge {
        let mean = if duration_us < self.mean_over_us {
            self.greatest
        } else {
            self.mean
        };
        let mean_na = mean.as_nanoamps().unsigned_abs() as u128;
        nanocoulombs(chained_up(mean_na, &[duration_us], &[1_000_000]))
    }

    /// What jumps between conversions can cost in `duration_us` at a round period of `period_us`, rounded up:
    /// number of edges × step × round period ÷ 2.
    #[must_use]
    #[inline(never)]
    pub const fn between_conversions(&self, duration_us: u64, period_us: u32) -> Charge {
        let rate = self.edges.per_1000_s as u64;
        if rate == 0 {
            return Charge::ZERO;
        }
        // A stretch can hold one edge more than its rate says.
        let edges = plus(
            chained_up(duration_us as u128, &[rate], &[1_000_000_000]),
            1,
        );
        let step_na = self.edges.step.as_nanoamps().unsigned_abs();
        nanocoulombs(chained_up(
            edges,
            &[step_na, period_us as u64],
            &[2_000_000],
        ))
    }
}

const fn nanocoulombs(number: u128) -> Charge {
    Charge::from_nanocoulombs(if number > i128::MAX as u128 {
        i128::MAX
    } else {
        number as i128
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_declared_mean_holds_from_its_span_on() {
        let load = Load::smooth(Current::from_amps(8))
            .both_ways()
            .with_mean(Current::from_milliamps(1_500), 600);
        assert_eq!(load.turnover(599_000_000), Charge::from_coulombs(8 * 599));
        assert_eq!(load.turnover(600_000_000), Charge::from_coulombs(900));
        assert_eq!(
            Load::smooth(Current::from_amps(8)).turnover(1),
            Charge::from_nanocoulombs(8_000)
        );
    }

    #[test]
    fn edges_cost_half_a_round_each() {
        // 2 edges a second of 2 A for 10 s: 20 + 1 edges × 2 A × 500 µs ÷ 2 = 10.5 mC.
        let load = Load::smooth(Current::from_amps(2)).with_edges(Edges {
            per_1000_s: 2_000,
            step: Current::from_amps(2),
        });
        assert_eq!(
            load.between_conversions(10_000_000, 500),
            Charge::from_microcoulombs(10_500)
        );
        assert_eq!(
            Load::smooth(Current::from_amps(2)).between_conversions(10_000_000, 500),
            Charge::ZERO
        );
    }
}
