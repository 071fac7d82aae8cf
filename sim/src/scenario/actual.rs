//! What a rail's load and source really do: to be declared where a scenario does not, and to hold a
//! declaration against.

use super::jumps::Jumps;
use super::{Declared, Flow, RailPlan};
use crate::plant::{PlantError, Switched};

/// What a rail comes to over a scenario; values with the moments at which they are first.
pub(super) struct Actual {
    /// Of the current.
    pub(super) steps: Jumps,
    /// Of the source's own voltage, without what the current makes of its impedance.
    pub(super) source_steps: Jumps,
    pub(super) least_na: (i64, u64),
    pub(super) greatest_na: (i64, u64),
    pub(super) least_nv: (i64, u64),
    pub(super) greatest_nv: (i64, u64),
}

impl Actual {
    /// Follows the rail over `duration_ns`, and its steps over an hour at least; none where it has
    /// too many pieces to be looked through.
    ///
    /// # Errors
    /// None for a rail that was read from a file.
    pub(super) fn follow(
        plan: &RailPlan,
        duration_ns: u64,
        scan_ns: u64,
    ) -> Result<Option<Self>, PlantError> {
        let mut rail = plan.rail()?;
        let extremes = rail_extremes(&mut rail, duration_ns);
        let Some([least_na, greatest_na, least_nv, greatest_nv]) = extremes else {
            return Ok(None);
        };
        let most = |least: (i64, u64), greatest: (i64, u64)| greatest.0.max(-least.0) / SMOOTH;
        let jumps = |smooth| Jumps::new(scan_ns, smooth, duration_ns);
        let mut actual = Self {
            steps: jumps(most(least_na, greatest_na)),
            source_steps: jumps(most(least_nv, greatest_nv)),
            least_na,
            greatest_na,
            least_nv,
            greatest_nv,
        };
        actual.count(&mut plan.rail()?, duration_ns);
        Ok(Some(actual))
    }

    fn count(&mut self, rail: &mut Switched, duration_ns: u64) {
        let impedance_uohm = i128::from(rail.impedance_uohm());
        let open = |nv: i64, na: i64| nv + (i128::from(na) * impedance_uohm / 1_000_000) as i64;
        let (mut at_ns, mut beyond) = (0, 0);
        while at_ns < duration_ns || (at_ns < HOUR_NS && beyond < BEYOND_MAX) {
            let Some(piece) = rail.piece(at_ns) else {
                break;
            };
            beyond += u32::from(at_ns >= duration_ns);
            let (from_ns, to_ns) = (piece.from_ns, piece.to_ns);
            self.steps
                .note((from_ns, piece.start_na), (to_ns, piece.end_na));
            let start_nv = open(piece.start_nv, piece.start_na);
            let end_nv = open(piece.end_nv, piece.end_na);
            self.source_steps.note((from_ns, start_nv), (to_ns, end_nv));
            at_ns = to_ns;
        }
        self.steps.end(at_ns);
        self.source_steps.end(at_ns);
    }

    /// The greatest magnitude of the current, and when it is first.
    pub(super) fn most_na(&self) -> (i64, u64) {
        if self.greatest_na.0 >= -self.least_na.0 {
            self.greatest_na
        } else {
            (-self.least_na.0, self.least_na.1)
        }
    }

    /// Whether current flows back, other than by rounding.
    pub(super) const fn flows_back(&self) -> bool {
        self.least_na.0 < -ROUNDING_NA
    }

    /// The narrowest declaration that is true; none where steps are too many to be counted.
    pub(super) fn declaration(&self, line: u64) -> Option<Declared> {
        let jumps = &self.source_steps;
        Some(Declared {
            line,
            steps_per_hour: self.steps.declared()?,
            step_na: self.steps.greatest().0,
            voltage_steps: match jumps.declared()? {
                0 => None,
                per_hour => Some((per_hour, jumps.greatest().0)),
            },
            flow: match self.flows_back() {
                true => Flow::Both,
                false => Flow::Forward,
            },
            greatest_na: self.most_na().0.max(1),
            mean: None,
            voltage_nv: Some((self.least_nv.0, self.greatest_nv.0)),
        })
    }
}

/// Least and greatest current, least and greatest voltage, each with its moment.
fn rail_extremes(rail: &mut Switched, duration_ns: u64) -> Option<[(i64, u64); 4]> {
    let first = rail.piece(0)?;
    let (na, nv) = (
        (first.start_na, first.from_ns),
        (first.start_nv, first.from_ns),
    );
    let mut seen = [na, na, nv, nv];
    let mut at_ns = first.from_ns;
    for _ in 0..PIECES_MAX {
        if at_ns >= duration_ns {
            return Some(seen);
        }
        let whole = rail.piece(at_ns)?;
        let piece = whole.cut(duration_ns);
        for (at_ns, na, nv) in [
            (piece.from_ns, piece.start_na, piece.start_nv),
            (piece.to_ns, piece.end_na, piece.end_nv),
        ] {
            let [least_na, greatest_na, least_nv, greatest_nv] = &mut seen;
            for (least, greatest, value) in
                [(least_na, greatest_na, na), (least_nv, greatest_nv, nv)]
            {
                if value < least.0 {
                    *least = (value, at_ns);
                }
                if value > greatest.0 {
                    *greatest = (value, at_ns);
                }
            }
        }
        at_ns = whole.to_ns;
    }
    None
}

/// What is smaller than that part of the greatest value is no step.
const SMOOTH: i64 = 1_000;
/// Loads that share a source round to whole nanoamperes.
const ROUNDING_NA: i64 = 10;
const HOUR_NS: u64 = 3_600_000_000_000;
/// Pieces beyond the scenario's duration.
const BEYOND_MAX: u32 = 100_000;
/// About a second's work.
const PIECES_MAX: u64 = 20_000_000;
