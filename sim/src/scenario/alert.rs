use super::ScenarioError;
use super::table::{Limits, Table};

/// One limit that is watched on a rail.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AlertPlan {
    /// What it watches for.
    pub kind: AlertKind,
    /// Limit in nanovolts, nanoamperes or nanowatts.
    pub limit: i64,
    /// Conversions in a row beyond it until it counts as passed.
    pub debounce: u8,
    /// Whether the cause is held until the host has seen it.
    pub held: bool,
    /// Which outputs are told.
    pub output: Route,
    /// By how much, in the limit's unit, a reading has to be back before the next event.
    pub hysteresis: u64,
}

/// Kinds of limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AlertKind {
    /// Bus voltage above the limit.
    OverVoltage,
    /// Bus voltage below it.
    UnderVoltage,
    /// Current above it, signed.
    OverCurrent,
    /// Current below it, signed.
    UnderCurrent,
    /// Power above it, signed.
    OverPower,
}

/// Outputs that a cause reaches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Route {
    /// Output A.
    A,
    /// Output B.
    B,
    /// Both outputs.
    Both,
}

/// Reads one `[[rail.alert]]`.
pub(super) fn read(mut table: Table<'_>) -> Result<AlertPlan, ScenarioError> {
    let kind = table.needed("kind", KINDS)?.one_of(&[
        ("over_voltage", AlertKind::OverVoltage),
        ("under_voltage", AlertKind::UnderVoltage),
        ("over_current", AlertKind::OverCurrent),
        ("under_current", AlertKind::UnderCurrent),
        ("over_power", AlertKind::OverPower),
    ])?;
    let (limit, hysteresis) = match kind {
        AlertKind::OverVoltage | AlertKind::UnderVoltage => ("limit_v", "hysteresis_v"),
        AlertKind::OverCurrent | AlertKind::UnderCurrent => ("limit_a", "hysteresis_a"),
        AlertKind::OverPower => ("limit_w", "hysteresis_w"),
    };
    let mode = table.field("mode");
    let plan = AlertPlan {
        kind,
        limit: table.number(limit, LIMIT)?,
        debounce: u8::try_from(table.number_or("debounce", DEBOUNCE, 1)?).unwrap_or(u8::MAX),
        held: mode.map_or(Ok(true), |field| {
            field.one_of(&[("held", true), ("following", false)])
        })?,
        output: table.needed("output", OUTPUTS)?.one_of(&[
            ("A", Route::A),
            ("B", Route::B),
            ("both", Route::Both),
        ])?,
        hysteresis: table.count_or(hysteresis, HYSTERESIS, 0)?,
    };
    table.finish()?;
    Ok(plan)
}

const KINDS: &str =
    "\"over_voltage\", \"under_voltage\", \"over_current\", \"under_current\" or \"over_power\"";
const OUTPUTS: &str = "\"A\", \"B\" or \"both\"";
const LIMIT: Limits = Limits::new(
    9,
    -100_000_000_000_000,
    100_000_000_000_000,
    "the limit must lie between -100000 and 100000",
);
const HYSTERESIS: Limits = Limits::new(
    9,
    0,
    100_000_000_000_000,
    "the hysteresis must lie between 0 and 100000",
);
const DEBOUNCE: Limits = Limits::new(
    0,
    1,
    15,
    "the debounce must be a whole number of conversions from 1 to 15",
);
