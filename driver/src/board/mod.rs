//! The board around the part: sense resistors, what is known of the loads, corrections by
//! calibration, and how codes become quantities on each rail.

mod bound;
mod budget;
mod correction;
mod factors;
pub(crate) mod limits;
mod load;
mod operating;
mod plan;
mod rail;
mod resistor;

pub use bound::ReadingBound;
pub use budget::Budget;
pub use correction::{Correction, Gain, Offset};
use factors::SenseUnit;
pub use factors::{Factors, rail_voltage};
pub use load::{Flow, Load, LoadSteps, VoltageSteps};
pub use operating::{Mean, OperatingPoint};
pub use plan::LimitPlan;
pub(crate) use plan::Scale;
pub use rail::Rail;
pub use resistor::SenseResistor;

use crate::Channel;
use crate::config::ConfigError;
use crate::info::PartInfo;
use crate::units::{Resistance, Tolerance, Voltage};

/// A board with `N` rails, one per channel of the part, from channel 0 up: what it takes to make
/// quantities of codes, worked out from the [`Rail`]s.
///
/// Constant data: a board that is known at compile time lies in flash.
///
/// ```
/// use crake::board::{Board, Rail, SenseResistor};
/// use crake::part::corncrake::Corncrake;
/// use crake::units::{Resistance, Tolerance};
///
/// const LOGIC: Rail = Rail::new(SenseResistor::new(
///     Resistance::from_milliohms(500),
///     Tolerance::from_ppm(5_000),
/// ));
/// static RAILS: [Rail; 1] = [LOGIC];
/// static BOARD: Board<1> = Corncrake::board(&RAILS);
/// assert_eq!(BOARD.serial(), 0);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Board<const N: usize> {
    factors: [Factors; N],
    sense_unit: SenseUnit,
    rail_unit_nv: u32,
    serial: u32,
    clock: Tolerance,
    revision: u32,
    /// The first rail that was found unusable.
    unusable: Option<Channel>,
}

impl<const N: usize> Board<N> {
    /// A board whose rails hang on a part of this kind; host clock good to 100 ppm, serial number
    /// 0.
    ///
    /// What cannot be used with the part (a resistor out of all proportion) is refused when the
    /// monitor is configured, by name.
    #[must_use]
    pub const fn new(info: &PartInfo, rails: &[Rail; N]) -> Self {
        let sense_unit = SenseUnit::new(info.sense_unit.as_nanovolts() as u32);
        let rail_unit_nv = info.rail_unit.as_nanovolts() as u32;
        const NOTHING: Rail = Rail::new(SenseResistor::new(
            Resistance::from_nanoohms(0),
            Tolerance::ZERO,
        ));
        let mut factors = [Factors::new(&NOTHING, &SenseUnit::new(1), 1); N];
        let (mut to, mut from): (&mut [_], &[_]) = (&mut factors, rails);
        let (mut channel, mut unusable) = (Channel::C0, None);
        while let (Some((entry, to_rest)), Some((rail, from_rest))) =
            (to.split_first_mut(), from.split_first())
        {
            *entry = Factors::new(rail, &sense_unit, rail_unit_nv);
            if !entry.is_usable() && unusable.is_none() {
                unusable = Some(channel);
            }
            channel = Channel::new(channel.number().wrapping_add(1));
            (to, from) = (to_rest, from_rest);
        }
        Self {
            factors,
            sense_unit,
            rail_unit_nv,
            serial: 0,
            clock: Tolerance::from_ppm(100),
            revision: 0,
            unusable,
        }
    }

    /// The same board with a serial number, which ties calibration records to it.
    #[must_use]
    pub const fn with_serial(mut self, serial: u32) -> Self {
        self.serial = serial;
        self
    }

    /// The same board with a host clock whose rate is off by at most `error`.
    #[must_use]
    pub const fn with_clock(mut self, error: Tolerance) -> Self {
        self.clock = error;
        self
    }

    /// The same board with one rail corrected. Bounds take the same correction by
    /// [`Margins::correct`](crate::totals::Margins::correct).
    ///
    /// A rail is corrected once, from a board as it was made: a second time makes it unusable, and
    /// the monitor refuses it by name. Unchanged where there is no such rail.
    #[must_use]
    pub const fn corrected(mut self, channel: Channel, correction: &Correction) -> Self {
        self.correct(channel, correction);
        self
    }

    /// Corrects one rail in place, as [`corrected`](Self::corrected).
    pub const fn correct(&mut self, channel: Channel, correction: &Correction) {
        let sense_unit = self.sense_unit;
        if let Some((_, rest)) = self.factors.split_at_mut_checked(channel.index())
            && let Some((factors, _)) = rest.split_first_mut()
        {
            factors.correct(correction, &sense_unit);
            if !factors.is_usable() && self.unusable.is_none() {
                self.unusable = Some(channel);
            }
            self.revision = self.revision.wrapping_add(1);
        }
    }

    /// How codes become quantities on a channel; `None` where there is no rail.
    #[must_use]
    #[inline(always)]
    pub fn factors(&self, channel: Channel) -> Option<&Factors> {
        self.factors.get(channel.index())
    }

    /// How codes become quantities, by channel.
    pub(crate) const fn all_factors(&self) -> &[Factors; N] {
        &self.factors
    }

    /// The part's unit of sense voltages.
    pub(crate) const fn sense_unit(&self) -> Voltage {
        Voltage::from_nanovolts(self.sense_unit.nanovolts as i64)
    }

    /// Its serial number.
    #[must_use]
    pub const fn serial(&self) -> u32 {
        self.serial
    }

    /// Greatest error of the host clock's rate, in either direction.
    #[must_use]
    pub const fn clock(&self) -> Tolerance {
        self.clock
    }

    /// Counts the corrections since [`new`](Self::new): two boards that convert alike have the
    /// same.
    #[must_use]
    pub const fn revision(&self) -> u32 {
        self.revision
    }

    /// Whether all its rails can be used with this part.
    ///
    /// # Errors
    /// [`ConfigError::BoardOfAnotherPart`], or a rail that cannot.
    pub fn check(&self, info: &PartInfo) -> Result<(), ConfigError> {
        let units = (
            info.sense_unit.as_nanovolts(),
            info.rail_unit.as_nanovolts(),
        );
        if units
            != (
                i64::from(self.sense_unit.nanovolts),
                i64::from(self.rail_unit_nv),
            )
        {
            return Err(ConfigError::BoardOfAnotherPart);
        }
        match self.unusable {
            Some(channel) => Err(ConfigError::SenseResistor(channel)),
            None => Ok(()),
        }
    }
}
