//! What a part can do and how exactly, as data: everything but its register map asks here.

mod alerts;
mod range;
mod sums;
mod undetectable;

pub use alerts::AlertInfo;
pub use range::{RangeErrors, RangeInfo};
pub use sums::SumBits;
pub(crate) use sums::TICK_LOG2;
pub use undetectable::Undetectable;

use core::time::Duration;

use crate::flags::Kind;
use crate::units::{Current, Voltage};

/// What a part can do and how exactly, from its datasheet. Constant data; every part has one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PartInfo {
    /// The part's name.
    pub name: &'static str,
    /// Number of channels.
    pub channels: u8,
    /// The voltage of which the LSB of every sense range is a whole multiple. The finer the two
    /// units, the smaller a sense resistor may be: their product over it has to be below 64 nW.
    pub sense_unit: Voltage,
    /// The voltage of which the LSB of every rail range is a whole multiple.
    pub rail_unit: Voltage,
    /// Ranges of the sense inputs, in any order; configurations refer to a place in this table.
    pub sense_ranges: &'static [RangeInfo],
    /// Ranges of the rail inputs, likewise.
    pub rail_ranges: &'static [RangeInfo],
    /// How exact each sense range is. A table of its own, so that firmware without bounds has none
    /// of it.
    pub sense_errors: &'static [RangeErrors],
    /// How exact each rail range is.
    pub rail_errors: &'static [RangeErrors],
    /// Greatest input bias, seen as current through the sense resistor, in either direction.
    pub bias: Current,
    /// Greatest change of the sense offset after an offset calibration, in either direction.
    pub offset_stability: Voltage,
    /// From the start of one scan to the start of the next, nominal, in microseconds, per scan
    /// rate.
    pub scan_periods_us: &'static [u32],
    /// Length of one conversion, nominal, in nanoseconds.
    pub conversion_ns: u32,
    /// Greatest k of means over 2^k scans.
    pub averaging_log2_max: u8,
    /// Conversions that a fast capture keeps; 0 where the part has none.
    pub capture_max: u16,
    /// Longest time between the conversions of like inputs of two channels of one sample, in
    /// microseconds, for a part without a latch; 0 where a latch copies one scan, though its
    /// conversions follow each other.
    pub skew_us: u32,
    /// Who multiplies sense and rail voltage into power.
    pub power: Source,
    /// Who keeps the running sum of sense codes.
    pub charge_sum: Source,
    /// Who keeps the running sum of power codes.
    pub energy_sum: Source,
    /// Widths of the running sums, and what they count time by.
    pub sum_bits: SumBits,
    /// What the part itself compares with limits.
    pub alerts: AlertInfo,
    /// The part's oscillator.
    pub oscillator: Oscillator,
    /// From idle to the first scan, in microseconds.
    pub wake_us: u32,
    /// From a reset until the part answers, in microseconds.
    pub reset_us: u32,
    /// Greatest current that the part itself draws.
    pub supply: Supply,
    /// What nobody can find out on this part.
    pub undetectable: Undetectable,
}

/// Who does what a sample or an event tells of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Source {
    /// The part, with each conversion.
    Part,
    /// The driver, with each sample that it reads: what happens between two samples is not seen.
    Driver,
}

/// Limits of the part's oscillator, in parts per million, in either direction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Oscillator {
    /// Greatest frequency error.
    pub error_ppm: u32,
    /// Greatest departure from its mean frequency while it runs without reset.
    pub wander_ppm: u32,
}

/// Current that the part draws from its own supply.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Supply {
    /// While idle.
    pub idle: Current,
    /// Between scans.
    pub resting: Current,
    /// While converting or waking up.
    pub converting: Current,
}

impl Supply {
    /// Nothing is said.
    pub const NONE: Self = Self {
        idle: Current::ZERO,
        resting: Current::ZERO,
        converting: Current::ZERO,
    };
}

impl PartInfo {
    /// A part that has nothing but converters: begin with it, and say what the datasheet says. The
    /// driver multiplies, sums up and compares; nobody can tell that somebody else wrote to it.
    ///
    /// Name, channels, units, ranges, errors, [`sum_bits`](Self::sum_bits), times and oscillator
    /// are the part's to state.
    pub const PLAIN: Self = Self {
        name: "",
        channels: 0,
        sense_unit: Voltage::ZERO,
        rail_unit: Voltage::ZERO,
        sense_ranges: &[],
        rail_ranges: &[],
        sense_errors: &[],
        rail_errors: &[],
        bias: Current::ZERO,
        offset_stability: Voltage::ZERO,
        scan_periods_us: &[],
        conversion_ns: 0,
        averaging_log2_max: 0,
        capture_max: 0,
        skew_us: 0,
        power: Source::Driver,
        charge_sum: Source::Driver,
        energy_sum: Source::Driver,
        sum_bits: SumBits::NONE,
        alerts: AlertInfo::NONE,
        oscillator: Oscillator {
            error_ppm: 0,
            wander_ppm: 0,
        },
        wake_us: 0,
        reset_us: 0,
        supply: Supply::NONE,
        undetectable: Undetectable::WRITES,
    };

    /// Whether the driver keeps a running sum: charge, energy or both.
    #[must_use]
    pub const fn has_sums_by_driver(&self) -> bool {
        matches!(self.charge_sum, Source::Driver) || matches!(self.energy_sum, Source::Driver)
    }

    /// Who compares with a limit of this kind on a channel, given its debounce in conversions and
    /// whether its flag is to latch.
    #[must_use]
    pub fn compared_by(&self, channel: u8, kind: Kind, debounce: u8, latching: bool) -> Source {
        let entry = self.alerts.kinds.get(usize::from(channel));
        let kinds = entry.or(self.alerts.kinds.first());
        let known = kinds.is_some_and(|kinds| kinds.contains(&kind));
        if known && debounce <= self.alerts.debounce_max && (latching || self.alerts.following) {
            Source::Part
        } else {
            Source::Driver
        }
    }

    /// The longest that one scan of so many channels takes, in microseconds, rounded up.
    ///
    /// It divides: work it out in a constant.
    #[must_use]
    pub const fn scan_us_max(&self, channels: u8) -> u32 {
        // Two conversions a channel; the oscillator's error is on the frequency: t = t0 / (1 - e).
        // 1 / (1 - e) = 1 + e + e^2 / (1 - e), and what is beyond e is below e / 16 for e below 5
        // %.
        let ns = (self.conversion_ns as u64)
            .saturating_mul(2)
            .saturating_mul(channels as u64);
        let us = ns.div_ceil(1_000);
        let more = us
            .saturating_mul(self.oscillator.error_ppm as u64)
            .div_ceil(1_000_000);
        us.saturating_add(more)
            .saturating_add(more / 16)
            .saturating_add(1) as u32
    }

    /// The longest time of one conversion, nominal.
    #[must_use]
    pub const fn conversion(&self) -> Duration {
        Duration::from_nanos(self.conversion_ns as u64)
    }
}
