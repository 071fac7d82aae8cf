use crake::board::{Budget, Mean, OperatingPoint, Rail};
use crake::config::ChannelRange;
use crake::info::{PartInfo, RangeErrors, RangeInfo};
use crake::units::{Current, Power, Voltage};
use schemars::JsonSchema;
use serde::Serialize;

use super::uncertainty::{Contribution, expanded, standard};

/// The error budget of one quantity at one operating point.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Errors {
    /// The quantity itself, in its SI unit.
    pub value: f64,
    /// What contributes, in the order of the driver's [`Budget`].
    pub contributions: Vec<Contribution>,
    /// Sum of the limits, the driver's bound.
    pub worst_case: f64,
    /// Combined standard uncertainty.
    pub standard: f64,
    /// With coverage factor 2.
    pub expanded: f64,
}

/// The error budgets of a rail at one current.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize)]
pub struct ErrorBudget {
    /// Of a reading of the current, in amperes.
    pub current_a: Errors,
    /// Of a reading of the power, in watts.
    pub power_w: Errors,
    /// Of the energy of a stretch at that current, in joules.
    pub energy_j: Errors,
}

/// A rail on a part, in given ranges.
pub(super) struct Setting<'s> {
    pub(super) info: &'static PartInfo,
    pub(super) rail: &'s Rail,
    pub(super) range: ChannelRange,
    pub(super) voltage: Voltage,
    /// At which clocks and temperature weigh as much as at any.
    pub(super) greatest: Current,
}

impl Setting<'_> {
    pub(super) fn point(&self, current: Current, mean: Mean) -> OperatingPoint {
        let watts = amps(current) * volts(self.voltage);
        OperatingPoint {
            range: self.range,
            current,
            voltage: self.voltage,
            power: Power::from_nanowatts((watts * 1e9) as i64),
            mean,
        }
    }

    /// Worst-case error of a reading of the current; `None` where the part has no such range.
    pub(super) fn worst_current(&self, current: Current, mean: Mean) -> Option<Current> {
        let budget = self
            .rail
            .current_budget(self.info, &self.point(current, mean))?;
        Some(budget.total())
    }

    /// All of it; `None` where the part has no such ranges.
    pub(super) fn errors(&self, current: Current, of: [Mean; 2]) -> Option<ErrorBudget> {
        let [reading, stretch] = of;
        let Mean::Stretch { duration_us, .. } = stretch else {
            return None;
        };
        let (current_a, power_w) = self.both(current, reading)?;
        let (_, mean_w) = self.both(current, stretch)?;
        let seconds = duration_us as f64 / 1e6;
        Some(ErrorBudget {
            current_a,
            power_w,
            energy_j: mean_w.times(seconds),
        })
    }

    /// Of the current and of the power.
    fn both(&self, current: Current, mean: Mean) -> Option<(Errors, Errors)> {
        let (info, rail) = (self.info, self.rail);
        let at = self.point(current, mean);
        let of_current = rail.current_budget(info, &at)?.named(amps);
        let of_voltage = rail.voltage_budget(info, &at)?.named(volts);
        let of_power = rail.power_budget(info, &at)?.named(watts);

        // The driver's parts are limits of shown − true in terms of what is shown: each over 1 − ρ,
        // ρ the sum of the relative limits. A standard uncertainty is of first order, without it.
        let full = self.point(self.greatest, mean);
        let full = rail.current_budget(info, &full)?.named(amps);
        let rest = rest(amps(self.greatest), &full);
        let range = info.sense_ranges.get(usize::from(self.range.sense))?;
        let errors = info.sense_errors.get(usize::from(self.range.sense))?;
        let code = Code::new(range, errors, info.sense_unit, mean);
        let ohm = rail.resistor().resistance().as_nanoohms() as f64 / 1e9;
        let current = contributions(&of_current, rest, code.standard_v / ohm);

        let range = info.rail_ranges.get(usize::from(self.range.rail))?;
        let errors = info.rail_errors.get(usize::from(self.range.rail))?;
        let code = Code::new(range, errors, info.rail_unit, mean);
        let rest = self::rest(volts(at.voltage), &of_voltage);
        let voltage = contributions(&of_voltage, rest, code.standard_v);

        // P = V I: dP = V dI + I dV.
        let (v, a) = (volts(at.voltage), amps(at.current));
        let power = of_power.iter().zip(current.iter().zip(&voltage)).map(
            |(&(name, limit), (of_a, of_v))| Contribution {
                name,
                limit,
                standard: (v * of_a.standard).hypot(a * of_v.standard),
            },
        );
        Some((
            Errors::new(a, current.clone()),
            Errors::new(a * v, power.collect()),
        ))
    }
}

