//! What a log tells, as a page to look at.

use maud::{Markup, html};

use super::table;
use crate::characterise::{Characterisation, RailFigures};
use crate::log::Log;
use crate::page::{Curve, Figure, Mark, Panel, Point, Series, document};
use crate::scenario::ScenarioError;

/// Voltage and current of a rail over time.
#[derive(Clone, Default)]
struct Curves {
    voltage: Series,
    current: Series,
}

/// The page; the log is gone through once more for its curves.
pub(super) fn page(log: &mut Log, told: &Characterisation) -> Result<String, ScenarioError> {
    let mut curves = vec![Curves::default(); told.rails.len()];
    log.each(|rail, row| {
        let time_s = row.time_ns as f64 / 1e9;
        let point = |value| Point {
            time_s,
            value,
            bound: None,
        };
        let curves = &mut curves[rail];
        curves.current.push(point(row.current_a));
        if let Some(voltage_v) = row.voltage_v {
            curves.voltage.push(point(voltage_v));
        }
    })?;
    let differs = told.differences.iter().flatten().any(|one| one.differs);
    let rails = told.rails.iter().zip(&curves).enumerate();
    let body = html! {
        h1 { "A log of " (told.rails.len()) @if told.rails.len() == 1 { " rail" } @else { " rails" } }
        @if told.differences.is_some() {
            p.verdict.fails[differs] {
                @if differs { "Log and bench differ by more than both bounds" }
                @else { "Log and bench agree within their bounds" }
            }
        }
        nav aria-label="On this page" { ul {
            @for (place, rail) in told.rails.iter().enumerate() {
                li { a href={ "#rail-" (place) } { (rail.name) } }
            }
            @if told.differences.is_some() { li { a href="#bench" { "Against the bench" } } }
            li { a href="#suggested" { "Suggested" } }
        } }
        @for (place, (rail, curves)) in rails { (section(place, rail, curves)) }
        @if let Some(differences) = &told.differences {
            section id="bench" {
                h2 { "Against the bench" }
                pre tabindex="0" { (table::differences_of(differences)) }
            }
        }
        section id="suggested" {
            h2 { "Suggested" }
            p { "For the scenario file:" }
            pre tabindex="0" { (told.scenario_snippet) }
            p { "For the firmware:" }
            pre tabindex="0" { (told.rust_snippet) }
            p {
                "Limits report and do not protect: fuses, battery protection circuits and "
                "certified devices do, chosen under local codes by people licensed to do so."
            }
        }
    };
    Ok(document("A log", &body))
}

fn section(place: usize, rail: &RailFigures, curves: &Curves) -> Markup {
    let mark = |peak: &crate::characterise::Peak| Mark {
        time_s: peak.begin_s,
        text: format!(
            "peak of {:.4} A for {:.4} s",
            peak.greatest_a, peak.duration_s
        ),
    };
    let peaks = rail.peaks.of_greatest_i2t.iter().map(mark).collect();
    let limits = |of: &[&str]| {
        let limits = rail
            .excursions
            .iter()
            .filter(|limit| of.contains(&limit.kind));
        limits
            .map(|limit| (limit.kind.replace('_', "-"), limit.limit))
            .collect()
    };
    let panel = |name: &str, unit, series: &Series, of: &[&str], marks| Panel {
        name: name.to_owned(),
        unit,
        curves: vec![("read".to_owned(), Curve::Plain(series.clone()))],
        limits: limits(of),
        marks,
    };
    let mut panels = Vec::new();
    if rail.voltage_v.is_some() {
        let of = ["over_voltage", "under_voltage"];
        panels.push(panel("Voltage", "V", &curves.voltage, &of, Vec::new()));
    }
    let of = ["over_current", "under_current"];
    panels.push(panel("Current", "A", &curves.current, &of, peaks));
    let figure = Figure {
        caption: rail.name.clone(),
        link: "log",
        time_s: [rail.from_s, rail.to_s],
        panels,
        ..Figure::default()
    };
    html! {
        section id={ "rail-" (place) } {
            h2 { (rail.name) }
            (figure.markup())
            pre tabindex="0" { (table::rail_of(rail)) }
        }
    }
}
