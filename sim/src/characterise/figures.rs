//! How the figures of a rail follow from both passages.

use super::Options;
use super::book::{Book, Quantity, RIPPLE_READINGS};
use super::events::Events;
use super::flowed::Flow;
use super::report::{Flows, Peaks, Quantile, RailFigures, Ripple, Spacing, Statistics, Steps};
use super::suggest::Declaration;

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
    let [total_current_a, total_power_w] = book.totals.map(|totals| {
        let [first, last] = totals?;
        (whole_s > 0.0).then(|| (last - first) / whole_s)
    });
    let current_a = of(&book.current);
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
        charge_c: flows(book.flowed.charge_c),
        energy_j: book.power.as_ref().map(|_| flows(book.flowed.energy_j)),
        total_current_a,
        total_power_w,
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
        lasts_h: life.filter(|hours| hours.is_finite() && *hours > 0.0),
        unseen: Vec::new(),
        suggested: Declaration::default(),
    };
    figures.unseen = unseen(&figures);
    figures
}

fn flows(flow: Flow) -> Flows {
    Flows {
        out: flow.out,
        back: flow.back,
        net: flow.net(),
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
