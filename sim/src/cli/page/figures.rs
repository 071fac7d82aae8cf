use super::curves::RailCurves;
use crate::cli::table::unit;
use crate::page::{Curve, Figure, Mark, Panel, Span};
use crate::quantity::{count, quantity, spoken};
use crate::run::{AlertReport, FaultReport, Report, word_of};
use crate::scenario::RailPlan;

/// Marks of one limit that are drawn.
const MARKS_MAX: usize = 2_000;

/// A rail's readings and totals over the whole run.
pub(super) fn rail(plan: &RailPlan, curves: &RailCurves, report: &Report) -> Figure {
    let panel = |name: &str, unit: &'static str, series: &crate::page::Series| Panel {
        name: name.to_owned(),
        unit,
        curves: vec![("measured".to_owned(), Curve::Line(series.clone()))],
        limits: limits(plan, unit, report),
        marks: marks(plan, unit, report),
    };
    Figure {
        caption: format!("{}: readings and totals", plan.name),
        link: "run",
        time_s: [0.0, report.duration_s],
        panels: vec![
            panel("Voltage", "V", &curves.voltage),
            panel("Current", "A", &curves.current),
            panel("Power", "W", &curves.power),
            panel("Charge", "C", &curves.charge),
            panel("Energy", "J", &curves.energy),
        ],
        spans: spans(report),
    }
}

/// Alerts of one limit.
pub(super) fn alerts_of<'r>(
    plan: &RailPlan,
    kind: &str,
    report: &'r Report,
) -> Vec<&'r AlertReport> {
    let same = |alert: &&AlertReport| alert.rail == plan.name && alert.kind == kind;
    report.alerts.iter().filter(same).collect()
}

/// Limits in a unit: those in force where an alert has told it, else those that were asked for.
fn limits(plan: &RailPlan, of: &str, report: &Report) -> Vec<(String, f64)> {
    let of_unit = plan
        .alerts
        .iter()
        .filter(|alert| unit(word_of(alert)) == of);
    let limit = |alert: &crate::scenario::AlertPlan| {
        let word = word_of(alert);
        let told = alerts_of(plan, word, report);
        let in_force = told.iter().find_map(|alert| alert.limit);
        (spoken(word), in_force.unwrap_or(alert.limit as f64 / 1e9))
    };
    of_unit.map(limit).collect()
}

fn marks(plan: &RailPlan, of: &str, report: &Report) -> Vec<Mark> {
    let of_unit = plan
        .alerts
        .iter()
        .filter(|alert| unit(word_of(alert)) == of);
    let mut marks: Vec<Mark> = of_unit
        .flat_map(|alert| slowest(&alerts_of(plan, word_of(alert), report), report.duration_s))
        .map(mark)
        .collect();
    marks.sort_by(|one, other| one.time_s.total_cmp(&other.time_s));
    marks
}

/// All of them, or where they are too many the slowest in each of so many stretches of time.
fn slowest<'r>(alerts: &[&'r AlertReport], duration_s: f64) -> Vec<&'r AlertReport> {
    if alerts.len() <= MARKS_MAX {
        return alerts.to_vec();
    }
    let stretch = |alert: &AlertReport| (alert.time_s / duration_s * MARKS_MAX as f64) as u64;
    let took_s = |alert: &AlertReport| {
        alert.crossing_to_edge_s.unwrap_or(0.0) + alert.edge_to_event_s.unwrap_or(0.0)
    };
    let mut kept: Vec<&AlertReport> = Vec::new();
    for alert in alerts {
        match kept.last_mut() {
            Some(last) if stretch(last) == stretch(alert) => {
                if took_s(alert) > took_s(last) {
                    *last = alert;
                }
            }
            _ => kept.push(alert),
        }
    }
    kept
}

fn mark(alert: &AlertReport) -> Mark {
    Mark {
        time_s: alert.time_s,
        text: format!(
            "{} on {}, {}",
            spoken(alert.kind),
            alert.output,
            reactions(alert)
        ),
    }
}

/// When an alert was heard of and what it took, each time beside its bound.
pub(super) fn reactions(alert: &AlertReport) -> String {
    let step = |name: &str, took_s: Option<f64>, bound_s: f64| {
        took_s.map_or_else(String::new, |took_s| {
            let bound = quantity(bound_s, 3, "s");
            format!(", {name} {} (bound {bound})", quantity(took_s, 3, "s"))
        })
    };
    format!(
        "event at {:.6} s{}{}",
        alert.time_s,
        step(
            "limit to edge",
            alert.crossing_to_edge_s,
            alert.crossing_to_edge_bound_s
        ),
        step(
            "edge to event",
            alert.edge_to_event_s,
            alert.edge_to_event_bound_s
        ),
    )
}

fn often(times: u64) -> String {
    match times {
        1 => String::new(),
        times => format!(", {} times", count(times)),
    }
}

/// Faults while they lasted, and the first and the last moment of each failure.
fn spans(report: &Report) -> Vec<Span> {
    let fault = |fault: &FaultReport| {
        Some(Span {
            // One without an end lasted.
            time_s: [fault.first_s?, fault.last_s.unwrap_or(report.duration_s)],
            text: format!("fault{}: {}", often(fault.times), fault.what),
        })
    };
    let failures = report.failures.iter().flat_map(|failure| {
        let moments = [("first", failure.first_s), ("last", failure.last_s)];
        moments.map(|(which, at_s)| Span {
            time_s: [at_s; 2],
            text: format!("failed{}, {which}: {}", often(failure.times), failure.what),
        })
    });
    let faults = report.faults.iter().filter_map(fault);
    faults.chain(failures).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn alert(time_s: f64, edge_to_event_s: f64) -> AlertReport {
        AlertReport {
            time_s,
            rail: "ONE".to_owned(),
            kind: "over_current",
            output: "A",
            value: None,
            limit: None,
            crossing_to_edge_s: None,
            crossing_to_edge_bound_s: 1.0,
            edge_to_event_s: Some(edge_to_event_s),
            edge_to_event_bound_s: 1.0,
        }
    }

    /// Of ten alerts a second over 10 000 s the slowest of all is marked, and one in each 5 s.
    #[test]
    fn of_many_alerts_the_slowest_are_marked() {
        let slow = 77_777;
        let took = |n: u32| if n == slow { 0.5 } else { 0.001 };
        let alerts: Vec<_> = (0..100_000)
            .map(|n| alert(f64::from(n) / 10.0, took(n)))
            .collect();
        let all: Vec<&AlertReport> = alerts.iter().collect();
        let kept = slowest(&all, 10_000.0);
        assert_eq!(kept.len(), MARKS_MAX);
        assert_eq!(
            kept.iter()
                .filter(|alert| alert.edge_to_event_s == Some(0.5))
                .count(),
            1
        );
        for (place, alert) in kept.iter().enumerate() {
            let from_s = 5.0 * place as f64;
            assert!((from_s..from_s + 5.0).contains(&alert.time_s));
        }
        assert_eq!(slowest(&all[..MARKS_MAX], 10_000.0).len(), MARKS_MAX);
    }
}
