use std::fmt::Write;

use maud::{Markup, PreEscaped, html};

use super::number::shortest;
use super::series::Series;
use crate::quantity::quantity;

/// Charts one above the other over the same time.
#[derive(Clone, Debug, Default)]
pub struct Figure {
    /// What it shows, for its caption.
    pub caption: String,
    /// Figures of one page with the same word here show the same stretch of time when one of them
    /// is zoomed; empty for a figure by itself.
    pub link: &'static str,
    /// First and last moment, in seconds.
    pub time_s: [f64; 2],
    /// From the top down.
    pub panels: Vec<Panel>,
    /// Stretches of time that are marked in all panels.
    pub spans: Vec<Span>,
}

/// One chart.
#[derive(Clone, Debug, Default)]
pub struct Panel {
    /// Quantity that it shows, such as "Voltage".
    pub name: String,
    /// Its unit without a prefix, such as "V".
    pub unit: &'static str,
    /// Curves by name; the first is the one that values are read from.
    pub curves: Vec<(String, Curve)>,
    /// Lines at a value.
    pub limits: Vec<(String, f64)>,
    /// Moments.
    pub marks: Vec<Mark>,
}

/// A curve and how it is drawn.
#[derive(Clone, Debug)]
pub enum Curve {
    /// Points, straight lines between them, and their bounds as a band.
    Line(Series),
    /// The lines alone, for what is known at any moment.
    Plain(Series),
    /// Points alone, with their bounds.
    Dots(Series),
}

/// A moment that something happened at.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    /// When, in seconds.
    pub time_s: f64,
    /// What, in a line.
    pub text: String,
}

/// A stretch of time in which something lasted.
#[derive(Clone, Debug, PartialEq)]
pub struct Span {
    /// From when to when, in seconds; the same for a moment.
    pub time_s: [f64; 2],
    /// What, in a line.
    pub text: String,
}

impl Curve {
    /// What it is made of.
    #[must_use]
    pub const fn series(&self) -> &Series {
        let (Self::Line(series) | Self::Plain(series) | Self::Dots(series)) = self;
        series
    }

    const fn sort(&self) -> &'static str {
        match self {
            Self::Line(_) => "line",
            Self::Plain(_) => "plain",
            Self::Dots(_) => "dots",
        }
    }
}

/// Rows of the table that stands for a figure.
const ROWS: u32 = 12;

impl Figure {
    /// The figure with what its script draws from, a sentence for each panel and, folded, a table.
    #[must_use]
    pub fn markup(&self) -> Markup {
        let summary = self.summary();
        html! {
            figure.chart {
                figcaption { (self.caption) }
                script type="application/json" { (PreEscaped(self.json(&summary))) }
                details {
                    summary { "The same in words and numbers" }
                    p { (summary) }
                    @if self.panels.iter().any(|panel| panel.longest() > ROWS as usize) {
                        (self.table())
                    }
                }
            }
        }
    }

    /// A sentence for each panel.
    fn summary(&self) -> String {
        let mut text = format!(
            "{}, {} to {}.",
            self.caption,
            quantity(self.time_s[0], 4, "s"),
            quantity(self.time_s[1], 4, "s")
        );
        for panel in &self.panels {
            for (name, curve) in &panel.curves {
                panel.describe(name, curve.series(), &mut text);
            }
            for (name, at) in &panel.limits {
                let _ = write!(text, " Limit: {name} {}.", quantity(*at, 4, panel.unit));
            }
            if !panel.marks.is_empty() {
                let _ = write!(text, " Marks: {}.", panel.marks.len());
            }
        }
        for span in &self.spans {
            let [from, to] = span.time_s.map(moment);
            let _ = write!(text, " From {from} to {to}: {}.", span.text);
        }
        text
    }

    /// The least and the greatest of each panel's first curve, in equal stretches of time.
    fn table(&self) -> Markup {
        let [begin, end] = self.time_s;
        let at = |row: u32| begin + (end - begin) * f64::from(row) / f64::from(ROWS);
        let cell = |panel: &Panel, row: u32| {
            let after = if row + 1 == ROWS {
                f64::INFINITY
            } else {
                at(row + 1)
            };
            let (_, curve) = panel.curves.first()?;
            let both = curve.series().extremes_within(at(row), after)?;
            Some(both.map(|point| quantity(point.value, 5, panel.unit)))
        };
        html! {
            div.wide {
                table {
                    thead { tr {
                        th scope="col" { "from" }
                        @for panel in &self.panels {
                            th scope="col" colspan="2" { (panel.name) ", least and greatest" }
                        }
                    } }
                    tbody { @for row in 0..ROWS { tr {
                        th scope="row" { (quantity(at(row), 4, "s")) }
                        @for panel in &self.panels {
                            @for value in cell(panel, row).unwrap_or_default() { td { (value) } }
                        }
                    } } }
                }
            }
        }
    }

