//! A log beside the bench's run of a scenario: where do they differ by more than both bounds?

use std::fmt;

use crake::Channel;
use crake::board::{Mean, OperatingPoint};
use crake::config::Scan;
use crake::units::{Current, Power, Voltage};
use schemars::JsonSchema;
use serde::Serialize;

use super::figures::{short, standard_error};
use super::{Characterisation, RailFigures, Statistics};
use crate::run::{self, Observer, RailReport, Report, Row, RunError};
use crate::scenario::Scenario;

/// One mean of a rail, by the log and by the bench.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Difference {
    /// The rail.
    pub rail: String,
    /// "voltage_v", "current_a" or "power_w".
    pub of: &'static str,
    /// Mean by the log.
    pub log: f64,
    /// How far that may be off: the driver's error budget there and, of a mean of readings, three
    /// standard errors of it. The voltage is one always, current and power are without totals.
    pub log_bound: f64,
    /// Mean by the bench's run.
    pub bench: f64,
    /// How far that may be off, by the driver.
    pub bench_bound: f64,
    /// Log over bench; none where the bench has next to nothing.
    pub ratio: Option<f64>,
    /// How far the ratio may be off.
    pub ratio_bound: Option<f64>,
    /// Whether they differ by more than both bounds together.
    pub differs: bool,
}

/// Why a log and a scenario were not compared.
#[derive(Debug)]
pub enum AgainstError {
    /// The scenario lacks a rail of the log.
    Stray {
        /// The rail.
        rail: String,
        /// Those that it has.
        known: Vec<String>,
    },
    /// The log is longer than the scenario.
    Longer {
        /// Length of the log in seconds.
        log_s: f64,
        /// Length of the scenario.
        scenario_s: f64,
    },
    /// The run did not come to its end.
    Run(RunError),
}

impl fmt::Display for AgainstError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Stray { rail, known } => write!(
                f,
                "the scenario has no rail \"{rail}\" as the log does; it has \"{}\": rename one \
                 of them, with --rail where the log has no names",
                known.join("\", \"")
            ),
            Self::Longer { log_s, scenario_s } => write!(
                f,
                "the log lasts {} s, the scenario {scenario_s} s: take the first of the log with \
                 --for {scenario_s}, or give the scenario a longer duration_s",
                short(*log_s)
            ),
            Self::Run(error) => error.fmt(f),
        }
    }
}

impl std::error::Error for AgainstError {}

/// Log and bench beside each other.
pub struct Comparison {
    /// Means of every rail of the log.
    pub differences: Vec<Difference>,
    /// Rails of the scenario that the log lacks.
    pub not_logged: Vec<String>,
}

