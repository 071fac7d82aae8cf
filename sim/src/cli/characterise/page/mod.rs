//! What a log tells, as a page to look at.

mod curves;
mod rails;

use std::path::Path;

use maud::{Markup, html};

use super::table;
use crate::characterise::{Characterisation, Difference};
use crate::log::Log;
use crate::page::document;
use crate::quantity::some;
use crate::scenario::ScenarioError;
use curves::Curves;

/// The page; the log, which was read from a file of this name, is gone through once more for its
/// curves. A step longer than `gap_ns` is a gap.
pub(super) fn page(
    (path, log): (&Path, &mut Log),
    told: &Characterisation,
    gap_ns: i64,
) -> Result<String, ScenarioError> {
    let zero_ns = curves::zero_ns(&told.rails);
    let mut curves: Vec<Curves> = Vec::new();
    log.each(|rail, row| match curves.get_mut(rail) {
        Some(curves) => curves.take(row),
        None => curves.push(Curves::new(row, gap_ns, zero_ns)),
    })?;
    let differs = told.differences.iter().flatten().any(|one| one.differs);
    let rails = told.rails.iter().zip(curves).enumerate();
    let body = html! {
        h1 { "A log of " (some(told.rails.len() as u64, "rail")) }
        @if told.differences.is_some() {
            p.verdict.fails[differs] {
                @if differs { "Log and bench differ by more than both bounds" }
                @else { "Log and bench agree within their bounds" }
            }
        }
        p.faint { (path.display()) ": " (table::readings(told)) }
        nav aria-label="On this page" { ul {
            @for (place, rail) in told.rails.iter().enumerate() {
                li { a href={ "#rail-" (place) } { (rail.name) } }
            }
            @if told.differences.is_some() { li { a href="#bench" { "Against the bench" } } }
            li { a href="#suggested" { "Suggested" } }
        } }
        (rails::overview(&told.rails))
        @for (place, (rail, curves)) in rails { (rails::section(place, rail, curves)) }
        @if let Some(differences) = &told.differences { (bench(differences, &told.not_logged)) }
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

fn bench(differences: &[Difference], not_logged: &[String]) -> Markup {
    html! {
        section id="bench" {
            h2 { "Against the bench" }
            div.wide { table {
                thead { tr {
                    th scope="col" { "rail" }
                    @for head in ["", "log", "±", "bench", "±", "ratio", "±", ""] {
                        th scope="col" { (head) }
                    }
                } }
                tbody { @for one in differences { tr {
                    th scope="row" { (one.rail) }
                    @for cell in table::difference(one) { td { (cell) } }
                    td.bad[one.differs] { (table::agreement(one)) }
                } } }
            } }
            @for rail in not_logged { p { (table::not_logged(rail)) } }
        }
    }
}
