use core::num::Saturating;

use super::limits::{PPB, SenseLimits, VoltageLimits};
use super::{Budget, Flow, Rail};
use crate::config::ChannelRange;
use crate::convert::divided_up;
use crate::info::{PartInfo, Source};
use crate::units::{Current, Power, Tolerance, Voltage};

/// Where, and of how many conversions, an error budget is asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct OperatingPoint {
    /// Ranges in force.
    pub range: ChannelRange,
    /// Current as shown.
    pub current: Current,
    /// Voltage as shown.
    pub voltage: Voltage,
    /// Power as shown: a mean of products, which the product of the means need not be.
    pub power: Power,
    /// Of what it is the mean.
    pub mean: Mean,
}

/// Over what a mean is taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Mean {
    /// Over 2^k scans, as the part makes it: a reading. The truth is what flowed during their
    /// apertures.
    Reading {
        /// k; 0 for a single scan. The part rounds any other mean to a code.
        averaging_log2: u8,
    },
    /// Over a stretch of time, exactly, from running sums. The truth is what flowed all the time.
    Stretch {
        /// Scans in it.
        scans: u64,
        /// From one scan to the next, nominal, in microseconds.
        scan_period_us: u32,
        /// Its length in microseconds.
        duration_us: u64,
        /// How uncertain it is where its ends lie, in microseconds, both together.
        ends_us: u64,
        /// How far the host's clock is off, which it was measured by.
        clock: Tolerance,
    },
}

/// A magnitude in billionths of a unit; beyond the range it is the end of the range.
pub(super) type Magnitude = Saturating<u64>;
type Parts = Budget<Magnitude>;

impl Rail {
    /// Error budget of the rail's current; `None` where the part has no such range.
    ///
    /// The rail's correction is taken as it is: ask the rail as it was and the rail as it is after
    /// a calibration to see what the calibration brought.
    ///
    /// ```
    /// use crake::board::{Mean, OperatingPoint, Rail, SenseResistor};
    /// use crake::config::ChannelRange;
    /// use crake::part::corncrake::INFO;
    /// use crake::units::{Current, Power, Resistance, Tolerance, Voltage};
    ///
    /// let rail =
    ///     Rail::new(SenseResistor::new(Resistance::from_ohms(1), Tolerance::from_ppm(5_000)));
    /// let at = OperatingPoint {
    ///     // The second sense range, 200 nV a code, and the first rail range, 100 µV.
    ///     range: ChannelRange { sense: 1, rail: 0, sense_lsb: 2, rail_lsb: 2 },
    ///     current: Current::from_milliamps(10),
    ///     voltage: Voltage::from_millivolts(3_300),
    ///     power: Power::from_milliwatts(33),
    ///     mean: Mean::Reading { averaging_log2: 0 },
    /// };
    /// let budget = rail.current_budget(&INFO, &at).ok_or("no such range")?;
    /// // The part's 10 µV over 1 Ω, and 0.7 % of them for gain and resistor.
    /// assert_eq!(budget.offset, Current::from_nanoamps(10_071));
    /// # Ok::<(), &str>(())
    /// ```
    #[must_use]
    pub fn current_budget(&self, info: &PartInfo, at: &OperatingPoint) -> Option<Budget<Current>> {
        let limits = SenseLimits::new(info, self, at.range.sense)?;
        let mut parts = self.sense_parts(at, &limits, at.mean.scans());
        self.add_time(info, at, &mut parts);
        if at.mean.is_rounded() {
            parts.quantisation += self.amps(limits.magnified(limits.noise.half_code_pv));
        }
        parts.quantisation += 1; // to whole nanoamperes
        let open_ppb = limits.relative_ppb().saturating_add(clock_ppb(info, at));
        Some(
            parts
                .over_rest(open_ppb)
                .map(|part| Current::from_nanoamps(signed(part))),
        )
    }

