use crate::Channel;
use crate::board::{Budget, Mean, OperatingPoint};
use crate::config::{Run, Scan};
use crate::convert::divided_up;
use crate::info::{PartInfo, Source, Supply};
use crate::units::{Current, Energy, Power, Tolerance};

use super::RailUse;

/// A way to run a part: a configuration, and how often a host reads it.
#[derive(Clone, Copy, Debug)]
pub struct Duty<'d, const N: usize> {
    info: &'d PartInfo,
    scan: &'d Scan<N>,
    interval_us: u64,
}

/// After how long each running sum of a channel has gone half round from zero at full scale, where
/// its sign turns, or once round where it has none; in nominal microseconds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Rollovers {
    /// Sum of sense codes.
    pub charge_us: u64,
    /// Sum of power codes.
    pub energy_us: u64,
    /// Count of scans.
    pub scans_us: u64,
}

/// Microseconds in a day.
pub(super) const DAY_US: u64 = 86_400_000_000;

impl<'d, const N: usize> Duty<'d, N> {
    /// A configuration as this part has it, read, or triggered, every so many microseconds.
    #[must_use]
    pub const fn new(info: &'d PartInfo, scan: &'d Scan<N>, interval_us: u64) -> Self {
        Self {
            info,
            scan,
            interval_us,
        }
    }

    /// The part's mean current by such figures: [`PartInfo::supply`], the greatest, or
    /// [`Part::SUPPLY_TYPICAL`](crate::part::Part::SUPPLY_TYPICAL). Rounded to nearest nanoamperes.
    ///
    /// Resting + (converting − resting) × scan ÷ scan period; of single shots idle + (converting −
    /// idle) × (wake-up + scans of a mean) ÷ interval. The oscillator cancels out of the first; by
    /// the second a slow part draws more, as far as it is slow. Starting a continuous mode counts
    /// nothing, nor does what transfers draw.
    #[must_use]
    pub fn supply(&self, of: &Supply) -> Current {
        let scan_ns = u64::from(self.info.conversion_ns)
            .saturating_mul(2)
            .saturating_mul(self.scan.channel_count().into());
        let (rest, busy_ns, every_us) = match self.scan.run {
            Run::Idle => return of.idle,
            Run::Continuous(_) => (of.resting, scan_ns, self.scan.period_us(self.info).into()),
            Run::SingleShot => {
                let wake_ns = u64::from(self.info.wake_us).saturating_mul(1_000);
                let scans_ns = scan_ns.saturating_mul(self.scans_of_a_mean());
                (of.idle, scans_ns.saturating_add(wake_ns), self.interval_us)
            }
        };
        let every_ns = every_us.saturating_mul(1_000).max(1);
        let busy_ns = busy_ns.min(every_ns);
        let more = of.converting.saturating_sub(rest).as_nanoamps();
        let product = u128::from(more.unsigned_abs()).wrapping_mul(busy_ns.into());
        // To nearest.
        let more = divided_up(product.saturating_sub(u128::from(every_ns / 2)), every_ns);
        rest.saturating_add(Current::from_nanoamps(i64::try_from(more).unwrap_or(0)))
    }

    /// How long a rail has to be beyond a limit, and beyond what instrument and board may be off
    /// by, so that it is seen for sure, in microseconds, rounded up. The flag is set, and a
    /// part's output falls, by then at the latest.
    ///
    /// Where the part compares while it scans by itself: (debounce × scan period + two conversions)
    /// ÷ (1 − oscillator error). The two are the one that just began too early to be beyond, and
    /// the other input of the pair, which power waits for. Where it is triggered, or the driver
    /// compares: debounce × interval, and what one sample is a mean of; the call that takes the
    /// sample comes on top. A mean of n scans that ran on its own has to begin beyond the limit: up
    /// to 2 n − 1 scan periods until one is over.
    #[must_use]
    pub fn seen_within_us(&self, debounce: u8, compared_by: Source) -> u64 {
        let debounce = u64::from(debounce.max(1));
        let pair_ns = u64::from(self.info.conversion_ns).saturating_mul(2);
        let period_ns = u64::from(self.scan.period_us(self.info)).saturating_mul(1_000);
        match (self.scan.run, compared_by) {
            (Run::Continuous(_), Source::Part) => {
                let ns = debounce.saturating_mul(period_ns);
                self.slow_us(ns.saturating_add(pair_ns))
            }
            (Run::Continuous(_), Source::Driver) => {
                let scans = self.scans_of_a_mean();
                let scans = scans.saturating_mul(2).saturating_sub(1);
                let mean_ns = scans.saturating_mul(period_ns);
                let mean_us = self.slow_us(mean_ns.saturating_add(pair_ns));
                debounce
                    .saturating_mul(self.interval_us)
                    .saturating_add(mean_us)
            }
            (Run::Idle | Run::SingleShot, _) => {
                let scan_us = u64::from(self.info.scan_us_max(self.scan.channel_count()));
                let shot_us = scan_us
                    .saturating_mul(self.scans_of_a_mean())
                    .saturating_add(self.info.wake_us.into());
                debounce
                    .saturating_mul(self.interval_us)
                    .saturating_add(shot_us)
            }
        }
    }

