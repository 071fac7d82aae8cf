//! How fast the part counts, and what the host's clock makes of it.

use super::quantity::Quantity;
use super::report::{Discontinuity, Update};
use crate::config::{Run, Scan};
use crate::info::{PartInfo, Source};
use crate::monitor::Timestamp;
use crate::units::Tolerance;

/// The longest time from one sample to the next within which no rollover can hide, whatever flows
/// within full scale, in microseconds of a host's clock that is off by so much: what
/// [`Totals::next_sample_by_us`](super::Totals::next_sample_by_us) counts from. `None` where
/// nothing counts.
#[must_use]
pub fn longest_interval_us<const N: usize>(
    info: &PartInfo,
    scan: &Scan<N>,
    clock: Tolerance,
) -> Option<u64> {
    let mut pace = Pace::NONE;
    pace.set(&Rate::new(info, scan.run, clock));
    (pace.period_us != 0).then(|| pace.safe_us())
}

/// How fast the part counts under one configuration.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Pace {
    /// Nominal scan period; 0 where nothing counts.
    pub(super) period_us: u32,
    /// How long after a sample the next is safe by the host's clock, in 256 µs.
    pub(super) safe_256us: u32,
}

/// How fast the part is to count.
pub(super) struct Rate {
    /// Nominal scan period; 0 where nothing counts.
    period_us: u32,
    /// In which no sum goes round unseen by its clock, in 256 µs.
    safe_256us: u32,
    /// What its clock and the host's are apart.
    apart_ppm: u32,
}

/// The longest time between two samples of a stretch, where the driver keeps a sum: what the scan
/// period is to one that the part keeps. In pairs of microseconds; lowest bit: the part keeps the
/// sum of charge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Interval(pub(super) u32);

impl Interval {
    pub(super) const NONE: Self = Self(0);

    /// Takes in the time from the last sample to one with this bracket.
    #[inline(always)]
    pub(super) fn take(&mut self, info: &PartInfo, last: Last, now: Timestamp) {
        if !info.has_sums_by_driver() {
            return;
        }
        let us = now.after_us.wrapping_sub(last.before_us);
        let pairs = u32::try_from(us).unwrap_or(u32::MAX).saturating_add(1) | 1;
        let by_part = u32::from(info.charge_sum == Source::Part);
        self.0 = self.0.max(pairs ^ 1 ^ by_part);
    }

    /// How far what is added up for a quantity may be apart, in microseconds, at this scan period.
    pub(super) fn of(self, quantity: Quantity, period_us: u32) -> u32 {
        let by_part = self.0 & 1 != 0 && quantity == Quantity::Charge;
        if by_part {
            period_us
        } else {
            self.0.max(period_us)
        }
    }
}

/// The last sample: its bracket, which is less than 72 minutes long, and its count of scans.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Last {
    pub(super) before_us: u64,
    pub(super) width_us: u32,
    pub(super) scans: u32,
}

impl Last {
    pub(super) const NEVER: Self = Self {
        before_us: 0,
        width_us: 0,
        scans: 0,
    };

    /// Twice the middle of the bracket, modulo 2^64.
    pub(super) const fn twice_us(self) -> u64 {
        (self.before_us << 1).wrapping_add(self.width_us as u64)
    }
}

impl Rate {
    /// While the part does this, by such a host's clock. Ticks are as good as scans, and no sample
    /// without them is idle.
    #[inline(always)] // of most parts most is constant
    pub(super) fn new(info: &PartInfo, run: Run, clock: Tolerance) -> Self {
        let tick_us = u32::from(info.sum_bits.tick_us);
        let period_us = match run {
            Run::Continuous(_) | Run::SingleShot if tick_us != 0 => tick_us,
            _ if info.sum_bits.scans == 0 => 0,
            _ => run.period_us(info),
        };
        let safe_us = u64::from(period_us).unbounded_shl(u32::from(info.sum_bits.safe_log2));
        // The driver adds up over intervals of 32 bits of microseconds.
        let most_256us = match info.has_sums_by_driver() {
            true => u32::MAX >> 8,
            false => u32::MAX,
        };
        Self {
            period_us,
            safe_256us: (safe_us >> 8).min(u64::from(most_256us)) as u32,
            apart_ppm: match tick_us {
                0 => clock.as_ppm().saturating_add(info.oscillator.error_ppm),
                _ => 0,
            },
        }
    }
}

