use core::future::Future;

use super::command::Writable;
use super::declaration::{Device, PageMap, reaches};
use super::pages::MARK;
use super::{Block, Pmbus, Shown};
use crate::Channel;
use crate::board::LimitPlan;
use crate::bus::{Done, Fault, Link, Port, Register, Wire};
use crate::config::{AlertFlags, Config, ConfigError, Scan};
use crate::convert::product;
use crate::info::{PartInfo, Source};
use crate::part::{Codes, Part, SoftwareComparator, SoftwareSums};

/// STATUS_CML, of which nothing is to reach the output.
const STATUS_CML: u8 = 0x7E;

impl<D: Device, const C: usize> Wire for Pmbus<D, C> {
    const CHECK_BYTE: bool = D::DECLARATION.check_byte;
    const LOW_BYTE_FIRST: bool = true;
}

impl<D: Device, const C: usize> Part for Pmbus<D, C> {
    const INFO: &'static PartInfo = D::INFO;
    type Block = Block<C>;
    type Comparator = SoftwareComparator<C>;
    type Sums = SoftwareSums<C>;
    const EMPTY: Block<C> = Block {
        shown: [Shown::NOTHING; C],
    };
    const FAILURES_MAX: u8 = 254;
    const FREE_RUNNING: bool = true;

    fn address(&self) -> u8 {
        self.address
    }

    /// A page has one range of its own, which has to reach what is asked for.
    fn resolve<const N: usize>(config: &Config<N>, scan: &mut Scan<N>) -> Result<(), ConfigError> {
        config.resolve(D::INFO, scan)?;
        let own = D::INFO.sense_ranges.iter().zip(D::INFO.rail_ranges);
        for ((place, range), (sense, rail)) in (0_u8..).zip(&mut scan.ranges).zip(own) {
            let channel = Channel::new(place);
            let Some(asked) = config.full_scale(channel) else {
                continue;
            };
            if !reaches(sense, asked.sense()) {
                return Err(ConfigError::SenseFullScale(channel));
            }
            if !reaches(rail, asked.rail()) {
                return Err(ConfigError::RailFullScale(channel));
            }
            (range.sense, range.sense_lsb) = (place, sense.lsb_units);
            (range.rail, range.rail_lsb) = (place, rail.lsb_units);
        }
        Ok(())
    }

