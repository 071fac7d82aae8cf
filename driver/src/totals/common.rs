//! What all rails have in common: where things stand, and time by both clocks.

use super::pace::{Last, Pace, Rate};
use super::quantity::Quantity;
use super::report::{Discontinuity, Gap, Update};
use super::sums::Sums;
use crate::board::Factors;
use crate::config::ChannelRange;
use crate::convert::product_unsigned;
use crate::info::Undetectable;
use crate::monitor::Timestamp;
use crate::part::ResumeToken;

/// What all rails have in common. It knows nothing of their number, so that it is linked once.
#[derive(Clone, Copy, Debug)]
#[repr(C)] // bytes in front, where short instructions reach them
pub struct Common {
    pub(super) last: Last,
    pub(super) course: Course,
    /// What could not be found out on any part so far.
    pub(super) undetectable: Undetectable,
    /// The clocks agree within 2^-this.
    pub(super) agreement: u8,
    /// There was a complete sample in the stretch.
    pub(super) weighed: bool,
    pub(super) configuration: u32,
    pub(super) pace: Pace,
    /// Twice the middle of the bracket of the sample that the stretch began with, modulo 2^64.
    pub(super) start_twice_us: u64,
    /// Scans in the stretch.
    pub(super) scans: u64,
    pub(super) clipped_samples: u32,
    pub(super) epoch: u32,
    pub(super) gap: Gap,
    /// Twice the time of the stretches that have ended by the host's clock.
    pub(super) closed_twice_us: u64,
    /// The time that was counted by the part's clock.
    pub(super) part_us: u64,
}

/// Where things stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Course {
    /// There was no sample yet, or nothing is known of when the last one was.
    Empty,
    /// Nothing counts; the time since the last sample will be a gap.
    Stopped,
    /// A stretch goes on.
    Open,
}

/// What a sample says besides its sums.
pub(super) struct Now {
    pub(super) stamp: Timestamp,
    /// The part's count of scans, and how many there were since the sample before.
    pub(super) count: u32,
    pub(super) scans: u32,
    pub(super) configuration: u32,
    pub(super) clipped_samples: u32,
}

/// What a stretch begins under.
pub(super) struct Setting<'s> {
    pub(super) rate: Rate,
    pub(super) ranges: &'s [ChannelRange],
    pub(super) enabled: u16,
    pub(super) undetectable: Undetectable,
}

impl Now {
    /// It as the last sample.
    fn last(&self) -> Last {
        let Timestamp {
            before_us,
            after_us,
        } = self.stamp;
        Last {
            before_us,
            width_us: (after_us as u32).wrapping_sub(before_us as u32),
            scans: self.count,
        }
    }
}

impl Common {
    pub(super) const NONE: Self = Self {
        course: Course::Empty,
        undetectable: Undetectable::empty(),
        agreement: 0,
        weighed: false,
        pace: Pace::NONE,
        last: Last::NEVER,
        start_twice_us: 0,
        scans: 0,
        configuration: 0,
        clipped_samples: 0,
        epoch: 0,
        gap: Gap::NONE,
        closed_twice_us: 0,
        part_us: 0,
    };

    /// Counts a sample's scans, or ticks of the host's clock, if the stretch goes on with it.
    pub(super) fn go_on(&mut self, now: &Now, ticks: bool) -> Update {
        if self.course != Course::Open {
            return Update::First;
        }
        // A sample may be kept where totals were not.
        let kept = self.configuration | !ResumeToken::KEPT;
        if now.configuration & kept != self.configuration {
            return Update::Discontinuity(Discontinuity::Configured);
        }
        let agreement = (!ticks).then_some(self.agreement);
        let part_us = product_unsigned(now.scans, self.pace.period_us);
        let checked = self.pace.check(self.last, now.stamp, part_us, agreement);
        if matches!(checked, Update::Continued) {
            self.part_us = self.part_us.wrapping_add(part_us);
            self.scans = self.scans.wrapping_add(now.scans.into());
            // While no scan ends, time is not counted yet.
            if now.scans != 0 {
                self.last = now.last();
            }
        }
        checked
    }

