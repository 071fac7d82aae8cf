//! What is told of a log: the object that `--json` prints.

use schemars::JsonSchema;
use serde::Serialize;

use super::Difference;
use super::suggest::Declaration;
use crate::scenario::AlertKind;

/// What a log tells of its rails.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Characterisation {
    /// Readings.
    pub rows: u64,
    /// Torn lines that were passed over.
    pub torn_lines: u64,
    /// Line of the first of them.
    pub first_torn_line: Option<u64>,
    /// One entry per rail, in the log's order.
    pub rails: Vec<RailFigures>,
    /// What is suggested, as part of a scenario file.
    pub scenario_snippet: String,
    /// The same as constants for firmware.
    pub rust_snippet: String,
    /// Where the log and the bench's run of a scenario differ; none if there was no scenario.
    pub differences: Option<Vec<Difference>>,
    /// Rails of that scenario that the log lacks: they were not compared.
    pub not_logged: Vec<String>,
}

/// What it tells of one rail.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize)]
pub struct RailFigures {
    /// Its name.
    pub name: String,
    /// Readings of it.
    pub readings: u64,
    /// Readings during which a conversion went over range: they are limits.
    pub clipped: u64,
    /// First reading, in seconds of the log's time.
    pub from_s: f64,
    /// Last reading.
    pub to_s: f64,
    /// How the readings lie in time.
    pub spacing: Spacing,
    /// Rail voltage in volts, if the log has it.
    pub voltage_v: Option<Statistics>,
    /// Current in amperes.
    pub current_a: Statistics,
    /// Power in watts, if the log has it or a voltage.
    pub power_w: Option<Statistics>,
    /// Charge by the readings, in coulombs.
    pub charge_c: Flows,
    /// Energy by the readings, in joules.
    pub energy_j: Option<Flows>,
    /// Mean current by the log's own totals, in amperes, if it has them.
    pub total_current_a: Option<f64>,
    /// Mean power by the log's own totals, in watts.
    pub total_power_w: Option<f64>,
    /// Levels at which the current stays, the lowest first.
    pub levels: Vec<Level>,
    /// Jumps of the current.
    pub steps: Steps,
    /// Stretches at the highest level, where there are several.
    pub peaks: Peaks,
    /// Excursions beyond limits that were asked for.
    pub excursions: Vec<Excursions>,
    /// Ripple of the voltage; none for less than one window of readings.
    pub ripple_v: Option<Ripple>,
    /// How long a full battery of the capacity asked for would last at the mean current, in hours;
    /// none where the mean does not discharge it.
    pub lasts_h: Option<f64>,
    /// What this log cannot show.
    pub unseen: Vec<String>,
    /// What may be declared and watched for.
    pub suggested: Declaration,
}

/// How readings lie in time.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Spacing {
    /// Shortest time between two readings, in seconds.
    pub least_s: f64,
    /// Mean time.
    pub mean_s: f64,
    /// Longest time.
    pub greatest_s: f64,
    /// After which reading, in seconds of the log's time.
    pub greatest_after_s: f64,
    /// Gaps: longer times, across which nothing is counted.
    pub gaps: u64,
    /// What they come to in seconds.
    pub gaps_s: f64,
    /// How readings are weighed: "alike" where all steps are within a hundredth of their mean, else
    /// "by time".
    pub weighed: &'static str,
}

/// Statistics of one quantity, in its base unit.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Statistics {
    /// Mean.
    pub mean: f64,
    /// Root of the mean of squares.
    pub rms: f64,
    /// Standard deviation of the readings.
    pub deviation: f64,
    /// Least reading.
    pub least: f64,
    /// When first, in seconds of the log's time.
    pub least_at_s: f64,
    /// Greatest reading.
    pub greatest: f64,
    /// When first.
    pub greatest_at_s: f64,
    /// Quantiles, each to a thousandth of itself.
    pub quantiles: Vec<Quantile>,
    /// Shares of the time in stretches of equal width from least to greatest.
    pub histogram: Vec<f64>,
}

/// A value and the share of the time during which the quantity was not above it.
#[derive(Clone, Copy, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Quantile {
    /// Share of the time.
    pub share: f64,
    /// The value.
    pub value: f64,
}

/// What flowed, by the readings, straight between them.
#[derive(Clone, Copy, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Flows {
    /// From source to load.
    pub out: f64,
    /// Back into the source.
    pub back: f64,
    /// Out less back.
    pub net: f64,
}

/// A level at which the current stays.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Level {
    /// "back" where the current flows back, "sleep", "active" or "peak"; "active" where there is
    /// one.
    pub name: &'static str,
    /// Mean current at it, in amperes.
    pub mean_current_a: f64,
    /// Share of the time.
    pub time_share: f64,
    /// Share of the energy, of the charge where there is no power.
    pub energy_share: f64,
    /// How often it was entered.
    pub visits: u64,
    /// Visits of one reading: what lasts so short may be missed as well.
    pub of_one_reading: u64,
}

/// Jumps of the current.
#[derive(Clone, Copy, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Steps {
    /// A greater change from one reading to the next is a step, in amperes.
    pub from_a: f64,
    /// How many; up and down count one each.
    pub count: u64,
    /// Greatest of them, in amperes.
    pub greatest_a: f64,
    /// Greatest number in an hour; of a shorter log, at the same rate.
    pub per_hour: f64,
}

/// Stretches at the highest level.
#[derive(Clone, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Peaks {
    /// How many.
    pub count: u64,
    /// The longest, in seconds.
    pub longest_s: f64,
    /// Those of greatest I²t, ten at the most.
    pub of_greatest_i2t: Vec<Peak>,
}

/// One of them.
#[derive(Clone, Copy, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Peak {
    /// When it begins, halfway between two readings, in seconds of the log's time.
    pub begin_s: f64,
    /// How long it lasts.
    pub duration_s: f64,
    /// Greatest reading, in amperes.
    pub greatest_a: f64,
    /// Integral of the square of the current over it, in A²s.
    pub i2t_a2s: f64,
    /// Whether the log has its end.
    pub is_whole: bool,
}

/// Readings beyond a limit.
#[derive(Clone, Copy, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Excursions {
    /// What the limit watches for.
    pub kind: &'static str,
    /// The limit in volts, amperes or watts.
    pub limit: f64,
    /// How often it was passed.
    pub times: u64,
    /// The longest, from the first reading beyond it to the last, in seconds.
    pub longest_s: f64,
    /// The reading farthest beyond it.
    pub farthest: Option<f64>,
    /// First reading beyond it, in seconds of the log's time.
    pub first_s: Option<f64>,
    /// Last one.
    pub last_s: Option<f64>,
}

/// Greatest less least voltage within windows of readings.
#[derive(Clone, Copy, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Ripple {
    /// Readings of a window.
    pub readings: u64,
    /// Mean over all whole windows, in volts.
    pub mean: f64,
    /// The greatest, in volts.
    pub greatest: f64,
    /// Where that window begins, in seconds of the log's time.
    pub greatest_at_s: f64,
}

impl Excursions {
    pub(super) fn none(kind: AlertKind, limit: f64) -> Self {
        Self {
            kind: word(kind),
            limit,
            times: 0,
            longest_s: 0.0,
            farthest: None,
            first_s: None,
            last_s: None,
        }
    }
}

/// As scenarios have it.
pub(super) fn word(kind: AlertKind) -> &'static str {
    let mut kinds = crate::scenario::ALERT_KINDS.iter();
    kinds
        .find(|(_, known)| *known == kind)
        .map_or("", |(word, _)| word)
}