    async fn configure<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        scan: &Scan<N>,
        fresh: bool,
    ) -> Result<(), Fault> {
        self.enabled = scan.enabled;
        if let (true, Some(number)) = (fresh, D::DECLARATION.mark) {
            link.put_verified(Writable::user_data(number).register(), MARK)
                .await?;
        }
        if Self::ALERTS {
            Self::put_mask(link, STATUS_CML, 0xFF).await?;
        }
        Self::verify(link).await?;
        Self::disarm(link).await?;
        // After a reset it shows zeros until it has sampled.
        link.delay_us(D::DECLARATION.sample_us).await;
        Self::find_reset(link).await
    }

    async fn resume<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        scan: &Scan<N>,
        _writes: u32,
    ) -> Result<(), Fault> {
        self.enabled = scan.enabled;
        Self::verify(link).await?;
        Self::find_reset(link).await
    }

    fn latch<B: Port>(&mut self, _: &mut Link<B>) -> impl Future<Output = Result<(), Fault>> {
        Done(Ok(()))
    }

    fn latch_us_max(&self) -> u32 {
        0
    }

    fn age_us_max(&self) -> u32 {
        D::DECLARATION.sample_us
    }

    async fn read_block<B: Port>(
        &mut self,
        link: &mut Link<B>,
        _wait_us: u32,
        block: &mut Block<C>,
    ) -> Result<(), Fault> {
        for (map, shown) in Self::PAGES.iter().zip(&mut block.shown) {
            let page = map.page;
            if self.enabled >> map.channel.number() & 1 == 0 {
                *shown = Shown::NOTHING;
                continue;
            }
            Self::select(link, page).await?;
            let [voltage, current, power, energy] = *page.side.readings();
            let voltage = link.get(Register::new(voltage, 2)).await? as u16;
            let current = link.get(Register::new(current, 2)).await? as u16;
            let (mut watts, mut count) = (None, 0);
            if page.power.is_some() {
                watts = Some(link.get(Register::new(power, 2)).await? as u16);
            }
            if page.energy.is_some() {
                count = link.get(Register::new(energy, 7)).await?;
            }
            Self::same_page(link, page).await?;
            shown.codes = map.codes(voltage, current, watts);
            shown.count = count;
        }
        Self::find_reset(link).await?;
        for shown in &mut block.shown {
            shown.before = shown.added;
            shown.added = match shown.codes.sense {
                0.. => shown.count,
                _ => 0,
            };
        }
        Ok(())
    }

    fn is_clipped(block: &Block<C>) -> bool {
        let mut codes = block.shown.iter().map(|shown| shown.codes);
        codes.any(|codes| codes.sense_clipped | codes.rail_clipped)
    }

    fn codes(block: &Block<C>, channel: Channel) -> Codes {
        let shown = block.shown.get(channel.index());
        shown.map_or(Codes::default(), |shown| shown.codes)
    }

    fn mean_power(block: &Block<C>, channel: Channel, elapsed: u32) -> Option<i64> {
        let map = Self::PAGES.get(channel.index())?;
        let shown = block.shown.get(channel.index())?;
        map.mean(shown, elapsed, D::DECLARATION.sample_us)
    }

    fn read_flags<B: Port>(
        &mut self,
        link: &mut Link<B>,
    ) -> impl Future<Output = Result<AlertFlags, Fault>> {
        B::shared(move || async move {
            let mut flags = AlertFlags::empty();
            match Self::look(link, &mut flags).await {
                Err(Fault::Reset) => Ok(flags | AlertFlags::RESET_SEEN),
                result => result.map(|()| flags),
            }
        })
    }

    async fn clear_flags<B: Port>(
        &mut self,
        link: &mut Link<B>,
        flags: AlertFlags,
    ) -> Result<(), Fault> {
        for map in Self::PAGES {
            for status in map.page.side.statuses() {
                let bits = map.bits_of(*status, flags);
                if B::DRY || bits != 0 {
                    Self::select(link, map.page).await?;
                    link.put(status.register().once(), bits.into()).await?;
                }
            }
        }
        Ok(())
    }

    fn remove_limits<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        _: &LimitPlan<'_, N>,
    ) -> impl Future<Output = Result<(), Fault>> {
        Self::disarm(link)
    }

    async fn set_limits<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        plan: &LimitPlan<'_, N>,
    ) -> Result<(), Fault> {
        for limit in plan.limits().list() {
            if plan.compared_by(limit) == Source::Part {
                let code = plan.code_of(limit).ok_or(Fault::Refused)?;
                Self::put_limit(link, limit, code).await?;
            }
        }
        self.set_masks(link, plan.limits().masks()).await?;
        Self::find_reset(link).await
    }

    fn set_masks<B: Port>(
        &mut self,
        link: &mut Link<B>,
        [a, b]: &[AlertFlags; 2],
    ) -> impl Future<Output = Result<(), Fault>> {
        Self::mask_all(link, *a | *b)
    }
}

impl Shown {
    pub(super) const NOTHING: Self = Self {
        codes: Codes {
            sense: 0,
            rail: 0,
            power: 0,
            sense_clipped: false,
            rail_clipped: false,
        },
        count: 0,
        added: 0,
        before: 0,
    };
}

// `clamp` would keep a panic for ends that are the wrong way round.
impl PageMap {
    /// What words of a page come to. At an end of a range they may have been cut off; a voltage
    /// below zero is none.
    fn codes(&self, voltage: u16, current: u16, power: Option<u16>) -> Codes {
        let (sense_max, rail_max) = (i64::from(self.sense_max), i64::from(self.rail_max));
        let [volts, amperes, watts, _] = &self.scales;
        let (voltage, current) = (volts.code(voltage), amperes.code(current));
        let sense = within(current, sense_max) as i32;
        let rail = voltage.max(0).min(rail_max) as u32;
        Codes {
            sense,
            rail,
            power: match power {
                Some(word) => within(watts.code(word), self.power_max()),
                None => product(sense, rail as i32),
            },
            sense_clipped: current >= sense_max || current <= sense_max.wrapping_neg(),
            rail_clipped: voltage >= rail_max,
        }
    }
}

/// A code within its range, which is the same either way.
pub(super) fn within(code: i64, most: i64) -> i64 {
    code.min(most).max(most.wrapping_neg())
}