    /// What the script draws from. Nothing in it can end the element that it stands in.
    fn json(&self, summary: &str) -> String {
        let mut out = String::from("{");
        field("caption", &self.caption, &mut out);
        field("summary", summary, &mut out);
        field("link", self.link, &mut out);
        pair("time", self.time_s, &mut out);
        out.push_str("\"panels\":[");
        // Most often all curves have the same times: they stand with the first one alone.
        let first = self.panels.first().and_then(|panel| panel.curves.first());
        let mut times = None;
        separated(&self.panels, &mut out, |panel, out| {
            panel.json(times, out);
            times = first.map(|(_, curve)| curve.series());
        });
        out.push_str("],\"spans\":[");
        separated(&self.spans, &mut out, |span, out| {
            out.push('{');
            pair("time", span.time_s, out);
            last_field("text", &span.text, out);
        });
        out.push_str("]}");
        out
    }
}

impl Panel {
    /// Most points of a curve.
    fn longest(&self) -> usize {
        let curves = self.curves.iter();
        let lengths = curves.map(|(_, curve)| curve.series().points().len());
        lengths.max().unwrap_or(0)
    }

    fn describe(&self, name: &str, series: &Series, text: &mut String) {
        let name = match self.curves.len() {
            1 => self.name.clone(),
            _ => format!("{}, {name}", self.name),
        };
        let Some([least, greatest]) = series.extremes() else {
            let _ = write!(text, " {name}: no value.");
            return;
        };
        let value = |value: f64| quantity(value, 5, self.unit);
        let _ = write!(
            text,
            " {name}: least {} at {}, greatest {} at {}",
            value(least.value),
            moment(least.time_s),
            value(greatest.value),
            moment(greatest.time_s)
        );
        if let Some(bin_s) = series.bin_s() {
            let _ = write!(
                text,
                "; of {} points the least and the greatest in each {} are drawn",
                crate::quantity::count(series.given()),
                quantity(bin_s, 3, "s")
            );
        }
        text.push('.');
    }

    fn json(&self, times: Option<&Series>, out: &mut String) {
        out.push('{');
        field("name", &self.name, out);
        field("unit", self.unit, out);
        out.push_str("\"curves\":[");
        separated(&self.curves, out, |(name, curve), out| {
            out.push('{');
            field("name", name, out);
            field("sort", curve.sort(), out);
            curve.series().json(times, out);
            out.push('}');
        });
        out.push_str("],\"limits\":[");
        separated(&self.limits, out, |(name, at), out| {
            out.push_str("{\"at\":");
            shortest(*at, 9, out);
            out.push(',');
            last_field("name", name, out);
        });
        out.push_str("],\"marks\":[");
        separated(&self.marks, out, |mark, out| {
            out.push_str("{\"t\":");
            shortest(mark.time_s, 12, out);
            out.push(',');
            last_field("text", &mark.text, out);
        });
        out.push_str("]}");
    }
}

/// To a thousandth of a second, and what is shorter than one to four digits.
fn moment(at_s: f64) -> String {
    match at_s.abs() < 1.0 {
        true => quantity(at_s, 4, "s"),
        false => format!("{at_s:.3} s"),
    }
}

fn separated<T>(all: &[T], out: &mut String, mut one: impl FnMut(&T, &mut String)) {
    for (place, it) in all.iter().enumerate() {
        if place > 0 {
            out.push(',');
        }
        one(it, out);
    }
}

fn pair(name: &str, values: [f64; 2], out: &mut String) {
    let _ = write!(out, "\"{name}\":[");
    shortest(values[0], 12, out);
    out.push(',');
    shortest(values[1], 12, out);
    out.push_str("],");
}

fn field(name: &str, text: &str, out: &mut String) {
    last_field(name, text, out);
    out.pop();
    out.push(',');
}

/// A text under its name, and the end of its object.
fn last_field(name: &str, text: &str, out: &mut String) {
    let _ = write!(out, "\"{name}\":\"");
    for character in text.chars() {
        match character {
            '"' | '\\' => {
                out.push('\\');
                out.push(character);
            }
            '<' | '>' | '&' | '\u{0}'..='\u{1f}' | '\u{2028}' | '\u{2029}' => {
                let _ = write!(out, "\\u{:04x}", u32::from(character));
            }
            character => out.push(character),
        }
    }
    out.push_str("\"}");
}
