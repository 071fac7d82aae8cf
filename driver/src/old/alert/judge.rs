use super::{Cause, Causes, Kind, Plan};
use crate::old::Channel;
use crate::old::frame::{Condition, Frame};
use crate::old::part::{Codes, Source};
use crate::old::sampling::Ranges;

/// The comparators in software, for parts that lack a kind: limits, debounce, hold, causes, judged once per frame.
///
/// The same meaning as in a part, but that a "conversion" is a frame: debounce counts frames, and what happens between frames is not seen. `N` channels.
///
/// One judge belongs to one plan, whose limits it keeps as codes: a change of limits, debounce or hold begins with a new one.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Judge<const N: usize> {
    /// The ranges that the limits belong to.
    ranges: [Option<Ranges>; N],
    limits: [[i64; KINDS]; N],
    /// Consecutive codes beyond the limit until it counts as passed; 0: nothing is watched.
    needed: [[u8; KINDS]; N],
    /// Consecutive codes beyond the limit so far.
    counts: [[u8; KINDS]; N],
    held: Causes,
    levels: Causes,
    causes: Causes,
}

const KINDS: usize = Kind::ALL.len();

impl<const N: usize> Default for Judge<N> {
    fn default() -> Self {
        Self::idle()
    }
}

impl<const N: usize> Judge<N> {
    /// Nothing is watched.
    #[must_use]
    pub const fn idle() -> Self {
        Self {
            ranges: [None; N],
            limits: [[0; KINDS]; N],
            needed: [[0; KINDS]; N],
            counts: [[0; KINDS]; N],
            held: Causes::empty(),
            levels: Causes::empty(),
            causes: Causes::empty(),
        }
    }

    /// Judges all limits of a plan; nothing seen yet.
    #[must_use]
    pub fn new(plan: &Plan<'_>) -> Self {
        Self::of(plan, plan.watched())
    }

    /// Judges those limits of a plan that its part does not compare itself.
    #[must_use]
    pub fn of_driver(plan: &Plan<'_>) -> Self {
        Self::of(plan, plan.judged_by(Source::Driver))
    }

    /// Judges these of a plan's limits.
    pub(crate) fn of(plan: &Plan<'_>, watched: Causes) -> Self {
        let mut judge = Self::idle();
        judge.held = plan.held();
        let places = judge.limits.iter_mut().zip(&mut judge.needed);
        let places = places.zip(&mut judge.ranges);
        for (channel, ((limits, needed), ranges)) in Channel::first(u8::MAX).zip(places) {
            *ranges = plan.ranges(channel);
            for (kind, (limit, needed)) in Kind::ALL.into_iter().zip(limits.iter_mut().zip(needed))
            {
                if watched.contains(Causes::of(Cause::Limit(channel, kind)))
                    && let Some(code) = plan.code(channel, kind)
                {
                    (*limit, *needed) = (code, plan.debounce(channel, kind));
                }
            }
        }
        judge
    }

    /// Judges every channel of a frame.
    ///
    /// Frames without results (after a reset, without supply, before the first mean) are passed over, and so are channels that were converted in other ranges than the plan's: their
    /// codes mean something else.
    pub fn frame(&mut self, frame: &Frame<'_>) {
        let runs = matches!(frame.condition(), Condition::Steady | Condition::Boundary);
        if !runs || !frame.head().complete {
            return;
        }
        for (channel, _) in Channel::first(u8::MAX).zip([(); N]) {
            self.channel(channel, frame.ranges(channel), &frame.codes(channel));
        }
    }

    /// Judges one channel as it was converted; with `None` for its ranges, as not enabled.
    pub fn channel(&mut self, channel: Channel, ranges: Option<Ranges>, codes: &Codes) {
        if ranges.is_none() {
            self.disable(channel);
        }
        if ranges.is_none() || self.ranges.get(channel.index()) != Some(&ranges) {
            return;
        }
        for kind in Kind::ALL {
            let code = match kind {
                Kind::OverVoltage | Kind::UnderVoltage => i64::from(codes.bus),
                Kind::OverCurrent | Kind::UnderCurrent => i64::from(codes.sense),
                Kind::OverPower => codes.power,
            };
            self.code(channel, kind, code);
        }
    }

    /// Judges one code: strict comparison, debounce, then level and cause.
    pub fn code(&mut self, channel: Channel, kind: Kind, code: i64) {
        let (row, column) = (channel.index(), kind.index());
        let of = |table: &[[u8; KINDS]; N]| table.get(row)?.get(column).copied();
        let (Some(&limit), Some(needed), Some(count)) = (
            self.limits.get(row).and_then(|limits| limits.get(column)),
            of(&self.needed).filter(|needed| *needed > 0),
            self.counts
                .get_mut(row)
                .and_then(|counts| counts.get_mut(column)),
        ) else {
            return;
        };
        let beyond = if kind.is_over() {
            code > limit
        } else {
            code < limit
        };
        *count = if beyond {
            count.saturating_add(1).min(needed)
        } else {
            0
        };
        let level = *count >= needed;
        let cause = Causes::of(Cause::Limit(channel, kind));
        self.levels.set(cause, level);
        if level || !self.held.contains(cause) {
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
    fn disable(&mut self, channel: Channel) {
        let own = Causes::channel(channel);
        self.levels.remove(own);
        self.causes.remove(own.difference(self.held));
        if let Some(counts) = self.counts.get_mut(channel.index()) {
            *counts = [0; KINDS];
        }
    }
}
