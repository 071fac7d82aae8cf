use super::Codes;
use crate::Channel;
use crate::board::LimitPlan;
use crate::config::{AlertFlag, AlertFlags, Kind};
use crate::info::Source;

/// What compares the limits of a part that the part does not compare itself.
pub trait Compare: Sealed {
    /// No limits, no flags.
    const NONE: Self;

    /// Takes the limits of a plan that its part does not compare. Flags that are set stay.
    fn set_missing<const M: usize>(&mut self, plan: &LimitPlan<'_, M>);

    /// Compares a sample of all channels.
    fn sample(&mut self, codes: impl Fn(Channel) -> Codes);

    /// Flags that are set.
    fn flags(&self) -> AlertFlags;

    /// Clears flags that were seen. One whose condition stands is set again by the next sample.
    fn clear(&mut self, seen: AlertFlags);
}

/// Bounds a trait to the types of this module.
pub trait Sealed {}

/// The part compares all limits itself.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct NoComparator;

impl Sealed for NoComparator {}

impl Compare for NoComparator {
    const NONE: Self = Self;

    #[inline(always)]
    fn set_missing<const M: usize>(&mut self, _: &LimitPlan<'_, M>) {}

    #[inline(always)]
    fn sample(&mut self, _: impl Fn(Channel) -> Codes) {}

    #[inline(always)]
    fn flags(&self) -> AlertFlags {
        AlertFlags::empty()
    }

    #[inline(always)]
    fn clear(&mut self, _: AlertFlags) {}
}

impl<const N: usize> Sealed for SoftwareComparator<N> {}

impl<const N: usize> Compare for SoftwareComparator<N> {
    const NONE: Self = Self::new();

    fn set_missing<const M: usize>(&mut self, plan: &LimitPlan<'_, M>) {
        self.set_those(plan, |source| source == Source::Driver);
    }

    fn sample(&mut self, codes: impl Fn(Channel) -> Codes) {
        for channel in Channel::first(N as u8) {
            self.channel(channel, &codes(channel));
        }
    }

    fn flags(&self) -> AlertFlags {
        self.flags
    }

    fn clear(&mut self, seen: AlertFlags) {
        self.flags.remove(seen);
    }
}

/// Comparators in software, for a part that lacks some: limits, debounce, latching and flags of `N`
/// channels, compared with the last sample before each look at the flags.
///
/// The same meaning as in a part, but that a "conversion" is a sample: debounce counts samples, and
/// what happens between samples is not seen. No output tells of it.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SoftwareComparator<const N: usize> {
    kinds: [[Comparator; KINDS]; N],
    latching: AlertFlags,
    conditions: AlertFlags,
    flags: AlertFlags,
}

#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Comparator {
    limit: i64,
    /// Codes in a row beyond the limit until it counts as passed; 0: there is no limit.
    needed: u8,
    /// Codes in a row beyond the limit so far.
    count: u8,
}

const KINDS: usize = Kind::ALL.len();

impl Comparator {
    const IDLE: Self = Self {
        limit: 0,
        needed: 0,
        count: 0,
    };
}

impl<const N: usize> Default for SoftwareComparator<N> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const N: usize> SoftwareComparator<N> {
    /// No limits, no flags.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            kinds: [[Comparator::IDLE; KINDS]; N],
            latching: AlertFlags::empty(),
            conditions: AlertFlags::empty(),
            flags: AlertFlags::empty(),
        }
    }

    /// Takes all limits of a plan. Flags that are set stay.
    pub fn set_all<const M: usize>(&mut self, plan: &LimitPlan<'_, M>) {
        self.set_those(plan, |_| true);
    }

    /// Compares one channel as it was converted.
    pub fn channel(&mut self, channel: Channel, codes: &Codes) {
        for kind in Kind::ALL {
            let code = match kind {
                Kind::OverVoltage | Kind::UnderVoltage => i64::from(codes.rail),
                Kind::OverCurrent | Kind::UnderCurrent => i64::from(codes.sense),
                Kind::OverPower => codes.power,
            };
            self.code(channel, kind, code);
        }
    }

    /// Compares one code: strictly, then debounce, then condition and flag.
    pub fn code(&mut self, channel: Channel, kind: Kind, code: i64) {
        let kinds = self.kinds.get_mut(channel.index());
        let comparator = kinds.and_then(|kinds| kinds.get_mut(kind.index()));
        let Some(comparator) = comparator.filter(|comparator| comparator.needed > 0) else {
            return;
        };
        let beyond = if kind.is_over() {
            code > comparator.limit
        } else {
            code < comparator.limit
        };
        comparator.count = match beyond {
            true => comparator.count.saturating_add(1).min(comparator.needed),
            false => 0,
        };
        let condition = comparator.count >= comparator.needed;
        let flag = AlertFlags::of(AlertFlag::Limit(channel, kind));
        self.conditions.set(flag, condition);
        if condition || !self.latching.contains(flag) {
            self.flags.set(flag, condition);
        }
    }

    /// Conditions that stand now, debounced.
    #[must_use]
    pub const fn conditions(&self) -> AlertFlags {
        self.conditions
    }

    fn set_those<const M: usize>(
        &mut self,
        plan: &LimitPlan<'_, M>,
        wanted: impl Fn(Source) -> bool,
    ) {
        self.latching = plan.limits().latching();
        self.conditions = AlertFlags::empty();
        // Flags follow their conditions, and there are none.
        self.flags &= self.latching;
        self.kinds = [[Comparator::IDLE; KINDS]; N];
        for limit in plan.limits().list() {
            let (channel, kind) = (limit.channel(), limit.kind());
            let (debounce, source) = (limit.debounce_count(), plan.compared_by(limit));
            let kinds = self.kinds.get_mut(channel.index());
            let comparator = kinds.and_then(|kinds| kinds.get_mut(kind.index()));
            if let (Some(comparator), Some(code)) = (comparator, plan.code_of(limit))
                && wanted(source)
            {
                (comparator.limit, comparator.needed) = (code, debounce);
            }
        }
    }
}
