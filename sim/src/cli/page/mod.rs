//! A run as a page to look at.

mod curves;
mod figures;
mod rails;
mod stretches;

use std::path::Path;

use maud::{Markup, html};

use super::table::{self, Passed, reaction};
use crate::page::document;
use crate::plant::PlantError;
use crate::quantity::{count, quantity, spoken};
use crate::run::Report;
use crate::scenario::Scenario;
pub(super) use curves::Curves;

/// The page of a run, whose scenario was read from a file of this name and text.
pub(super) fn report(
    report: &Report,
    scenario: &Scenario,
    (path, text): (&Path, &str),
    curves: &Curves,
) -> Result<String, PlantError> {
    let body = html! {
        h1 { (report.title) }
        p.verdict.fails[!report.verdict.holds] { "Verdict " (table::verdict(report)) }
        p.faint {
            "seed " (report.seed) "; " (report.duration_s) " s, a reading every "
            (report.read_every_s) " s"
        }
        @for part in &report.parts { p.faint { (table::part(part)) } }
        nav aria-label="On this page" { ul {
            @for (place, rail) in report.rails.iter().enumerate() {
                li { a href={ "#rail-" (place) } { (rail.name) } }
            }
            li { a href="#alerts" { "Alerts and faults" } }
            li { a href="#method" { "Method" } }
            li { a href="#scenario" { "Scenario" } }
            li { a href="#cautions" { "Cautions" } }
        } }
        @if !report.rails.is_empty() { (rails::overview(report)) }
        @for told in &report.contradictions { p.bad { "Declared: " (told) } }
        @for (place, rail) in report.rails.iter().enumerate() {
            (rails::section(place, rail, report, scenario, curves)?)
        }
        section id="alerts" {
            h2 { "Alerts and faults" }
            (alerts(report))
            (faults(report))
        }
        (method(report, path))
        section id="scenario" {
            h2 { "Scenario" }
            pre tabindex="0" { (text) }
        }
        (cautions())
    };
    Ok(document(&report.title, &body))
}

/// One row for each limit that was passed.
fn alerts(report: &Report) -> Markup {
    let passed = table::passed(&report.alerts);
    let row = |it: &Passed<'_>| {
        html! {
            tr {
                th scope="row" { (it.first.rail) }
                td.text { (spoken(it.first.kind)) }
                td.text { (it.first.output) }
                td { (it.limit()) }
                td { (count(it.events)) }
                td { (format!("{:.2} s", it.first.time_s)) }
                td { (format!("{:.2} s", it.last_s)) }
                td { (reaction(it.to_edge_s, it.first.crossing_to_edge_bound_s)) }
                td { (reaction(it.to_event_s, it.first.edge_to_event_bound_s)) }
            }
        }
    };
    html! {
        @if passed.is_empty() {
            p { "No limit was passed." }
        } @else {
            div.wide { table {
                caption { span { "Longest reactions, in brackets what is allowed; alerts.csv has all." } }
                thead { tr {
                    th scope="col" { "rail" }
                    th.text scope="col" { "kind" }
                    th.text scope="col" { "output" }
                    th scope="col" { "limit" }
                    th scope="col" { "events" }
                    th scope="col" { "first" }
                    th scope="col" { "last" }
                    th scope="col" { "limit to edge" }
                    th scope="col" { "edge to event" }
                } }
                tbody { @for it in &passed { (row(it)) } }
            } }
        }
    }
}

/// One row for each fault of the scenario, and for each way in which the driver failed.
fn faults(report: &Report) -> Markup {
    let moment =
        |at_s: Option<f64>| at_s.map_or_else(|| "-".to_owned(), |at_s| format!("{at_s:.3} s"));
    let row = |sort: &str, times: u64, [first_s, last_s]: [Option<f64>; 2], what: &str| {
        html! {
            tr {
                th scope="row" { (sort) }
                td { (count(times)) }
                td { (moment(first_s)) }
                td { (moment(last_s)) }
                td.text { (what) }
            }
        }
    };
    html! {
        @if report.faults.is_empty() && report.failures.is_empty() {
            p { "The scenario has no faults." }
        } @else {
            div.wide { table.words {
                thead { tr {
                    th scope="col" { "" }
                    th scope="col" { "times" }
                    th scope="col" { "first" }
                    th scope="col" { "last" }
                    th.text scope="col" { "what" }
                } }
                tbody {
                    @for it in &report.faults {
                        (row("fault", it.times, [it.first_s, it.last_s], &it.what))
                    }
                    @for it in &report.failures {
                        (row("failure", it.times, [Some(it.first_s), Some(it.last_s)], &it.what))
                    }
                }
            } }
        }
        @for what in super::table::uncounted(report) {
            p { "Not in the totals: " (what) "." }
        }
    }
}

fn method(report: &Report, path: &Path) -> Markup {
    let bus = &report.bus;
    html! {
        section id="method" {
            h2 { "Method" }
            p {
                "The rails were measured by the model of a fictional part, whose firmware runs on "
                "the crake driver over a virtual bus in virtual time. Totals, bounds and limits "
                "are the driver's own. The truth is what really flowed, from the rails' "
                "trajectories; a real board has none. Bounds are limits of error for every part "
                "and board within their limits, no standard deviations."
            }
            p {
                "Charts show the samples that the host took: what happens between them is in the "
                "totals alone. Where a curve has too many points, the least and the greatest value "
                "of each short stretch of time are drawn, with their moments."
            }
            p {
                (count(report.conversions)) " conversions, "
                (count(report.samples)) " samples; bus: "
                (count(bus.transactions)) " transactions, " (count(bus.bytes)) " bytes, busy "
                (quantity(bus.busy_s, 4, "s"))
                (format!(" ({:.2} % of the time)", 100.0 * bus.busy_share))
                "; monitor: " (quantity(report.monitor.energy_j, 4, "J")) " of its own, "
                (quantity(report.monitor.mean_power_w, 4, "W")) " on average."
            }
            p {
                "All chance comes from seed " (report.seed) ". crake-sim "
                (env!("CARGO_PKG_VERSION"))
                " made this page; the same again by: "
                code { "crake-sim run " (path.display()) " --seed " (report.seed) " --for "
                    (report.duration_s) " --out DIR" }
            }
        }
    }
}

fn cautions() -> Markup {
    html! {
        section id="cautions" {
            h2 { "Cautions" }
            ul {
                li { "This is a simulation. Nothing here shows that a board is safe." }
                li {
                    "Lithium cells burn when overcharged, over-discharged, charged in the cold or "
                    "short-circuited. The maker's sheet rules; protection circuits and fuses "
                    "protect, a monitor does not."
                }
                li {
                    "Sense resistors get hot and are at the rail's voltage. A sense lead can carry "
                    "the full fault current of the source: fuse it."
                }
                li {
                    "Above 60 V d.c. (by many product standards) a rail is no longer extra-low "
                    "voltage: leave it to people licensed for it."
                }
                li { "Local codes and licensed practice decide; nothing here overrides them." }
            }
        }
    }
}
