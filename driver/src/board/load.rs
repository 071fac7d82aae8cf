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
}

impl Load {
    /// A load that never jumps (its current hardly changes within a round) and never draws more than `greatest`.
    #[must_use]
    pub const fn smooth(greatest: Current) -> Self {
        Self {
            greatest: greatest.abs(),
            flow: Flow::Forward,
            edges: Edges {
                per_1000_s: 0,
                step: Current::ZERO,
            },
        }
    }

    /// The same for a rail on which current flows both ways, at most the greatest either way.
    #[must_use]
    pub const fn both_ways(mut self) -> Self {
        self.flow = Flow::Both;
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

    /// What jumps between conversions can cost in `duration_us` at a round period of `period_us`, rounded up:
    /// number of edges × step × round period ÷ 2.
    #[must_use]
    pub const fn between_conversions(&self, duration_us: u64, period_us: u32) -> Charge {
        // A stretch can hold one edge more than its rate says.
        let whole = (duration_us as u128)
            .saturating_mul(self.edges.per_1000_s as u128)
            .div_ceil(1_000_000_000);
        let edges = if self.edges.per_1000_s == 0 {
            0
        } else {
            whole.saturating_add(1)
        };
        let step_na = self.edges.step.as_nanoamps().unsigned_abs() as u128;
        let twice_na_us = edges
            .saturating_mul(step_na)
            .saturating_mul(period_us as u128);
        let nc = twice_na_us.div_ceil(2_000_000);
        Charge::from_nanocoulombs(if nc > i128::MAX as u128 {
            i128::MAX
        } else {
            nc as i128
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