    /// When each running sum of a channel rolls over; `None` where the channel is not enabled or
    /// nothing counts.
    ///
    /// 2^(bits − 1) ÷ greatest code × scan period; sums that the driver keeps count ticks of the
    /// host's clock instead of scans.
    #[must_use]
    pub fn rollovers(&self, channel: Channel) -> Option<Rollovers> {
        let (info, range) = (self.info, self.scan.range(channel)?);
        let sense = info.sense_ranges.get(usize::from(range.sense))?;
        let rail = info.rail_ranges.get(usize::from(range.rail))?;
        let bits = &info.sum_bits;
        let tick_us = match (self.scan.run, bits.tick_us) {
            (Run::Idle, _) => 0,
            (_, 0) => u64::from(self.scan.period_us(info)),
            (_, tick_us) => u64::from(tick_us),
        };
        if tick_us == 0 || bits.scans == 0 {
            return None;
        }
        let greatest = |range: &crate::info::RangeInfo| {
            let (least, most) = (range.code_min.unsigned_abs(), range.code_max.unsigned_abs());
            u64::from(least.max(most)).max(1)
        };
        let sense = greatest(sense);
        let power = sense.saturating_mul(greatest(rail));
        let after = |bits: u8, code: u64| {
            let us = u128::from(tick_us).unbounded_shl(bits.into());
            divided_up(us, code)
        };
        Some(Rollovers {
            charge_us: after(bits.charge.saturating_sub(1), sense),
            energy_us: after(bits.energy.saturating_sub(1), power),
            scans_us: after(bits.scans, 1),
        })
    }

    /// Error budget of a rail's energy over a day at its mean operating point, ends known to so
    /// many microseconds together, by a host's clock that is off by so much. `None` where nothing
    /// counts, the rail has no such ranges, or the driver would add up over 2^32 µs or more.
    ///
    /// It is [`Rail::power_budget`](crate::board::Rail::power_budget) times a day. Where the driver
    /// keeps the sum, the load's steps are dated by the interval instead of by the scan.
    #[must_use]
    pub fn energy_of_a_day(
        &self,
        channel: Channel,
        rail: &RailUse,
        ends_us: u64,
        clock: Tolerance,
    ) -> Option<Budget<Energy>> {
        let period_us = match (self.info.energy_sum, self.scan.run) {
            (_, Run::Idle) => 0,
            (Source::Driver, _) if self.info.sum_bits.tick_us != 0 => {
                u32::try_from(self.interval_us).ok()?
            }
            _ => self.scan.period_us(self.info),
        };
        let at = OperatingPoint {
            range: *self.scan.range(channel)?,
            current: rail.current,
            voltage: rail.voltage,
            power: rail.power(),
            mean: Mean::Stretch {
                scans: DAY_US.checked_div(period_us.into())?,
                scan_period_us: period_us,
                duration_us: DAY_US,
                ends_us,
                clock,
            },
        };
        let budget = rail.rail.power_budget(self.info, &at)?;
        Some(budget.energy(DAY_US))
    }

    /// From one sample to the next, in microseconds.
    #[must_use]
    pub const fn interval_us(&self) -> u64 {
        self.interval_us
    }

    /// From the start of a mean to its end, nominal, in microseconds; 0 where it is one scan.
    #[must_use]
    pub fn mean_us(&self) -> u64 {
        match self.scans_of_a_mean() {
            1 => 0,
            scans => scans.saturating_mul(self.scan.period_us(self.info).into()),
        }
    }

    fn scans_of_a_mean(&self) -> u64 {
        1_u64.unbounded_shl(self.scan.averaging_log2.into())
    }

    /// Nanoseconds of the slowest oscillator, in microseconds, rounded up.
    fn slow_us(&self, ns: u64) -> u64 {
        let rest_ppm = 1_000_000_u64.saturating_sub(self.info.oscillator.error_ppm.into());
        divided_up(u128::from(ns).wrapping_mul(1_000), rest_ppm)
    }
}

impl RailUse {
    /// A part of a day's energy, in parts per million, rounded up; the greatest number where none
    /// flows.
    pub(super) fn ppm_of_a_day(&self, part: Energy) -> u32 {
        // 10^6 of part ÷ (power × 86 400 s), with both in billionths.
        let nw = self.power().as_nanowatts().unsigned_abs();
        let day_nj = nw.saturating_mul(DAY_US / 1_000_000).max(1);
        let product = part
            .as_nanojoules()
            .unsigned_abs()
            .saturating_mul(1_000_000);
        u32::try_from(divided_up(product, day_nj)).unwrap_or(u32::MAX)
    }

    /// Voltage times current, rounded away from zero.
    fn power(&self) -> Power {
        let product =
            i128::from(self.voltage.as_nanovolts()).wrapping_mul(self.current.as_nanoamps().into());
        let nw = divided_up(product.unsigned_abs(), 1_000_000_000);
        let nw = i64::try_from(nw).unwrap_or(i64::MAX);
        Power::from_nanowatts(if product < 0 { nw.saturating_neg() } else { nw })
    }
}
