//! Trickle, bulk or taper: what current into the cell and its voltage say, as far as their bounds
//! let them.

use crake::units::{Current, Voltage};

use crate::Settings;

/// What is being done to the cell.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Charging {
    /// It is not charged: it rests or feeds.
    No,
    /// A small current into a cell of low voltage: a deeply discharged cell is being woken.
    Trickle,
    /// A great current into it.
    Bulk,
    /// A small current into a cell of high voltage: the end of a charge.
    Taper,
}

/// A mean over a while, and how far the truth may lie from it in either direction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Measured {
    /// Current into the cell: positive on charge.
    pub into_cell: Current,
    /// Bound of it.
    pub current_bound: Current,
    /// The cell's voltage.
    pub voltage: Voltage,
    /// Bound of it.
    pub voltage_bound: Voltage,
}

/// What is surely being done to the cell; `None` where a bound reaches across a threshold, so that
/// it may be one or the other.
#[must_use]
pub fn judge(settings: &Settings, measured: &Measured) -> Option<Charging> {
    let least = measured.into_cell.saturating_sub(measured.current_bound);
    let greatest = measured.into_cell.saturating_add(measured.current_bound);
    if greatest < settings.charging_from {
        return Some(Charging::No);
    }
    if least >= settings.bulk_from {
        return Some(Charging::Bulk);
    }
    if least < settings.charging_from || greatest >= settings.bulk_from {
        return None;
    }
    if measured.voltage.saturating_add(measured.voltage_bound) < settings.trickle_below {
        return Some(Charging::Trickle);
    }
    if measured.voltage.saturating_sub(measured.voltage_bound) >= settings.trickle_below {
        return Some(Charging::Taper);
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Thresholds 50 mA, 600 mA and 3.0 V; bounds 5 mA and 10 mV.
    #[test]
    fn far_from_the_thresholds_and_on_either_side_of_each() {
        use Charging::{Bulk, No, Taper, Trickle};
        let cases = [
            (-2_280, 3_700, Some(No)),
            (0, 2_900, Some(No)),
            (44, 2_900, Some(No)),
            (45, 2_900, None),
            (54, 2_900, None),
            (55, 2_900, Some(Trickle)),
            (228, 2_900, Some(Trickle)),
            (594, 2_900, Some(Trickle)),
            (595, 2_900, None),
            (604, 2_900, None),
            (605, 2_900, Some(Bulk)),
            (1_140, 2_900, Some(Bulk)),
            (1_140, 4_100, Some(Bulk)),
            (228, 2_989, Some(Trickle)),
            (228, 2_990, None),
            (228, 3_009, None),
            (228, 3_010, Some(Taper)),
            (228, 4_200, Some(Taper)),
        ];
        for (ma, mv, expected) in cases {
            let measured = Measured {
                into_cell: Current::from_milliamps(ma),
                current_bound: Current::from_milliamps(5),
                voltage: Voltage::from_millivolts(mv),
                voltage_bound: Voltage::from_millivolts(10),
            };
            assert_eq!(
                judge(&Settings::SKIFF, &measured),
                expected,
                "{ma} mA at {mv} mV"
            );
        }
    }
}
