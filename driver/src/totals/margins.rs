//! What datasheet, board and calibration leave open of totals, worked out once.
//!
//! All is in 1024ths of the part's sense and rail unit, so that bounds need no other factors than
//! totals do. What acts on what is shown is over 1 − ρ from the start: see
//! [`board::limits`](crate::board).

use crate::board::limits::{PPB, SenseLimits, VoltageLimits, at, ppb, pv};
use crate::board::{Board, Correction, Flow, Load, LoadSteps, Rail};
use crate::convert::divided_up;
use crate::info::PartInfo;
use crate::units::{Current, Voltage};

/// What is open of totals on a board of `N` rails: limits of error, and what is declared.
///
/// Constant data: for a board that is known at compile time it lies in flash, and the descriptions
/// that it is made of need not be linked.
///
/// A rail has no bound where its description is not the one that the board was made of, where all
/// relative limits add up to 100 %, or where greatest current or voltage are declared beyond 2^22
/// of the part's units (six times full scale on Corncrake).
///
/// ```
/// use crake::board::{Board, Rail, SenseResistor};
/// use crake::part::corncrake::{Corncrake, INFO};
/// use crake::totals::{Margins, Totals};
/// use crake::units::{Resistance, Tolerance};
///
/// const RAILS: [Rail; 1] = [Rail::new(SenseResistor::new(
///     Resistance::from_milliohms(500),
///     Tolerance::from_ppm(5_000),
/// ))];
/// static BOARD: Board<1> = Corncrake::board(&RAILS);
/// static MARGINS: Margins<'static, 1> = Margins::new(&INFO, &BOARD, &RAILS);
/// let totals = Totals::with_bounds(&MARGINS);
/// assert_eq!(totals.epoch(), 0);
/// ```
#[derive(Clone, Copy, Debug)]
pub struct Margins<'b, const N: usize> {
    pub(super) board: &'b Board<N>,
    pub(super) rails: [RailMargins; N],
    /// By range of the rail voltage; the last stands for all others.
    pub(super) voltages: [VoltageMargins; 3],
    /// Twice the time from idle to the first scan, in microseconds.
    pub(super) wake_us: u32,
    /// Whether the second of the sense ranges stands for one range alone.
    pub(super) two_ranges: bool,
}

/// What is open on one rail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct RailMargins {
    /// By sense range; the last stands for all others.
    pub(super) ranges: [SenseMargins; 2],
    /// Of what was turned over, in parts of 2^32, where current flows both ways.
    pub(super) changing: u32,
    /// Mean of the current's magnitude over at least so many 65 536 µs; 0 where it flows one way.
    pub(super) mean: u32,
    pub(super) mean_over: u32,
    pub(super) greatest: u32,
    /// What jumps make of a mean, × 2^12, for each microsecond of the scan period.
    pub(super) steps: u32,
    pub(super) voltage_steps: u32,
    /// What of an offset that is taken off may belong to another voltage than was read, in parts of
    /// 2^32.
    pub(super) unweighed: u32,
    /// Greatest voltage as shown; 0 where nothing is declared.
    pub(super) voltage: u32,
    /// Of the net total, in parts of 2^32, whatever is calibrated.
    pub(super) constant: u32,
    pub(super) load_declared: bool,
    /// Whether it cannot be corrected any more.
    pub(super) corrected: bool,
}

/// What is open of a current in one range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct SenseMargins {
    /// Of the net total, in parts of 2^32; the greatest number where nothing is known.
    pub(super) relative: u32,
    /// What lasts, and noise of one conversion and its rounding; not yet over 1 − ρ, which a
    /// calibration changes.
    pub(super) lasting: u32,
    pub(super) noise: u32,
    /// What lasts where the offset is calibrated, besides how well it is known.
    pub(super) after_calibration: u16,
    /// The part's gain in parts per million.
    pub(super) gain_ppm: u16,
}

/// What is open of a voltage in one range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct VoltageMargins {
    /// In parts of 2^32.
    pub(super) relative: u32,
    /// What lasts, and noise of one conversion and its rounding.
    pub(super) offset: u32,
    pub(super) noise: u32,
    /// The greatest that is not over range.
    pub(super) greatest: u32,
}

/// Nothing is known.
pub(super) const UNKNOWN: u32 = u32::MAX;

