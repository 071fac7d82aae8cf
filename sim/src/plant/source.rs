use alloc::boxed::Box;

use super::cell::Cell;
use super::exact::round_div;
use super::{Bounds, PlantError, Profile, Section, VOLTAGE_NV_MAX};

/// What feeds a rail: a profile of voltage or a [`Cell`], behind an impedance.
///
/// At break points the voltage at the load is the open-circuit voltage less impedance × current,
/// rounded to nearest; between them it goes straight. The impedance is that of everything up to the
/// load's side of the sense resistor, the resistor included; an impedance of 0 means that the
/// profile is the voltage at the load itself, as a recording may be.
pub struct Source {
    supply: Supply,
    impedance_uohm: u64,
    connected: bool,
}

enum Supply {
    /// With the section in use.
    Profile(Box<dyn Profile>, Section),
    Cell(Cell),
}

impl Source {
    /// A source whose open-circuit voltage is `profile`, in nanovolts.
    pub fn of(profile: impl Profile + 'static) -> Self {
        let section = profile.section(0);
        Self {
            supply: Supply::Profile(Box::new(profile), section),
            impedance_uohm: 0,
            connected: true,
        }
    }

    /// A source that is a cell, or several in series.
    pub const fn cell(cell: Cell) -> Self {
        Self {
            supply: Supply::Cell(cell),
            impedance_uohm: 0,
            connected: true,
        }
    }

    /// The same with an impedance in microohms (0 without this call).
    ///
    /// # Errors
    /// [`PlantError::Impedance`] if it is beyond 1 kΩ.
    pub fn behind_microohms(mut self, impedance_uohm: u64) -> Result<Self, PlantError> {
        if impedance_uohm > IMPEDANCE_UOHM_MAX {
            return Err(PlantError::Impedance(impedance_uohm));
        }
        self.impedance_uohm = impedance_uohm;
        Ok(self)
    }

    pub(super) const fn impedance_uohm(&self) -> u64 {
        self.impedance_uohm
    }

    pub(super) const fn is_connected(&self) -> bool {
        self.connected
    }

    pub(super) const fn connect(&mut self, connected: bool) {
        self.connected = connected;
    }

    /// Until when (at most `to_ns`) the voltage is straight from `from_ns` on. `flows`: whether any
    /// current does.
    pub(super) fn straight_until(&mut self, from_ns: u64, to_ns: u64, flows: bool) -> u64 {
        match &mut self.supply {
            Supply::Profile(profile, section) => {
                if section.to_ns <= from_ns {
                    *section = profile.section(from_ns);
                }
                section.to_ns.min(to_ns)
            }
            Supply::Cell(_) if flows => from_ns.saturating_add(CELL_PIECE_NS_MAX).min(to_ns),
            Supply::Cell(_) => to_ns,
        }
    }

    /// Voltage at the load in nanovolts at `at_ns`, which is not beyond the last answer of
    /// [`straight_until`](Self::straight_until), while `current_na` flows and `drawn` (halves of
    /// nA·ns) has flowed.
    pub(super) fn voltage_nv(&self, at_ns: u64, current_na: i64, drawn: i128) -> i64 {
        self.open_nv(at_ns, drawn) - self.drop_nv(current_na)
    }

    /// The same while nothing flows.
    pub(super) fn open_nv(&self, at_ns: u64, drawn: i128) -> i64 {
        match &self.supply {
            Supply::Profile(_, section) => section.at(at_ns),
            Supply::Cell(cell) => cell.open_circuit_nv(drawn),
        }
    }

    /// The cell's charge left after `drawn`, both in halves of nA·ns; none if the source is no
    /// cell.
    pub(super) fn left(&self, drawn: i128) -> Option<i128> {
        match &self.supply {
            Supply::Profile(..) => None,
            Supply::Cell(cell) => Some(cell.left(drawn)),
        }
    }

    /// Refuses voltages beyond [`VOLTAGE_NV_MAX`] at the load while its current is within `load`.
    pub(super) fn check(&self, load: Bounds) -> Result<(), PlantError> {
        let open = self.bounds();
        let least = open.least.saturating_sub(self.drop_nv(load.greatest));
        let greatest = open.greatest.saturating_sub(self.drop_nv(load.least));
        for nv in [least, greatest] {
            if nv.unsigned_abs() > VOLTAGE_NV_MAX.unsigned_abs() {
                return Err(PlantError::Voltage(nv));
            }
        }
        Ok(())
    }

    /// Least and greatest open-circuit voltage.
    pub(super) fn bounds(&self) -> Bounds {
        match &self.supply {
            Supply::Profile(profile, _) => profile.bounds(),
            Supply::Cell(cell) => cell.bounds(),
        }
    }

    fn drop_nv(&self, current_na: i64) -> i64 {
        // 1 µΩ × 1 nA is a millionth of a nanovolt.
        let drop = i128::from(self.impedance_uohm) * i128::from(current_na);
        round_div(drop, 1_000_000) as i64
    }
}

/// 1 kΩ.
const IMPEDANCE_UOHM_MAX: u64 = 1_000_000_000;
/// Within 100 ms not even a cell at 10C moves by more than a 3600th of its capacity.
const CELL_PIECE_NS_MAX: u64 = 100_000_000;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::Constant;

    #[test]
    fn the_drop_is_impedance_times_current_to_the_nearest_nanovolt() {
        let source = Source::of(Constant::new(1_000).unwrap());
        let source = source.behind_microohms(1_500).unwrap();
        // 1500 µΩ × 1000 nA = 1.5 nV, rounded to 2; back into the source -1.5, rounded to -1.
        assert_eq!(source.voltage_nv(0, 1_000, 0), 998);
        assert_eq!(source.voltage_nv(0, -1_000, 0), 1_001);
    }

    #[test]
    fn voltages_out_of_bounds_are_refused() {
        let bounds = |least, greatest| Bounds { least, greatest };
        let source = Source::of(Constant::new(12_000_000_000).unwrap());
        let source = source.behind_microohms(1_000_000_000).unwrap();
        assert_eq!(source.check(bounds(-900_000_000, 1_000_000_000)), Ok(()));
        let refused = Err(PlantError::Voltage(-1_001_000_000_000));
        assert_eq!(source.check(bounds(0, 1_013_000_000)), refused);
        let refused = Err(PlantError::Voltage(1_012_000_000_000));
        assert_eq!(source.check(bounds(-1_000_000_000, 0)), refused);
        let refused = source.behind_microohms(1_000_000_001).err();
        assert_eq!(refused, Some(PlantError::Impedance(1_000_000_001)));
    }
}
