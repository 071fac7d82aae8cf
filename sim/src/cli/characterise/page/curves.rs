use crate::characterise::{Flowed, Peak, RailFigures};
use crate::cli::table::unit;
use crate::log::Row;
use crate::page::{Curve, Figure, Mark, Panel, Point, Series, Span};
use crate::quantity::spoken;

/// A rail over time: what was read, and what had flowed by then.
pub(super) struct Curves {
    zero_ns: i64,
    voltage: Series,
    current: Series,
    power: Series,
    charge: Series,
    energy: Series,
    flowed: Flowed,
    gaps: Vec<Span>,
}

/// Gaps of a rail that are marked: more are no longer told apart by eye.
const GAPS_MAX: usize = 50;

impl Curves {
    /// From the first reading on, with the moment that times count from.
    pub(super) fn new(row: &Row, gap_ns: i64, zero_ns: i64) -> Self {
        let mut curves = Self {
            zero_ns,
            voltage: Series::new(),
            current: Series::new(),
            power: Series::new(),
            charge: Series::new(),
            energy: Series::new(),
            flowed: Flowed::new(row, gap_ns),
            gaps: Vec::new(),
        };
        curves.push(row);
        curves
    }

    /// The next reading.
    pub(super) fn take(&mut self, row: &Row) {
        if let Err(gap_ns) = self.flowed.take(row)
            && self.gaps.len() < GAPS_MAX
        {
            self.gaps.push(Span {
                time_s: [row.time_ns - gap_ns, row.time_ns].map(|ns| self.since_zero_s(ns)),
                text: "gap: nothing is counted".to_owned(),
            });
        }
        self.push(row);
    }

    fn since_zero_s(&self, time_ns: i64) -> f64 {
        (time_ns - self.zero_ns) as f64 / 1e9
    }

    fn push(&mut self, row: &Row) {
        let time_s = self.since_zero_s(row.time_ns);
        let point = |value| Point {
            time_s,
            value,
            bound: None,
        };
        self.current.push(point(row.current_a));
        self.charge.push(point(self.flowed.charge_c.net()));
        if let Some(voltage_v) = row.voltage_v {
            self.voltage.push(point(voltage_v));
        }
        if let Some(power_w) = row.power_w {
            self.power.push(point(power_w));
            self.energy.push(point(self.flowed.energy_j.net()));
        }
    }

    /// One chart for each quantity that the log has.
    pub(super) fn figure(self, rail: &RailFigures) -> Figure {
        let zero_s = self.zero_ns as f64 / 1e9;
        let panel = |name: &str, unit_of: &'static str, series: Series| Panel {
            name: name.to_owned(),
            unit: unit_of,
            curves: vec![("by the readings".to_owned(), Curve::Line(series))],
            limits: limits(rail, unit_of),
            marks: match unit_of {
                "A" => peaks(rail, zero_s),
                _ => Vec::new(),
            },
        };
        let panels = [
            panel("Voltage", "V", self.voltage),
            panel("Current", "A", self.current),
            panel("Power", "W", self.power),
            panel("Charge", "C", self.charge),
            panel("Energy", "J", self.energy),
        ];
        let has_points = |panel: &Panel| {
            let mut curves = panel.curves.iter();
            curves.any(|(_, curve)| curve.series().given() > 0)
        };
        let counted = match self.zero_ns {
            0 => String::new(),
            _ => format!(", from {zero_s} s on"),
        };
        // A single reading stands in the middle of a second.
        let beside_s = if rail.from_s < rail.to_s { 0.0 } else { 0.5 };
        Figure {
            caption: format!("{}: readings, and totals by them{counted}", rail.name),
            link: "log",
            time_s: [
                rail.from_s - zero_s - beside_s,
                rail.to_s - zero_s + beside_s,
            ],
            panels: panels.into_iter().filter(has_points).collect(),
            spans: self.gaps,
        }
    }
}

/// Limits that were asked for, in a unit.
fn limits(rail: &RailFigures, of: &str) -> Vec<(String, f64)> {
    let limits = rail.excursions.iter();
    limits
        .filter(|limit| unit(limit.kind) == of)
        .map(|limit| (spoken(limit.kind), limit.limit))
        .collect()
}

/// Those of greatest I²t, by time.
fn peaks(rail: &RailFigures, zero_s: f64) -> Vec<Mark> {
    let mark = |peak: &Peak| Mark {
        time_s: peak.begin_s - zero_s,
        text: format!(
            "peak of {:.4} A for {:.4} s",
            peak.greatest_a, peak.duration_s
        ),
    };
    let mut marks: Vec<Mark> = rail.peaks.of_greatest_i2t.iter().map(mark).collect();
    marks.sort_by(|one, other| one.time_s.total_cmp(&other.time_s));
    marks
}

/// What times of a log's charts count from: 0, or where the log's times are a calendar's, whose
/// digits no axis has room for, the whole second in which it begins.
pub(super) fn zero_ns(rails: &[RailFigures]) -> i64 {
    let from_s = rails
        .iter()
        .map(|rail| rail.from_s)
        .fold(f64::INFINITY, f64::min);
    match from_s.abs() < 1e6 {
        true => 0,
        false => from_s.floor() as i64 * 1_000_000_000,
    }
}
