use crate::board::Factors;

/// What is added up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Quantity {
    /// Charge.
    Charge,
    /// Energy.
    Energy,
}

impl Quantity {
    pub(super) const BOTH: [Self; 2] = [Self::Charge, Self::Energy];

    /// Its own of charge and energy.
    #[inline(always)]
    pub(super) const fn of<T: Copy>(self, [charge, energy]: [T; 2]) -> T {
        match self {
            Self::Charge => charge,
            Self::Energy => energy,
        }
    }

    /// A rail's factor for it.
    pub(super) const fn factor(self, factors: &Factors) -> (u64, u8) {
        match self {
            Self::Charge => factors.charge(),
            Self::Energy => factors.energy(),
        }
    }
}
