use alloc::rc::Rc;

use crake::config::{Kind, Outputs};
use crake::part::Part;
use crake::units::Resistance;

use super::Fixture;

/// A thing under test: a map, and a fixture that it talks to. `N` is the number of channels.
pub trait Subject<const N: usize> {
    /// The map.
    type Part: Part + Clone;

    /// What the datasheet says, put down by the porter apart from the map's `PartInfo`.
    fn stated(&self) -> Stated;

    /// The driver's side of a part of which nothing is known yet.
    fn map(&self) -> Self::Part;

    /// A fresh fixture: a part without errors of its own, from power-up long enough ago to answer,
    /// all inputs at 0 V, on a bus that it has to itself; best the fastest bus that the part takes.
    ///
    /// `oscillator_ppm` is the error of the part's oscillator, positive when it is fast. A fixture
    /// that cannot set it leaves it at what it is; the checks of timing then prove less.
    fn fixture(&self, oscillator_ppm: i32) -> Rc<dyn Fixture>;

    /// Places of a channel's ranges in checks that are not about ranges; the first if nothing is
    /// said.
    fn ranges(&self, channel: u8) -> (usize, usize) {
        let _ = channel;
        (0, 0)
    }

    /// How far sense and rail code of a channel may lie from what was applied, given in codes, for
    /// a part with a number format of its own; one if nothing is said.
    fn tolerance(&self, channel: u8, sense: i64, rail: i64) -> (i64, i64) {
        let _ = (channel, sense, rail);
        (1, 1)
    }

    /// How far a power code may lie from the product of both, beside what they may be off.
    fn power_tolerance(&self, channel: u8, power: i64) -> i64 {
        let _ = (channel, power);
        0
    }

    /// Sense resistor of the board that the kit makes; 1 mΩ if nothing is said. Parts with coarse
    /// codes need more.
    fn resistor(&self) -> Resistance {
        Resistance::from_milliohms(1)
    }
}

/// What a part's datasheet says, in the datasheet's own terms: held against the map's `PartInfo`,
/// and telling which checks make sense. Times in microseconds, as limits, not as typical values.
#[derive(Clone, Copy, Debug)]
pub struct Stated {
    /// Number of channels.
    pub channels: u8,
    /// Sense ranges, in the order of the `PartInfo`.
    pub sense: &'static [StatedRange],
    /// Rail ranges, in the order of the `PartInfo`.
    pub rail: &'static [StatedRange],
    /// Greatest input bias current, in nanoamperes.
    pub bias_na: u32,
    /// How far the sense offset moves after an offset calibration, in nanovolts.
    pub offset_stability_nv: u32,
    /// Scan periods in the order of the `PartInfo`; none for a part that converts when triggered.
    pub periods_us: &'static [u32],
    /// The part can be triggered to convert once.
    pub single_shot: bool,
    /// Nominal length of one conversion in nanoseconds.
    pub conversion_ns: u32,
    /// Greatest k of means of 2^k scans.
    pub averaging_log2_max: u8,
    /// Greatest error of the oscillator in either direction, parts per million.
    pub oscillator_ppm: u32,
    /// Greatest departure from its mean while it runs, parts per million.
    pub wander_ppm: u32,
    /// From idle to the first scan.
    pub wake_us: u32,
    /// From a reset until the part answers.
    pub reset_us: u32,
    /// Longest time between conversions of like inputs of two channels of one sample; 0 where a
    /// latch copies one scan.
    pub skew_us: u32,
    /// Bits of the part's energy sum, sign included; 0 where the part has none.
    pub energy_bits: u8,
    /// Bits of the part's charge sum, sign included; 0 where the part has none.
    pub charge_bits: u8,
    /// Bits of the part's count of scans; 0 where the part has none.
    pub scans_bits: u8,
    /// The part multiplies sense and rail itself.
    pub power: bool,
    /// Kinds of limits that the part compares itself, per channel or one entry for all.
    pub kinds: &'static [&'static [Kind]],
    /// Alert outputs.
    pub outputs: Outputs,
    /// Greatest debounce that the part counts; 1 where it has none.
    pub debounce_max: u8,
    /// Flags can follow their condition.
    pub following: bool,
    /// So many eighths of its greatest magnitude, or beyond, and a sum is told as near its end; 0
    /// where the part does not tell.
    pub rollover_ahead_eighths: u8,
    /// How the part tells that an input is beyond its range.
    pub over_range: OverRange,
    /// Transfers end with a check byte (PEC).
    pub check_byte: bool,
    /// The block of results carries a check value of its own.
    pub block_check: bool,
    /// The part tells what it is, in the first register that is read.
    pub identity: bool,
    /// Reading the flags clears them.
    pub cleared_by_reading: bool,
    /// A reset between two samples can be found out.
    pub tells_reset: bool,
    /// That somebody else wrote to the part can be found out.
    pub tells_writes: bool,
    /// All of the configuration can be read back: ranges, channels, averaging and rate.
    pub reads_back: bool,
    /// That a trigger or latch never arrived can be found out.
    pub tells_lost_trigger: bool,
    /// That results changed while they were read can be found out, or cannot happen.
    pub tells_change_while_read: bool,
    /// Conversions that a fast capture keeps; 0 where the part has none.
    pub capture: u16,
}

