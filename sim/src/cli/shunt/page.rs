//! The same as a page: the chart as a drawing, and the tables.

use maud::{Markup, html};

use super::chart::{ends, rounded, ticks};
use super::table::{drawn, ohms};
use crate::page;
use crate::quantity::quantity;
use crate::shunt::RailChoice;

/// One page of all rails.
pub(super) fn page(choices: &[RailChoice], tables: &str) -> String {
    let body = html! {
        h1 { "Sense resistors" }
        @for choice in choices {
            section {
                h2 { (choice.rail) ": worst-case error over the current" }
                div.wide { (chart(choice)) }
            }
        }
        section {
            h2 { "Tables" }
            pre tabindex="0" { (tables) }
        }
    };
    page::document("Sense resistors", &body)
}

const WIDTH: f64 = 760.0;
const HEIGHT: f64 = 400.0;
/// Around the field, for what stands at the axes and at the curves.
const MARGINS: [f64; 4] = [64.0, 100.0, 28.0, 40.0];

/// Curves are told apart by their dashes and by what stands at their left end, not by colour.
const DASHES: [&str; 4] = ["", "8 4", "2 4", "12 4 2 4"];

fn chart(choice: &RailChoice) -> Markup {
    let curves = drawn(choice);
    let allowed = choice.demands.error;
    let points = || curves.iter().flat_map(|(_, one)| one.curve.iter());
    let amps = ends(points().map(|point| point[0]));
    let shares = ends(points().map(|point| point[1]).chain([allowed]));
    let [left, right, top, bottom] = MARGINS;
    let part =
        |value: f64, [least, greatest]: [f64; 2]| (value / least).ln() / (greatest / least).ln();
    let tenths = |value: f64| (value * 10.0).round() / 10.0;
    let x = |value: f64| tenths(left + part(value, amps) * (WIDTH - left - right));
    let y = |value: f64| tenths(HEIGHT - bottom - part(value, shares) * (HEIGHT - top - bottom));
    let name = format!(
        "{}: worst-case error against current for {}",
        choice.rail,
        curves
            .iter()
            .map(|(_, one)| ohms(one))
            .collect::<Vec<_>>()
            .join(", ")
    );
    html! {
        svg role="img" aria-label=(name) viewBox={ "0 0 " (WIDTH) " " (HEIGHT) }
            fill="none" stroke="currentColor" font-size="13"
            style="max-width: 60rem; min-width: 40rem" {
            @for tick in ticks(amps[0], amps[1]) {
                path d={ "M" (x(tick)) " " (top) "V" (HEIGHT - bottom) } stroke-opacity="0.2" {}
                text x=(x(tick)) y=(HEIGHT - bottom + 18.0) text-anchor="middle" stroke="none"
                    fill="currentColor" { (quantity(tick, 1, "A")) }
            }
            @for tick in ticks(shares[0], shares[1]) {
                path d={ "M" (left) " " (y(tick)) "H" (WIDTH - right) } stroke-opacity="0.2" {}
                text x=(left - 6.0) y=(y(tick) + 4.0) text-anchor="end" stroke="none"
                    fill="currentColor" { (rounded(tick * 100.0)) " %" }
            }
            path d={ "M" (left) " " (y(allowed)) "H" (WIDTH - right) } stroke-dasharray="1 3"
                stroke-width="2" {}
            text x=(WIDTH - right + 6.0) y=(y(allowed) + 4.0) stroke="none" fill="currentColor" {
                "allowed " (rounded(allowed * 100.0)) " %"
            }
            @for (place, ((letter, one), dash)) in curves.iter().zip(DASHES).enumerate() {
                // Above its curve, but below the lowest.
                @let beside = if place + 1 == curves.len() { 34.0 } else { -5.0 };
                polyline stroke-width="1.5" stroke-dasharray=(dash) points={
                    @for [amps, share] in &one.curve { (x(*amps)) "," (y(*share)) " " }
                } {}
                text x=(left + 6.0) y=(y(one.curve[0][1]) + beside) stroke="none"
                    fill="currentColor" { (letter) ", " (ohms(one)) }
            }
        }
    }
}
