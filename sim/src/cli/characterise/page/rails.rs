use maud::{Markup, html};

use super::curves::Curves;
use crate::characterise::{Flows, RailFigures};
use crate::cli::characterise::table;
use crate::quantity::{count, quantity};

/// All rails at a glance.
pub(super) fn overview(rails: &[RailFigures]) -> Markup {
    // Where nothing flows back the net is all that there is.
    let flows_back = |flows: &Flows| flows.out > 0.0 && flows.back > 0.0;
    let energies = || rails.iter().filter_map(|rail| rail.energy_j.as_ref());
    let charge_is_split = rails.iter().any(|rail| flows_back(&rail.charge_c));
    let energy_is_split = energies().any(flows_back);
    let shown = |value: Option<f64>, unit: &str| {
        value.map_or_else(|| "-".to_owned(), |value| quantity(value, 4, unit))
    };
    let heads = |name: &str, is_split: bool| {
        html! {
            th scope="col" { (name) }
            @if is_split {
                th scope="col" { "out" }
                th scope="col" { "back" }
            }
        }
    };
    let cells = |flows: Option<&Flows>, unit: &str, is_split: bool| {
        let hours = |of: fn(&Flows) -> f64| shown(flows.map(|flows| of(flows) / 3_600.0), unit);
        html! {
            td { (hours(|flows| flows.net)) }
            @if is_split {
                td { (hours(|flows| flows.out)) }
                td { (hours(|flows| flows.back)) }
            }
        }
    };
    html! {
        div.wide { table {
            caption { span {
                "Means of the readings; charge and energy by straight lines between them"
                @if charge_is_split || energy_is_split { ", net: out less back" }
            } }
            thead { tr {
                th scope="col" { "rail" }
                th scope="col" { "voltage" }
                th scope="col" { "current" }
                th scope="col" { "power" }
                (heads("charge", charge_is_split))
                (heads("energy", energy_is_split))
            } }
            tbody { @for rail in rails { tr {
                th scope="row" { (rail.name) }
                td { (shown(rail.voltage_v.as_ref().map(|of| of.mean), "V")) }
                td { (shown(Some(rail.current_a.mean), "A")) }
                td { (shown(rail.power_w.as_ref().map(|of| of.mean), "W")) }
                (cells(Some(&rail.charge_c), "Ah", charge_is_split))
                (cells(rail.energy_j.as_ref(), "Wh", energy_is_split))
            } } }
        } }
    }
}

/// One rail: charts, statistics, levels, what happened and what cannot be seen.
pub(super) fn section(place: usize, rail: &RailFigures, curves: Curves) -> Markup {
    html! {
        section id={ "rail-" (place) } {
            h2 { (rail.name) }
            @for line in table::times(rail) { p.faint { (line) } }
            (curves.figure(rail).markup())
            @match (&rail.voltage_v, &rail.power_w) {
                (None, None) => p {
                    "The log has neither voltage nor power of this rail: there is no power and no "
                    "energy to show."
                },
                (None, Some(_)) => p { "The log has no voltage of this rail." },
                _ => {},
            }
            h3 { "Readings" }
            (statistics(rail))
            (quantiles(rail))
            h3 { "Levels" }
            (levels(rail))
            div.wide { table.words {
                tbody { @for (what, told) in table::happened(rail) { tr {
                    th scope="row" { (what) }
                    td.text { (told) }
                } } }
            } }
            h3 { "What cannot be seen" }
            ul { @for unseen in &rail.unseen { li { (unseen) } } }
        }
    }
}

fn statistics(rail: &RailFigures) -> Markup {
    html! {
        div.wide { table {
            thead { tr {
                th scope="col" { "" }
                @for head in ["mean", "r.m.s.", "deviation", "least", "at", "greatest", "at"] {
                    th scope="col" { (head) }
                }
            } }
            tbody { @for (what, of, unit) in table::quantities(rail) { tr {
                th scope="row" { (what) }
                @for value in [of.mean, of.rms, of.deviation, of.least] {
                    td { (quantity(value, 5, unit)) }
                }
                td { (format!("{:.4} s", of.least_at_s)) }
                td { (quantity(of.greatest, 5, unit)) }
                td { (format!("{:.4} s", of.greatest_at_s)) }
            } } }
        } }
    }
}

fn quantiles(rail: &RailFigures) -> Markup {
    html! {
        div.wide { table {
            caption { span { "Not above this for so great a share of the time" } }
            thead { tr {
                th scope="col" { "" }
                @for one in &rail.current_a.quantiles {
                    th scope="col" { (100.0 * one.share) " %" }
                }
            } }
            tbody { @for (what, of, unit) in table::quantities(rail) { tr {
                th scope="row" { (what) }
                @for one in &of.quantiles { td { (quantity(one.value, 3, unit)) } }
            } } }
        } }
    }
}

fn levels(rail: &RailFigures) -> Markup {
    let share = |share: f64| {
        let style = format!("--share: {:.0}%", 100.0 * share);
        html! { td.share style=(style) { (format!("{:.3} %", 100.0 * share)) } }
    };
    html! {
        div.wide { table {
            thead { tr {
                th scope="col" { "level" }
                th scope="col" { "mean current" }
                th scope="col" { "of the time" }
                th scope="col" {
                    @if rail.power_w.is_some() { "of the energy" } @else { "of the charge" }
                }
                th scope="col" { "visits" }
                th scope="col" { "of one reading" }
            } }
            tbody { @for level in &rail.levels { tr {
                th scope="row" { (level.name) }
                td { (quantity(level.mean_current_a, 4, "A")) }
                (share(level.time_share))
                (share(level.energy_share))
                td { (count(level.visits)) }
                td { (count(level.of_one_reading)) }
            } } }
        } }
    }
}
