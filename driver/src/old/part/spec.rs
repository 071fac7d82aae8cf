//! What a part can do, as data: firmware, ledger and bounds ask here instead of knowing the part.

use crate::old::alert::{Kind, Outputs, Watch};
use crate::old::wide::divided;
use crate::units::{Current, Voltage};

/// What a part can do and how exactly, from its datasheet.
///
/// A `Spec` is constant data; every part has one, and everything that depends on the part but is not its
/// register map reads it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Spec {
    /// The part's name.
    pub name: &'static str,
    /// Number of channels.
    pub channels: u8,
    /// The unit in which sense codes of every range are whole multiples, in nanovolts.
    pub sense_unit_nv: u32,
    /// The unit in which bus codes of every range are whole multiples, in nanovolts.
    pub bus_unit_nv: u32,
    /// Sense ranges; a [`SenseRange`] is a place in this table.
    pub sense: &'static [RangeSpec],
    /// Bus ranges; a [`BusRange`] is a place in this table.
    pub bus: &'static [RangeSpec],
    /// Greatest input bias current, seen as current through the sense resistor, in either direction.
    pub bias: Current,
    /// Greatest change of the sense offset after a zero calibration, in either direction.
    pub zero_stability: Voltage,
    /// Paces, fastest first; a [`Pace`] is a place in this table.
    pub paces: &'static [PaceSpec],
    /// Length of one conversion, nominal, in nanoseconds.
    pub conversion_ns: u32,
    /// Greatest k of averaging over 2^k rounds.
    pub averaging_max: u8,
    /// Conversions that a burst keeps; 0 where the part has none.
    pub burst_max: u16,
    /// Longest time between the conversions of like inputs of two channels of one frame, in microseconds, for a part without a latch; 0 where a latch copies one round of all channels.
    pub skew_us: u32,
    /// Who multiplies sense and bus into power. The driver takes the product of the values of one frame, the part the mean of products.
    pub power: Source,
    /// Who keeps the running sums. What changes with it: see [`counted_us`](Self::counted_us).
    pub sums: Source,
    /// Widths of the running sums.
    pub accumulators: Accumulators,
    /// What the part itself compares with limits.
    pub alerts: AlertSpec,
    /// The part's oscillator.
    pub oscillator: Oscillator,
    /// From idle to the first round, in microseconds.
    pub wake_us: u32,
    /// From reset until the part answers, in microseconds.
    pub reset_us: u32,
    /// Current that the part itself draws.
    pub supply: Supply,
}

/// Who does what a frame or an event tells of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Source {
    /// The part, with each conversion.
    Part,
    /// The driver, with each frame that it reads: what happens between two frames is not seen.
    Driver,
}

/// What the part itself compares with limits. Whatever else is watched the driver judges with each frame; no output tells of that.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AlertSpec {
    /// The part's alert outputs. On a part with one, what is to reach either reaches that one.
    pub outputs: Outputs,
    /// Kinds of limits that it compares.
    pub kinds: &'static [Kind],
    /// Greatest debounce that it counts; 1 where it has none.
    pub debounce_max: u8,
    /// Whether causes can follow their condition. Where they cannot, the driver judges watches that are to follow.
    pub following: bool,
}

/// One measuring range of an input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct RangeSpec {
    /// LSB in units of [`Spec::sense_unit_nv`] or [`Spec::bus_unit_nv`].
    pub lsb_units: u32,
    /// Greatest code; the least is `-code_max - 1` for sense and 0 for bus.
    pub code_max: u32,
    /// Greatest gain error in either direction, parts per million.
    pub gain_ppm: u32,
    /// Greatest offset error in either direction.
    pub offset: Voltage,
    /// Noise of one conversion, r.m.s.; one conversion is never further off than six times this.
    pub noise: Voltage,
}

/// One pace.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PaceSpec {
    /// From the start of one round to the start of the next, nominal, in microseconds.
    pub period_us: u32,
}

/// Widths of the part's running sums, in bits, sign included; 0 where the part has none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Accumulators {
    /// Energy: sum of power codes.
    pub energy_bits: u8,
    /// Charge: sum of sense codes.
    pub charge_bits: u8,
    /// Rounds, unsigned.
    pub rounds_bits: u8,
}

/// Limits of the part's oscillator.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Oscillator {
    /// Greatest frequency error in either direction, parts per million.
    pub error_ppm: u32,
    /// Greatest departure from its mean frequency while it runs without reset, in either direction, parts per million.
    pub wander_ppm: u32,
}

/// Greatest current that the part draws from its own supply.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Supply {
    /// While idle.
    pub idle: Current,
    /// Between rounds.
    pub resting: Current,
    /// While converting or waking up.
    pub converting: Current,
}

