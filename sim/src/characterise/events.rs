//! The second passage: what happens, now that levels are known.

use super::book::Book;
use super::levels::Classes;
use super::report::{Excursions, Peak};
use super::rolling::InAnHour;
use super::{Options, Watched};
use crate::log::Row;
use crate::scenario::AlertKind;

/// Peaks that are told one by one: those of greatest I²t.
const TOLD: usize = 10;

/// What happens on one rail.
pub(super) struct Events {
    pub(super) name: String,
    classes: Classes,
    gap_ns: i64,
    /// A greater change from one reading to the next is a step.
    pub(super) step_from_a: f64,
    before: Option<Row>,
    /// The level of the reading before, and since how many readings.
    present: Option<(usize, u64)>,
    pub(super) visits: Vec<(u64, u64)>,
    /// The change before, if it was a step.
    going: f64,
    pub(super) steps: u64,
    pub(super) greatest_step_a: f64,
    pub(super) in_an_hour: InAnHour,
    peak: Option<Peak>,
    pub(super) peaks: u64,
    pub(super) longest_peak_s: f64,
    pub(super) told: Vec<Peak>,
    pub(super) limits: Vec<(Watched, Excursions)>,
    beyond_since: Vec<Option<i64>>,
}

impl Events {
    pub(super) fn new(book: &Book, name: String, options: &Options) -> Self {
        let extremes = &book.current.extremes;
        let greatest_a = extremes.greatest.0.abs().max(extremes.least.0.abs());
        let usual_a = book
            .changes
            .as_ref()
            .map_or(0.0, |changes| changes.quantile(0.5));
        let classes = book.levels.classes(greatest_a);
        let limits = options.limits.iter().filter(|limit| limit.rail == name);
        let limits: Vec<_> = limits
            .map(|limit| (limit.clone(), Excursions::none(limit.kind, limit.limit)))
            .collect();
        Self {
            name,
            gap_ns: options.gap_ns,
            // As scenarios count them; and not what noise does.
            step_from_a: (greatest_a / 1000.0).max(8.0 * usual_a),
            before: None,
            present: None,
            visits: vec![(0, 0); classes.count()],
            classes,
            going: 0.0,
            steps: 0,
            greatest_step_a: 0.0,
            in_an_hour: InAnHour::default(),
            peak: None,
            peaks: 0,
            longest_peak_s: 0.0,
            told: Vec::new(),
            beyond_since: vec![None; limits.len()],
            limits,
        }
    }

    pub(super) fn classes(&self) -> &Classes {
        &self.classes
    }

    pub(super) fn take(&mut self, row: &Row) {
        let before = self.before.replace(*row);
        let before = before.filter(|before| row.time_ns - before.time_ns <= self.gap_ns);
        let half_s = before.map_or(0.0, |before| (row.time_ns - before.time_ns) as f64 / 2e9);
        if let Some(before) = &before {
            self.step(before, row);
            if let Some(peak) = &mut self.peak {
                peak.add(before.current_a, half_s);
            }
        }
        let level = self.classes.of(row.current_a);
        match &mut self.present {
            Some((present, readings)) if *present == level && before.is_some() => *readings += 1,
            _ => self.enter(level, row, half_s),
        }
        if let Some(peak) = &mut self.peak {
            peak.add(row.current_a, half_s);
            peak.greatest_a = peak.greatest_a.max(row.current_a);
        }
        self.watch(row);
    }

    /// The level changes: halfway between two readings.
    fn enter(&mut self, level: usize, row: &Row, half_s: f64) {
        if let Some((left, readings)) = self.present {
            self.visits[left].0 += 1;
            self.visits[left].1 += u64::from(readings == 1);
        }
        self.present = Some((level, 1));
        if let Some(mut peak) = self.peak.take() {
            peak.is_whole = true;
            self.keep(peak);
        }
        let top = self.classes.count() - 1;
        if top > 0 && level == top {
            self.peak = Some(Peak::at(row.time_ns as f64 / 1e9 - half_s));
        }
    }

    fn keep(&mut self, peak: Peak) {
        self.peaks += 1;
        self.longest_peak_s = self.longest_peak_s.max(peak.duration_s);
        let place = self
            .told
            .partition_point(|other| other.i2t_a2s >= peak.i2t_a2s);
        self.told.insert(place, peak);
        self.told.truncate(TOLD);
    }

    /// A change in the same direction as that before it is the rest of one step.
    fn step(&mut self, before: &Row, row: &Row) {
        let change = row.current_a - before.current_a;
        if change.abs() <= self.step_from_a {
            self.going = 0.0;
            return;
        }
        if self.going * change > 0.0 {
            self.going += change;
        } else {
            self.going = change;
            self.steps += 1;
            self.in_an_hour.note(row.time_ns);
        }
        self.greatest_step_a = self.greatest_step_a.max(self.going.abs());
    }

    fn watch(&mut self, row: &Row) {
        for ((watched, seen), since) in self.limits.iter_mut().zip(&mut self.beyond_since) {
            let value = match watched.kind {
                AlertKind::OverVoltage | AlertKind::UnderVoltage => row.voltage_v,
                AlertKind::OverCurrent | AlertKind::UnderCurrent => Some(row.current_a),
                AlertKind::OverPower => row.power_w,
            };
            let Some(value) = value else { continue };
            let is_under = matches!(
                watched.kind,
                AlertKind::UnderVoltage | AlertKind::UnderCurrent
            );
            let by = if is_under {
                watched.limit - value
            } else {
                value - watched.limit
            };
            if by <= 0.0 {
                *since = None;
                continue;
            }
            let at_s = row.time_ns as f64 / 1e9;
            if since.is_none() {
                seen.times += 1;
                seen.first_s.get_or_insert(at_s);
            }
            let begin_ns = *since.get_or_insert(row.time_ns);
            let lasted_s = (row.time_ns - begin_ns) as f64 / 1e9;
            seen.longest_s = seen.longest_s.max(lasted_s);
            seen.last_s = Some(at_s);
            let is_farther = seen.farthest.is_none_or(|other| match is_under {
                true => value < other,
                false => value > other,
            });
            if is_farther {
                seen.farthest = Some(value);
            }
        }
    }

    /// The log is over: what lasts is counted.
    pub(super) fn finish(&mut self) {
        if let Some((left, readings)) = self.present.take() {
            self.visits[left].0 += 1;
            self.visits[left].1 += u64::from(readings == 1);
        }
        if let Some(peak) = self.peak.take() {
            self.keep(peak);
        }
    }
}

impl Peak {
    fn at(begin_s: f64) -> Self {
        Self {
            begin_s,
            duration_s: 0.0,
            greatest_a: f64::NEG_INFINITY,
            i2t_a2s: 0.0,
            is_whole: false,
        }
    }

    fn add(&mut self, current_a: f64, time_s: f64) {
        self.duration_s += time_s;
        self.i2t_a2s += current_a * current_a * time_s;
    }
}
