//! What all rails have in common: where things stand, and time by both clocks.

use super::pace::{Last, Pace, Rate};
use super::quantity::Quantity;
use super::report::{Discontinuity, Gap, Update};
use super::sums::{CLIPPED, Sums};
use crate::board::Factors;
use crate::config::ChannelRange;
use crate::info::Undetectable;
use crate::monitor::Timestamp;
use crate::part::ResumeToken;

/// What all rails have in common. It knows nothing of their number, so that it is linked once.
#[derive(Clone, Copy, Debug)]
pub struct Common {
    pub(super) course: Course,
    /// What could not be found out on any part so far.
    pub(super) undetectable: Undetectable,
    /// The clocks agree within 2^-this.
    pub(super) agreement: u8,
    /// There was a complete sample in the stretch.
    pub(super) weighed: bool,
    pub(super) pace: Pace,
    pub(super) last: Last,
    /// Twice the middle of the bracket of the sample that the stretch began with, modulo 2^64.
    pub(super) start_twice_us: u64,
    /// Scans in the stretch.
    pub(super) scans: u64,
    pub(super) configuration: u32,
    pub(super) clipped_samples: u32,
    pub(super) epoch: u32,
    pub(super) gap: Gap,
    /// Twice the time of the stretches that have ended by the host's clock, and their time by the
    /// part's.
    pub(super) closed_twice_us: u64,
    pub(super) closed_part_us: u64,
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
}

/// What a stretch begins under.
pub(super) struct Setting<'s> {
    pub(super) rate: Rate,
    pub(super) ranges: &'s [ChannelRange],
    pub(super) enabled: u16,
    pub(super) undetectable: Undetectable,
    /// Whether anything can be added up.
    pub(super) adds_up: bool,
    pub(super) clock_ppm: u32,
    pub(super) clipped_samples: u32,
    pub(super) configuration: u32,
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
        closed_part_us: 0,
    };

    /// Counts a sample's scans, or ticks of the host's clock, if the stretch goes on with it.
    pub(super) fn go_on(&mut self, now: &Now, ticks: bool) -> Update {
        if self.course != Course::Open {
            return Update::First;
        }
        if now.configuration != self.configuration
            && now.configuration != self.configuration | ResumeToken::KEPT
        {
            return Update::Discontinuity(Discontinuity::Configured);
        }
        let agreement = (!ticks).then_some(self.agreement);
        let checked = self.pace.check(self.last, now, agreement);
        if matches!(checked, Update::Continued) {
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

    /// Something went over range in so many samples by now: in the last of them `here`, or in
    /// others, which were not given.
    pub(super) fn clip(&mut self, samples: u32, here: bool, rails: &mut [Sums]) {
        let more = samples.wrapping_sub(self.clipped_samples);
        self.clipped_samples = samples;
        if more != u32::from(here) {
            rails.iter_mut().for_each(|sums| sums.open.clip(CLIPPED));
        }
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
        let least_us = to.before_us.wrapping_sub(from.before_us);
        if (least_us as i64) < 0 {
            gap.greatest_us = u64::MAX;
            return;
        }
        gap.least_us = gap
            .least_us
            .wrapping_add(least_us.saturating_sub(u64::from(from.width_us)));
        let greatest_us = to.after_us.wrapping_sub(from.before_us);
        gap.greatest_us = gap.greatest_us.saturating_add(greatest_us);
    }

    /// Begins a stretch, if something counts there; tells whether it does.
    pub(super) fn begin(&mut self, setting: &Setting<'_>, rails: &mut [Sums]) -> bool {
        self.configuration = setting.configuration;
        self.clipped_samples = setting.clipped_samples;
        self.undetectable |= setting.undetectable;
        self.agreement = self.pace.set(&setting.rate, setting.clock_ppm);
        let mut enabled = setting.enabled;
        for (sums, range) in rails.iter_mut().zip(setting.ranges) {
            sums.open.configure(range, enabled & 1 != 0);
            enabled >>= 1;
        }
        self.begin_stretch(rails);
        let counts = self.pace.period_us != 0 && setting.adds_up;
        self.course = if counts {
            Course::Open
        } else {
            Course::Stopped
        };
        counts
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
        (self.closed_twice_us, self.closed_part_us) = self.counted();
        (self.start_twice_us, self.scans) = (self.last.twice_us(), 0);
    }

    /// Twice the time that was counted by the host's clock, and that time by the part's.
    pub(super) const fn counted(&self) -> (u64, u64) {
        // 43 by 20 bits.
        let part_us = self.scans.wrapping_mul(self.pace.period_us as u64);
        (
            self.closed_twice_us.wrapping_add(self.open_twice_us()),
            self.closed_part_us.wrapping_add(part_us),
        )
    }

    /// Twice the length of the open stretch by the host's clock, from the middle of one bracket to
    /// that of the other.
    pub(super) const fn open_twice_us(&self) -> u64 {
        self.last.twice_us().wrapping_sub(self.start_twice_us)
    }
}
