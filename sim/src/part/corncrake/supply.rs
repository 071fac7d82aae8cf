//! What the part itself draws (datasheet, section 8, typical values at 3.3 V).

/// States that differ in supply current.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Draw {
    Unpowered,
    Idle,
    Resting,
    Converting,
}

/// Charge drawn so far. Time is added when the state changes, so conversions cost nothing here.
#[derive(Debug)]
pub(super) struct Supply {
    draw: Draw,
    since_ns: u64,
    charge_na_ns: u128,
}

impl Supply {
    pub(super) fn new() -> Self {
        Self {
            draw: Draw::Idle,
            since_ns: 0,
            charge_na_ns: 0,
        }
    }

    pub(super) fn enter(&mut self, draw: Draw, at_ns: u64) {
        if self.draw != draw {
            self.charge_na_ns = self.charge_na_ns(at_ns);
            self.since_ns = at_ns;
            self.draw = draw;
        }
    }

    pub(super) fn charge_na_ns(&self, at_ns: u64) -> u128 {
        let current_na = match self.draw {
            Draw::Unpowered => 0,
            Draw::Idle => 2_200,
            Draw::Resting => 9_000,
            Draw::Converting => 310_000,
        };
        self.charge_na_ns + current_na * u128::from(at_ns.saturating_sub(self.since_ns))
    }
}

/// Supply voltage of the figures above, in millivolts.
pub(super) const SUPPLY_MV: u128 = 3_300;
