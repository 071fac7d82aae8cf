//! The first passage: what needs no level.

use super::flowed::Flowed;
use super::levels::Levels;
use super::moments::{Extremes, Moments};
use super::rolling::Sums;
use super::sketch::Sketch;
use crate::log::Row;

/// Readings of a window in which ripple is looked for.
pub(super) const RIPPLE_READINGS: u64 = 100;

/// Everything of one rail that one passage tells.
pub(super) struct Book {
    /// The reading before, which is counted once the one after it is known; and the time from the
    /// one before it.
    before: (Row, i64),
    /// Current of the one before that.
    earlier_a: f64,
    pub(super) rows: u64,
    pub(super) first_ns: i64,
    pub(super) last_ns: i64,
    pub(super) clipped: u64,
    /// Least, greatest and sum of the times between readings, in nanoseconds, and when the greatest
    /// began; gaps and what they come to.
    pub(super) step_ns: (i64, i64),
    pub(super) longest_at_ns: i64,
    pub(super) gaps: (u64, i64),
    pub(super) voltage: Option<Quantity>,
    pub(super) current: Quantity,
    pub(super) power: Option<Quantity>,
    pub(super) levels: Levels,
    /// Magnitudes of the changes from one reading to the next.
    pub(super) changes: Option<Sketch>,
    pub(super) flowed: Flowed,
    /// The log's own totals of charge and energy: at the first reading and at the last.
    pub(super) totals: [Option<[f64; 2]>; 2],
    pub(super) magnitude: Sums,
    pub(super) ripple: Ripples,
}

/// One quantity of a rail.
pub(super) struct Quantity {
    pub(super) plain: Moments,
    pub(super) by_time: Moments,
    pub(super) extremes: Extremes,
    pub(super) sketch: Option<Sketch>,
}

impl Quantity {
    fn new() -> Self {
        Self {
            plain: Moments::default(),
            by_time: Moments::default(),
            extremes: Extremes::default(),
            sketch: Sketch::new(),
        }
    }

    fn take(&mut self, value: f64, at_ns: i64, weight_ns: i64) {
        self.plain.take(value, 1.0);
        self.by_time.take(value, weight_ns as f64 / 1e9);
        self.extremes.take(value, at_ns);
        if let Some(sketch) = &mut self.sketch {
            sketch.take(value, (weight_ns / 1000).max(1).unsigned_abs());
        }
    }
}

/// Greatest less least voltage in windows of readings.
#[derive(Default)]
pub(super) struct Ripples {
    present: Option<(u64, f64, f64, i64)>,
    pub(super) windows: u64,
    sum: f64,
    pub(super) greatest: (f64, i64),
}

impl Ripples {
    fn take(&mut self, value: f64, at_ns: i64) {
        let (count, least, greatest, from_ns) = match self.present {
            Some((count, least, greatest, from)) => {
                (count + 1, value.min(least), value.max(greatest), from)
            }
            None => (1, value, value, at_ns),
        };
        self.present = Some((count, least, greatest, from_ns));
        if count == RIPPLE_READINGS {
            let span = greatest - least;
            self.windows += 1;
            self.sum += span;
            if span > self.greatest.0 {
                self.greatest = (span, from_ns);
            }
            self.present = None;
        }
    }

    pub(super) fn mean(&self) -> f64 {
        self.sum / self.windows as f64
    }
}

impl Book {
    /// From the first reading on.
    pub(super) fn new(row: &Row, gap_ns: i64) -> Self {
        Self {
            before: (*row, 0),
            earlier_a: row.current_a,
            rows: 1,
            first_ns: row.time_ns,
            last_ns: row.time_ns,
            clipped: u64::from(row.clipped),
            step_ns: (i64::MAX, 0),
            longest_at_ns: row.time_ns,
            gaps: (0, 0),
            voltage: row.voltage_v.map(|_| Quantity::new()),
            current: Quantity::new(),
            power: row.power_w.map(|_| Quantity::new()),
            levels: Levels::new(),
            changes: Sketch::new(),
            flowed: Flowed::new(row, gap_ns),
            totals: [row.charge_c, row.energy_j].map(|total| Some([total?; 2])),
            magnitude: Sums::new(row.time_ns),
            ripple: Ripples::default(),
        }
    }

    pub(super) fn take(&mut self, row: &Row) {
        let (before, earlier_ns) = self.before;
        let step_ns = match self.flowed.take(row) {
            Err(gap_ns) => {
                self.gaps = (self.gaps.0 + 1, self.gaps.1 + gap_ns);
                0
            }
            Ok((step_ns, either_way_c)) => {
                self.step_ns.0 = self.step_ns.0.min(step_ns);
                if step_ns > self.step_ns.1 {
                    (self.step_ns.1, self.longest_at_ns) = (step_ns, before.time_ns);
                }
                self.magnitude.add(row.time_ns, either_way_c);
                if let Some(changes) = &mut self.changes {
                    changes.take((row.current_a - before.current_a).abs(), 1);
                }
                step_ns
            }
        };
        let is_passing = is_between(self.earlier_a, before.current_a, row.current_a);
        self.count(&before, (earlier_ns + step_ns) / 2, is_passing);
        self.earlier_a = before.current_a;
        self.before = (*row, step_ns);
        self.rows += 1;
        self.last_ns = row.time_ns;
        self.clipped += u64::from(row.clipped);
        for (totals, now) in self.totals.iter_mut().zip([row.charge_c, row.energy_j]) {
            if let (Some([_, last]), Some(now)) = (totals, now) {
                *last = now;
            }
        }
    }

    /// The last reading has none after it.
    pub(super) fn finish(&mut self) {
        let (last, earlier_ns) = self.before;
        // A single reading stands for itself.
        self.count(
            &last,
            if self.rows == 1 { 2 } else { earlier_ns } / 2,
            false,
        );
    }

    fn count(&mut self, row: &Row, weight_ns: i64, is_passing: bool) {
        let at_ns = row.time_ns;
        self.current.take(row.current_a, at_ns, weight_ns);
        if let Some((quantity, value)) = self.voltage.as_mut().zip(row.voltage_v) {
            quantity.take(value, at_ns, weight_ns);
            self.ripple.take(value, at_ns);
        }
        if let Some((quantity, value)) = self.power.as_mut().zip(row.power_w) {
            quantity.take(value, at_ns, weight_ns);
        }
        let power_w = row.power_w.unwrap_or(row.current_a);
        self.levels
            .take(row.current_a, power_w, weight_ns as f64 / 1e9, is_passing);
    }

    /// Time between the first reading and the last, without gaps, in seconds.
    pub(super) fn span_s(&self) -> f64 {
        (self.last_ns - self.first_ns - self.gaps.1) as f64 / 1e9
    }

    /// Whether all steps are within a hundredth of their mean.
    pub(super) fn is_regular(&self) -> bool {
        let steps = self.rows.saturating_sub(1 + self.gaps.0);
        let mean = self.span_s() * 1e9 / steps as f64;
        let (least, greatest) = self.step_ns;
        steps > 0 && least as f64 >= 0.99 * mean && greatest as f64 <= 1.01 * mean
    }
}

/// Whether a reading lies on the way between its neighbours, which are well apart.
fn is_between(one: f64, middle: f64, other: f64) -> bool {
    let (apart, greatest) = ((other - one).abs(), one.abs().max(other.abs()));
    let (to, from) = (middle - one, other - middle);
    to * from > 0.0 && apart > 0.3 * greatest && to.abs().min(from.abs()) > 0.02 * apart
}