/// Runs the scenario as long as the log is, and compares the means of every rail of the log: of
/// current and power over the same stretch, of the bench's voltage over the whole run. The log's
/// times are those of the scenario, or if they lie beyond it the log begins with it.
///
/// # Errors
/// A rail of the log that the scenario lacks, a log that is longer than the scenario, and whatever
/// ends a run.
pub fn against(
    log: &Characterisation,
    scenario: &Scenario,
    seed: u64,
) -> Result<Comparison, AgainstError> {
    let known = |name: &str| scenario.rails.iter().any(|plan| plan.name == name);
    if let Some(stray) = log.rails.iter().find(|rail| !known(&rail.name)) {
        return Err(AgainstError::Stray {
            rail: stray.name.clone(),
            known: names(scenario, |_| true),
        });
    }
    let logged = |name: &str| log.rails.iter().any(|rail| rail.name == name);
    let not_logged = names(scenario, |name| !logged(name));
    let mut scenario = scenario.clone();
    let ends = || log.rails.iter().map(|rail| (rail.from_s, rail.to_s));
    let from_s = ends()
        .map(|(from_s, _)| from_s)
        .fold(f64::INFINITY, f64::min);
    let to_s = ends()
        .map(|(_, to_s)| to_s)
        .fold(f64::NEG_INFINITY, f64::max);
    let scenario_s = scenario.duration_ns as f64 / 1e9;
    // The last reading comes when the scenario is over.
    let end_s = 1.01 * scenario_s;
    let shift_s = match from_s >= 0.0 && to_s <= end_s {
        true => 0.0,
        false => from_s,
    };
    if to_s - shift_s > end_s {
        return Err(AgainstError::Longer {
            log_s: to_s - from_s,
            scenario_s,
        });
    }
    let until_ns = ((to_s - shift_s) * 1e9).max(0.0) as u64;
    scenario.duration_ns = scenario
        .duration_ns
        .min(until_ns.max(scenario.host.read_every_ns));
    let mut stretch = Stretch {
        time_s: [from_s - shift_s, to_s - shift_s],
        rails: Vec::new(),
    };
    let report = run::run(&scenario, seed, &mut stretch).map_err(AgainstError::Run)?;
    let mut differences = Vec::new();
    for bench in &report.rails {
        let seen = log.rails.iter().find(|seen| seen.name == bench.name);
        let mut plans = scenario.rails.iter();
        let plan = plans.find(|plan| plan.name == bench.name);
        let Some((seen, plan)) = seen.zip(plan) else {
            continue;
        };
        let channels = scenario.rails_of(plan.part).map(|rail| rail.channel).max();
        let compare = match channels.unwrap_or_default() {
            0 => compare::<1>,
            1 => compare::<2>,
            2 => compare::<3>,
            _ => compare::<4>,
        };
        differences.extend(compare(
            seen,
            bench,
            plan.part,
            (&scenario, &report, &stretch),
        ));
    }
    Ok(Comparison {
        differences,
        not_logged,
    })
}

fn names(scenario: &Scenario, of: impl Fn(&str) -> bool) -> Vec<String> {
    let names = scenario.rails.iter().map(|plan| &plan.name);
    names.filter(|name| of(name)).cloned().collect()
}

/// Totals of the bench's rails at the first and at the last reading within a stretch.
struct Stretch {
    time_s: [f64; 2],
    rails: Vec<(String, [Totals; 2])>,
}

/// Time, charge and energy so far, in base units.
#[derive(Clone, Copy)]
struct Totals {
    time_s: f64,
    charge_c: f64,
    energy_j: f64,
}

impl Observer for Stretch {
    fn progress(&mut self, _: u64, _: u64) {}

    fn reading(&mut self, row: &Row<'_>) -> std::io::Result<()> {
        let time_s = row.timestamp.before_us as f64 / 1e6;
        let totals = Totals {
            time_s,
            charge_c: row.charge.value.as_nanocoulombs() as f64 / 1e9,
            energy_j: row.energy.value.as_nanojoules() as f64 / 1e9,
        };
        let [from_s, to_s] = self.time_s;
        let known = self.rails.iter_mut().find(|(name, _)| name == row.rail);
        match known {
            None => self.rails.push((row.rail.to_owned(), [totals; 2])),
            // The last one before the stretch begins, and the first one at its end.
            Some((_, ends)) if time_s <= from_s + NEAR_S => *ends = [totals; 2],
            Some((_, [_, last])) if last.time_s < to_s - NEAR_S => *last = totals,
            Some(_) => {}
        }
        Ok(())
    }
}

/// Two readings so near to each other are one.
const NEAR_S: f64 = 0.05;

impl Stretch {
    /// Mean current and power of a rail, and how long they are of.
    fn means(&self, rail: &RailReport) -> (f64, f64, f64) {
        let mut rails = self.rails.iter();
        match rails.find(|(name, _)| *name == rail.name) {
            Some((_, [first, last])) if last.time_s > first.time_s => {
                let length_s = last.time_s - first.time_s;
                (
                    (last.charge_c - first.charge_c) / length_s,
                    (last.energy_j - first.energy_j) / length_s,
                    length_s,
                )
            }
            _ => (rail.mean_current_a, rail.mean_power_w, rail.duration_s),
        }
    }
}

