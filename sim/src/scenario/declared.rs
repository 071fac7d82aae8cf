use super::ScenarioError;
use super::table::{Limits, Table, whole};

/// What the driver is told about the load between conversions.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Declared {
    /// Line of the scenario file.
    pub line: u64,
    /// Greatest number of steps of the current in any hour.
    pub steps_per_hour: u32,
    /// Greatest of them, in nanoamperes.
    pub step_na: i64,
    /// Greatest number of steps of the source's voltage in any hour, and the greatest, in
    /// nanovolts.
    pub voltage_steps: Option<(u32, i64)>,
    /// Whether current may flow back.
    pub flow: Flow,
    /// Greatest magnitude of the current, in nanoamperes.
    pub greatest_na: i64,
    /// Greatest mean of the current's magnitude over a stretch, in nanoamperes, and that stretch's
    /// least length in seconds.
    pub mean: Option<(i64, u32)>,
    /// Least and greatest rail voltage, in nanovolts.
    pub voltage_nv: Option<(i64, i64)>,
}

/// Ways that current may take.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Flow {
    /// From source to load only.
    Forward,
    /// Either way.
    Both,
}

impl Declared {
    /// What is declared of a rail that does nothing.
    pub(super) const fn nothing(line: u64) -> Self {
        Self {
            line,
            steps_per_hour: 0,
            step_na: 0,
            voltage_steps: None,
            flow: Flow::Forward,
            greatest_na: 1,
            mean: None,
            voltage_nv: None,
        }
    }
}

/// Reads a `[rail.load_declared]`.
pub(super) fn read(mut table: Table<'_>) -> Result<Declared, ScenarioError> {
    let declared = Declared {
        line: table.line(),
        steps_per_hour: whole(table.count("steps_per_hour", STEPS)?),
        step_na: table.number("step_a", STEP)?,
        voltage_steps: voltage_steps(&mut table)?,
        flow: table
            .needed("flow", "\"forward\" or \"both\"")?
            .one_of(&FLOWS)?,
        greatest_na: table.number("greatest_a", GREATEST)?,
        mean: mean(&mut table)?,
        voltage_nv: voltage(&mut table)?,
    };
    table.finish()?;
    Ok(declared)
}

fn voltage(table: &mut Table<'_>) -> Result<Option<(i64, i64)>, ScenarioError> {
    let Some(field) = table.field("voltage_v") else {
        return Ok(None);
    };
    let span = field.pair(SPAN, SPAN, SPAN.rule)?;
    if span.0 > span.1 {
        Err(field.error(SPAN.rule))
    } else {
        Ok(Some(span))
    }
}

/// `voltage_steps_per_hour` and `voltage_step_v`: both or neither.
fn voltage_steps(table: &mut Table<'_>) -> Result<Option<(u32, i64)>, ScenarioError> {
    match (
        table.field("voltage_steps_per_hour"),
        table.field("voltage_step_v"),
    ) {
        (None, None) => Ok(None),
        (Some(steps), Some(step)) => {
            let steps = whole(steps.number(STEPS)?.unsigned_abs());
            Ok(Some((steps, step.number(VOLTAGE_STEP)?)))
        }
        (Some(alone), None) | (None, Some(alone)) => Err(alone.error(
            "voltage_steps_per_hour and voltage_step_v belong together; give both or neither",
        )),
    }
}

/// `mean_a` and `mean_over_s`: both or neither.
fn mean(table: &mut Table<'_>) -> Result<Option<(i64, u32)>, ScenarioError> {
    match (table.field("mean_a"), table.field("mean_over_s")) {
        (None, None) => Ok(None),
        (Some(mean), Some(over)) => {
            let over_s = u32::try_from(over.number(MEAN_OVER)?).unwrap_or(u32::MAX);
            Ok(Some((mean.number(MEAN)?, over_s)))
        }
        (Some(alone), None) | (None, Some(alone)) => {
            Err(alone.error("mean_a and mean_over_s belong together; give both or neither"))
        }
    }
}

pub(super) const FLOWS: [(&str, Flow); 2] = [("forward", Flow::Forward), ("both", Flow::Both)];
pub(super) const STEPS: Limits = Limits::new(
    0,
    0,
    3_600_000_000,
    "the number of steps in an hour must be a whole number from 0 to 3600000000",
);
pub(super) const STEP: Limits = Limits::new(
    9,
    0,
    1_000_000_000_000,
    "a step must lie between 0 and 1000 A",
);
pub(super) const VOLTAGE_STEP: Limits = Limits::new(
    9,
    0,
    1_000_000_000_000,
    "a step must lie between 0 and 1000 V",
);
pub(super) const SPAN: Limits = Limits::new(
    9,
    0,
    1_000_000_000_000,
    "the declared voltages must be [least, greatest], both from 0 to 1000 V",
);
pub(super) const MEAN: Limits = Limits::new(
    9,
    0,
    1_000_000_000_000,
    "the mean magnitude must lie between 0 and 1000 A",
);
pub(super) const MEAN_OVER: Limits = Limits::new(
    0,
    1,
    31_536_000,
    "the stretch must be a whole number of seconds from 1 to 31536000 (a year)",
);
pub(super) const GREATEST: Limits = Limits::new(
    9,
    1,
    1_000_000_000_000,
    "the greatest current must be above 0 and at most 1000 A",
);
