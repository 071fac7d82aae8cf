use crate::config::{AlertFlags, Outputs};
use crate::info::PartInfo;
use crate::monitor::Sample;

/// What a proof test found of one output's way to the host.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Finding {
    /// Low when driven, high when not.
    Works,
    /// Never low: broken, or stuck high; or the part converts nothing.
    NeverLow,
    /// Never high: shorted, stuck low, or held low by another part on the line.
    NeverHigh,
    /// Follows the other output instead.
    Swapped,
    /// Follows both outputs: the lines are joined.
    Joined,
    /// The part has no such output, or no flag that can be brought about at will.
    NotTested,
}

/// Findings for both outputs.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Proof {
    /// Output A.
    pub a: Finding,
    /// Output B.
    pub b: Finding,
}

impl Proof {
    /// Whether both outputs reach the host, each on its own line.
    #[must_use]
    pub const fn passed(&self) -> bool {
        matches!((self.a, self.b), (Finding::Works, Finding::Works))
    }

    /// Lines A and B, low or not, at rest, with A driven, with B driven.
    pub(super) const fn of(
        [[rest_a, rest_b], [own_a, cross_b], [cross_a, own_b]]: [[bool; 2]; 3],
    ) -> Self {
        Self {
            a: judged(rest_a, own_a, cross_a),
            b: judged(rest_b, own_b, cross_b),
        }
    }

    /// Of a part that cannot be tested.
    pub(super) const NOT_TESTED: Self = Self {
        a: Finding::NotTested,
        b: Finding::NotTested,
    };
}

/// The masks of the three steps: nothing, then the end of each scan on output A, then on output B.
/// No limit is touched, and what limits set meanwhile stays.
pub(super) const STEPS: [[AlertFlags; 2]; 3] = [
    [AlertFlags::empty(); 2],
    [AlertFlags::SCAN_DONE, AlertFlags::empty()],
    [AlertFlags::empty(), AlertFlags::SCAN_DONE],
];

/// Whether a part's outputs can be proved.
pub(super) fn can_prove(info: &PartInfo) -> bool {
    let alerts = &info.alerts;
    alerts.single_masks
        && alerts.own.contains(AlertFlags::SCAN_DONE)
        && alerts.outputs == Outputs::all()
}

/// How long a flag takes to be set: one scan, and half as much again for a slow oscillator and the
/// wake-up.
pub(super) fn wait_us<const N: usize, S: Sample<N> + ?Sized>(sample: &S) -> u32 {
    let (scan, info) = (sample.scan(), sample.info());
    let period_us = scan.period_us(info);
    period_us
        .saturating_add(period_us / 2)
        .saturating_add(info.wake_us)
}

/// A line is low at rest, when its own output is driven, when the other is.
const fn judged(rest: bool, own: bool, cross: bool) -> Finding {
    match (rest, own, cross) {
        (true, _, _) => Finding::NeverHigh,
        (false, true, false) => Finding::Works,
        (false, true, true) => Finding::Joined,
        (false, false, true) => Finding::Swapped,
        (false, false, false) => Finding::NeverLow,
    }
}