impl Errors {
    fn new(value: f64, contributions: Vec<Contribution>) -> Self {
        let combined = standard(&contributions);
        Self {
            value,
            worst_case: contributions.iter().map(|one| one.limit).sum(),
            standard: combined,
            expanded: expanded(combined),
            contributions,
        }
    }

    /// Of so many times the quantity.
    fn times(self, factor: f64) -> Self {
        let contributions = self.contributions.into_iter();
        let scaled = contributions.map(|one| Contribution {
            name: one.name,
            limit: one.limit * factor,
            standard: one.standard * factor,
        });
        Self::new(self.value * factor, scaled.collect())
    }
}

/// The parts of a budget by name, each as a number in the SI unit.
trait Named<Q> {
    fn named(&self, number: impl Fn(Q) -> f64) -> [(&'static str, f64); 9];
}

impl<Q: Copy> Named<Q> for Budget<Q> {
    fn named(&self, number: impl Fn(Q) -> f64) -> [(&'static str, f64); 9] {
        [
            (GAIN, self.gain),
            ("offset", self.offset),
            ("bias", self.bias),
            (NOISE, self.noise),
            (QUANTISATION, self.quantisation),
            (RESISTOR, self.resistor),
            (TEMPERATURE, self.temperature),
            (CLOCK, self.clock),
            ("load steps", self.load_steps),
        ]
        .map(|(name, part)| (name, number(part)))
    }
}

const GAIN: &str = "gain";
const NOISE: &str = "noise";
const QUANTISATION: &str = "quantisation";
const RESISTOR: &str = "resistor";
const TEMPERATURE: &str = "temperature";
const CLOCK: &str = "clock";

/// 1 − ρ of a budget: its relative parts come to ρ ÷ (1 − ρ) of the value.
fn rest(value: f64, parts: &[(&'static str, f64)]) -> f64 {
    let relative = [GAIN, RESISTOR, TEMPERATURE, CLOCK];
    let parts = parts.iter().filter(|(name, _)| relative.contains(name));
    value / (value + parts.map(|(_, part)| part).sum::<f64>())
}

fn contributions(parts: &[(&'static str, f64)], rest: f64, code: f64) -> Vec<Contribution> {
    let of_part = |&(name, limit): &(&'static str, f64)| {
        let shape = match name {
            NOISE => Contribution::noise(name, limit * rest),
            QUANTISATION => Contribution {
                standard: code,
                ..Contribution::rectangular(name, limit)
            },
            _ => Contribution::rectangular(name, limit * rest),
        };
        Contribution { limit, ..shape }
    };
    parts.iter().map(of_part).collect()
}

/// What rounding to codes leaves open of a mean.
struct Code {
    standard_v: f64,
}

impl Code {
    /// LSB ÷ √12 (JCGM 100, F.2.2.1), over the root of the conversions where noise of half an LSB
    /// or more stirs the codes, as the driver counts it; once more where the mean is rounded.
    fn new(range: &RangeInfo, errors: &RangeErrors, unit: Voltage, mean: Mean) -> Self {
        let lsb_v = range.lsb_nv(unit) as f64 / 1e9;
        let one = lsb_v / 12_f64.sqrt();
        let (scans, rounded) = match mean {
            Mean::Reading { averaging_log2 } => (1_u64 << averaging_log2, averaging_log2 != 0),
            Mean::Stretch { scans, .. } => (scans, false),
        };
        let of_mean = match volts(errors.noise) * 2.0 >= lsb_v {
            true => one / (scans as f64).sqrt(),
            false => one,
        };
        Self {
            standard_v: if rounded { of_mean.hypot(one) } else { of_mean },
        }
    }
}

pub(super) fn amps(current: Current) -> f64 {
    current.as_nanoamps() as f64 / 1e9
}

pub(super) fn volts(voltage: Voltage) -> f64 {
    voltage.as_nanovolts() as f64 / 1e9
}

fn watts(power: Power) -> f64 {
    power.as_nanowatts() as f64 / 1e9
}
