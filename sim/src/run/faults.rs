//! Faults of a scenario, and what the firmware's driver made of them.

use schemars::JsonSchema;
use serde::Serialize;

use crake::Error;

use crate::bench::{Bench, BenchError, Injected};
use crate::bus::BusError;
use crate::fault::Fault;
use crate::scenario::Scenario;

/// One fault of the scenario, and how it struck.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize)]
pub struct FaultReport {
    /// What went wrong, and where.
    pub what: String,
    /// How often it struck.
    pub times: u64,
    /// When first, in seconds of the bench's time; none if it never did.
    pub first_s: Option<f64>,
    /// When last, or when what lasts ended; none if it never did.
    pub last_s: Option<f64>,
}

/// An operation of the driver that did not come through, as often as it failed for the same fault.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize)]
pub struct FailureReport {
    /// What the driver said the first time.
    pub what: String,
    /// How often.
    pub times: u64,
    /// When first, in seconds of the bench's time.
    pub first_s: f64,
    /// When last.
    pub last_s: f64,
}

/// The scenario's faults on the bench.
#[derive(Clone)]
pub(super) struct Faults(Vec<Struck>);

#[derive(Clone)]
struct Struck {
    what: String,
    /// Whose sense resistor or leads it is about.
    rail: Option<String>,
    injected: Injected,
}

impl Faults {
    /// Brings them about, on a bench with all parts and their outputs' lines.
    pub(super) fn new(bench: &Bench, scenario: &Scenario) -> Result<Self, BenchError> {
        let faults = scenario.faults.iter().map(|plan| {
            Ok(Struck {
                what: what(&plan.fault, scenario),
                rail: rail(&plan.fault, scenario).map(str::to_owned),
                injected: bench.fault(plan.fault)?,
            })
        });
        faults.collect::<Result<_, _>>().map(Self)
    }

    /// Whether one that may delay an alert of this rail has struck, or still lasted, at a moment or
    /// after it: any but those of other rails' resistors and leads.
    pub(super) fn struck_since(&self, ns: u64, rail: &str) -> bool {
        let of_rail = |of: &Option<String>| of.as_ref().is_none_or(|of| of == rail);
        let mut faults = self.0.iter().filter(|one| of_rail(&one.rail));
        faults.any(|Struck { injected, .. }| {
            let strikes = injected.strikes();
            strikes.times > 0 && strikes.last_ns.is_none_or(|last_ns| last_ns >= ns)
        })
    }

    pub(super) fn reports(&self) -> Vec<FaultReport> {
        let seconds = |ns: Option<u64>| ns.map(|ns| ns as f64 / 1e9);
        let report = |Struck { what, injected, .. }: &Struck| {
            let strikes = injected.strikes();
            FaultReport {
                what: what.clone(),
                times: strikes.times,
                first_s: seconds(strikes.first_ns),
                last_s: seconds(strikes.last_ns),
            }
        };
        self.0.iter().map(report).collect()
    }
}

/// The rail whose sense resistor or leads it is about.
fn rail<'s>(fault: &Fault, scenario: &'s Scenario) -> Option<&'s str> {
    let channel = fault.kind.channel()?;
    let mut parts = scenario.parts.iter();
    let place = parts.position(|part| Some(part.fitted_address) == fault.part)?;
    let mut rails = scenario.rails_of(place);
    let rail = rails.find(|rail| usize::from(rail.channel) == channel)?;
    Some(&rail.name)
}

fn what(fault: &Fault, scenario: &Scenario) -> String {
    let mut parts = scenario.parts.iter();
    let Some(part) = parts.find(|part| Some(part.fitted_address) == fault.part) else {
        return fault.kind.to_string();
    };
    if let Some(rail) = rail(fault, scenario) {
        return format!("{rail}: {}", fault.kind);
    }
    let of = match scenario.parts.len() {
        1 => String::new(),
        _ => format!("{}: ", part.name),
    };
    let Some(pointer) = fault.register else {
        return format!("{of}{}", fault.kind);
    };
    let mut registers = part.kind.registers.registers.iter();
    match registers.find(|register| register.pointer == pointer) {
        Some(register) => format!("{of}{} at {}", fault.kind, register.name),
        None => format!("{of}{} at register {pointer:#04x}", fault.kind),
    }
}

/// What the driver said when an operation failed.
#[derive(Default)]
pub(super) struct Failures(Vec<(Error<BusError>, FailureReport)>);

impl Failures {
    pub(super) fn note(&mut self, error: Error<BusError>, now_ns: u64) {
        let now_s = now_ns as f64 / 1e9;
        let same = |one: &Error<BusError>| {
            (one.operation, one.fault(), one.bus_kind())
                == (error.operation, error.fault(), error.bus_kind())
        };
        let mut failures = self.0.iter_mut();
        if let Some((_, failure)) = failures.find(|(one, _)| same(one)) {
            failure.times += 1;
            failure.last_s = now_s;
            return;
        }
        let failure = FailureReport {
            what: error.to_string(),
            times: 1,
            first_s: now_s,
            last_s: now_s,
        };
        self.0.push((error, failure));
    }

    pub(super) fn into_reports(self) -> Vec<FailureReport> {
        self.0.into_iter().map(|(_, failure)| failure).collect()
    }
}
