//! What samples say of the excursions that flags began: told once, masked while they last, over.

use super::AlertQueue;
use crate::alert::Event;
use crate::alert::quantity::Shown;
use crate::config::{AlertFlags, Limit, Run};
use crate::info::TICK_LOG2;
use crate::monitor::Sample;

impl<const Q: usize> AlertQueue<'_, Q> {
    /// Takes for found what a sample shows beyond its limit, in place of flags that may be lost.
    pub(super) fn compare<const N: usize, S: Sample<N> + ?Sized>(&mut self, sample: &S) {
        self.look.doubtful = false;
        for limit in self.list() {
            let shown = Shown::new(sample, limit.channel(), limit.kind());
            if shown.is_some_and(|shown| limit.threshold().is_passed_at(shown.compared)) {
                self.pending |= limit.flags();
            }
        }
    }

    /// Tells of a limit that was passed, or finds out whether the condition of one that lasts is
    /// over: if it follows, it is told again from now on, if it latches, once what it set until now
    /// is cleared.
    pub(super) fn judge<const N: usize, S: Sample<N> + ?Sized>(
        &mut self,
        limit: &Limit,
        sample: &S,
    ) {
        let shown = Shown::new(sample, limit.channel(), limit.kind());
        let flags = limit.flags();
        // What is found again while it lasts was told.
        let begins = !self.lasting.intersects(flags);
        if begins {
            self.lasting |= flags;
            let mut event = Event::new(limit.flag());
            event.set_limit(limit.threshold().billionths());
            event.set_value(shown.as_ref());
            event.set_date(sample.latched_at());
            self.push(flags, event);
        }
        if shown.is_some_and(|shown| limit.is_over_at(shown.compared)) && !self.may_be_older(flags)
        {
            if limit.is_latching() {
                self.over |= flags;
            } else {
                self.release(flags);
            }
        } else if begins && limit.is_maskable() && sample.info().alerts.single_masks {
            self.masked |= flags;
            self.masks_due = true;
        }
    }

    /// Notes for which limits the results of a sample may be older than the flag that was found
    /// last. Without means there are none: the sample was latched after the look.
    pub(super) fn age<const N: usize, S: Sample<N> + ?Sized>(&mut self, sample: &S) {
        let scan = sample.scan();
        if scan.averaging_log2 == 0 || scan.run == Run::SingleShot {
            self.found = [AlertFlags::empty(); 2];
            return;
        }
        let bits = sample.info().sum_bits;
        let unused = 32_u32.saturating_sub(u32::from(bits.scans));
        let passed = sample.scans().wrapping_sub(self.since);
        let passed = u64::from(passed.unbounded_shl(unused).unbounded_shr(unused));
        // Two means: the one that was in the making when the flag was set is not the last then.
        let mut means = 2_u64.unbounded_shl(u32::from(scan.averaging_log2));
        if bits.tick_us != 0 {
            means = means.saturating_mul(u64::from(scan.period_us(sample.info())));
            means = (means >> TICK_LOG2).saturating_add(1);
        }
        let [recent, before] = &mut self.found;
        if passed >= means {
            *before = core::mem::take(recent);
            self.since = sample.scans();
        }
        if passed >= means << 1 {
            *before = AlertFlags::empty();
        }
        *recent |= self.pending;
    }

    fn may_be_older(&self, flags: AlertFlags) -> bool {
        let [recent, before] = self.found;
        (recent | before).intersects(flags)
    }

    /// They may be told again, and reach their outputs again.
    pub(super) fn release(&mut self, flags: AlertFlags) {
        self.lasting.remove(flags);
        if self.masked.intersects(flags) {
            self.masked.remove(flags);
            self.masks_due = true;
        }
    }
}