impl Pace {
    pub(super) const NONE: Self = Self {
        period_us: 0,
        safe_256us: 0,
    };

    /// How long after a sample the next is safe by the host's clock, in microseconds.
    pub(super) const fn safe_us(&self) -> u64 {
        (self.safe_256us as u64) << 8
    }

    /// At this rate; tells the k of 2^-k within which the clocks agree.
    #[inline(always)]
    pub(super) fn set(&mut self, rate: &Rate) -> u8 {
        self.period_us = rate.period_us;
        // 10^6 ÷ 2^20 is above 1 − 1 ÷ 16, so that 2^-k are more than as many parts per million and
        // what products of both errors add.
        // Counted here: the M0 has no instruction for it, and the library's routine is longer.
        let mut more = rate.apart_ppm.saturating_add(rate.apart_ppm >> 4);
        let mut agreement = 20_u32;
        while more != 0 && agreement != 0 {
            agreement = agreement.wrapping_sub(1);
            more >>= 1;
        }
        // A fast part and a slow host's clock: (1 − c) ÷ (1 + o) is at least 1 − c − o. A scan may
        // be in progress at either end, and the very last count may be ambiguous: four scans.
        let safe_256us = rate.safe_256us;
        self.safe_256us = safe_256us
            .wrapping_sub(safe_256us.wrapping_shr(agreement))
            .saturating_sub((rate.period_us >> 6).wrapping_add(2));
        agreement as u8
    }

    /// Whether a sample may go on where the last one was, so much later by the part's clock;
    /// without an agreement the host's clock counts itself.
    #[inline(always)]
    pub(super) fn check(
        &self,
        last: Last,
        now: Timestamp,
        part_us: u64,
        agreement: Option<u8>,
    ) -> Update {
        // Differences with a sign: moments before the clock's beginning are far beyond its end.
        if (now.before_us.wrapping_sub(last.before_us) as i64) < 0 {
            return Update::Discontinuity(Discontinuity::ClockBackwards);
        }
        let greatest_us = now.after_us.wrapping_sub(last.before_us);
        let width_us = now.after_us.wrapping_sub(now.before_us);
        let greatest_256us = greatest_us.wrapping_add(255) >> 8;
        if greatest_256us > u64::from(self.safe_256us) || width_us >> 32 != 0 {
            return Update::Discontinuity(Discontinuity::TooLate);
        }
        let Some(agreement) = agreement else {
            return Update::Continued;
        };
        // What the clocks may be apart, a scan at either end, and the time from idle to the first.
        let apart = (greatest_256us as u32).wrapping_shr(u32::from(agreement));
        let apart_us = (u64::from(apart) << 8)
            .wrapping_add(256)
            .wrapping_add(u64::from(self.period_us) << 2);
        let widths_us = width_us.wrapping_add(u64::from(last.width_us));
        // From the least to the greatest that they may be apart.
        let least_us = apart_us.wrapping_add(widths_us);
        if part_us.wrapping_sub(greatest_us).wrapping_add(least_us)
            > least_us.wrapping_add(apart_us)
        {
            return Update::Discontinuity(Discontinuity::Implausible);
        }
        Update::Continued
    }
}

/// So many parts per million, less than a million, in 2^-32, rounded up.
pub(super) const fn share_of(ppm: u32) -> u32 {
    // 2^32 are a million times 4294.967.
    ppm.wrapping_mul(4_295)
}
