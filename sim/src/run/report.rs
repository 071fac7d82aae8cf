use crake::Saturation;
use crake::info::Source;
use schemars::JsonSchema;
use serde::Serialize;

use super::extremes::Spread;
use super::faults::{FailureReport, FaultReport};
use super::reactions::{AlertReport, compared_by, word_of};
use super::verdict::Verdict;
use crate::bus::Stats;
use crate::quantity::spoken;
use crate::scenario::{Contradiction, PartPlan, Scenario};

/// What a run came to. Serialises to the object that `docs/report.md` describes.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Report {
    /// The scenario's title.
    pub title: String,
    /// What all chance came from.
    pub seed: u64,
    /// Length of the scenario in seconds.
    pub duration_s: f64,
    /// From one sample to the next, in seconds.
    pub read_every_s: f64,
    /// The parts, in the scenario's order.
    pub parts: Vec<PartReport>,
    /// One entry per rail, in the scenario's order.
    pub rails: Vec<RailReport>,
    /// Time that is in no total, at least and at most, in seconds; of the part of which most is.
    pub unaccounted_s: [f64; 2],
    /// How often counts were lost, and a new epoch began; of all parts.
    pub discontinuities: u32,
    /// Samples taken, of all parts.
    pub samples: u64,
    /// Conversions made by all parts.
    pub conversions: u64,
    /// Every alert, in the order in which the firmware heard of them.
    pub alerts: Vec<AlertReport>,
    /// The scenario's faults, in its order.
    pub faults: Vec<FaultReport>,
    /// Operations of the driver that failed, in the order of the first time.
    pub failures: Vec<FailureReport>,
    /// Declarations that the scenario's own loads and sources contradict: bounds that lean on them
    /// may be false. A run leaves them empty, since to find them takes as long as many a run; the
    /// program puts [`Scenario::contradictions`](crate::scenario::Scenario::contradictions) here.
    pub contradictions: Vec<Contradiction>,
    /// Traffic.
    pub bus: BusReport,
    /// What measuring cost.
    pub monitor: MonitorReport,
    /// What it comes to.
    pub verdict: Verdict,
}

/// One part of a run.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize)]
pub struct PartReport {
    /// What the scenario calls it.
    pub name: String,
    /// What it is.
    pub model: &'static str,
    /// Its 7-bit address.
    pub address: u8,
    /// Its scan rate; 0 for a part that converts when it is told to.
    pub scans_per_second: u32,
    /// What the driver makes up for it: "power", "charge sum", "energy sum", and limits such as
    /// "under-voltage of CELL".
    pub by_driver: Vec<String>,
}

/// One rail's totals beside the truth.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize)]
pub struct RailReport {
    /// Its name.
    pub name: String,
    /// The part that watches it, by name.
    pub part: String,
    /// The part's channel.
    pub channel: u8,
    /// How long the totals cover, by the host's clock, in seconds.
    pub duration_s: f64,
    /// Energy in joules.
    pub energy_j: Figure,
    /// Charge in coulombs.
    pub charge_c: Figure,
    /// Readings of the voltage, in volts.
    pub voltage_v: Option<Spread>,
    /// Readings of the current, in amperes.
    pub current_a: Option<Spread>,
    /// Readings of the power, in watts.
    pub power_w: Option<Spread>,
    /// Charge over time: mean current in amperes.
    pub mean_current_a: f64,
    /// Energy over time: mean power in watts.
    pub mean_power_w: f64,
}

/// A total, its truth, and the bound that the driver claims.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Figure {
    /// By the driver's totals, on the host's clock.
    pub measured: f64,
    /// The same on the part's own clock.
    pub by_part_clock: f64,
    /// What really flowed in the time that the totals cover.
    pub truth: f64,
    /// Measured less truth.
    pub difference: f64,
    /// How far the driver says it may be off.
    pub bound: f64,
    /// What makes how much of the bound: the driver's error budget at the mean operating point.
    pub bound_parts: Parts,
    /// After clipping the total is a limit: "none" (no clipping), "at_least" or "unknown".
    pub saturation: &'static str,
    /// Whether the truth lies where the driver says.
    pub within: bool,
}

/// The parts of an error budget.
#[derive(Clone, Copy, Debug, Default, PartialEq, JsonSchema, Serialize)]
pub struct Parts {
    /// Gain error of the part.
    pub gain: f64,
    /// Offset error of the part.
    pub offset: f64,
    /// Input bias of the part.
    pub bias: f64,
    /// Noise of conversions.
    pub noise: f64,
    /// Rounding to codes.
    pub quantisation: f64,
    /// Tolerance of the sense resistor.
    pub resistor: f64,
    /// Temperature of the sense resistor.
    pub temperature: f64,
    /// Host clock, wander of the oscillator, ends.
    pub clock: f64,
    /// What load and source do between conversions.
    pub load_steps: f64,
}

