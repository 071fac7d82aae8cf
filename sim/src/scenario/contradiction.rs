//! Whether what a scenario declares about its rails is what they do.

use std::fmt;

use schemars::JsonSchema;
use serde::Serialize;

use super::actual::Actual;
use super::{Flow, RailPlan, Scenario, Supply};
use crate::plant::PlantError;

/// A figure that a scenario declares and its own rail contradicts.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Contradiction {
    /// Line of the scenario file: of `[rail.load_declared]`, or of a converter.
    pub line: u64,
    /// The rail's name.
    pub rail: String,
    /// The key whose figure is contradicted.
    pub key: &'static str,
    /// What is declared, in the key's unit; of a flow that is declared forward, 0 A.
    pub declared: f64,
    /// What the rail really comes to, in the same unit.
    pub found: f64,
    /// When it does so first, in seconds; none for a number of steps.
    pub time_s: Option<f64>,
}

impl fmt::Display for Contradiction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (rail, key, declared, found) = (&self.rail, self.key, self.declared, self.found);
        write!(f, "rail \"{rail}\": ")?;
        match key {
            "flow" => write!(f, "flow = \"forward\"")?,
            "voltage_v" if found < declared => write!(f, "voltage_v from {declared} on")?,
            "voltage_v" => write!(f, "voltage_v up to {declared}")?,
            _ => write!(f, "{key} = {declared}")?,
        }
        let times = if found == 1.0 { "time" } else { "times" };
        match key {
            "steps_per_hour" => write!(f, ", but its current jumps {found} {times} in an hour"),
            "voltage_steps_per_hour" => {
                write!(
                    f,
                    ", but its source's voltage jumps {found} {times} in an hour"
                )
            }
            "step_a" => write!(f, ", but its current jumps by {found} A"),
            "voltage_step_v" => write!(f, ", but its source's voltage jumps by {found} V"),
            "voltage_v" => write!(f, ", but it comes to {found} V"),
            "input_down_to_v" => write!(f, ", but its converter's input comes to {found} V"),
            _ => write!(f, ", but its current comes to {found} A"),
        }?;
        match self.time_s {
            Some(time_s) => write!(f, " at {time_s} s"),
            None => Ok(()),
        }
    }
}

impl Scenario {
    /// Every declaration that the scenario's own loads and sources contradict over its duration, in
    /// the order of its rails.
    ///
    /// Steps are counted over an hour at least, if the rail can be followed so far in a hundred
    /// thousand pieces; else their number is that of an hour at the same rate. More in an hour than
    /// declared are told if more than their share, and one, come within a shorter duration.
    /// `mean_a` is not looked at, nor is a rail of more than 20 million pieces.
    ///
    /// # Errors
    /// None for a scenario that was read from a file.
    pub fn contradictions(&self) -> Result<Vec<Contradiction>, PlantError> {
        let mut found = Vec::new();
        for plan in &self.rails {
            let look_ns = self.parts[plan.part].look_ns(self.host.read_every_ns);
            let actual = Actual::follow(plan, self.duration_ns, look_ns)?;
            if let Some(actual) = actual {
                against(&actual, plan, &mut found);
            }
        }
        Ok(found)
    }
}

fn against(actual: &Actual, plan: &RailPlan, found: &mut Vec<Contradiction>) {
    let declared = &plan.declared;
    let mut tell = |line, rail: &str, key, (declared, seen): (f64, f64), at_ns: Option<u64>| {
        found.push(Contradiction {
            line,
            rail: rail.to_owned(),
            key,
            declared,
            found: seen,
            time_s: at_ns.map(|ns| ns as f64 / 1e9),
        });
    };
    let nano = |one: i64, other: i64| (one as f64 / 1e9, other as f64 / 1e9);
    let (line, name) = (declared.line, plan.name.as_str());
    let (voltage_steps, voltage_step_nv) = declared.voltage_steps.unwrap_or_default();
    let counts = [
        ("steps_per_hour", declared.steps_per_hour, &actual.steps),
        (
            "voltage_steps_per_hour",
            voltage_steps,
            &actual.source_steps,
        ),
    ];
    for (key, per_hour, jumps) in counts {
        if jumps.are_more_than(per_hour) {
            let figures = (per_hour.into(), jumps.per_hour() as f64);
            tell(line, name, key, figures, None);
        }
    }
    let heights = [
        ("step_a", declared.step_na, &actual.steps),
        ("voltage_step_v", voltage_step_nv, &actual.source_steps),
    ];
    for (key, height, jumps) in heights {
        let (seen, at_ns) = jumps.greatest();
        if seen > height {
            tell(line, name, key, nano(height, seen), Some(at_ns));
        }
    }
    let (na, at_ns) = actual.most_na();
    if na > declared.greatest_na {
        tell(
            line,
            name,
            "greatest_a",
            nano(declared.greatest_na, na),
            Some(at_ns),
        );
    }
    let (na, at_ns) = actual.least_na;
    if declared.flow == Flow::Forward && actual.flows_back() {
        tell(line, name, "flow", nano(0, na), Some(at_ns));
    }
    if let Some((least, greatest)) = declared.voltage_nv {
        if actual.least_nv.0 < least {
            let figures = nano(least, actual.least_nv.0);
            tell(line, name, "voltage_v", figures, Some(actual.least_nv.1));
        }
        if actual.greatest_nv.0 > greatest {
            let figures = nano(greatest, actual.greatest_nv.0);
            tell(line, name, "voltage_v", figures, Some(actual.greatest_nv.1));
        }
    }
    for output in &plan.outputs {
        let Supply::Converter(converter) = &output.source.supply else {
            continue;
        };
        let least_nv = converter.converter.least_input_nv as i64;
        if actual.least_nv.0 < least_nv {
            let figures = nano(least_nv, actual.least_nv.0);
            let (line, name) = (converter.line, output.name.as_str());
            tell(
                line,
                name,
                "input_down_to_v",
                figures,
                Some(actual.least_nv.1),
            );
        }
    }
}
