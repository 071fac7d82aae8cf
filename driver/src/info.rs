//! What a part can do and how exactly, as data: everything but its register map asks here.

use core::fmt;
use core::time::Duration;

use crate::flags::{AlertFlags, Kind, Outputs};
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
    /// microseconds, for a part without a latch; 0 where a latch copies one scan.
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
    /// Current that the part itself draws.
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

/// One measuring range of an input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct RangeInfo {
    /// LSB in units of [`PartInfo::sense_unit`] or [`PartInfo::rail_unit`].
    pub lsb_units: u8,
    /// The voltage of the greatest code in microvolts, rounded down: what the range reaches.
    pub full_scale_uv: u32,
    /// Least code.
    pub code_min: i32,
    /// Greatest code.
    pub code_max: i32,
}

/// Limits of error of one measuring range, from the part's datasheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct RangeErrors {
    /// Greatest gain error in either direction, in parts per million.
    pub gain_ppm: u32,
    /// Greatest offset error in either direction.
    pub offset: Voltage,
    /// Noise of one conversion, r.m.s.; one conversion is never further off than six times this.
    pub noise: Voltage,
}

/// k of the 2^k µs that count as a scan in sums that the driver keeps: fine against any time between samples, and
/// so coarse that 18 bits at full scale last for a hundred years.
pub(crate) const TICK_LOG2: u8 = 6;

/// Widths of running sums in bits, and for how many scans they last.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive] // `new` works the last one out
pub struct SumBits {
    /// Sum of power codes, sign included.
    pub energy: u8,
    /// Sum of sense codes, sign included.
    pub charge: u8,
    /// Count of scans, unsigned.
    pub scans: u8,
    /// k of 2^k scans in which no sum can go round unseen, whatever flows within full scale, which
    /// is rounded up to a power of two.
    pub safe_log2: u8,
    /// What counts as a scan where the part counts none: so many microseconds of the host's clock.
    /// 0 where it does.
    pub tick_us: u8,
}

/// What the part itself compares with limits. The driver compares the rest with each sample, and no
/// output tells of that.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AlertInfo {
    /// The part's alert outputs. On a part with one, what is to reach either reaches that one.
    pub outputs: Outputs,
    /// Kinds of limits that it compares on each channel: one entry per channel, or one for all.
    pub kinds: &'static [&'static [Kind]],
    /// Greatest debounce that it counts, in conversions; 1 where it has none.
    pub debounce_max: u8,
    /// Which of the flags that are about the part as a whole it has.
    pub own: AlertFlags,
    /// Whether each flag can be masked by itself. Where none can, a condition that lasts is looked
    /// at again at an interval.
    pub single_masks: bool,
    /// Whether flags can follow their condition. Where they cannot, the driver compares.
    pub following: bool,
    /// Whether reading the flags clears them. A read that fails may have taken some with it then:
    /// that is told, and samples are compared instead.
    pub cleared_by_reading: bool,
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

/// Greatest current that the part draws from its own supply.
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

bitflags::bitflags! {
    /// What nobody can find out on a part: its registers do not tell. Totals and alerts carry it on.
    #[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
    pub struct Undetectable: u8 {
        /// A reset between two samples.
        const RESET = 1;
        /// Writes by somebody else, or by this firmware before its restart.
        const WRITES = 2;
        /// A conversion that was asked for and never took place: a result may be an old one.
        const LOST_TRIGGER = 4;
        /// Results that changed while they were read.
        const CHANGE_WHILE_READ = 8;
        /// A conversion beyond the range that went into a mean or a sum of the part: it shows by
        /// the code at the end alone, and that of the last conversion is all there is. A load that
        /// never goes beyond full scale is what a total of such a part rests on.
        const OVER_RANGE = 16;
    }
}

impl RangeErrors {
    /// Greatest gain error in parts per million, greatest offset error, and r.m.s. noise of one
    /// conversion.
    #[must_use]
    pub const fn new(gain_ppm: u32, offset: Voltage, noise: Voltage) -> Self {
        Self {
            gain_ppm,
            offset,
            noise,
        }
    }
}

impl SumBits {
    /// Nobody keeps sums: there are no totals.
    pub const NONE: Self = Self {
        energy: 0,
        charge: 0,
        scans: 0,
        safe_log2: 0,
        tick_us: 0,
    };