    /// For how many scans the codes of a sample stand that is this much later: the first complete
    /// one stands for all scans before it.
    #[inline(always)]
    pub(super) fn weight(&mut self, scans: u32, complete: bool) -> u32 {
        if !complete {
            return 0;
        }
        if self.weighed {
            return scans;
        }
        self.weighed = true;
        self.scans as u32
    }

    /// No stretch goes on from here; if one did, that is a discontinuity.
    pub(super) fn stop(&mut self, rails: &mut [Sums], factors: &[Factors]) {
        if self.course == Course::Open {
            self.close(rails, factors);
            self.course = Course::Stopped;
            self.epoch = self.epoch.wrapping_add(1);
        }
    }

    /// Whatever time there was between the last sample and this one is a gap.
    pub(super) fn end(&mut self, now: &Now, rails: &mut [Sums], factors: &[Factors]) {
        self.stop(rails, factors);
        let (from, to) = (self.last, now.stamp);
        self.last = now.last();
        if self.course == Course::Empty {
            return;
        }
        let gap = &mut self.gap;
        let later_us = to.before_us.wrapping_sub(from.before_us);
        if (later_us as i64) < 0 {
            gap.greatest_us = u64::MAX;
            return;
        }
        // What nobody knows stays so.
        let greatest_us = to.after_us.wrapping_sub(from.before_us);
        if let Some(greatest_us) = gap.greatest_us.checked_add(greatest_us) {
            gap.greatest_us = greatest_us;
        }
        let least_us = later_us.wrapping_sub(from.width_us.into());
        if (least_us as i64) > 0 {
            gap.least_us = gap.least_us.wrapping_add(least_us);
        }
    }

    /// Begins a stretch with a sample, if something counts there.
    pub(super) fn begin(
        &mut self,
        now: &Now,
        setting: &Setting<'_>,
        update: Update,
        rails: &mut [Sums],
    ) -> Update {
        self.configuration = now.configuration;
        self.clipped_samples = now.clipped_samples;
        self.undetectable |= setting.undetectable;
        self.agreement = self.pace.set(&setting.rate);
        let mut enabled = setting.enabled;
        for (sums, range) in rails.iter_mut().zip(setting.ranges) {
            sums.open.configure(range, enabled & 1 != 0);
            enabled >>= 1;
        }
        self.begin_stretch(rails);
        self.course = Course::Open;
        if self.pace.period_us == 0 {
            self.course = Course::Stopped;
            if let Update::First = update {
                return Update::NotCounting;
            }
        }
        update
    }

    /// The latest safe moment for the next sample.
    #[inline(never)] // linked once
    pub(super) const fn next_sample_by_us(&self) -> Option<u64> {
        if !matches!(self.course, Course::Open) {
            return None;
        }
        let by_us = self.last.before_us.wrapping_add(self.pace.safe_us());
        // Before the beginning of a clock that began anew: it has passed.
        Some(if by_us >> 63 == 0 { by_us } else { 0 })
    }

    /// Begins a stretch with the last sample.
    pub(super) fn begin_stretch(&mut self, rails: &mut [Sums]) {
        self.start_twice_us = self.last.twice_us();
        (self.scans, self.weighed) = (0, false);
        rails.iter_mut().for_each(|sums| sums.open.begin());
    }

    /// Adds what is open to what is closed. Nothing is open until a stretch begins.
    pub(super) fn close(&mut self, rails: &mut [Sums], factors: &[Factors]) {
        for (sums, factors) in rails.iter_mut().zip(factors) {
            let [charge, energy] = &mut sums.closed;
            self.add_open(&sums.open, factors, Quantity::Charge, charge);
            self.add_open(&sums.open, factors, Quantity::Energy, energy);
        }
        self.closed_twice_us = self.counted_twice_us();
        (self.start_twice_us, self.scans) = (self.last.twice_us(), 0);
    }

    /// Twice the time that was counted by the host's clock.
    pub(super) const fn counted_twice_us(&self) -> u64 {
        self.closed_twice_us.wrapping_add(self.open_twice_us())
    }

    /// Twice the length of the open stretch by the host's clock, from the middle of one bracket to
    /// that of the other.
    pub(super) const fn open_twice_us(&self) -> u64 {
        self.last.twice_us().wrapping_sub(self.start_twice_us)
    }
}