/// Traffic on the bus.
#[derive(Clone, Copy, Debug, PartialEq, JsonSchema, Serialize)]
pub struct BusReport {
    /// Transfers from START to STOP.
    pub transactions: u64,
    /// Bytes, address bytes included.
    pub bytes: u64,
    /// Time between START and STOP, in seconds.
    pub busy_s: f64,
    /// The same as a share of the whole time.
    pub busy_share: f64,
}

/// What measuring itself cost.
#[derive(Clone, Copy, Debug, PartialEq, JsonSchema, Serialize)]
pub struct MonitorReport {
    /// Energy that all parts drew from their own 3.3 V supply, in joules; typical figures. Pull-ups
    /// of the bus are not in it.
    pub energy_j: f64,
    /// The same over time, in watts.
    pub mean_power_w: f64,
    /// When the totals of all parts had begun, in seconds after power-up; none if they never did.
    pub began_s: Option<f64>,
}

impl PartReport {
    pub(super) fn new(plan: &PartPlan, scenario: &Scenario, place: usize) -> Self {
        let info = plan.kind.info;
        let sums = [
            ("power", info.power),
            ("charge sum", info.charge_sum),
            ("energy sum", info.energy_sum),
        ];
        let by_driver = sums.iter().filter(|(_, by)| *by == Source::Driver);
        let mut by_driver: Vec<_> = by_driver.map(|(what, _)| (*what).to_owned()).collect();
        for rail in scenario.rails_of(place) {
            let alerts = rail.alerts.iter();
            let compared = alerts.filter(|it| compared_by(info, rail, it) == Source::Driver);
            by_driver.extend(compared.map(|alert| {
                let kind = spoken(word_of(alert));
                format!("{kind} of {}", rail.name)
            }));
        }
        Self {
            name: plan.name.clone(),
            model: info.name,
            address: plan.address,
            scans_per_second: plan.scans_per_second,
            by_driver,
        }
    }
}

impl Figure {
    /// A total and its bound, in base units, by the driver and in truth; `part_clock` is the time
    /// by the part's clock over that by the host's.
    pub(super) fn new(
        (measured, bound): (f64, f64),
        truth: f64,
        part_clock: f64,
        bound_parts: Parts,
        saturation: Saturation,
    ) -> Self {
        let difference = measured - truth;
        let (saturation, within) = match saturation {
            Saturation::None => ("none", difference.abs() <= bound),
            Saturation::AtLeast => ("at_least", difference <= bound),
            Saturation::Unknown => ("unknown", true),
        };
        Self {
            measured,
            by_part_clock: measured * part_clock,
            truth,
            difference,
            bound,
            bound_parts,
            saturation,
            within,
        }
    }
}

impl Parts {
    /// Of a budget, whose parts `unit` gives in base units.
    pub(super) fn new<Q: Copy>(budget: &crake::board::Budget<Q>, unit: impl Fn(Q) -> f64) -> Self {
        Self {
            gain: unit(budget.gain),
            offset: unit(budget.offset),
            bias: unit(budget.bias),
            noise: unit(budget.noise),
            quantisation: unit(budget.quantisation),
            resistor: unit(budget.resistor),
            temperature: unit(budget.temperature),
            clock: unit(budget.clock),
            load_steps: unit(budget.load_steps),
        }
    }
}

impl BusReport {
    pub(super) fn new(stats: Stats, until_ns: u64) -> Self {
        Self {
            transactions: stats.transactions,
            bytes: stats.bytes,
            busy_s: stats.busy_ns as f64 / 1e9,
            busy_share: stats.busy_ns as f64 / until_ns as f64,
        }
    }
}

impl MonitorReport {
    pub(super) fn new(energy_j: f64, until_ns: u64, began_ns: Option<u64>) -> Self {
        Self {
            energy_j,
            mean_power_w: energy_j / (until_ns as f64 / 1e9),
            began_s: began_ns.map(|ns| ns as f64 / 1e9),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// How far off, and what clipping says; whether the truth lies where the driver says.
    #[test]
    fn a_figure_is_judged_on_either_side() {
        use Saturation::{AtLeast, None, Unknown};
        for (difference, saturation, within) in [
            (0.5, None, true),
            (-0.5, None, true),
            (0.51, None, false),
            (-0.51, None, false),
            (0.51, AtLeast, false),
            (-9.0, AtLeast, true),
            (9.0, Unknown, true),
        ] {
            let figure = Figure::new(
                (10.0 + difference, 0.5),
                10.0,
                1.0,
                Parts::default(),
                saturation,
            );
            assert_eq!(figure.within, within, "{difference} {saturation:?}");
        }
    }
}