impl<'b, const N: usize> Margins<'b, N> {
    /// Of a board and the rails that it was made of, corrections included, on a part of this kind.
    #[must_use]
    pub const fn new(info: &PartInfo, board: &'b Board<N>, rails: &[Rail; N]) -> Self {
        let mut margins = Self {
            board,
            rails: [RailMargins::NONE; N],
            voltages: [
                VoltageMargins::new(info, 0, 1),
                VoltageMargins::new(info, 1, 2),
                VoltageMargins::new(info, 2, u8::MAX),
            ],
            wake_us: info.wake_us.saturating_mul(2),
            two_ranges: info.sense_ranges.len() == 2,
        };
        let two_ranges = margins.two_ranges;
        let clock_ppb = ppb(board.clock().as_ppm()) as u64;
        let (mut rest, mut from, mut factors): (&mut [_], &[_], &[_]) =
            (&mut margins.rails, rails, board.all_factors());
        while let ([margin, margins @ ..], [rail, rails @ ..], [of, others @ ..]) =
            (rest, from, factors)
        {
            *margin = RailMargins::new(info, &rail.corrected(Correction::NONE), clock_ppb);
            if !rail.correction().is_none() {
                margin.correct(rail.correction(), info.sense_unit, two_ranges);
            }
            if !of.is_of(rail, info) {
                *margin = RailMargins::NONE;
            }
            (rest, from, factors) = (margins, rails, others);
        }
        margins
    }
}

impl RailMargins {
    /// Nothing is known, and no correction changes that.
    const NONE: Self = Self {
        ranges: [SenseMargins::NONE; 2],
        changing: 0,
        mean: 0,
        mean_over: 0,
        greatest: 0,
        steps: 0,
        voltage_steps: 0,
        unweighed: 0,
        voltage: 0,
        constant: 0,
        load_declared: false,
        corrected: true,
    };

    #[inline(never)] // linked once
    const fn new(info: &PartInfo, rail: &Rail, clock_ppb: u64) -> Self {
        // A part of a stretch may lie at one end of the wander and the rest of it at the other.
        let wander_ppb = ppb(info.oscillator.wander_ppm).saturating_mul(2);
        let changing_ppb = (wander_ppb as u64).wrapping_add(rail.thermal_ppb() as u64);
        let worst = VoltageMargins::new(info, 0, u8::MAX);
        let unit = info.rail_unit;
        let load = match rail.load() {
            Some(load) => *load,
            None => as_the_ranges_allow(info, rail),
        };
        let mut margins = Self {
            greatest: parts_of_current(info, rail, load.greatest()),
            load_declared: rail.load().is_some(),
            corrected: false,
            ..Self::NONE
        };
        if let Some((least, greatest)) = rail.voltage_span() {
            let voltage = parts_of(greatest, unit);
            margins.voltage = worst.as_shown(voltage);
            let above_zero = if least.as_nanovolts() > 0 {
                least
            } else {
                Voltage::ZERO
            };
            let span = worst.as_shown(voltage.saturating_sub(parts_of(above_zero, unit)));
            // The code that was read has noise of its own.
            let span = span.saturating_add(worst.noise);
            margins.unweighed = short(divided_up((span as u128) << 32, margins.voltage as u64));
        } else {
            margins.unweighed = UNKNOWN;
        }
        let (mut constant_ppb, mut one_way_ppb) = (clock_ppb, changing_ppb);
        if matches!(load.flow(), Flow::Both) {
            let (mean, over_s) = load.mean();
            let mean = parts_of_current(info, rail, mean);
            // The host's clock may be slow.
            margins.mean = short(over(mean as u64, PPB.saturating_sub(clock_ppb)));
            margins.mean_over = short(divided_up(
                (over_s as u128).wrapping_mul(1_000_000),
                1 << 16,
            ));
            margins.changing = short(divided_up((changing_ppb as u128) << 32, PPB));
            one_way_ppb = 0;
        }
        constant_ppb = constant_ppb.wrapping_add(one_way_ppb);
        margins.constant = short(divided_up((constant_ppb as u128) << 32, PPB));
        margins.ranges = [
            SenseMargins::new(info, rail, constant_ppb, (0, 1)),
            SenseMargins::new(info, rail, constant_ppb, (1, u8::MAX)),
        ];
        // Scan periods may be longer than nominal, and the host's clock slow.
        let longer_ppb = PPB
            .wrapping_add(ppb(info.oscillator.error_ppm) as u64)
            .wrapping_add(clock_ppb.saturating_mul(2));
        let LoadSteps { per_hour, step } = load.steps();
        margins.steps = steps(parts_of_current(info, rail, step), per_hour, longer_ppb);
        let jumps = load.voltage_steps();
        margins.voltage_steps = steps(parts_of(jumps.step, unit), jumps.per_hour, longer_ppb);
        if margins.greatest == UNKNOWN
            || margins.mean == UNKNOWN
            || margins.steps == UNKNOWN
            || margins.voltage == UNKNOWN
            || margins.voltage_steps == UNKNOWN
        {
            return Self::NONE;
        }
        margins
    }
}

