//! Taking samples: going on, ending a stretch, beginning another.

use super::bounds::Keep;
use super::common::{Now, Setting};
use super::pace::Rate;
use super::sums::{CLIPPED, clipped};
use super::{Totals, Update};
use crate::Channel;
use crate::config::Run;
use crate::monitor::TimedSample;

impl<'b, const N: usize, K: Keep<'b, N>> Totals<'b, N, K> {
    /// Takes a sample into account. Samples come in the order in which they were taken.
    ///
    /// One may be left out: the next has its counts, unless the part was configured anew in
    /// between, which ends the stretch with the sample before. One that is left out and in which
    /// something went over range is noticed, and taken as clipped on all rails.
    #[inline(never)]
    pub fn update<S: TimedSample<N> + ?Sized>(&mut self, sample: &S) -> Update {
        let info = sample.info();
        let bits = info.sum_bits;
        let count = sample.scans();
        let spare = 32_u32.saturating_sub(u32::from(bits.scans));
        let scans = count.wrapping_sub(self.common.last.scans);
        let now = Now {
            stamp: sample.timestamp(),
            count,
            scans: scans.unbounded_shl(spare).unbounded_shr(spare),
            configuration: sample.configuration(),
            clipped_samples: sample.clipped_samples(),
        };
        let last = self.common.last;
        let update = self.common.go_on(&now, bits.tick_us != 0);
        if matches!(update, Update::Continued) {
            self.kept.go_on(info, last, now.stamp);
        } else {
            self.kept.close(&self.common, &self.rails);
            let factors = self.kept.board().all_factors();
            self.common.end(&now, &mut self.rails, factors);
        }
        let weight = self.common.weight(now.scans, sample.is_complete());
        let rails = self.rails.iter_mut().zip(self.kept.board().all_factors());
        for (channel, (sums, factors)) in Channel::first(N as u8).zip(rails) {
            sums.open.add(bits, sample.sums(channel));
            if factors.offset_256ths() != 0 {
                sums.open.weigh(sample.codes(channel).rail, weight);
            }
        }
        if !matches!(update, Update::Continued) {
            return self.begin(sample, &now, update);
        }
        let clips = now
            .clipped_samples
            .wrapping_sub(self.common.clipped_samples);
        if clips == 0 {
            return update;
        }
        // If others went over range, too, nobody knows on which rails.
        let all = match clips == u32::from(sample.is_clipped()) {
            true => 0,
            false => CLIPPED,
        };
        self.common.clipped_samples = now.clipped_samples;
        for (channel, sums) in Channel::first(N as u8).zip(&mut self.rails) {
            sums.open.clip(all | clipped(sample.codes(channel)));
        }
        Update::Clipped
    }

    /// Begins a stretch under a sample's configuration, if something counts there.
    #[inline(always)]
    fn begin<S: TimedSample<N> + ?Sized>(
        &mut self,
        sample: &S,
        now: &Now,
        update: Update,
    ) -> Update {
        let (info, scan) = (sample.info(), sample.scan());
        // Of a sample without codes the driver can add nothing up.
        let run = match sample.is_complete() || !info.has_sums_by_driver() {
            true => scan.run,
            false => Run::Idle,
        };
        let setting = Setting {
            rate: Rate::new(info, run, self.kept.board().clock()),
            ranges: &scan.ranges,
            enabled: scan.enabled,
            undetectable: scan.undetectable,
        };
        self.kept.begin(self.common.last.width_us);
        self.common.begin(now, &setting, update, &mut self.rails)
    }

    /// Declares that nothing is counted until the next sample, because the part has no supply or is
    /// left alone on purpose: the stretch ends with the last sample, and the time until the next is
    /// a gap. It counts as a discontinuity.
    pub fn unpowered(&mut self) {
        self.kept.close(&self.common, &self.rails);
        let factors = self.kept.board().all_factors();
        self.common.stop(&mut self.rails, factors);
    }

    /// Begins a stretch with the last sample.
    pub(super) fn begin_stretch(&mut self) {
        self.kept.begin(self.common.last.width_us);
        self.common.begin_stretch(&mut self.rails);
    }

    /// Adds the open stretch to what is closed.
    pub(super) fn close(&mut self) {
        self.kept.close(&self.common, &self.rails);
        let factors = self.kept.board().all_factors();
        self.common.close(&mut self.rails, factors);
    }
}
