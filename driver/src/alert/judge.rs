use super::{Cause, Causes, Kind, Plan};
use crate::Channel;
use crate::frame::{Condition, Frame};

/// The comparators in software, for parts that lack a kind: limits, debounce, hold, causes, judged once per frame.
///
/// The same meaning as in a part, but that a "conversion" is a frame: debounce counts frames, and what happens between frames is not seen. `N` channels.
///
/// One judge belongs to one plan: a change of limits, debounce or hold begins with a new one.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Judge<const N: usize> {
    counts: [[u8; 5]; N],
    levels: Causes,
    causes: Causes,
}

impl<const N: usize> Default for Judge<N> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const N: usize> Judge<N> {
    /// Nothing seen yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            counts: [[0; 5]; N],
            levels: Causes::empty(),
            causes: Causes::empty(),
        }
    }

    /// Judges every channel of a frame by the plan.
    ///
    /// Frames without results (after a reset, without supply, before the first mean) are passed over, and so are channels that were converted in other ranges than the plan's: their
    /// codes mean something else.
    pub fn frame(&mut self, plan: &Plan<'_>, frame: &Frame<'_>) {
        let runs = matches!(frame.condition(), Condition::Steady | Condition::Boundary);
        if !runs || !frame.head().complete {
            return;
        }
        for (channel, _) in Channel::first(u8::MAX).zip([(); N]) {
            let ranges = frame.ranges(channel);
            if ranges.is_none() {
                self.disable(plan, channel);
            }
            if ranges.is_none() || ranges != plan.ranges(channel) {
                continue;
            }
            let codes = frame.codes(channel);
            for kind in Kind::ALL {
                let code = match kind {
                    Kind::OverVoltage | Kind::UnderVoltage => i64::from(codes.bus),
                    Kind::OverCurrent | Kind::UnderCurrent => i64::from(codes.sense),
                    Kind::OverPower => codes.power,
                };
                self.code(plan, channel, kind, code);
            }
        }
    }

    /// Judges one code: strict comparison, debounce, then level and cause.
    pub fn code(&mut self, plan: &Plan<'_>, channel: Channel, kind: Kind, code: i64) {
        let Some(limit) = plan.code(channel, kind) else {
            return;
        };
        let cause = Causes::of(Cause::Limit(channel, kind));
        let Some(count) = self
            .counts
            .get_mut(channel.index())
            .and_then(|kinds| kinds.get_mut(kind.index()))
        else {
            return;
        };
        let beyond = if kind.is_over() {
            code > limit
        } else {
            code < limit
        };
        let needed = plan.debounce(channel, kind);
        *count = if beyond {
            count.saturating_add(1).min(needed)
        } else {
            0
        };
        let level = *count >= needed;
        self.levels.set(cause, level);
        if level || !plan.held().contains(cause) {
            self.causes.set(cause, level);
        }
    }

    /// Causes that are set.
    #[must_use]
    pub const fn causes(&self) -> Causes {
        self.causes
    }

    /// Conditions that hold now, debounced.
    #[must_use]
    pub const fn levels(&self) -> Causes {
        self.levels
    }

    /// Clears causes that were seen. One whose condition persists is set again by the next code.
    pub fn clear(&mut self, seen: Causes) {
        self.causes.remove(seen);
    }

    /// No conversions: no counts, no levels, and no causes but those that are held.
    fn disable(&mut self, plan: &Plan<'_>, channel: Channel) {
        let own = Causes::channel(channel);
        self.levels.remove(own);
        self.causes.remove(own.difference(plan.held()));
        if let Some(kinds) = self.counts.get_mut(channel.index()) {
            *kinds = [0; 5];
        }
    }
}