    /// Error budget of the rail's voltage; `None` where the part has no such range.
    #[must_use]
    pub fn voltage_budget(&self, info: &PartInfo, at: &OperatingPoint) -> Option<Budget<Voltage>> {
        let limits = VoltageLimits::new(info, at.range.rail)?;
        let mut parts = rail_parts(at, &limits, at.mean.scans());
        if at.mean.is_rounded() {
            parts.quantisation += volts(limits.noise.half_code_pv);
        }
        let parts = parts.over_rest(limits.gain_ppb.into());
        Some(parts.map(|part| Voltage::from_nanovolts(signed(part))))
    }

    /// Error budget of the rail's power, the mean of products of current and voltage; `None` where
    /// the part has no such ranges.
    ///
    /// How current and voltage moved within a mean is not known: its noise is weighed with the
    /// greatest of the other, as declared or else as the range allows.
    #[must_use]
    pub fn power_budget(&self, info: &PartInfo, at: &OperatingPoint) -> Option<Budget<Power>> {
        let sense = SenseLimits::new(info, self, at.range.sense)?;
        let rail = VoltageLimits::new(info, at.range.rail)?;
        let weights = Weights::new(info, self, at)?;
        let mut current = self.sense_parts(at, &sense, at.mean.scans());
        let voltage = rail_parts(at, &rail, at.mean.scans());
        self.add_time(info, at, &mut current);

        // Shown = mean of (I F + a) (V G + b) = mean of I V F G + a V' + b I' − a b; V', I' as
        // shown.
        let (na, nv) = (at.shown_na(), at.shown_nv());
        let nw = Saturating(at.power.as_nanowatts().unsigned_abs());
        let turned_over = nw.max(watts(self.throughput_na(at), nv));
        let single = self.sense_parts(at, &sense, 1).absolute();
        let both = watts(single, rail_parts(at, &rail, 1).absolute());
        let mut parts = Parts {
            gain: share(nw, sense.gain_ppb) + share(nw, rail.gain_ppb),
            offset: watts(current.offset, nv) + watts(na, voltage.offset) + both,
            bias: watts(current.bias, nv),
            noise: watts(current.noise, weights.nv) + watts(weights.na, voltage.noise),
            quantisation: watts(current.quantisation, weights.nv)
                + watts(weights.na, voltage.quantisation)
                + Saturating(1), // to whole nanowatts
            resistor: share(nw, sense.resistor_ppb),
            temperature: share(turned_over, sense.thermal_ppb),
            clock: watts(current.clock, nv),
            load_steps: watts(current.load_steps, weights.greatest_nv)
                + watts(weights.greatest_na, self.voltage_steps(at)),
        };
        if at.mean.is_rounded() {
            let factor = self.rounded_power_na(&sense);
            parts.quantisation += watts(factor, volts(rail.noise.half_code_pv));
        }
        let open_ppb = sense
            .relative_ppb()
            .saturating_add(rail.gain_ppb.into())
            .saturating_add(clock_ppb(info, at));
        Some(
            parts
                .over_rest(open_ppb)
                .map(|part| Power::from_nanowatts(signed(part))),
        )
    }

    /// What datasheet, board and calibration leave open of a mean over so many conversions.
    fn sense_parts(&self, at: &OperatingPoint, limits: &SenseLimits, conversions: u64) -> Parts {
        let (noise, quantisation) = limits.noise.parts_of_mean(conversions);
        let amps = |pv| self.amps(limits.magnified(pv));
        Parts {
            gain: share(at.shown_na(), limits.gain_ppb),
            offset: amps(limits.offset_pv),
            bias: amps(limits.bias_pv),
            noise: amps(noise),
            quantisation: amps(quantisation),
            resistor: share(at.shown_na(), limits.resistor_ppb),
            temperature: share(self.throughput_na(at), limits.thermal_ppb),
            ..Parts::default()
        }
    }

