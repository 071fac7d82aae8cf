//! How far a total, or a current, may lie from the truth, by named parts.

use crate::units::{Charge, Current, Energy};
use crate::wide::plus;

/// Bound of a total or a current: the truth lies within ± the sum of the parts, for every part and board inside the limits that datasheet and board state.
///
/// Each part is a limit, not a deviation of a distribution; noise is taken at six times its r.m.s. value.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Bound<Q> {
    /// Instrument: gain error of the part, or of the calibration.
    pub gain: Q,
    /// Instrument: offset error and input bias, or what a zero calibration left.
    pub offset: Q,
    /// Instrument: noise and rounding to codes, averaged over the rounds.
    pub noise: Q,
    /// Board: tolerance of the sense resistor; nothing where the gain was calibrated.
    pub shunt: Q,
    /// Board: temperature of the sense resistor, from outside and by its own heat.
    pub thermal: Q,
    /// Clocks: the host clock's rate, the wander of the part's oscillator, and the ends of each segment.
    pub clock: Q,
    /// What the load does between conversions, as declared.
    pub load: Q,
}

/// The parts as the ledger keeps them: whole nanocoulombs or nanojoules. One percent of 10 kW for 10 years takes 65 bits.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Parts(pub(crate) [u128; 7]);

impl Parts {
    pub(crate) fn add(&mut self, other: &Self) {
        for (mine, theirs) in self.0.iter_mut().zip(other.0) {
            *mine = plus(*mine, theirs);
        }
    }

    pub(crate) fn of<Q>(self, unit: impl Fn(i128) -> Q) -> Bound<Q> {
        let [gain, offset, noise, shunt, thermal, clock, load] = self
            .0
            .map(|part| unit(i128::try_from(part).unwrap_or(i128::MAX)));
        Bound {
            gain,
            offset,
            noise,
            shunt,
            thermal,
            clock,
            load,
        }
    }
}

/// Adds the sum of the parts, whose type says how it adds.
macro_rules! total {
    ($($Quantity:ident),*) => {$(
        impl Bound<$Quantity> {
            /// Sum of the parts.
            #[must_use]
            pub const fn total(&self) -> $Quantity {
                self.gain
                    .saturating_add(self.offset)
                    .saturating_add(self.noise)
                    .saturating_add(self.shunt)
                    .saturating_add(self.thermal)
                    .saturating_add(self.clock)
                    .saturating_add(self.load)
            }
        }
    )*};
}

total!(Charge, Energy, Current);
