//! Taking samples: going on, ending a stretch, beginning another.

use super::bounds::{Keep, Stretch};
use super::flow::Sum;
use super::pace::Interval;
use super::quantity::Quantity;
use super::sums::Sums;
use super::{Course, Discontinuity, Totals, Update, Weighing};
use crate::Channel;
use crate::monitor::{TimedSample, Timestamp};
use crate::part::ResumeToken;

/// Room is made in sums of power codes whenever so many scans are through: at 2^40 a scan they are
/// at 2^60 then, and what comes with one sample is below 2^62.
const ROOM: u32 = 1 << 20;

impl<'b, const N: usize, K: Keep<'b, N>> Totals<'b, N, K> {
    /// Takes a sample into account. Samples come in the order in which they were taken.
    ///
    /// One may be left out: the next has its counts, unless the part was configured anew in
    /// between, which ends the stretch with the sample before. One that is left out and in which
    /// something went over range is noticed, and taken as clipped on all rails.
    #[inline(never)]
    pub fn update<S: TimedSample<N> + ?Sized>(&mut self, sample: &S) -> Update {
        let bits = sample.info().sum_bits;
        let stamp = sample.timestamp();
        let now = sample.scans();
        let spare = 32_u32.saturating_sub(u32::from(bits.scans));
        let scans = now.wrapping_sub(self.last.scans);
        let scans = scans.unbounded_shl(spare).unbounded_shr(spare);

        let mut update = Update::Continued;
        if self.course != Course::Open {
            update = Update::First;
        } else if sample.configuration() != self.configuration
            && sample.configuration() != self.configuration | ResumeToken::KEPT
        {
            update = Update::Discontinuity(Discontinuity::Configured);
        } else if let Err(kind) = self.pace.check(self.last, stamp, scans, self.agreement) {
            update = Update::Discontinuity(kind);
        }
        if update == Update::Continued {
            self.interval.take(sample.info(), self.last, stamp);
        } else {
            self.end(stamp);
        }
        self.last.scans = now;
        // While no scan ends, time is not counted yet.
        if scans != 0 || update != Update::Continued {
            self.last.before_us = stamp.before_us;
            self.last.width_us = (stamp.after_us as u32).wrapping_sub(stamp.before_us as u32);
        }
        self.recent = self.recent.wrapping_add(scans);
        // The first code stands for the scans before it, too.
        let mut weight = 0;
        if self.weighing != Weighing::None && sample.is_complete() {
            weight = scans;
            if self.weighing == Weighing::Begun {
                (self.weighing, weight) = (Weighing::Read, self.scans() as u32);
            }
        }
        for (channel, sums) in Channel::first(N as u8).zip(&mut self.rails) {
            sums.add(bits, sample.sums(channel));
            if weight != 0 {
                sums.weigh(sample.codes(channel).rail, weight);
            }
        }
        if self.recent >= ROOM {
            self.make_room();
        }
        if update != Update::Continued {
            return self.begin(sample, update);
        }
        if sample.clipped_samples() != self.clipped_samples {
            return self.clip(sample);
        }
        update
    }

    /// Declares that nothing is counted until the next sample, because the part has no supply or is
    /// left alone on purpose: the stretch ends with the last sample, and the time until the next is
    /// a gap. It counts as a discontinuity.
    pub fn unpowered(&mut self) {
        if self.course == Course::Open {
            self.close();
            self.course = Course::Stopped;
            self.epoch = self.epoch.wrapping_add(1);
        }
    }

    #[inline(never)]
    fn make_room(&mut self) {
        self.scans = self.scans.wrapping_add(u64::from(self.recent));
        self.recent = 0;
        self.rails.iter_mut().for_each(Sums::make_room);
    }

    /// Something went over range, in this sample or in one that was not given.
    #[inline(never)]
    fn clip<S: TimedSample<N> + ?Sized>(&mut self, sample: &S) -> Update {
        let samples = sample.clipped_samples().wrapping_sub(self.clipped_samples);
        self.clipped_samples = sample.clipped_samples();
        let mut here = false;
        for (channel, sums) in Channel::first(N as u8).zip(&mut self.rails) {
            here |= sums.clip(sample.codes(channel));
        }
        if samples != u32::from(here) {
            self.rails.iter_mut().for_each(Sums::clip_all);
        }
        Update::Clipped
    }

    /// Ends the stretch with the sample before, and whatever gap there was with the one at hand.
    #[inline(never)]
    fn end(&mut self, stamp: Timestamp) {
        self.unpowered();
        if self.course == Course::Empty {
            return;
        }
        let (from, gap) = (self.last, &mut self.gap);
        let least_us = stamp.before_us.wrapping_sub(from.before_us);
        if (least_us as i64) < 0 {
            gap.greatest_us = u64::MAX;
            return;
        }
        gap.least_us = gap
            .least_us
            .wrapping_add(least_us.saturating_sub(u64::from(from.width_us)));
        let greatest_us = stamp.after_us.wrapping_sub(from.before_us);
        gap.greatest_us = gap.greatest_us.saturating_add(greatest_us);
    }

    /// Begins a stretch under a sample's configuration, if something counts there.
    #[inline(never)]
    fn begin<S: TimedSample<N> + ?Sized>(&mut self, sample: &S, update: Update) -> Update {
        let (info, scan) = (sample.info(), sample.scan());
        self.configuration = sample.configuration();
        self.clipped_samples = sample.clipped_samples();
        self.agreement = self.pace.set(
            info,
            scan.run,
            scan.period_us(info),
            self.kept.board().clock().as_ppm(),
        );
        self.undetectable |= scan.undetectable;
        for (channel, sums) in Channel::first(N as u8).zip(&mut self.rails) {
            sums.configure(scan.range(channel));
        }
        self.begin_stretch();
        self.course = Course::Open;
        // Of a sample without codes the driver can add nothing up.
        let adds_up = sample.is_complete() || !info.has_sums_by_driver();
        if self.pace.period_us != 0 && adds_up {
            return update;
        }
        self.course = Course::Stopped;
        match update {
            Update::First => Update::NotCounting,
            _ => update,
        }
    }

    /// Begins a stretch with the last sample.
    #[inline(never)]
    pub(super) fn begin_stretch(&mut self) {
        self.start_twice_us = self.last.twice_us();
        (self.scans, self.recent) = (0, 0);
        (self.weighing, self.interval) = (Weighing::None, Interval::NONE);
        self.kept.begin(self.last.width_us);
        for (channel, sums) in Channel::first(N as u8).zip(&mut self.rails) {
            let factors = self.kept.board().factors(channel);
            if sums.begin(factors.is_some_and(|factors| factors.offset_256ths() != 0)) {
                self.weighing = Weighing::Begun;
            }
        }
    }

    /// Adds the open stretch to what is closed.
    #[inline(never)]
    pub(super) fn close(&mut self) {
        let Some(open) = self.open() else {
            return;
        };
        self.closed_twice_us = self.closed_twice_us.wrapping_add(self.open_twice_us());
        self.closed_part_us = self.closed_part_us.wrapping_add(self.open_part_us());
        for (channel, sums) in Channel::first(N as u8).zip(&mut self.rails) {
            let Some(factors) = self.kept.board().factors(channel) else {
                continue;
            };
            let stretch = Stretch {
                open: &open,
                sums,
                factors,
            };
            self.kept.close(channel.index(), &stretch);
            for quantity in [Quantity::Charge, Quantity::Energy] {
                let flowed = Sum::of(&open, sums, factors, quantity);
                let [charge, energy] = &mut sums.closed;
                match quantity {
                    Quantity::Charge => charge.add(&flowed, false),
                    Quantity::Energy => energy.add(&flowed, false),
                }
            }
        }
    }
}