/// A rail by the log and by the bench; its part by its place.
fn compare<const N: usize>(
    seen: &RailFigures,
    bench: &RailReport,
    place: usize,
    (scenario, report, stretch): (&Scenario, &Report, &Stretch),
) -> Vec<Difference> {
    let part = &scenario.parts[place];
    let info = part.kind.info;
    let (rails, config) = run::described::<N>(scenario, place);
    let mut scan = Scan::NONE;
    let mut differences = Vec::new();
    if config.resolve(info, &mut scan).is_err() {
        return differences;
    }
    let channel = Channel::new(bench.channel);
    let range = scan.range(channel);
    if let Some((declared, range)) = rails.get(channel.index()).zip(range) {
        let means = Means::of(seen);
        let nano = |value: f64| (value * 1e9) as i64;
        let at = OperatingPoint {
            range: *range,
            current: Current::from_nanoamps(nano(means.current_a.0)),
            voltage: Voltage::from_nanovolts(nano(means.voltage_v.map_or(0.0, |mean| mean.0))),
            power: Power::from_nanowatts(nano(means.power_w.map_or(0.0, |mean| mean.0))),
            mean: Mean::Reading {
                averaging_log2: part.averaging,
            },
        };
        let (current_a, power_w, length_s) = stretch.means(bench);
        if let Some(budget) = declared.current_budget(info, &at) {
            let bound = budget.total().as_nanoamps() as f64 / 1e9;
            let other = (current_a, bench.charge_c.bound / length_s);
            differences.push(difference(
                bench,
                "current_a",
                means.current_a,
                bound,
                other,
            ));
        }
        if let (Some(mean), Some(budget)) = (means.power_w, declared.power_budget(info, &at)) {
            let bound = budget.total().as_nanowatts() as f64 / 1e9;
            let other = (power_w, bench.energy_j.bound / length_s);
            differences.push(difference(bench, "power_w", mean, bound, other));
        }
        let voltages = means.voltage_v.zip(bench.voltage_v);
        if let (Some((mean, spread)), Some(budget)) = (voltages, declared.voltage_budget(info, &at))
        {
            // The bench's is a mean of readings, too: as far off as they are apart.
            let bound = budget.total().as_nanovolts() as f64 / 1e9;
            let span = (spread.greatest - spread.least) / (report.samples as f64).sqrt();
            differences.push(difference(
                bench,
                "voltage_v",
                mean,
                bound,
                (spread.mean, bound + span),
            ));
        }
    }
    differences
}

/// Means by a log, each with three standard errors where it is one of readings.
struct Means {
    voltage_v: Option<(f64, f64)>,
    current_a: (f64, f64),
    power_w: Option<(f64, f64)>,
}

impl Means {
    fn of(rail: &RailFigures) -> Self {
        let readings = (rail.readings as f64).sqrt();
        let of_readings = |of: &Statistics| (of.mean, 3.0 * of.deviation / readings);
        Self {
            voltage_v: rail.voltage_v.as_ref().map(of_readings),
            current_a: match rail.total_current_a {
                Some(total) => (total, 0.0),
                None => (rail.current_a.mean, 3.0 * standard_error(rail)),
            },
            power_w: match rail.total_power_w {
                Some(total) => Some((total, 0.0)),
                None => rail.power_w.as_ref().map(of_readings),
            },
        }
    }
}

fn difference(
    rail: &RailReport,
    of: &'static str,
    (log, errors): (f64, f64),
    bound: f64,
    (bench, bench_bound): (f64, f64),
) -> Difference {
    let log_bound = bound + errors;
    // The quotient's greatest error, for bounds that do not reach the bench's zero.
    let ratio = (bench.abs() > 2.0 * bench_bound).then(|| log / bench);
    let ratio_bound =
        ratio.map(|ratio| (log_bound + ratio.abs() * bench_bound) / (bench.abs() - bench_bound));
    Difference {
        rail: rail.name.clone(),
        of,
        log,
        log_bound,
        bench,
        bench_bound,
        ratio,
        ratio_bound,
        differs: (log - bench).abs() > log_bound + bench_bound,
    }
}
