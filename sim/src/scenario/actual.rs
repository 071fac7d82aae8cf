//! What a rail's load and source really do, for a scenario that does not declare it.

use std::collections::VecDeque;

use super::{Declared, Flow};
use crate::plant::Rail;

/// The narrowest declaration that is true of `rail` over `duration_ns`; none where it has too many
/// pieces to be looked through.
pub(super) fn declaration(
    rail: &mut Rail,
    impedance_uohm: u64,
    duration_ns: u64,
) -> Option<Declared> {
    let (mut current, mut voltage) = (Steps::default(), Steps::default());
    let mut before = rail.piece(0)?;
    let mut pieces = 0;
    while before.to_ns < duration_ns {
        let after = rail.piece(before.to_ns + 1)?;
        let step_na = after.start_na - before.end_na;
        // The source's own, without what the current's step makes of its impedance.
        let drop_nv = i128::from(step_na) * i128::from(impedance_uohm) / 1_000_000;
        let step_nv = i128::from(after.start_nv - before.end_nv) + drop_nv;
        let step_nv = i64::try_from(step_nv).unwrap_or(i64::MAX);
        current.note(after.from_ns, step_na, 0);
        voltage.note(after.from_ns, step_nv, ROUNDED_NV);
        pieces += 1;
        if pieces > PIECES_MAX {
            return None;
        }
        before = after;
    }
    let extremes = rail.extremes(duration_ns);
    let greatest_na = extremes.current_na_max.max(-extremes.current_na_min);
    Some(Declared {
        steps_per_hour: current.per_hour(duration_ns)?,
        step_na: current.greatest,
        voltage_steps: match voltage.per_hour(duration_ns)? {
            0 => None,
            per_hour => Some((per_hour, voltage.greatest)),
        },
        flow: if extremes.current_na_min < 0 {
            Flow::Both
        } else {
            Flow::Forward
        },
        greatest_na: greatest_na.max(1),
        mean: None,
        voltage_nv: Some((extremes.voltage_nv_min, extremes.voltage_nv_max)),
    })
}

/// Steps of one quantity.
#[derive(Default)]
struct Steps {
    greatest: i64,
    all: u64,
    /// When those of the last hour were.
    recent: VecDeque<u64>,
    /// The most that an hour had.
    in_an_hour: usize,
}

impl Steps {
    /// Takes a step, if it is more than what rounding makes.
    fn note(&mut self, at_ns: u64, step: i64, rounded: i64) {
        if step.saturating_abs() <= rounded {
            return;
        }
        self.greatest = self.greatest.max(step.saturating_abs());
        self.all += 1;
        self.recent.push_back(at_ns);
        while self
            .recent
            .front()
            .is_some_and(|first| first + HOUR_NS <= at_ns)
        {
            self.recent.pop_front();
        }
        self.in_an_hour = self.in_an_hour.max(self.recent.len());
    }

    /// As a declaration counts them: the most in an hour, and the rate over all the time, which is
    /// greater where that is less than an hour.
    fn per_hour(&self, duration_ns: u64) -> Option<u32> {
        let rate = u128::from(self.all) * u128::from(HOUR_NS);
        let rate = u64::try_from(rate.div_ceil(u128::from(duration_ns))).ok()?;
        u32::try_from(rate.max(self.in_an_hour as u64)).ok()
    }
}

const HOUR_NS: u64 = 3_600_000_000_000;

/// Both ends of a step and the drop are rounded.
const ROUNDED_NV: i64 = 2;

/// About a second's work.
const PIECES_MAX: u64 = 20_000_000;