impl SenseMargins {
    const NONE: Self = Self {
        relative: UNKNOWN,
        ..Self::EXACT
    };

    const EXACT: Self = Self {
        relative: 0,
        lasting: 0,
        noise: 0,
        after_calibration: 0,
        gain_ppm: 0,
    };

    /// The worst of the ranges from one place to below another, with what else is relative.
    const fn new(info: &PartInfo, rail: &Rail, more_ppb: u64, (from, to): (u8, u8)) -> Self {
        let mut worst = Self::EXACT;
        let mut place = from;
        while place < to
            && let Some(limits) = SenseLimits::new(info, rail, place)
        {
            let open_ppb = more_ppb
                .wrapping_add(limits.gain_ppb as u64)
                .wrapping_add(limits.resistor_ppb as u64);
            let rest_ppb = PPB.saturating_sub(open_ppb);
            let lasting_pv = limits
                .offset_pv
                .saturating_add(limits.bias_pv)
                .saturating_add(limits.noise.staying_pv());
            let unit = info.sense_unit;
            let lasting = short(parts_of_pv(lasting_pv, unit));
            let noise = short(parts_of_pv(limits.noise.falling_pv(), unit));
            let mut relative = short(divided_up((open_ppb as u128) << 32, rest_ppb));
            let stable_pv = pv(info.offset_stability).saturating_add(limits.noise.staying_pv());
            let after_calibration = shorter(parts_of_pv(stable_pv, unit));
            let gain_ppm = shorter((limits.gain_ppb as u64).div_ceil(1_000));
            if lasting == UNKNOWN
                || noise == UNKNOWN
                || after_calibration == u16::MAX
                || gain_ppm == u16::MAX
            {
                relative = UNKNOWN;
            }
            worst = Self {
                relative: greater(worst.relative, relative),
                lasting: greater(worst.lasting, lasting),
                noise: greater(worst.noise, noise),
                after_calibration: greater_short(worst.after_calibration, after_calibration),
                gain_ppm: greater_short(worst.gain_ppm, gain_ppm),
            };
            place = place.wrapping_add(1);
        }
        worst
    }
}

impl VoltageMargins {
    /// The worst of the ranges from one place to below another.
    const fn new(info: &PartInfo, from: u8, to: u8) -> Self {
        let mut worst = Self {
            relative: 0,
            offset: 0,
            noise: 0,
            greatest: 0,
        };
        let unit = info.rail_unit;
        let mut place = from;
        while place < to
            && let Some(limits) = VoltageLimits::new(info, place)
            && let Some(range) = at(info.rail_ranges, place)
        {
            let gain_ppb = limits.gain_ppb as u64;
            let rest_ppb = PPB.saturating_sub(gain_ppb);
            let relative = short(divided_up((gain_ppb as u128) << 32, rest_ppb));
            let lasting_pv = limits.offset_pv.saturating_add(limits.noise.staying_pv());
            let offset = short(over(parts_of_pv(lasting_pv, unit), rest_ppb));
            let noise_pv = limits.noise.falling_pv();
            let noise = short(over(parts_of_pv(noise_pv, unit), rest_ppb));
            let full_pv = range.full_scale_nv(unit).saturating_mul(1_000);
            let beyond_pv = lasting_pv.saturating_add(noise_pv);
            let full = parts_of_pv(full_pv.saturating_add(beyond_pv), unit);
            worst = Self {
                relative: greater(worst.relative, relative),
                offset: greater(worst.offset, offset),
                noise: greater(worst.noise, noise),
                greatest: greater(worst.greatest, short(over(full, rest_ppb))),
            };
            place = place.wrapping_add(1);
        }
        worst
    }

