use core::num::Saturating;

use super::operating::scaled;
use crate::units::{Charge, Current, Energy, Power, Voltage};

/// How far a quantity may lie from the truth, by named parts: the truth lies within ± their sum,
/// for every part and board inside the limits that datasheet and board state.
///
/// Each part is a limit, not a deviation of a distribution, and rounded up; noise is taken at six
/// times its r.m.s. value.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Budget<Q> {
    /// Instrument: gain error of the part, or of the calibration.
    pub gain: Q,
    /// Instrument: offset error, or what an offset calibration left.
    pub offset: Q,
    /// Instrument: input bias through the sense resistor; nothing where the offset was calibrated.
    pub bias: Q,
    /// Instrument: noise of so many conversions.
    pub noise: Q,
    /// Instrument: rounding to codes, and of the quantity itself.
    pub quantisation: Q,
    /// Board: tolerance of the sense resistor; nothing where the gain was calibrated.
    pub resistor: Q,
    /// Board: temperature of the sense resistor, from outside and by its own heat.
    pub temperature: Q,
    /// The host clock's rate, the wander of the part's oscillator, and both ends of the stretch.
    pub clock: Q,
    /// What load and source do between conversions, as declared.
    pub load_steps: Q,
}

impl<Q: Copy> Budget<Q> {
    pub(super) fn map<R>(&self, of: impl Fn(Q) -> R) -> Budget<R> {
        Budget {
            gain: of(self.gain),
            offset: of(self.offset),
            bias: of(self.bias),
            noise: of(self.noise),
            quantisation: of(self.quantisation),
            resistor: of(self.resistor),
            temperature: of(self.temperature),
            clock: of(self.clock),
            load_steps: of(self.load_steps),
        }
    }
}

impl Budget<Current> {
    /// The same of the charge that a mean current makes in so many microseconds, rounded up.
    #[must_use]
    pub fn charge(&self, duration_us: u64) -> Budget<Charge> {
        self.map(|part| {
            let na = Saturating(part.as_nanoamps().unsigned_abs());
            Charge::from_nanocoulombs(scaled(na, duration_us, 1_000_000).0.into())
        })
    }
}

impl Budget<Power> {
    /// The same of the energy that a mean power makes in so many microseconds, rounded up.
    #[must_use]
    pub fn energy(&self, duration_us: u64) -> Budget<Energy> {
        self.map(|part| {
            let nw = Saturating(part.as_nanowatts().unsigned_abs());
            Energy::from_nanojoules(scaled(nw, duration_us, 1_000_000).0.into())
        })
    }
}

/// Adds the sum of the parts, whose type says how it adds.
macro_rules! total {
    ($($Quantity:ident),*) => {$(
        impl Budget<$Quantity> {
            /// Sum of the parts: the bound.
            #[must_use]
            pub const fn total(&self) -> $Quantity {
                self.gain
                    .saturating_add(self.offset)
                    .saturating_add(self.bias)
                    .saturating_add(self.noise)
                    .saturating_add(self.quantisation)
                    .saturating_add(self.resistor)
                    .saturating_add(self.temperature)
                    .saturating_add(self.clock)
                    .saturating_add(self.load_steps)
            }
        }
    )*};
}

total!(Current, Voltage, Power, Charge, Energy);
