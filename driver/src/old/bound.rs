//! How far a total, or a current, may lie from the truth, by named parts.

use crate::old::upper::Upper;
use crate::units::{Charge, Current, Energy};

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

/// The parts as the ledger keeps them, in nanocoulombs or nanojoules: never less than their limits, and hardly more.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(crate) struct Parts {
    pub(crate) mantissas: [u32; 7],
    pub(crate) exponents: [i8; 7],
}

impl Parts {
    pub(crate) const NOTHING: Self = Self {
        mantissas: [0; 7],
        exponents: [0; 7],
    };

    /// Adds to each part.
    #[inline(never)]
    pub(crate) fn add(&mut self, others: &[Upper; 7]) {
        let mine = self.mantissas.iter_mut().zip(&mut self.exponents);
        for ((mantissa, exponent), other) in mine.zip(others) {
            let sum = Upper::unpacked((*mantissa, *exponent)).plus(*other);
            (*mantissa, *exponent) = sum.packed();
        }
    }

    pub(crate) fn of<Q>(&self, unit: impl Fn(i128) -> Q) -> Bound<Q> {
        let part = |place| unit(self.whole(place));
        Bound {
            gain: part(0),
            offset: part(1),
            noise: part(2),
            shunt: part(3),
            thermal: part(4),
            clock: part(5),
            load: part(6),
        }
    }

    #[inline(never)]
    fn whole(&self, place: usize) -> i128 {
        let part = self.mantissas.get(place).zip(self.exponents.get(place));
        let whole = part.map_or(0, |(mantissa, exponent)| {
            Upper::unpacked((*mantissa, *exponent)).whole()
        });
        i128::try_from(whole).unwrap_or(i128::MAX)
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
