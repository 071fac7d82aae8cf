//! What may be declared of a rail and watched for on it, because of a log.

use schemars::JsonSchema;
use serde::Serialize;

use super::RailFigures;
use super::book::Book;
use super::report::word;
use crate::scenario::AlertKind;

/// A load as it may be declared, and limits beyond everything that was seen. Figures are rounded
/// away from what was seen, to three digits.
#[derive(Clone, Debug, Default, PartialEq, JsonSchema, Serialize)]
pub struct Declaration {
    /// Greatest number of steps in an hour.
    pub steps_per_hour: u64,
    /// Greatest step, in amperes.
    pub step_a: f64,
    /// "forward", or "both" where the current flows back.
    pub flow: &'static str,
    /// Greatest magnitude of the current, in amperes.
    pub greatest_a: f64,
    /// Greatest mean of the magnitude over so many seconds, where the current flows both ways.
    pub mean: Option<Mean>,
    /// Least and greatest voltage, where the log has voltages.
    pub voltage_v: Option<[f64; 2]>,
    /// Limits.
    pub limits: Vec<LimitPlan>,
}

/// A mean and the stretch over which it is taken.
#[derive(Clone, Copy, Debug, PartialEq, JsonSchema, Serialize)]
pub struct Mean {
    /// The mean of the magnitude, in amperes.
    pub mean_a: f64,
    /// Length of the stretch in seconds.
    pub over_s: u64,
}

/// A limit to watch for.
#[derive(Clone, Copy, Debug, PartialEq, JsonSchema, Serialize)]
pub struct LimitPlan {
    /// What it watches for.
    pub kind: &'static str,
    /// The limit in volts or amperes.
    pub limit: f64,
    /// Conversions in a row beyond it until it counts as passed.
    pub debounce: u8,
}

/// A single disturbed conversion tells nothing; where noise comes near the limit, several do not.
const DEBOUNCE: u8 = 2;
const DEBOUNCE_IN_NOISE: u8 = 4;

pub(super) struct Suggestion(Declaration);

impl From<Suggestion> for Declaration {
    fn from(suggestion: Suggestion) -> Self {
        suggestion.0
    }
}

impl Suggestion {
    pub(super) fn of(rail: &RailFigures, book: &Book, margin: f64) -> Self {
        let current = &rail.current_a;
        let magnitude = current.greatest.abs().max(current.least.abs());
        let up = |value: f64| away(value * (1.0 + margin), value > 0.0);
        let flows_back = rail.charge_c.back > 0.001 * rail.charge_c.out;
        let span_s = book.span_s();
        let over_s = (span_s / 2.0).floor() as i64;
        let mean_a = (flows_back && over_s > 0)
            .then(|| book.magnitude.greatest_mean(over_s * 1_000_000_000))
            .flatten();
        let noise_a = book
            .changes
            .as_ref()
            .map_or(0.0, |changes| changes.quantile(0.5));
        let debounce = match 6.0 * noise_a > magnitude * margin {
            true => DEBOUNCE_IN_NOISE,
            false => DEBOUNCE,
        };
        let limit = |kind, limit| LimitPlan {
            kind: word(kind),
            limit,
            debounce,
        };
        let mut limits = vec![limit(
            AlertKind::OverCurrent,
            away(current.greatest + margin * magnitude, true),
        )];
        if flows_back {
            let least = away(current.least - margin * magnitude, false);
            limits.push(limit(AlertKind::UnderCurrent, least));
        }
        let span = rail.voltage_v.as_ref().map(|voltage| {
            // Of a voltage a hundredth, and a part of what it moved by.
            let beyond = 0.01 * voltage.greatest + margin * (voltage.greatest - voltage.least);
            let least = away((voltage.least - beyond).max(0.0), false);
            let greatest = away(voltage.greatest + beyond, true);
            limits.push(limit(AlertKind::OverVoltage, greatest));
            if least > 0.0 {
                limits.push(limit(AlertKind::UnderVoltage, least));
            }
            [least, greatest]
        });
        Self(Declaration {
            steps_per_hour: (rail.steps.per_hour * (1.0 + margin)).ceil() as u64,
            step_a: up(rail.steps.greatest_a),
            flow: if flows_back { "both" } else { "forward" },
            greatest_a: up(magnitude).max(1e-9),
            mean: mean_a.map(|mean_a| Mean {
                mean_a: up(mean_a),
                over_s: over_s.unsigned_abs(),
            }),
            voltage_v: span,
            limits,
        })
    }
}

/// To three digits, upwards or downwards.
fn away(value: f64, upwards: bool) -> f64 {
    if value == 0.0 {
        return 0.0;
    }
    let power = 2 - value.abs().log10().floor() as i32;
    let scaled = value * 10_f64.powi(power);
    let rounded = if upwards {
        scaled.ceil()
    } else {
        scaled.floor()
    };
    // By its decimal text, so that no binary rest is shown.
    let text = format!("{rounded}e{}", -power);
    text.parse().unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use super::away;

    #[test]
    fn three_digits_away_from_what_was_seen() {
        assert_eq!(away(0.033_01, true), 0.0331);
        assert_eq!(away(0.033, true), 0.033);
        assert_eq!(away(-4.1434, false), -4.15);
        assert_eq!(away(14.567, false), 14.5);
        assert_eq!(away(1234.0, true), 1240.0);
        assert_eq!(away(0.0, true), 0.0);
    }
}
