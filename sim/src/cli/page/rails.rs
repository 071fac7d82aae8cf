use maud::{Markup, html};

use super::curves::Curves;
use super::{figures, stretches};
use crate::cli::table::{named, used};
use crate::plant::PlantError;
use crate::quantity::{count, quantity, signed};
use crate::run::{Figure, RailReport, Report, Spread};
use crate::scenario::Scenario;

/// All rails at a glance.
pub(super) fn overview(report: &Report) -> Markup {
    let mean = |spread: Option<Spread>| {
        spread.map_or_else(|| "-".to_owned(), |spread| quantity(spread.mean, 4, "V"))
    };
    html! {
        div.wide { table {
            caption { span { "Means over the time (voltage: of readings) and totals with their bounds" } }
            thead { tr {
                th scope="col" { "rail" }
                th scope="col" { "voltage" }
                th scope="col" { "current" }
                th scope="col" { "power" }
                th scope="col" { "charge" }
                th scope="col" { "bound ±" }
                th scope="col" { "used" }
                th scope="col" { "energy" }
                th scope="col" { "bound ±" }
                th scope="col" { "used" }
            } }
            tbody { @for rail in &report.rails { tr {
                th scope="row" { (rail.name) }
                td { (mean(rail.voltage_v)) }
                td { (quantity(rail.mean_current_a, 4, "A")) }
                td { (quantity(rail.mean_power_w, 4, "W")) }
                (total(&rail.charge_c, "Ah"))
                (total(&rail.energy_j, "Wh"))
            } } }
        } }
    }
}

/// A total in hours, its bound, and how much of it is used.
fn total(figure: &Figure, unit: &str) -> Markup {
    html! {
        td { (quantity(figure.measured / 3_600.0, 4, unit)) }
        td { (quantity(figure.bound / 3_600.0, 3, unit)) }
        (use_of(figure))
    }
}

/// How much of its bound a total uses.
fn use_of(figure: &Figure) -> Markup {
    match (figure.within, figure.saturation) {
        (true, "none") => share(figure.difference.abs() / figure.bound, &used(figure)),
        (true, _) => html! { td { (used(figure)) } },
        (false, _) => html! { td.bad { (used(figure)) } },
    }
}

/// A cell with a bar.
fn share(share: f64, text: &str) -> Markup {
    let percent = (100.0 * share).clamp(0.0, 100.0);
    html! { td.share style=(format!("--share: {percent:.0}%")) { (text) } }
}

/// One rail: totals beside the truth, readings, what makes its bounds, charts.
pub(super) fn section(
    place: usize,
    rail: &RailReport,
    report: &Report,
    scenario: &Scenario,
    curves: &Curves,
) -> Result<Markup, PlantError> {
    let plan = scenario.rails.iter().find(|plan| plan.name == rail.name);
    let both = plan.zip(curves.rail(&rail.name));
    let close = plan.map(|plan| stretches::of_rail(plan, report));
    let close = close.transpose()?.unwrap_or_default();
    Ok(html! {
        section id={ "rail-" (place) } {
            h2 { (rail.name) " (channel " (rail.channel) ")" }
            (totals(rail))
            @if let Some((plan, curves)) = both {
                (figures::rail(plan, curves, report).markup())
                @if curves.clipped > 0 {
                    p {
                        (count(curves.clipped))
                        " readings went over range: they are limits, not values, and have no band."
                    }
                }
            }
            (readings(rail))
            (parts(rail))
            @if !close.is_empty() {
                h3 { "Alerts seen close" }
                p.faint {
                    "The rail as it truly was around the first alerts of each limit, at most "
                    (stretches::CLOSE_MAX)
                    " of each; time from the event on. Shaded: from the limit to the "
                    "output's edge, and from there to the event."
                }
                div.stretches { @for figure in &close { (figure.markup()) } }
            }
        }
    })
}

fn totals(rail: &RailReport) -> Markup {
    let row = |name: &str, unit: &str, hours: &str, figure: &Figure| {
        html! {
            tr {
                th scope="row" { (name) }
                td { (quantity(figure.measured, 6, unit)) }
                td { (quantity(figure.measured / 3_600.0, 4, hours)) }
                td { (quantity(figure.truth, 6, unit)) }
                td { (signed(figure.difference, 3, unit)) }
                td { (quantity(figure.bound, 3, unit)) }
                (use_of(figure))
            }
        }
    };
    html! {
        div.wide { table {
            thead { tr {
                th scope="col" { "total" }
                th scope="col" colspan="2" { "measured" }
                th scope="col" { "truth" }
                th scope="col" { "difference" }
                th scope="col" { "bound ±" }
                th scope="col" { "used" }
            } }
            tbody {
                (row("energy", "J", "Wh", &rail.energy_j))
                (row("charge", "C", "Ah", &rail.charge_c))
            }
        } }
    }
}

fn readings(rail: &RailReport) -> Markup {
    let row = |name: &str, unit: &str, spread: Option<Spread>, mean: Option<f64>| {
        html! {
            tr {
                th scope="row" { (name) }
                @if let Some(spread) = spread {
                    td { (quantity(spread.least, 5, unit)) }
                    td { (quantity(spread.mean, 5, unit)) }
                    td { (quantity(spread.greatest, 5, unit)) }
                } @else {
                    td colspan="3" { "no reading" }
                }
                td { @if let Some(mean) = mean { (quantity(mean, 5, unit)) } }
            }
        }
    };
    html! {
        h3 { "Readings" }
        div.wide { table {
            thead { tr {
                th scope="col" { "" }
                th scope="col" { "least read" }
                th scope="col" { "mean read" }
                th scope="col" { "greatest read" }
                th scope="col" { "over the time" }
            } }
            tbody {
                (row("voltage", "V", rail.voltage_v, None))
                (row("current", "A", rail.current_a, Some(rail.mean_current_a)))
                (row("power", "W", rail.power_w, Some(rail.mean_power_w)))
            }
        } }
    }
}

/// What makes how much of the bounds.
fn parts(rail: &RailReport) -> Markup {
    let (energy, charge) = (&rail.energy_j, &rail.charge_c);
    let both = named(&energy.bound_parts)
        .into_iter()
        .zip(named(&charge.bound_parts));
    html! {
        h3 { "What the bounds are made of" }
        div.wide { table {
            caption { span { "Limits of error at the mean operating point" } }
            thead { tr {
                th scope="col" { "part" }
                th scope="col" { "of the energy's" }
                th scope="col" { "of the charge's" }
            } }
            tbody { @for ((name, joules), (_, coulombs)) in both { tr {
                th scope="row" { (name) }
                (share(joules / energy.bound, &quantity(joules, 3, "J")))
                (share(coulombs / charge.bound, &quantity(coulombs, 3, "C")))
            } } }
        } }
    }
}
