use crate::old::bound::Bound;
use crate::old::frame::Side;
use crate::units::{Charge, Energy};

/// Totals of one rail, with all that is known of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Account {
    /// Energy into the load, by the host's clock. The sense resistor's own loss is not in it.
    pub energy: Energy,
    /// Charge from source to load, by the host's clock.
    pub charge: Charge,
    /// Energy by the part's own clock: as far off as the part's oscillator.
    pub energy_by_part_clock: Energy,
    /// Charge by the part's own clock.
    pub charge_by_part_clock: Charge,
    /// How far `energy` may be from the truth.
    pub energy_bound: Bound<Energy>,
    /// How far `charge` may be from the truth.
    pub charge_bound: Bound<Charge>,
    /// What `charge` says after clipping: a limit on one side, or nothing.
    pub charge_side: Side,
    /// What `energy` says after clipping.
    pub energy_side: Side,
    /// How long the rail was accounted for, in microseconds of the host's clock.
    pub duration_us: u64,
}

/// Totals of one rail alone; an [`Account`] tells besides how far they may be from the truth.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Total {
    /// Energy into the load, by the host's clock. The sense resistor's own loss is not in it.
    pub energy: Energy,
    /// Charge from source to load, by the host's clock.
    pub charge: Charge,
    /// What `charge` says after clipping: a limit on one side, or nothing.
    pub charge_side: Side,
    /// What `energy` says after clipping.
    pub energy_side: Side,
    /// How long the rail was accounted for, in microseconds of the host's clock.
    pub duration_us: u64,
}