/// A sense range of the part at hand: a place in [`Spec::sense`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SenseRange(pub u8);

/// A bus range of the part at hand: a place in [`Spec::bus`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct BusRange(pub u8);

/// A pace of the part at hand: a place in [`Spec::paces`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pace(pub u8);

impl Spec {
    /// The time that a number of [rounds](crate::old::part::Head::rounds) at a pace stands for, in microseconds.
    ///
    /// Where the part keeps the sums, it counts rounds, by its own clock. Where the driver does, it counts microseconds of the host's clock, and the pace is the
    /// firmware's promise: the longest time from one frame to the next.
    #[must_use]
    pub const fn counted_us(&self, rounds: u64, period_us: u32) -> u64 {
        match self.sums {
            Source::Part => rounds.saturating_mul(period_us as u64),
            Source::Driver => rounds,
        }
    }

    /// How many conversions went into sums over a number of [rounds](crate::old::part::Head::rounds) at a pace, at the least; what their noise averages over. At least 1.
    ///
    /// Where the driver keeps the sums, conversions may come at any times up to a pace apart: their mean by time is as noisy as that of so many
    /// equally spaced ones, or less, since Σ dt² ≤ greatest dt × Σ dt.
    #[must_use]
    pub const fn conversions(&self, rounds: u64, period_us: u32) -> u64 {
        let conversions = match self.sums {
            Source::Part => rounds,
            Source::Driver => match divided(rounds as u128, period_us as u128) {
                Some(conversions) => conversions as u64, // no more than it was before
                None => 0,
            },
        };
        if conversions == 0 { 1 } else { conversions }
    }

    /// Who compares with the limit of a watch.
    #[must_use]
    pub fn judged_by(&self, watch: &Watch) -> Source {
        let alerts = &self.alerts;
        let by_part = alerts.kinds.contains(&watch.limit().kind())
            && watch.debounce_count() <= alerts.debounce_max
            && (watch.is_held() || alerts.following);
        if by_part {
            Source::Part
        } else {
            Source::Driver
        }
    }

    /// The table entry of a sense range; `None` where the part has no such range.
    #[must_use]
    pub fn sense_range(&self, range: SenseRange) -> Option<&'static RangeSpec> {
        self.sense.get(usize::from(range.0))
    }

    /// The table entry of a bus range; `None` where the part has no such range.
    #[must_use]
    pub fn bus_range(&self, range: BusRange) -> Option<&'static RangeSpec> {
        self.bus.get(usize::from(range.0))
    }

    /// Nominal round period of a pace in microseconds; `None` where the part has no such pace.
    #[must_use]
    pub fn period_us(&self, pace: Pace) -> Option<u32> {
        self.paces
            .get(usize::from(pace.0))
            .map(|entry| entry.period_us)
    }

    /// The pace with this many rounds a second; `None` where the part has none.
    #[must_use]
    pub fn pace(&self, rounds_per_second: u32) -> Option<Pace> {
        let period_us = 1_000_000_u32.checked_div(rounds_per_second)?;
        let place = self
            .paces
            .iter()
            .position(|entry| entry.period_us == period_us)?;
        u8::try_from(place).ok().map(Pace)
    }

    /// The finest sense range whose full scale reaches `peak`; `None` where even the coarsest does not.
    #[must_use]
    pub fn sense_range_for(&self, peak: Voltage) -> Option<SenseRange> {
        finest(self.sense, self.sense_unit_nv, peak).map(SenseRange)
    }

    /// The finest bus range whose full scale reaches `peak`; `None` where even the coarsest does not.
    #[must_use]
    pub fn bus_range_for(&self, peak: Voltage) -> Option<BusRange> {
        finest(self.bus, self.bus_unit_nv, peak).map(BusRange)
    }
}

impl RangeSpec {
    /// One LSB in nanovolts, given the unit that the table counts in.
    #[must_use]
    pub const fn lsb_nv(&self, unit_nv: u32) -> u64 {
        (self.lsb_units as u64).wrapping_mul(unit_nv as u64) // 32 by 32 bits fit in 64
    }

    /// The voltage of the greatest code in nanovolts, given the unit that the table counts in.
    #[must_use]
    pub const fn full_scale_nv(&self, unit_nv: u32) -> u64 {
        self.lsb_nv(unit_nv).saturating_mul(self.code_max as u64)
    }
}

fn finest(ranges: &[RangeSpec], unit_nv: u32, peak: Voltage) -> Option<u8> {
    let peak_nv = peak.as_nanovolts().unsigned_abs();
    let (place, _) = ranges
        .iter()
        .enumerate()
        .filter(|(_, range)| range.full_scale_nv(unit_nv) >= peak_nv)
        .min_by_key(|(_, range)| range.lsb_units)?;
    u8::try_from(place).ok()
}
