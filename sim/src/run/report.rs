use crake::old::Side;
use crake::old::ledger::{Account, Bound};
use serde::Serialize;

use super::alerts::AlertReport;
use super::extremes::{Extremes, Spread};
use crate::bus::Stats;
use crate::old::corncrake::Part;
use crate::plant::Truth;
use crate::scenario::RailPlan;

/// What a run came to. Serialises to the object that `docs/report.md` describes.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Report {
    /// The scenario's title.
    pub title: String,
    /// What all chance came from.
    pub seed: u64,
    /// Length of the scenario in seconds.
    pub duration_s: f64,
    /// The part's scan rate.
    pub scans_per_second: u32,
    /// From one sample to the next, in seconds.
    pub read_every_s: f64,
    /// One entry per rail, in the scenario's order.
    pub rails: Vec<RailReport>,
    /// Time that is in no total: at least, at most, in seconds.
    pub unaccounted_s: [f64; 2],
    /// How often counts were lost, and a new epoch began.
    pub discontinuities: u32,
    /// Samples taken.
    pub samples: u64,
    /// Conversions made by the part.
    pub conversions: u64,
    /// Every alert, in the order in which the firmware heard of them.
    pub alerts: Vec<AlertReport>,
    /// Traffic.
    pub bus: BusReport,
    /// What measuring cost.
    pub monitor: MonitorReport,
}

/// One rail's totals beside the truth.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct RailReport {
    /// Its name.
    pub name: String,
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
#[derive(Clone, Debug, PartialEq, Serialize)]
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
    /// What the bound is made of.
    pub bound_parts: Parts,
    /// After clipping the total is a limit: "none" (no clipping), "at_least" or "unknown".
    pub saturation: &'static str,
    /// Whether the truth lies where the driver says.
    pub within: bool,
}

/// The parts of a bound.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Parts {
    /// Gain error of the part.
    pub gain: f64,
    /// Offset error and input bias of the part.
    pub offset: f64,
    /// Noise and rounding to codes.
    pub noise: f64,
    /// Tolerance of the sense resistor.
    pub resistor: f64,
    /// Temperature of the sense resistor.
    pub thermal: f64,
    /// Host clock, wander of the oscillator, ends.
    pub clock: f64,
    /// What the load does between conversions.
    pub load: f64,
}

/// Traffic on the bus.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
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

/// What the monitor itself cost.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct MonitorReport {
    /// Energy that the part drew from its own 3.3 V supply, in joules; typical figures. The bus's pull-ups are not in it.
    pub energy_j: f64,
    /// The same over time, in watts.
    pub mean_power_w: f64,
    /// When the totals began, in seconds after power-up.
    pub began_s: f64,
}

/// What is known of one rail at the end.
pub(super) struct Outcome {
    pub(super) account: Account,
    pub(super) truth: Truth,
    pub(super) extremes: Extremes,
}

impl RailReport {
    pub(super) fn new(plan: &RailPlan, outcome: &Outcome) -> Self {
        let Outcome {
            account,
            truth,
            extremes,
        } = outcome;
        let nj = |energy: crake::old::units::Energy| energy.as_nanojoules() as f64 / 1e9;
        let nc = |charge: crake::old::units::Charge| charge.as_nanocoulombs() as f64 / 1e9;
        let energy_j = Figure::new(
            nj(account.energy),
            nj(account.energy_by_part_clock),
            truth.energy_sixth_na_nv_ns as f64 / 6e27,
            parts(&account.energy_bound, nj),
            nj(account.energy_bound.total()),
            account.energy_side,
        );
        let charge_c = Figure::new(
            nc(account.charge),
            nc(account.charge_by_part_clock),
            truth.charge_half_na_ns as f64 / 2e18,
            parts(&account.charge_bound, nc),
            nc(account.charge_bound.total()),
            account.charge_side,
        );
        let duration_s = account.duration_us as f64 / 1e6;
        Self {
            name: plan.name.clone(),
            channel: plan.channel,
            duration_s,
            mean_current_a: charge_c.measured / duration_s,
            mean_power_w: energy_j.measured / duration_s,
            energy_j,
            charge_c,
            voltage_v: extremes.voltage.spread(),
            current_a: extremes.current.spread(),
            power_w: extremes.power.spread(),
        }
    }
}

fn parts<Q: Copy>(bound: &Bound<Q>, unit: impl Fn(Q) -> f64) -> Parts {
    Parts {
        gain: unit(bound.gain),
        offset: unit(bound.offset),
        noise: unit(bound.noise),
        resistor: unit(bound.shunt),
        thermal: unit(bound.thermal),
        clock: unit(bound.clock),
        load: unit(bound.load),
    }
}

impl Figure {
    fn new(
        measured: f64,
        by_part_clock: f64,
        truth: f64,
        bound_parts: Parts,
        bound: f64,
        side: Side,
    ) -> Self {
        let difference = measured - truth;
        let (saturation, within) = match side {
            Side::Near => ("none", difference.abs() <= bound),
            Side::AtLeast => ("at_least", difference <= bound),
            Side::Unknown => ("unknown", true),
        };
        Self {
            measured,
            by_part_clock,
            truth,
            difference,
            bound,
            bound_parts,
            saturation,
            within,
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
    pub(super) fn new(part: &Part, until_ns: u64, began_ns: u64) -> Self {
        let energy_j = part.supply_energy_na_mv_ns() as f64 / 1e21;
        Self {
            energy_j,
            mean_power_w: energy_j / (until_ns as f64 / 1e9),
            began_s: began_ns as f64 / 1e9,
        }
    }
}
