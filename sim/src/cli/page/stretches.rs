//! The first alerts of each limit, seen close: the rail's true trajectory, and the moments at which
//! it passed the limit, the output told it and the firmware had it.

use super::figures::{alerts_of, reactions};
use crate::cli::table::unit;
use crate::page::{Curve, Figure, Mark, Panel, Point, Series, Span};
use crate::plant::{Piece, PlantError};
use crate::quantity::spoken;
use crate::run::{AlertReport, Report, word_of};
use crate::scenario::RailPlan;

/// Alerts of one limit that are seen close.
pub(super) const CLOSE_MAX: usize = 3;

/// What a piece is drawn by, where the power over it is not straight.
const STEPS: u32 = 8;

/// In the order of the limits, and of time.
pub(super) fn of_rail(plan: &RailPlan, report: &Report) -> Result<Vec<Figure>, PlantError> {
    let mut figures = Vec::new();
    for limit in &plan.alerts {
        let word = word_of(limit);
        let mut rail = plan.rail()?;
        for alert in alerts_of(plan, word, report).into_iter().take(CLOSE_MAX) {
            let moments = Moments::of(alert);
            let [from_ns, to_ns] = moments.window_ns();
            let mut truth = Series::new();
            let mut at_ns = from_ns;
            while at_ns < to_ns {
                let Some(piece) = rail.piece(at_ns + 1) else {
                    break;
                };
                draw(
                    &piece,
                    [at_ns, piece.to_ns.min(to_ns)],
                    unit(word),
                    &moments,
                    &mut truth,
                );
                at_ns = piece.to_ns;
            }
            figures.push(figure(plan, alert, &moments, truth));
        }
    }
    Ok(figures)
}

/// When an alert came about, in seconds of the bench's time.
struct Moments {
    crossing_s: Option<f64>,
    edge_s: Option<f64>,
    event_s: f64,
    allowed_s: f64,
}

impl Moments {
    fn of(alert: &AlertReport) -> Self {
        let edge_s = alert.edge_to_event_s.map(|took_s| alert.time_s - took_s);
        let crossing_s = edge_s.zip(alert.crossing_to_edge_s);
        Self {
            crossing_s: crossing_s.map(|(edge_s, took_s)| edge_s - took_s),
            edge_s,
            event_s: alert.time_s,
            allowed_s: alert.crossing_to_edge_bound_s + alert.edge_to_event_bound_s,
        }
    }

    fn begin_s(&self) -> f64 {
        self.crossing_s.or(self.edge_s).unwrap_or(self.event_s)
    }

    /// Half of what the reactions may take is seen on either side.
    fn window_ns(&self) -> [u64; 2] {
        let around_s = self.allowed_s / 2.0;
        [self.begin_s() - around_s, self.event_s + around_s].map(|at_s| (at_s * 1e9) as u64)
    }
}

/// A stretch of a piece, by the event's time.
fn draw(piece: &Piece, ends_ns: [u64; 2], unit: &str, moments: &Moments, truth: &mut Series) {
    let length = (piece.to_ns - piece.from_ns) as f64;
    for step in 0..=STEPS {
        let part = f64::from(step) / f64::from(STEPS);
        let [from, to] = ends_ns.map(|ns| ns as f64);
        let at = from + (to - from) * part;
        let x = (at - piece.from_ns as f64) / length;
        let on_line = |start: i64, end: i64| (start as f64 + (end - start) as f64 * x) / 1e9;
        let amps = on_line(piece.start_na, piece.end_na);
        let volts = on_line(piece.start_nv, piece.end_nv);
        truth.push(Point {
            time_s: at / 1e9 - moments.event_s,
            value: match unit {
                "V" => volts,
                "W" => volts * amps,
                _ => amps,
            },
            bound: None,
        });
    }
}

fn figure(plan: &RailPlan, alert: &AlertReport, moments: &Moments, truth: Series) -> Figure {
    let told = |at_s: f64| at_s - moments.event_s;
    let mut marks = Vec::new();
    for (at_s, text) in [
        (moments.crossing_s, "the rail is truly beyond the limit"),
        (moments.edge_s, "the output falls"),
        (Some(moments.event_s), "the firmware has the event"),
    ] {
        marks.extend(at_s.map(|at_s| Mark {
            time_s: told(at_s),
            text: text.to_owned(),
        }));
    }
    let mut spans = Vec::new();
    for (from_s, to_s, text) in [
        (moments.crossing_s, moments.edge_s, "limit to edge"),
        (moments.edge_s, Some(moments.event_s), "edge to event"),
    ] {
        spans.extend(from_s.zip(to_s).map(|(from_s, to_s)| Span {
            time_s: [told(from_s), told(to_s)],
            text: text.to_owned(),
        }));
    }
    let of = unit(alert.kind);
    let mut curves = vec![("truth".to_owned(), Curve::Plain(truth))];
    if let Some(value) = alert.value {
        let mut read = Series::new();
        read.push(Point {
            time_s: 0.0,
            value,
            bound: None,
        });
        curves.push(("read after it".to_owned(), Curve::Dots(read)));
    }
    let [from_ns, to_ns] = moments.window_ns();
    Figure {
        caption: format!("{} {}: {}", plan.name, spoken(alert.kind), reactions(alert)),
        link: "",
        time_s: [from_ns, to_ns].map(|ns| told(ns as f64 / 1e9)),
        panels: vec![Panel {
            name: match of {
                "V" => "Voltage",
                "W" => "Power",
                _ => "Current",
            }
            .to_owned(),
            unit: of,
            curves,
            limits: alert
                .limit
                .map(|at| (spoken(alert.kind), at))
                .into_iter()
                .collect(),
            marks,
        }],
        spans,
    }
}
