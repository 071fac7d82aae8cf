use crake::board::{Mean, OperatingPoint, Rail};
use crake::config::ChannelRange;
use crake::info::PartInfo;
use crake::totals::Total;
use crake::units::{Charge, Current, Energy, Power, Voltage};
use crake::{Reading, Saturation, Timestamp};

use crate::plant::Truth;

/// One reading of one rail, with its totals so far.
#[derive(Clone, Copy, Debug)]
pub struct Row<'a> {
    /// The reading of the host that it belongs to, counted from 0.
    pub number: u64,
    /// When, on the host's clock.
    pub timestamp: Timestamp,
    /// The rail's name.
    pub rail: &'a str,
    /// The reading.
    pub reading: Reading,
    /// Whether a conversion since the reading before went over range: the reading is a limit then.
    pub clipped: bool,
    /// Charge so far, with its bound.
    pub charge: Total<Charge>,
    /// Energy so far, with its bound.
    pub energy: Total<Energy>,
    /// What really flowed in the time that the totals cover.
    pub truth: Truth,
    /// What [`bounds`](Self::bounds) is worked out from.
    pub(super) operation: Operation<'a>,
}

/// How a rail is measured.
#[derive(Clone, Copy, Debug)]
pub(super) struct Operation<'a> {
    pub(super) rail: &'a Rail,
    pub(super) range: ChannelRange,
    pub(super) averaging_log2: u8,
    pub(super) info: &'static PartInfo,
}

/// How far a reading may be off, either way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ReadingBounds {
    /// Of the voltage.
    pub voltage: Voltage,
    /// Of the current.
    pub current: Current,
    /// Of the power.
    pub power: Power,
}

impl Row<'_> {
    /// How much of their bounds charge and energy so far are off by; none where clipping leaves a
    /// limit in place of a total.
    #[must_use]
    pub fn shares(&self) -> [Option<f64>; 2] {
        let share = |saturation, value: i128, truth: i128, bound: i128| {
            let bounded = saturation == Saturation::None && bound > 0;
            bounded.then(|| (value - truth).abs() as f64 / bound as f64)
        };
        let (charge, energy) = (&self.charge, &self.energy);
        let (coulombs, joules) = (self.truth.charge(), self.truth.energy());
        [
            share(
                charge.saturation,
                charge.value.as_nanocoulombs(),
                coulombs.as_nanocoulombs(),
                charge.bound.as_nanocoulombs(),
            ),
            share(
                energy.saturation,
                energy.value.as_nanojoules(),
                joules.as_nanojoules(),
                energy.bound.as_nanojoules(),
            ),
        ]
    }

    /// The driver's error budget of this reading, all parts together; none where the reading is
    /// clipped, a limit and no value. Worked out at each call.
    #[must_use]
    pub fn bounds(&self) -> Option<ReadingBounds> {
        let Operation {
            rail,
            range,
            averaging_log2,
            info,
        } = self.operation;
        let at = OperatingPoint {
            range,
            current: self.reading.current,
            voltage: self.reading.voltage,
            power: self.reading.power,
            mean: Mean::Reading { averaging_log2 },
        };
        if self.clipped {
            return None;
        }
        Some(ReadingBounds {
            voltage: rail.voltage_budget(info, &at)?.total(),
            current: rail.current_budget(info, &at)?.total(),
            power: rail.power_budget(info, &at)?.total(),
        })
    }
}
