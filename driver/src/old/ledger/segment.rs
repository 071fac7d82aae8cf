//! A stretch of time over which one set-up ran and no count was lost.

use crate::old::frame::Stamp;
use crate::old::sampling::Mode;

/// Where an account stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Course {
    /// Nothing was ever open, or nothing is known of when it ended.
    Empty,
    /// The epoch ended with the last frame.
    Stopped,
    /// A segment is open.
    Open,
}

/// What is common to all rails of the open segment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Segment {
    pub(super) course: Course,
    pub(super) start: Stamp,
    /// Of the last frame, also after the segment has ended.
    pub(super) last: Stamp,
    /// Rounds since the start, and the part's count as last latched.
    pub(super) rounds: u64,
    pub(super) last_rounds: u32,
    /// Rounds for which no latched reading stands: those before the first complete one.
    pub(super) unread: u64,
    /// What the part does in it; `None` until the first frame after a boundary tells.
    pub(super) mode: Option<Mode>,
    /// Round period; 0 while nothing counts or the mode is not known.
    pub(super) period_us: u32,
    /// How long after the last frame the next is safe by the host's clock; without end where nothing counts.
    pub(super) safe_us: u64,
    /// [`Frame`](crate::old::Frame)'s count of turns as of its beginning.
    pub(super) turns: u32,
}

impl Segment {
    /// None.
    pub(super) const EMPTY: Self = Self {
        course: Course::Empty,
        start: NEVER,
        last: NEVER,
        rounds: 0,
        last_rounds: 0,
        unread: 0,
        mode: None,
        period_us: 0,
        safe_us: 0,
        turns: 0,
    };
}

const NEVER: Stamp = Stamp {
    before_us: 0,
    after_us: 0,
};

/// `now - before` of an unsigned counter `bits` (at most 32) wide that wraps.
pub(crate) fn wrapped_count(now: u32, before: u32, bits: u8) -> u32 {
    let spare = 32_u32.saturating_sub(u32::from(bits));
    now.wrapping_sub(before)
        .checked_shl(spare)
        .and_then(|left| left.checked_shr(spare))
        .unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounds_across_the_wrap() {
        assert_eq!(wrapped_count(5, 0x0FFF_FFFE, 28), 7);
        assert_eq!(wrapped_count(0, 0, 28), 0);
        assert_eq!(wrapped_count(3, u32::MAX, 32), 4);
    }
}
