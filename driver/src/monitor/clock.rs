use crate::info::TICK_LOG2;

/// The host's clock: what totals are worked out by, and events are dated with.
pub trait Clock {
    /// Microseconds since the clock's own beginning. Never falls; 64 bits do not go round.
    fn now_us(&mut self) -> u64;
}

impl<C: Clock> Clock for &mut C {
    fn now_us(&mut self) -> u64 {
        (**self).now_us()
    }
}

/// When a sample was latched on the host's clock: between two readings of it.
///
/// Unit: microseconds since the clock's own beginning.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Timestamp {
    /// Read right before the latch was asked for.
    pub before_us: u64,
    /// Read right after, and the longest that the part takes from then on.
    pub after_us: u64,
}

impl Timestamp {
    /// How long the bracket is, in microseconds.
    #[must_use]
    pub const fn width_us(&self) -> u64 {
        self.after_us.saturating_sub(self.before_us)
    }

    /// The middle of the bracket in ticks, modulo 2^32.
    pub(crate) const fn ticks(&self) -> u32 {
        // Of a sample the bracket has 32 bits at the most.
        let width_us = (self.after_us as u32).wrapping_sub(self.before_us as u32);
        (self.before_us.wrapping_add((width_us / 2) as u64) >> TICK_LOG2) as u32
    }
}

/// The date of a sample, or none.
pub trait Stamp: Copy + Default + core::fmt::Debug {
    /// When it was latched; `None` without a clock.
    fn timestamp(&self) -> Option<Timestamp>;
}

impl Stamp for () {
    fn timestamp(&self) -> Option<Timestamp> {
        None
    }
}

impl Stamp for Timestamp {
    fn timestamp(&self) -> Option<Timestamp> {
        Some(*self)
    }
}

/// What dates samples: a clock, or nothing.
pub trait TimeSource {
    /// What a sample is dated with.
    type Stamp: Stamp;

    /// Notes the moment before a latch.
    fn begin(&mut self, stamp: &mut Self::Stamp);

    /// Notes the moment after it, to which the part may add `latch_us`, takes from the one before
    /// how old results may be, and tells whether both make a date: not if the clock fell in
    /// between, or if the bracket has more than 32 bits.
    fn end(&mut self, stamp: &mut Self::Stamp, latch_us: u32, age_us: u32) -> bool;
}

/// No clock: samples have readings, and cannot be given to totals.
#[derive(Clone, Copy, Debug, Default)]
pub struct NoClock;

/// A clock that dates samples.
#[derive(Clone, Copy, Debug)]
pub struct WithClock<C>(pub C);

impl TimeSource for NoClock {
    type Stamp = ();

    fn begin(&mut self, (): &mut ()) {}

    fn end(&mut self, (): &mut (), _: u32, _: u32) -> bool {
        true
    }
}

impl<C: Clock> TimeSource for WithClock<C> {
    type Stamp = Timestamp;

    fn begin(&mut self, stamp: &mut Timestamp) {
        stamp.before_us = self.0.now_us();
    }

    #[inline(always)] // most parts know no age
    fn end(&mut self, stamp: &mut Timestamp, latch_us: u32, age_us: u32) -> bool {
        stamp.after_us = self.0.now_us().wrapping_add(u64::from(latch_us));
        if age_us != 0 {
            stamp.before_us = stamp.before_us.saturating_sub(u64::from(age_us));
        }
        stamp.after_us.wrapping_sub(stamp.before_us) >> 32 == 0
    }
}
