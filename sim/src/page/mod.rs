//! Pages to look at: one HTML file each, which needs no network, no other file and no server.
//!
//! A page is made of [`Markup`] by [`maud`], which escapes what stands in it, and of [`Figure`]s:
//! charts one above the other over the same time, which a person can zoom, pan and read values
//! from, by pointer, touch or keys. What a figure shows stands beside it as a sentence and a table.
//!
//! A [`Series`] takes points one by one as they come, in bounded memory, and keeps least and
//! greatest values: peaks survive whatever is thinned. Figures with the same `link` are zoomed
//! together.
//!
//! ```
//! use crake_sim::page::{Curve, Figure, Mark, Panel, Point, Series, document};
//! use maud::html;
//!
//! let mut voltage = Series::new();
//! for second in 0..10 {
//!     voltage.push(Point { time_s: second.into(), value: 3.3, bound: Some(0.01) });
//! }
//! let figure = Figure {
//!     caption: "LOGIC".to_owned(),
//!     link: "log",
//!     time_s: [0.0, 9.0],
//!     panels: vec![Panel {
//!         name: "Voltage".to_owned(),
//!         unit: "V",
//!         curves: vec![("read".to_owned(), Curve::Line(voltage))],
//!         limits: vec![("under-voltage".to_owned(), 3.2)],
//!         marks: vec![Mark { time_s: 4.0, text: "under-voltage, output A".to_owned() }],
//!     }],
//!     ..Figure::default()
//! };
//! let page = document("A log", &html! {
//!     p.verdict { "holds" }
//!     section { h2 { "LOGIC" } (figure.markup()) }
//! });
//! assert!(page.starts_with("<!DOCTYPE html>") && page.contains("under-voltage"));
//! ```
//!
//! Classes that the style knows: `p.verdict` and `p.verdict.fails`; `div.wide` around a wide table,
//! which then scrolls by itself; `td.share` with `style="--share: 40%"` for a bar behind a figure;
//! `div.stretches` around small figures; `section` and `nav` as they are.

mod figure;
mod number;
mod series;

use maud::{DOCTYPE, Markup, PreEscaped, html};

pub use figure::{Curve, Figure, Mark, Panel, Span};
pub use series::{Point, Series};

/// What a browser may load for a page: nothing.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'";

/// A whole page with a title and what it shows, style and script included.
#[must_use]
pub fn document(title: &str, body: &Markup) -> String {
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(POLICY);
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="light dark";
                title { (title) }
                style { (PreEscaped(include_str!("page.css"))) }
                style id="chart-style" { (PreEscaped(include_str!("chart.css"))) }
            }
            body {
                main { (body) (keys()) }
                script { (PreEscaped(include_str!("chart.js"))) }
            }
        }
    };
    page.into_string()
}

/// How charts are read closer.
fn keys() -> Markup {
    html! {
        section.keys {
            h2 { "Looking closer" }
            noscript { p { "Charts need scripts, which are off; words and tables do not." } }
            p id="keys" {
                "A chart that has the focus takes keys: left and right pan, + and − zoom, 0 shows "
                "the whole, shift with left and right goes from value to value, n and p go to the "
                "next and the previous mark, Escape lets go."
            }
            p {
                "With a mouse: drag over a stretch to see it closer, drag with shift to pan, turn "
                "the wheel with control to zoom, double-click for the whole. By touch: drag and "
                "pinch. Charts over the same time move together. A line is what was read, the band "
                "around it how far it may be off; a dashed line is a limit, a small triangle an "
                "alert."
            }
        }
    }
}