    /// What clocks, ends and steps make of the mean current of a stretch.
    fn add_time(&self, info: &PartInfo, at: &OperatingPoint, parts: &mut Parts) {
        let Mean::Stretch {
            duration_us,
            ends_us,
            clock,
            ..
        } = at.mean
        else {
            return;
        };
        let clock_ppb = clock.as_ppm().saturating_mul(1_000);
        let wander_ppb = info.oscillator.wander_ppm.saturating_mul(1_000);
        let throughput = self.throughput_na(at);
        parts.clock = match info.charge_sum {
            // A part of the run may lie at one end of the wander and the rest of it at the other.
            Source::Part => {
                share(at.shown_na(), clock_ppb) + share(throughput, wander_ppb.saturating_mul(2))
            }
            // Each code was multiplied by time of the host's clock, which may go faster or slower.
            Source::Driver => share(throughput, clock_ppb),
        };
        if let Some(load) = self.load() {
            let greatest = Saturating(load.greatest().as_nanoamps().unsigned_abs());
            parts.clock += scaled(greatest, ends_us, duration_us);
            let (steps, step) = (load.steps(), load.steps().step.as_nanoamps());
            parts.load_steps = at.mean.spread(steps.per_hour, step.unsigned_abs());
        }
    }

    /// What a source's steps make of the mean voltage of a stretch.
    fn voltage_steps(&self, at: &OperatingPoint) -> Magnitude {
        self.load().map_or(Saturating(0), |load| {
            let steps = load.voltage_steps();
            let step = steps.step.as_nanovolts().unsigned_abs();
            at.mean.spread(steps.per_hour, step)
        })
    }

    /// Mean magnitude of the current whichever way: more than the mean where it flows both ways.
    fn throughput_na(&self, at: &OperatingPoint) -> Magnitude {
        let declared = match (at.mean, self.load()) {
            (Mean::Stretch { duration_us, .. }, Some(load)) if load.flow() == Flow::Both => {
                let (mean, over_s) = load.mean();
                if duration_us < u64::from(over_s).saturating_mul(1_000_000) {
                    load.greatest()
                } else {
                    mean
                }
            }
            _ => Current::ZERO,
        };
        at.shown_na()
            .max(Saturating(declared.as_nanoamps().unsigned_abs()))
    }

    /// Nanoamperes of a sense voltage in picovolts, rounded up.
    pub(super) fn amps(&self, pv: u64) -> Magnitude {
        scaled(
            Saturating(pv),
            1_000_000,
            self.resistor().resistance().as_nanoohms(),
        )
    }
}

/// By how much noise of the one counts in the mean product of both, and the greatest of both as
/// declared or else as the range allows.
pub(super) struct Weights {
    pub(super) na: Magnitude,
    pub(super) nv: Magnitude,
    greatest_na: Magnitude,
    greatest_nv: Magnitude,
}

impl Weights {
    pub(super) fn new(info: &PartInfo, rail: &Rail, at: &OperatingPoint) -> Option<Self> {
        let sense = info.sense_ranges.get(usize::from(at.range.sense))?;
        let volts = info.rail_ranges.get(usize::from(at.range.rail))?;
        let greatest_na = match rail.load() {
            Some(load) => Saturating(load.greatest().as_nanoamps().unsigned_abs()),
            None => rail.amps(sense.full_scale_nv(info.sense_unit).saturating_mul(1_000)),
        };
        let greatest_nv = match rail.voltage_span() {
            Some((least, greatest)) => Saturating(
                least
                    .abs()
                    .max(greatest.abs())
                    .as_nanovolts()
                    .unsigned_abs(),
            ),
            None => Saturating(volts.full_scale_nv(info.rail_unit)),
        };
        // How current and voltage moved within a mean is not known.
        let (na, nv) = match at.mean.scans() {
            0 | 1 => (at.shown_na(), at.shown_nv()),
            _ => (greatest_na, greatest_nv),
        };
        Some(Self {
            na,
            nv,
            greatest_na,
            greatest_nv,
        })
    }
}

