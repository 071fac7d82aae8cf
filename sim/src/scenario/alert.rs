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

/// Reads one `[[rail.alert]]` of a rail with `sense`, after the `earlier` ones.
pub(super) fn read(
    mut table: Table<'_>,
    sense: &Sense,
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
    let (least, greatest) = shown(kind, sense);
    if value <= least || value >= greatest {
        let (least, greatest) = (least as f64 / 1e9, greatest as f64 / 1e9);
        return Err(limit_field.error(&format!(
            "the channel shows {least:.4} to {greatest:.4}, and a limit must lie between: ask for \
             a greater full scale, or choose another limit"
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
        output: table.needed("output", OUTPUT)?.one_of(&OUTPUTS)?,
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

/// Whether this limit and another leave nothing between them.
fn crosses(kind: AlertKind, limit: i64, other: &AlertPlan) -> bool {
    use AlertKind::{OverCurrent, OverVoltage, UnderCurrent, UnderVoltage};
    match (kind, other.kind) {
        (OverVoltage, UnderVoltage) | (OverCurrent, UnderCurrent) => limit <= other.limit,
        (UnderVoltage, OverVoltage) | (UnderCurrent, OverCurrent) => limit >= other.limit,
        _ => false,
    }
}

/// Least and greatest value that a channel can show, in nano-units: its codes' ends (datasheet,
/// section 4).
fn shown(kind: AlertKind, sense: &Sense) -> (i64, i64) {
    // The finest LSB whose greatest code reaches what is asked for.
    let finest = |lsbs_nv: &[i64], code: i64, asked_nv: i64| {
        let mut lsbs = lsbs_nv.iter().copied();
        i128::from(lsbs.find(|lsb| lsb * code >= asked_nv).unwrap_or(0))
    };
    let lsb_nv = finest(&[200, 500], 131_071, sense.sense_full_scale_nv);
    let rail_lsb_nv = finest(
        &[100_000, 250_000, 1_000_000],
        65_535,
        sense.rail_full_scale_nv,
    );
    let volts_nv = 65_535 * rail_lsb_nv;
    let amps_na =
        |code: i128| code * lsb_nv * 1_000_000_000 / i128::from(sense.resistance_nohm.max(1));
    let (least, greatest) = match kind {
        AlertKind::OverVoltage | AlertKind::UnderVoltage => (0, volts_nv),
        AlertKind::OverCurrent | AlertKind::UnderCurrent => (amps_na(-131_072), amps_na(131_071)),
        AlertKind::OverPower => (
            amps_na(-131_072) * volts_nv / 1_000_000_000,
            amps_na(131_071) * volts_nv / 1_000_000_000,
        ),
    };
    (
        i64::try_from(least).unwrap_or(i64::MIN),
        i64::try_from(greatest).unwrap_or(i64::MAX),
    )
}

pub(super) const KINDS: [(&str, AlertKind); 5] = [
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
