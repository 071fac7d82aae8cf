use crake::units::{Charge, Energy};

use super::exact::round_div;

/// What really flowed through a rail from time 0, kept in integers.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Truth {
    /// Charge in halves of nA·ns (half of 1e-18 C).
    pub charge_half_na_ns: i128,
    /// Energy delivered to the load in sixths of nA·nV·ns (a sixth of 1e-27 J).
    pub energy_sixth_na_nv_ns: i128,
}

impl Truth {
    /// The charge in the driver's unit, to the nearest nanocoulomb.
    pub fn charge(&self) -> Charge {
        Charge::from_nanocoulombs(round_div(self.charge_half_na_ns, 2_000_000_000))
    }

    /// The energy in the driver's unit, to the nearest nanojoule.
    pub fn energy(&self) -> Energy {
        Energy::from_nanojoules(round_div(
            self.energy_sixth_na_nv_ns,
            6_000_000_000_000_000_000,
        ))
    }

    /// What flowed since a moment at which `earlier` had.
    #[must_use]
    pub const fn since(&self, earlier: &Self) -> Self {
        Self {
            charge_half_na_ns: self
                .charge_half_na_ns
                .saturating_sub(earlier.charge_half_na_ns),
            energy_sixth_na_nv_ns: self
                .energy_sixth_na_nv_ns
                .saturating_sub(earlier.energy_sixth_na_nv_ns),
        }
    }

    /// Both together.
    #[must_use]
    pub const fn and(&self, other: &Self) -> Self {
        Self {
            charge_half_na_ns: self
                .charge_half_na_ns
                .saturating_add(other.charge_half_na_ns),
            energy_sixth_na_nv_ns: self
                .energy_sixth_na_nv_ns
                .saturating_add(other.energy_sixth_na_nv_ns),
        }
    }

    /// The mean of two.
    pub(crate) const fn middle(&self, other: &Self) -> Self {
        const fn middle(one: i128, other: i128) -> i128 {
            one + (other.saturating_sub(one)) / 2
        }
        Self {
            charge_half_na_ns: middle(self.charge_half_na_ns, other.charge_half_na_ns),
            energy_sixth_na_nv_ns: middle(self.energy_sixth_na_nv_ns, other.energy_sixth_na_nv_ns),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1 C is 1e18 nA·ns, 1 J is 1e27 nA·nV·ns.
    #[test]
    fn coulombs_and_joules_to_the_nearest_billionth() {
        let truth = Truth {
            charge_half_na_ns: 2_500_000_001_000_000_000,
            energy_sixth_na_nv_ns: -6_000_000_000_000_000_000 * 7 - 3_000_000_000_000_000_001,
        };
        assert_eq!(truth.charge(), Charge::from_nanocoulombs(1_250_000_001));
        assert_eq!(truth.energy(), Energy::from_nanojoules(-8));
    }
}