impl OperatingPoint {
    pub(super) fn shown_na(&self) -> Magnitude {
        Saturating(self.current.as_nanoamps().unsigned_abs())
    }

    pub(super) fn shown_nv(&self) -> Magnitude {
        Saturating(self.voltage.as_nanovolts().unsigned_abs())
    }
}

impl Mean {
    pub(super) const fn scans(&self) -> u64 {
        match self {
            Self::Reading { averaging_log2 } => 1 << (*averaging_log2 & 31),
            Self::Stretch { scans, .. } => *scans,
        }
    }

    pub(super) const fn is_rounded(&self) -> bool {
        matches!(self, Self::Reading { averaging_log2 } if *averaging_log2 != 0)
    }

    /// What steps make of a mean: each is dated wrongly by up to half a scan period, and a stretch
    /// can hold one more than its rate says.
    fn spread(&self, per_hour: u32, step: u64) -> Magnitude {
        match *self {
            Self::Stretch {
                scan_period_us,
                duration_us,
                ..
            } if per_hour != 0 => {
                let rate = scaled(Saturating(duration_us), per_hour.into(), 3_600_000_000);
                let half_us = u64::from(scan_period_us.div_ceil(2));
                scaled(
                    (rate + Saturating(1)) * Saturating(step),
                    half_us,
                    duration_us,
                )
            }
            _ => Saturating(0),
        }
    }
}

impl Parts {
    /// What does not depend on the quantity's size.
    fn absolute(&self) -> Magnitude {
        self.offset + self.bias + self.noise + self.quantisation
    }

    /// Each over 1 − ρ, ρ the sum of all relative limits.
    fn over_rest(&self, open_ppb: u64) -> Self {
        self.map(|part| scaled(part, PPB, PPB.saturating_sub(open_ppb)))
    }
}

/// What datasheet leaves open of the mean voltage of so many conversions.
fn rail_parts(at: &OperatingPoint, limits: &VoltageLimits, conversions: u64) -> Parts {
    let (noise, quantisation) = limits.noise.parts_of_mean(conversions);
    Parts {
        gain: share(at.shown_nv(), limits.gain_ppb),
        offset: volts(limits.offset_pv),
        noise: volts(noise),
        quantisation: volts(quantisation),
        ..Parts::default()
    }
}

/// What clocks add to the sum of all relative limits.
fn clock_ppb(info: &PartInfo, at: &OperatingPoint) -> u64 {
    match at.mean {
        Mean::Stretch { clock, .. } => {
            let wander_ppm = u64::from(info.oscillator.wander_ppm).saturating_mul(2);
            wander_ppm
                .saturating_add(clock.as_ppm().into())
                .saturating_mul(1_000)
        }
        Mean::Reading { .. } => 0,
    }
}

pub(super) fn signed(part: Magnitude) -> i64 {
    i64::try_from(part.0).unwrap_or(i64::MAX)
}

/// Nanovolts of picovolts, rounded up.
pub(super) fn volts(pv: u64) -> Magnitude {
    scaled(Saturating(pv), 1, 1_000)
}

/// Nanowatts of nanoamperes and nanovolts, rounded up.
pub(super) fn watts(na: Magnitude, nv: Magnitude) -> Magnitude {
    scaled(na, nv.0, PPB)
}

/// So many parts per thousand million, rounded up.
fn share(of: Magnitude, ppb: u32) -> Magnitude {
    scaled(of, ppb.into(), PPB)
}

/// `of × numerator ÷ denominator`, rounded up.
pub(super) fn scaled(of: Magnitude, numerator: u64, denominator: u64) -> Magnitude {
    let product = u128::from(of.0).wrapping_mul(u128::from(numerator)); // 64 by 64 bits
    Saturating(divided_up(product, denominator))
}