    /// Widths in bits of the sum of power codes, of the sum of sense codes (both with their sign,
    /// at most 63) and of the count of scans (unsigned, at most 32), for codes from these ranges.
    #[must_use]
    pub const fn new(
        energy: u8,
        charge: u8,
        scans: u8,
        sense_ranges: &[RangeInfo],
        rail_ranges: &[RangeInfo],
    ) -> Self {
        let sense = code_log2(sense_ranges);
        let power = sense.saturating_add(code_log2(rail_ranges));
        // Up to half the span a difference cannot be mistaken.
        let mut safe_log2 = charge.saturating_sub(1).saturating_sub(sense);
        let others = [energy.saturating_sub(1).saturating_sub(power), scans];
        let mut rest: &[u8] = &others;
        while let [other, more @ ..] = rest {
            if *other < safe_log2 {
                safe_log2 = *other;
            }
            rest = more;
        }
        Self {
            energy,
            charge,
            scans,
            safe_log2,
            tick_us: 0,
        }
    }

    /// Of sums that the driver keeps by the time between samples, in a
    /// [`SoftwareSums`](crate::part::SoftwareSums).
    #[must_use]
    pub const fn by_driver(sense_ranges: &[RangeInfo], rail_ranges: &[RangeInfo]) -> Self {
        let mut bits = Self::new(63, 63, 31, sense_ranges, rail_ranges);
        bits.tick_us = 1 << TICK_LOG2;
        bits
    }
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
        supply: Supply {
            idle: Current::ZERO,
            resting: Current::ZERO,
            converting: Current::ZERO,
        },
        undetectable: Undetectable::WRITES,
    };
}

impl AlertInfo {
    /// Of a part without comparators.
    pub const NONE: Self = Self {
        outputs: Outputs::empty(),
        kinds: &[&[]],
        debounce_max: 1,
        own: AlertFlags::empty(),
        single_masks: false,
        following: false,
        cleared_by_reading: false,
    };

    /// Whether the part compares every limit that can be; else the driver compares some with each
    /// sample, and no output tells of these.
    #[must_use]
    pub const fn is_complete(&self) -> bool {
        let (mut all, mut rest) = (self.following && self.debounce_max >= 15, self.kinds);
        while let [kinds, more @ ..] = rest {
            all = all && kinds.len() == Kind::ALL.len();
            rest = more;
        }
        all
    }
}

impl RangeInfo {
    /// A range whose LSB is so many of a unit, with its least and its greatest code.
    #[must_use]
    pub const fn new(unit: Voltage, lsb_units: u8, code_min: i32, code_max: i32) -> Self {
        let lsb_nv = unit.as_nanovolts().saturating_mul(lsb_units as i64);
        let full_uv = lsb_nv.saturating_mul(code_max as i64) / 1_000;
        Self {
            lsb_units,
            full_scale_uv: if full_uv > u32::MAX as i64 {
                u32::MAX
            } else {
                full_uv as u32
            },
            code_min,
            code_max,
        }
    }

    /// Whether a code is one at which a converter stops: it stands for anything beyond, too. Zero
    /// is none, where it is the least.
    #[must_use]
    pub const fn is_end(&self, code: i32) -> bool {
        code == self.code_max || code == self.code_min && code != 0
    }
}

/// Least k of which 2^k is at least the magnitude of every code.
const fn code_log2(ranges: &[RangeInfo]) -> u8 {
    let (mut all, mut rest) = (0, ranges);
    while let [range, more @ ..] = rest {
        // Below zero there is one code more.
        all |= range.code_max | (range.code_min ^ (range.code_min >> 31));
        rest = more;
    }
    32_u32.saturating_sub(all.leading_zeros()) as u8
}

impl PartInfo {
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

impl RangeInfo {
    /// One LSB in nanovolts, given the unit that the table counts in.
    #[must_use]
    pub const fn lsb_nv(&self, unit: Voltage) -> u64 {
        unit.as_nanovolts()
            .unsigned_abs()
            .saturating_mul(self.lsb_units as u64)
    }

    /// The voltage of the greatest code in nanovolts, exact, given the unit that the table counts
    /// in.
    pub(crate) const fn full_scale_nv(&self, unit: Voltage) -> u64 {
        self.lsb_nv(unit)
            .wrapping_mul(self.code_max.unsigned_abs() as u64)
    }
}

impl fmt::Display for Undetectable {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut before = "";
        for (thing, words) in [
            (Self::RESET, "a reset"),
            (Self::WRITES, "writes by somebody else"),
            (Self::LOST_TRIGGER, "a conversion that never took place"),
            (
                Self::CHANGE_WHILE_READ,
                "results that changed while they were read",
            ),
            (Self::OVER_RANGE, "over-range inside a mean or a sum"),
        ] {
            if self.contains(thing) {
                write!(f, "{before}{words}")?;
                before = ", ";
            }
        }
        match self.is_empty() {
            true => f.write_str("nothing"),
            false => Ok(()),
        }
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Undetectable {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "Undetectable({=u8:#b})", self.bits());
    }
}
