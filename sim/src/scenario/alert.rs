use super::part::PartKind;
use super::table::{Limits, Table};
use super::{ScenarioError, Sense};

/// One limit that is watched on a rail.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AlertPlan {
    /// Line of the scenario file.
    pub line: u64,
    /// What it watches for.
    pub kind: AlertKind,
    /// Limit in nanovolts, nanoamperes or nanowatts.
    pub limit: i64,
    /// Conversions in a row beyond it until it counts as passed.
    pub debounce: u8,
    /// Whether the flag stays until the host has seen it.
    pub latching: bool,
    /// Which outputs are told.
    pub output: Route,
    /// By how much, in the limit's unit, a sample has to be back before the condition is over; as
    /// the driver has it if none.
    pub hysteresis: Option<i64>,
    /// After what time a condition that lasts is looked at again, in nanoseconds; if none, its flag
    /// is masked until it is over.
    pub look_again_ns: Option<u64>,
}

/// Kinds of limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AlertKind {
    /// Rail voltage above the limit.
    OverVoltage,
    /// Rail voltage below it.
    UnderVoltage,
    /// Current above it, signed.
    OverCurrent,
    /// Current below it, signed.
    UnderCurrent,
    /// Power above it, signed.
    OverPower,
}

/// Outputs that a flag reaches.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Route {
    /// Output A.
    A,
    /// Output B.
    B,
    /// Both outputs.
    Both,
}

/// Reads one `[[rail.alert]]` of a rail on this channel with `sense`, after the `earlier` ones.
pub(super) fn read(
    mut table: Table<'_>,
    (part, channel, sense): (&PartKind, u8, &Sense),
    earlier: &[AlertPlan],
) -> Result<AlertPlan, ScenarioError> {
    let field = table.needed("kind", KIND)?;
    let kind = field.one_of(&KINDS)?;
    if earlier.iter().any(|other| other.kind == kind) {
        return Err(field
            .error("a second limit of this kind on one rail; the part has one register for each"));
    }
    let (limit, hysteresis) = keys(kind);
    for stray in ["limit_v", "limit_a", "limit_w"] {
        if let Some(field) = (stray != limit).then(|| table.stray(stray)).flatten() {
            return Err(field.error(&format!("this kind of limit is given as {limit}")));
        }
    }
    let limit_field = table.needed(limit, LIMIT.rule)?;
    let value = limit_field.number(LIMIT)?;
    let (least, greatest) = shown(kind, (part, channel, sense)).unwrap_or_default();
    if value <= least || value >= greatest {
        let (least, greatest) = (least as f64 / 1e9, greatest as f64 / 1e9);
        let remedy = part.remedy(kind, channel, sense);
        return Err(limit_field.error(&format!(
            "the channel shows {least:.4} to {greatest:.4}, and a limit must lie between: {remedy}"
        )));
    }
    if let Some(other) = earlier.iter().find(|other| crosses(kind, value, other)) {
        return Err(limit_field.error(&format!(
            "over- and under-limit cross: the other, at line {}, is {}",
            other.line,
            other.limit as f64 / 1e9
        )));
    }
    let mode = table.field("mode");
    let plan = AlertPlan {
        line: limit_field.line(),
        kind,
        limit: value,
        debounce: u8::try_from(table.number_or("debounce", DEBOUNCE, 1)?).unwrap_or(u8::MAX),
        latching: mode.map_or(Ok(true), |field| field.one_of(&MODES))?,
        output: output(&mut table, part)?,
        hysteresis: match table.field(hysteresis) {
            Some(field) => Some(field.number(HYSTERESIS)?),
            None => None,
        },
        look_again_ns: match table.field("look_again_s") {
            Some(field) => Some(field.number(LOOK_AGAIN)?.unsigned_abs()),
            None => None,
        },
    };
    table.finish()?;
    Ok(plan)
}

/// The keys of a limit and of its hysteresis.
pub(super) const fn keys(kind: AlertKind) -> (&'static str, &'static str) {
    match kind {
        AlertKind::OverVoltage | AlertKind::UnderVoltage => ("limit_v", "hysteresis_v"),
        AlertKind::OverCurrent | AlertKind::UnderCurrent => ("limit_a", "hysteresis_a"),
        AlertKind::OverPower => ("limit_w", "hysteresis_w"),
    }
}

fn output(table: &mut Table<'_>, part: &PartKind) -> Result<Route, ScenarioError> {
    let field = table.needed("output", OUTPUT)?;
    match field.one_of(&OUTPUTS)? {
        Route::B | Route::Both if !part.has_output_b() => {
            let name = part.info.name;
            Err(field.error(&format!("{name} has one alert output, \"A\"")))
        }
        route => Ok(route),
    }
}

/// Whether this limit and another leave nothing between them.
fn crosses(kind: AlertKind, limit: i64, other: &AlertPlan) -> bool {
    use AlertKind::{OverCurrent, OverVoltage, UnderCurrent, UnderVoltage};
    match (kind, other.kind) {
        (OverVoltage, UnderVoltage) | (OverCurrent, UnderCurrent) => limit <= other.limit,
        (UnderVoltage, OverVoltage) | (UnderCurrent, OverCurrent) => limit >= other.limit,
        _ => false,
    }
}

/// Least and greatest value that a channel can show, in nano-units: its codes' ends, as the driver
/// converts them.
fn shown(kind: AlertKind, (part, channel, sense): (&PartKind, u8, &Sense)) -> Option<(i64, i64)> {
    let (least_na, greatest_na, greatest_nv) = part.shown(channel, sense)?;
    // Kiloamperes times kilovolts at the most.
    let watts = |na: i64| (i128::from(na) * i128::from(greatest_nv) / 1_000_000_000) as i64;
    Some(match kind {
        AlertKind::OverVoltage | AlertKind::UnderVoltage => (0, greatest_nv),
        AlertKind::OverCurrent | AlertKind::UnderCurrent => (least_na, greatest_na),
        AlertKind::OverPower => (watts(least_na), watts(greatest_na)),
    })
}

pub(crate) const KINDS: [(&str, AlertKind); 5] = [
    ("over_voltage", AlertKind::OverVoltage),
    ("under_voltage", AlertKind::UnderVoltage),
    ("over_current", AlertKind::OverCurrent),
    ("under_current", AlertKind::UnderCurrent),
    ("over_power", AlertKind::OverPower),
];
pub(super) const MODES: [(&str, bool); 2] = [("latching", true), ("following", false)];
pub(super) const OUTPUTS: [(&str, Route); 3] =
    [("A", Route::A), ("B", Route::B), ("both", Route::Both)];
const KIND: &str =
    "\"over_voltage\", \"under_voltage\", \"over_current\", \"under_current\" or \"over_power\"";
const OUTPUT: &str = "\"A\", \"B\" or \"both\"";
pub(super) const LIMIT: Limits = Limits::new(
    9,
    -100_000_000_000_000,
    100_000_000_000_000,
    "the limit must lie between -100000 and 100000",
);
pub(super) const HYSTERESIS: Limits = Limits::new(
    9,
    0,
    100_000_000_000_000,
    "the hysteresis must lie between 0 and 100000",
);
pub(super) const LOOK_AGAIN: Limits = Limits::new(
    9,
    1_000_000,
    86_400_000_000_000,
    "a condition that lasts is looked at again after 0.001 to 86400 s",
);
pub(super) const DEBOUNCE: Limits = Limits::new(
    0,
    1,
    15,
    "the debounce must be a whole number of conversions from 1 to 15",
);
