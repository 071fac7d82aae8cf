//! Greatest mean over a stretch, and greatest number of steps in an hour, in bounded memory.

use std::collections::VecDeque;

/// A running sum over time at some moments: every so often one is kept.
pub(super) struct Sums {
    points: Vec<(i64, f64)>,
    every_ns: i64,
    last: (i64, f64),
}

const POINTS: usize = 4096;

impl Sums {
    pub(super) fn new(at_ns: i64) -> Self {
        Self {
            points: vec![(at_ns, 0.0)],
            every_ns: 1,
            last: (at_ns, 0.0),
        }
    }

    /// Adds what came to the sum up to a moment.
    pub(super) fn add(&mut self, at_ns: i64, amount: f64) {
        self.last = (at_ns, self.last.1 + amount);
        if at_ns - self.points[self.points.len() - 1].0 < self.every_ns {
            return;
        }
        self.points.push(self.last);
        if self.points.len() == POINTS {
            let mut number = 0;
            self.points.retain(|_| {
                number += 1;
                number % 2 == 1
            });
            self.every_ns = (at_ns - self.points[0].0) / (POINTS as i64 / 2);
        }
    }

    /// Greatest mean over stretches between kept moments of at least so long.
    pub(super) fn greatest_mean(&self, over_ns: i64) -> Option<f64> {
        let mut points = self.points.clone();
        points.push(self.last);
        let (mut to, mut greatest) = (0, None);
        for from in &points {
            while points
                .get(to)
                .is_some_and(|point| point.0 - from.0 < over_ns)
            {
                to += 1;
            }
            let Some(end) = points.get(to) else { break };
            let mean = (end.1 - from.1) / ((end.0 - from.0) as f64 / 1e9);
            greatest = Some(greatest.map_or(mean, |greatest: f64| greatest.max(mean)));
        }
        greatest
    }
}

/// Steps in the last hour, by whole seconds.
#[derive(Default)]
pub(super) struct InAnHour {
    seconds: VecDeque<(i64, u64)>,
    present: u64,
    most: u64,
}

impl InAnHour {
    pub(super) fn note(&mut self, at_ns: i64) {
        let second = at_ns.div_euclid(1_000_000_000);
        match self.seconds.back_mut() {
            Some((last, count)) if *last == second => *count += 1,
            _ => self.seconds.push_back((second, 1)),
        }
        self.present += 1;
        while let Some((first, count)) = self.seconds.front().copied() {
            if second - first <= 3600 {
                break;
            }
            self.present -= count;
            self.seconds.pop_front();
        }
        self.most = self.most.max(self.present);
    }

    /// The most in any 3601 s.
    pub(super) fn most(&self) -> u64 {
        self.most
    }
}
