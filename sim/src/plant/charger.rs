use alloc::rc::Rc;
use core::cell::Cell;

use super::exact::round_div;
use super::{Bounds, PlantError, Profile, Section};

/// A charger for a cell: trickle into an empty one, then constant current, then constant voltage.
///
/// Every 100 ms it looks at the cell's open-circuit voltage and sets its current until the next
/// look, by this rule, which is our own invention and simpler than any real charger's:
///
/// 1. below `trickle_below_nv`: `trickle_na`;
/// 2. otherwise the current that would bring the voltage at the rail's load to `full_nv` across the
///    source's impedance if nothing else flowed, but at most `bulk_na`;
/// 3. nothing where that is less than `least_na`.
///
/// The current is negative on the rail: it flows from the load's side into the cell.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Charger {
    /// Current into a cell that is below the trickle voltage, in nanoamperes, not negative.
    pub trickle_na: i64,
    /// Open-circuit voltage from which on the cell takes more, in nanovolts.
    pub trickle_below_nv: i64,
    /// Greatest current, in nanoamperes, not negative.
    pub bulk_na: i64,
    /// Voltage that the charger aims at, in nanovolts. It is exceeded by no more than the cell
    /// rises in 100 ms.
    pub full_nv: i64,
    /// Current below which charging ends, in nanoamperes.
    pub least_na: i64,
}

impl Charger {
    /// The charger, if its numbers make sense: [`PlantError::Value`] for a current or voltage
    /// beyond ±10^12 and for a negative current.
    pub(super) fn checked(self) -> Result<Self, PlantError> {
        Bounds::of([self.trickle_below_nv, self.full_nv])?;
        let currents = [self.trickle_na, self.bulk_na, self.least_na];
        Bounds::of(currents)?;
        match currents.into_iter().find(|&na| na < 0) {
            Some(na) => Err(PlantError::Value(na)),
            None => Ok(self),
        }
    }

    /// The rail's current in nanoamperes, zero or negative, by the rule above.
    pub(super) fn current_na(&self, open_nv: i64, impedance_uohm: u64) -> i64 {
        if open_nv < self.trickle_below_nv {
            return -self.trickle_na;
        }
        let room_nv = i128::from(self.full_nv.saturating_sub(open_nv).max(0));
        let taper_na = if impedance_uohm == 0 {
            // Without impedance any current meets the voltage, until there is no room left.
            i128::MAX * i128::from(room_nv > 0)
        } else {
            round_div(room_nv * 1_000_000, i128::from(impedance_uohm))
        };
        let na = taper_na.min(i128::from(self.bulk_na)) as i64;
        if na < self.least_na { 0 } else { -na }
    }
}

/// The charger's current as a load of its rail.
pub(super) struct Level {
    na: Cell<i64>,
    bounds: Bounds,
}

impl Level {
    pub(super) fn new(charger: &Charger) -> Self {
        Self {
            na: Cell::default(),
            bounds: Bounds {
                least: -charger.bulk_na.max(charger.trickle_na),
                greatest: 0,
            },
        }
    }

    pub(super) fn set(&self, na: i64) {
        self.na.set(na);
    }
}

impl Profile for Rc<Level> {
    fn section(&self, at_ns: u64) -> Section {
        Section::flat(at_ns, u64::MAX, self.na.get())
    }

    fn bounds(&self) -> Bounds {
        self.bounds
    }
}

/// How often a charger looks at its cell: as long as a piece of a rail that a cell feeds.
pub(super) const REGULATES_EVERY_NS: u64 = 100_000_000;

#[cfg(test)]
mod tests {
    use super::*;

    const CHARGER: Charger = Charger {
        trickle_na: 100_000_000,
        trickle_below_nv: 3_000_000_000,
        bulk_na: 1_000_000_000,
        full_nv: 4_200_000_000,
        least_na: 50_000_000,
    };

    #[test]
    fn the_current_follows_the_rule() {
        let at = |millivolts: i64| CHARGER.current_na(millivolts * 1_000_000, 100_000);
        assert_eq!(at(2_999), -100_000_000);
        assert_eq!(at(3_000), -1_000_000_000);
        // 0.1 Ω: 1 A leaves room for 100 mV; 50 mA for 5 mV.
        assert_eq!(at(4_100), -1_000_000_000);
        assert_eq!(at(4_150), -500_000_000);
        assert_eq!(at(4_195), -50_000_000);
        assert_eq!(at(4_196), 0);
        assert_eq!(at(4_300), 0);
    }

    #[test]
    fn without_impedance_it_charges_to_the_voltage_and_stops() {
        assert_eq!(CHARGER.current_na(4_199_999_999, 0), -1_000_000_000);
        assert_eq!(CHARGER.current_na(4_200_000_000, 0), 0);
    }

    #[test]
    fn chargers_that_cannot_be_are_refused() {
        assert_eq!(CHARGER.checked(), Ok(CHARGER));
        let backwards = Charger {
            bulk_na: -1,
            ..CHARGER
        };
        assert_eq!(backwards.checked(), Err(PlantError::Value(-1)));
        let beyond = Charger {
            full_nv: 1_000_000_000_001,
            ..CHARGER
        };
        assert_eq!(beyond.checked(), Err(PlantError::Value(1_000_000_000_001)));
    }
}
