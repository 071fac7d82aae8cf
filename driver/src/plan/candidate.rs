use super::choose::Plan;
use super::duty::DAY_US;
use super::{Demand, Demands, Duty, Host, Spent};
use crate::Channel;
use crate::bus::Traffic;
use crate::config::{Config, Run, Scan};
use crate::info::{PartInfo, Source, Supply};
use crate::totals::longest_interval_us;

/// One mode of a part on one bus clock, with the calls that matter.
pub(super) struct Candidate<'c, const N: usize> {
    pub(super) info: &'c PartInfo,
    pub(super) supply: &'c Supply,
    pub(super) config: Config<N>,
    pub(super) scan: Scan<N>,
    pub(super) compared_by: Source,
    pub(super) bus_hz: u32,
    pub(super) host: &'c Host,
    pub(super) sample: Traffic,
    pub(super) service: Traffic,
}

impl<const N: usize> Candidate<'_, N> {
    /// The cheapest way to run it that meets the demands.
    pub(super) fn plan(&self, demands: &Demands<'_>) -> Option<Plan<N>> {
        let shortest_us = self.shortest_us();
        let limits_us = demands.event_us.into_iter().chain(match demands.alert_us {
            Some(alert_us) => Some(alert_us.checked_sub(self.response_us())?),
            None => None,
        });
        let limit_us = limits_us.min();
        let longest_us = self.longest_us(demands);
        let (debounce, interval_us) = if self.is_watched() {
            (self.debounce(demands, limit_us)?, longest_us)
        } else {
            let room_us = match limit_us {
                Some(limit_us) => {
                    limit_us.checked_sub(self.duty(0).seen_within_us(1, self.compared_by))?
                }
                None => u64::MAX,
            };
            (1, longest_us.min(room_us))
        };
        let interval_us = match demands.wake_us {
            Some(wake_us) if wake_us > interval_us => return None,
            Some(wake_us) => wake_us,
            None => self.longest_for_energy(demands, shortest_us, interval_us)?,
        };
        if interval_us < shortest_us {
            return None;
        }
        let energy_ppm = self.energy_ppm(demands, interval_us);
        if let Some(most) = demands.energy_ppm
            && energy_ppm.is_none_or(|ppm| ppm > most)
        {
            return None;
        }
        Some(self.finished(debounce, interval_us, energy_ppm))
    }

    /// The nearest that it comes to one demand; `None` where it does not know the thing.
    pub(super) fn nearest(&self, demands: &Demands<'_>, demand: Demand) -> Option<u64> {
        let shortest_us = self.shortest_us();
        let seen_us = self.duty(shortest_us).seen_within_us(1, self.compared_by);
        match demand {
            Demand::Alert => Some(seen_us.saturating_add(self.response_us())),
            Demand::Event => Some(seen_us),
            Demand::Energy => self.energy_ppm(demands, shortest_us).map(u64::from),
            Demand::Wake => Some(self.longest_us(demands)),
        }
    }

    /// The part compares while it scans by itself: nobody has to look.
    fn is_watched(&self) -> bool {
        matches!(
            (self.scan.run, self.compared_by),
            (Run::Continuous(_), Source::Part)
        )
    }

    fn duty(&self, interval_us: u64) -> Duty<'_, N> {
        Duty::new(self.info, &self.scan, interval_us)
    }

    /// Each sample has something new to say, and is over before the next.
    fn shortest_us(&self) -> u64 {
        let period_us = u64::from(self.scan.period_us(self.info));
        self.sample.us(self.bus_hz).max(period_us).max(1)
    }

    /// From the flag to the event: the host wakes, takes the sample that tells or is within
    /// another, and serves.
    fn response_us(&self) -> u64 {
        let calls_us = self.sample.us(self.bus_hz);
        calls_us
            .saturating_add(self.service.us(self.bus_hz))
            .saturating_add(self.host.wake_us.into())
    }

    /// The greatest debounce with which the shortest event is seen in time: what passes sooner then
    /// sets no flag. 1 where no shortest is said: then all that a conversion sees does.
    fn debounce(&self, demands: &Demands<'_>, limit_us: Option<u64>) -> Option<u8> {
        let Some(limit_us) = limit_us else {
            return Some(1);
        };
        let most = match demands.event_us {
            Some(_) => self.info.alerts.debounce_max,
            None => 1,
        };
        let seen_us = |debounce| self.duty(0).seen_within_us(debounce, self.compared_by);
        let mut each = (1..=most).rev();
        each.find(|debounce| seen_us(*debounce) <= limit_us)
    }

    /// Half the longest time in which no rollover can hide, so that one read may fail; a day at the
    /// most, which is what budgets are about.
    fn longest_us(&self, demands: &Demands<'_>) -> u64 {
        let safe_us = longest_interval_us(self.info, &self.scan, self.host.clock);
        match safe_us {
            Some(safe_us) => (safe_us / 2).min(DAY_US),
            None if demands.energy_ppm.is_some() => 0,
            None => DAY_US,
        }
    }

    /// The longest interval, at most this one, with which energy is known well enough.
    fn longest_for_energy(
        &self,
        demands: &Demands<'_>,
        shortest_us: u64,
        longest_us: u64,
    ) -> Option<u64> {
        let Some(most) = demands.energy_ppm else {
            return Some(longest_us);
        };
        let fits = |interval_us| {
            let ppm = self.energy_ppm(demands, interval_us);
            ppm.is_some_and(|ppm| ppm <= most)
        };
        if fits(longest_us) {
            return Some(longest_us);
        }
        let (mut good_us, mut bad_us) = (shortest_us, longest_us);
        if good_us >= bad_us || !fits(good_us) {
            return None;
        }
        // To a thousandth: nobody counts closer.
        while bad_us.saturating_sub(good_us) > (good_us >> 10) {
            let middle_us = good_us.saturating_add(bad_us) / 2;
            if middle_us == good_us {
                break;
            }
            if fits(middle_us) {
                good_us = middle_us;
            } else {
                bad_us = middle_us;
            }
        }
        Some(good_us)
    }

    /// The greatest bound of any rail's energy over a day, in parts per million of it, rounded up;
    /// `None` where none is known.
    fn energy_ppm(&self, demands: &Demands<'_>, interval_us: u64) -> Option<u32> {
        let duty = self.duty(interval_us);
        // Both ends of the day are known to within the call that takes the sample.
        let ends_us = self.sample.us(self.bus_hz);
        let mut greatest = None;
        for (channel, rail) in Channel::first(N as u8).zip(demands.rails) {
            let Some(rail) = rail else { continue };
            if self.scan.range(channel).is_none() {
                continue;
            }
            let budget = duty.energy_of_a_day(channel, rail, ends_us, self.host.clock)?;
            let ppm = rail.ppm_of_a_day(budget.total());
            greatest = greatest.max(Some(ppm));
        }
        greatest
    }

    fn finished(&self, debounce: u8, interval_us: u64, energy_ppm: Option<u32>) -> Plan<N> {
        // A mean that is over before the next one is read.
        let mut config = self.config;
        let mut scan = self.scan;
        if self.is_watched() {
            let period_us = u64::from(self.scan.period_us(self.info));
            let fits = |k: &u8| {
                let mean_us = period_us.unbounded_shl((*k).into());
                mean_us >> *k == period_us && mean_us <= interval_us
            };
            let k = (0..=self.info.averaging_log2_max).rev().find(fits);
            scan.averaging_log2 = k.unwrap_or(0);
            config = config.averaging(scan.averaging_log2);
        }
        let duty = Duty::new(self.info, &scan, interval_us);
        let seen_us = duty.seen_within_us(debounce, self.compared_by);
        Plan {
            config,
            scan,
            debounce,
            compared_by: self.compared_by,
            interval_us,
            longest_interval_us: longest_interval_us(self.info, &scan, self.host.clock),
            bus_hz: self.bus_hz,
            sample: self.sample,
            seen_us,
            told_us: seen_us.saturating_add(self.response_us()),
            energy_ppm,
            spent: Spent::new(&duty, self.supply, &self.sample, self.bus_hz, self.host),
        }
    }
}
