//! What flowed up to each reading: straight lines between readings, nothing across gaps.

use crate::log::Row;

/// Charge and energy of one rail so far.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Flowed {
    gap_ns: i64,
    before: Row,
    pub(crate) charge_c: Flow,
    /// Stays 0 where the log has no power.
    pub(crate) energy_j: Flow,
}

/// What flowed from source to load and what flowed back, both not negative.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Flow {
    pub(crate) out: f64,
    pub(crate) back: f64,
}

impl Flowed {
    /// Nothing yet, at the first reading. A step longer than `gap_ns` is a gap.
    pub(crate) fn new(row: &Row, gap_ns: i64) -> Self {
        Self {
            gap_ns,
            before: *row,
            charge_c: Flow::default(),
            energy_j: Flow::default(),
        }
    }

    /// Up to the next reading. Tells the step to it in nanoseconds and the charge that flowed
    /// either way, or that it is a gap of so many.
    pub(crate) fn take(&mut self, row: &Row) -> Result<(i64, f64), i64> {
        let before = std::mem::replace(&mut self.before, *row);
        let step_ns = row.time_ns - before.time_ns;
        if step_ns > self.gap_ns {
            return Err(step_ns);
        }
        let step_s = step_ns as f64 / 1e9;
        let charge_c = Flow::between(before.current_a, row.current_a, step_s);
        self.charge_c.add(charge_c);
        if let Some((from, to)) = before.power_w.zip(row.power_w) {
            self.energy_j.add(Flow::between(from, to, step_s));
        }
        Ok((step_ns, charge_c.out + charge_c.back))
    }
}

impl Flow {
    /// Out less back.
    pub(crate) fn net(self) -> f64 {
        self.out - self.back
    }

    fn add(&mut self, other: Self) {
        self.out += other.out;
        self.back += other.back;
    }

    /// The area under a straight line: what is above zero and what is below.
    fn between(from: f64, to: f64, length: f64) -> Self {
        if from * to >= 0.0 {
            return Self::of((from + to) / 2.0 * length);
        }
        let crossing = from / (from - to) * length;
        let mut both = Self::of(from / 2.0 * crossing);
        both.add(Self::of(to / 2.0 * (length - crossing)));
        both
    }

    /// An area on one side of zero.
    fn of(area: f64) -> Self {
        Self {
            out: area.max(0.0),
            back: (-area).max(0.0),
        }
    }
}