impl Stated {
    /// A part that has nothing but converters, and tells nothing: say what the datasheet says, and
    /// `..Stated::PLAIN`.
    pub const PLAIN: Self = Self {
        channels: 0,
        sense: &[],
        rail: &[],
        bias_na: 0,
        offset_stability_nv: 0,
        periods_us: &[],
        single_shot: false,
        conversion_ns: 0,
        averaging_log2_max: 0,
        oscillator_ppm: 0,
        wander_ppm: 0,
        wake_us: 0,
        reset_us: 0,
        skew_us: 0,
        energy_bits: 0,
        charge_bits: 0,
        scans_bits: 0,
        power: false,
        kinds: &[&[]],
        outputs: Outputs::empty(),
        debounce_max: 1,
        following: false,
        rollover_ahead_eighths: 0,
        over_range: OverRange::WhileItLasts,
        check_byte: false,
        block_check: false,
        identity: false,
        cleared_by_reading: false,
        tells_reset: false,
        tells_writes: false,
        reads_back: true,
        tells_lost_trigger: false,
        tells_change_while_read: false,
        capture: 0,
    };
}

/// How a part tells that an input is beyond its range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OverRange {
    /// A flag, kept until a sample has told of it.
    Remembered,
    /// A flag, kept until it is read: a read that fails may take some with it, and the map tells
    /// all of them then.
    ClearedByReading,
    /// A flag, while it lasts; it covers every conversion that went into a result.
    WhileItLasts,
    /// The code at the range's end alone: inside a mean or a sum of the part nothing tells.
    EndCode,
}

/// One range as a datasheet has it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StatedRange {
    /// Full scale in nanovolts.
    pub full_scale_nv: u64,
    /// So many LSBs are the full scale.
    pub full_scale_codes: u32,
    /// Least code.
    pub code_min: i32,
    /// Greatest code.
    pub code_max: i32,
    /// Greatest gain error in either direction, parts per million.
    pub gain_ppm: u32,
    /// Greatest offset error in either direction, nanovolts.
    pub offset_nv: u32,
    /// Noise of one conversion, r.m.s., nanovolts.
    pub noise_nv: u32,
}

impl StatedRange {
    /// Of two's complement codes of so many bits, at most 31: full scale is half of their number.
    #[must_use]
    pub const fn signed(full_scale_nv: u64, bits: u32) -> Self {
        let range = Self::unsigned(full_scale_nv, bits - 1);
        Self {
            code_min: -range.code_max - 1,
            ..range
        }
    }

    /// Of codes of so many bits from zero up, at most 30: full scale is their number.
    #[must_use]
    pub const fn unsigned(full_scale_nv: u64, bits: u32) -> Self {
        Self {
            full_scale_nv,
            full_scale_codes: 1 << bits,
            code_min: 0,
            code_max: (1 << bits) - 1,
            gain_ppm: 0,
            offset_nv: 0,
            noise_nv: 0,
        }
    }

    /// The same with these limits of error.
    #[must_use]
    pub const fn errors(mut self, gain_ppm: u32, offset_nv: u32, noise_nv: u32) -> Self {
        (self.gain_ppm, self.offset_nv, self.noise_nv) = (gain_ppm, offset_nv, noise_nv);
        self
    }
}
