//! What is told of a log: the object that `--json` prints.

use schemars::JsonSchema;
use serde::Serialize;

use super::book::{Book, Quantity, RIPPLE_READINGS};
use super::events::Events;
use super::suggest::Declaration;
use super::{Difference, Options};
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
    pub battery_life_h: Option<f64>,
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

const SHARES: [f64; 9] = [0.001, 0.01, 0.05, 0.25, 0.5, 0.75, 0.95, 0.99, 0.999];
const STRETCHES: usize = 40;

/// Everything but what is suggested.
pub(super) fn rail(book: &Book, mut events: Events, options: &Options) -> RailFigures {
    events.finish();
    let seconds = |ns: i64| ns as f64 / 1e9;
    let is_regular = book.is_regular();
    let of = |quantity: &Quantity| statistics(quantity, is_regular);
    let span_s = book.span_s();
    let steps = book.rows.saturating_sub(1 + book.gaps.0);
    let mut levels = book.levels.levels(events.classes());
    for (level, (visits, of_one_reading)) in levels.iter_mut().zip(&events.visits) {
        (level.visits, level.of_one_reading) = (*visits, *of_one_reading);
    }
    let whole_s = seconds(book.last_ns - book.first_ns);
    let by_totals = |of: fn(&(f64, f64)) -> f64| {
        let [first, last] = book.totals.as_ref()?;
        (whole_s > 0.0).then(|| (of(last) - of(first)) / whole_s)
    };
    let current_a = of(&book.current);
    let total_current_a = by_totals(|totals| totals.0);
    let mean_a = total_current_a.unwrap_or(current_a.mean);
    let life = options.capacity_ah.map(|capacity| capacity / mean_a);
    let in_an_hour = events.in_an_hour.most() as f64;
    let mut figures = RailFigures {
        name: events.name.clone(),
        readings: book.rows,
        clipped: book.clipped,
        from_s: seconds(book.first_ns),
        to_s: seconds(book.last_ns),
        spacing: Spacing {
            least_s: if steps > 0 {
                seconds(book.step_ns.0)
            } else {
                0.0
            },
            mean_s: if steps > 0 {
                span_s / steps as f64
            } else {
                0.0
            },
            greatest_s: seconds(book.step_ns.1),
            greatest_after_s: seconds(book.longest_at_ns),
            gaps: book.gaps.0,
            gaps_s: seconds(book.gaps.1),
            weighed: if is_regular { "alike" } else { "by time" },
        },
        voltage_v: book.voltage.as_ref().map(of),
        current_a,
        power_w: book.power.as_ref().map(of),
        charge_c: flows(book.charge_c),
        energy_j: book.power.as_ref().map(|_| flows(book.energy_j)),
        total_current_a,
        total_power_w: by_totals(|totals| totals.1),
        levels,
        steps: Steps {
            from_a: events.step_from_a,
            count: events.steps,
            greatest_a: events.greatest_step_a,
            per_hour: match span_s {
                span_s if span_s >= 3600.0 => in_an_hour,
                span_s if span_s > 0.0 => events.steps as f64 * 3600.0 / span_s,
                _ => 0.0,
            },
        },
        peaks: Peaks {
            count: events.peaks,
            longest_s: events.longest_peak_s,
            of_greatest_i2t: events.told,
        },
        excursions: events.limits.into_iter().map(|(_, seen)| seen).collect(),
        ripple_v: (book.ripple.windows > 0).then(|| Ripple {
            readings: RIPPLE_READINGS,
            mean: book.ripple.mean(),
            greatest: book.ripple.greatest.0,
            greatest_at_s: seconds(book.ripple.greatest.1),
        }),
        battery_life_h: life.filter(|hours| hours.is_finite() && *hours > 0.0),
        unseen: Vec::new(),
        suggested: Declaration::default(),
    };
    figures.unseen = unseen(&figures);
    figures
}

fn flows((out, back): (f64, f64)) -> Flows {
    Flows {
        out,
        back,
        net: out - back,
    }
}

fn statistics(quantity: &Quantity, is_regular: bool) -> Statistics {
    let moments = if is_regular {
        &quantity.plain
    } else {
        &quantity.by_time
    };
    let ((least, least_ns), (greatest, greatest_ns)) =
        (quantity.extremes.least, quantity.extremes.greatest);
    let sketch = quantity.sketch.as_ref();
    let quantile = |share: f64| Quantile {
        share,
        value: sketch
            .map_or(0.0, |sketch| sketch.quantile(share))
            .clamp(least, greatest),
    };
    Statistics {
        mean: moments.mean(),
        rms: moments.rms(),
        deviation: moments.deviation(),
        least,
        least_at_s: least_ns as f64 / 1e9,
        greatest,
        greatest_at_s: greatest_ns as f64 / 1e9,
        quantiles: SHARES.map(quantile).to_vec(),
        histogram: sketch.map_or_else(Vec::new, |sketch| {
            sketch.histogram(least, greatest, STRETCHES)
        }),
    }
}

/// What the log cannot show, in sentences.
fn unseen(rail: &RailFigures) -> Vec<String> {
    let mut unseen = Vec::new();
    let spacing = &rail.spacing;
    if spacing.greatest_s > 0.0 {
        unseen.push(format!(
            "what is shorter than {} s: readings come every {} s, and {} s apart at the most",
            short(2.0 * spacing.greatest_s),
            short(spacing.mean_s),
            short(spacing.greatest_s)
        ));
    }
    for level in rail
        .levels
        .iter()
        .filter(|level| 2 * level.of_one_reading > level.visits)
    {
        if level.visits > 1 {
            unseen.push(format!(
                "how often and how long it is at level {}: {} of {} visits are one reading long, \
                 so others were missed, and steps and peaks here are fewer than there were",
                level.name, level.of_one_reading, level.visits
            ));
        }
    }
    if let Some(total_a) = rail.total_current_a {
        let mean = rail.current_a.mean;
        if (mean - total_a).abs() > 0.01 * total_a.abs() {
            unseen.push(format!(
                "the mean: readings give {} A, the log's own totals {} A; the totals count what \
                 lies between readings",
                short(mean),
                short(total_a)
            ));
        }
    }
    if rail.clipped > 0 {
        let clipped = rail.clipped;
        unseen.push(format!(
            "greatest values: {clipped} readings went over range and are limits"
        ));
    }
    let span_s = rail.to_s - rail.from_s;
    if span_s < 3600.0 {
        unseen.push(format!(
            "an hour: the log has {} s, and steps in an hour are worked out at the same rate",
            short(span_s)
        ));
    }
    unseen
}

/// Of the mean current, as if readings were independent.
pub(super) fn standard_error(rail: &RailFigures) -> f64 {
    rail.current_a.deviation / (rail.readings as f64).sqrt()
}

/// Four digits, without an exponent.
pub(super) fn short(value: f64) -> String {
    let digits = match value.abs().log10().floor() {
        digits if digits.is_finite() => (3 - digits as i32).clamp(0, 12) as usize,
        _ => 0,
    };
    let text = format!("{value:.digits$}");
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}