    /// The greatest that can be shown of a voltage, over 1 − ρ.
    const fn as_shown(&self, voltage: u32) -> u32 {
        // (1 + ρ) ÷ (1 − ρ) is 1 + 2 ρ ÷ (1 − ρ).
        let twice = of_2_32(voltage, self.relative).saturating_mul(2);
        voltage
            .saturating_add(twice)
            .saturating_add(self.offset)
            .saturating_add(self.noise)
    }
}

/// A load of which nothing is declared: full scale both ways, an eighth more for gain, offset and
/// tolerance. It is not said to jump.
const fn as_the_ranges_allow(info: &PartInfo, rail: &Rail) -> Load {
    let (mut rest, mut greatest_nv) = (info.sense_ranges, 0);
    while let [range, others @ ..] = rest {
        let full_nv = range.full_scale_nv(info.sense_unit);
        if full_nv > greatest_nv {
            greatest_nv = full_nv;
        }
        rest = others;
    }
    let nanovolts = (greatest_nv as u128).wrapping_mul(1_125_000);
    let nanoamps = divided_up(
        nanovolts.wrapping_mul(1_000),
        rail.resistor().resistance().as_nanoohms(),
    );
    let nanoamps = if nanoamps >> 63 == 0 {
        nanoamps as i64
    } else {
        i64::MAX
    };
    Load::smooth(Current::from_nanoamps(nanoamps)).both_ways()
}

/// Each jump is dated wrongly by half a scan period: step × jumps an hour ÷ 7.2e9 µs.
#[inline(never)] // linked once
const fn steps(step: u32, per_hour: u32, longer_ppb: u64) -> u32 {
    if step == UNKNOWN {
        return UNKNOWN;
    }
    let product = ((step as u128).wrapping_mul(per_hour as u128)) << 12;
    let per_us = divided_up(product, 7_200_000_000);
    short(divided_up(
        (per_us as u128).wrapping_mul(longer_ppb as u128),
        PPB,
    ))
}

/// A current as what is shown of it in 1024ths of the sense unit.
const fn parts_of_current(info: &PartInfo, rail: &Rail, current: Current) -> u32 {
    let nanoamps = current.as_nanoamps().unsigned_abs() as u128;
    // nA × nΩ are 1e-9 nV.
    let product = nanoamps.wrapping_mul(rail.resistor().resistance().as_nanoohms() as u128);
    let nanovolts = divided_up(product << 10, 1_000_000_000);
    let unit_nv = info.sense_unit.as_nanovolts().unsigned_abs();
    short(divided_up(nanovolts as u128, unit_nv))
}

/// A voltage's magnitude in 1024ths of a unit.
#[inline(never)] // linked once
pub(super) const fn parts_of(voltage: Voltage, unit: Voltage) -> u32 {
    let nanovolts = voltage.as_nanovolts().unsigned_abs() as u128;
    short(divided_up(
        nanovolts << 10,
        unit.as_nanovolts().unsigned_abs(),
    ))
}

#[inline(never)] // linked once
const fn parts_of_pv(pv: u64, unit: Voltage) -> u64 {
    let unit_pv = unit.as_nanovolts().unsigned_abs().saturating_mul(1_000);
    divided_up((pv as u128) << 10, unit_pv)
}

/// Over a rest in parts per thousand million.
#[inline(never)] // linked once
const fn over(number: u64, rest_ppb: u64) -> u64 {
    divided_up((number as u128).wrapping_mul(PPB as u128), rest_ppb)
}

/// So many parts of 2^32, rounded up.
const fn of_2_32(number: u32, parts: u32) -> u32 {
    (((number as u64).wrapping_mul(parts as u64)) >> 32).wrapping_add(1) as u32
}

pub(super) const fn greater(a: u32, b: u32) -> u32 {
    if a > b { a } else { b }
}

/// In 32 bits; beyond the range it is the end of the range, which stands for unknown.
pub(super) const fn short(number: u64) -> u32 {
    if number >> 32 == 0 {
        number as u32
    } else {
        UNKNOWN
    }
}

const fn greater_short(a: u16, b: u16) -> u16 {
    if a > b { a } else { b }
}

/// In 16 bits, likewise.
const fn shorter(number: u64) -> u16 {
    if number >> 16 == 0 {
        number as u16
    } else {
        u16::MAX
    }
}
