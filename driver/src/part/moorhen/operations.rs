use core::future::Future;

use super::{
    ALERT_FLAGS, BUSY, Block, CONFIGURATION, DONE, ENABLE_BIT, IDENTITY, IDENTITY_VALUE, INFO,
    MASK, Moorhen, RAIL, RAIL_BIT, RAIL_LIMIT, RAIL_MOST, SENSE, SENSE_BIT, SENSE_LIMIT,
    SENSE_MOST, STATUS, TRIGGER, TRIGGER_VALUE,
};
use crate::Channel;
use crate::board::LimitPlan;
use crate::bus::{Fault, Link, Port, Wire};
use crate::config::{AlertFlag, AlertFlags, Kind, Scan};
use crate::convert::product;
use crate::info::{PartInfo, Source, Supply};
use crate::part::{Codes, Part, SoftwareComparator, SoftwareSums};

const CHANNELS: u8 = 2;
/// The longest single-shot of both channels, in microseconds.
const SHOT_US_MAX: u32 = INFO.wake_us.wrapping_add(INFO.scan_us_max(CHANNELS));

impl Wire for Moorhen {
    const CHECK_BYTE: bool = false;
    const LOW_BYTE_FIRST: bool = true;
}

impl Part for Moorhen {
    const INFO: &'static PartInfo = &INFO;
    const SUPPLY_TYPICAL: Supply = super::info::SUPPLY_TYPICAL;
    type Block = Block;
    type Comparator = SoftwareComparator<2>;
    type Sums = SoftwareSums<2>;
    const EMPTY: Block = Block {
        sense: [0; 2],
        rail: [0; 2],
        over: 0,
    };
    const FAILURES_MAX: u8 = 254;

    fn address(&self) -> u8 {
        self.address
    }

    async fn configure<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        scan: &Scan<N>,
        _fresh: bool,
    ) -> Result<(), Fault> {
        self.expect(scan);
        link.require(IDENTITY, IDENTITY_VALUE, Fault::Identity)
            .await?;
        // It takes no configuration while a single-shot is in progress.
        link.delay_us(SHOT_US_MAX).await;
        link.put_verified(CONFIGURATION, self.configuration.into())
            .await?;
        disarm(link).await?;
        self.find_reset(link).await
    }

    async fn resume<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        scan: &Scan<N>,
        _writes: u32,
    ) -> Result<(), Fault> {
        self.expect(scan);
        link.require(IDENTITY, IDENTITY_VALUE, Fault::Identity)
            .await?;
        self.find_reset(link).await?;
        link.delay_us(SHOT_US_MAX).await;
        Ok(())
    }

    /// Section 3.4: without the look at STATUS two lost writes would bring the results before.
    async fn latch<B: Port>(&mut self, link: &mut Link<B>) -> Result<(), Fault> {
        link.put(STATUS, DONE).await?;
        let done = link.get(STATUS).await? & DONE;
        link.expect(Fault::Stale, 0, done as u32)?;
        link.put(TRIGGER, TRIGGER_VALUE).await
    }

    fn latch_us_max(&self) -> u32 {
        self.shot_us
    }

    async fn read_block<B: Port>(
        &mut self,
        link: &mut Link<B>,
        wait_us: u32,
        block: &mut Block,
    ) -> Result<(), Fault> {
        link.delay_us(wait_us).await;
        let status = link.get(STATUS).await?;
        if status & (BUSY | DONE) != DONE {
            self.find_reset(link).await?;
            let fault = match status & BUSY {
                0 => Fault::Stale,
                _ => Fault::Busy,
            };
            link.expect(fault, DONE as u32, status as u32)?;
        }
        let Block { sense, rail, over } = block;
        *over = status as u16;
        for (channel, (sense, rail)) in Channel::first(CHANNELS).zip(sense.iter_mut().zip(rail)) {
            *sense = link.get(SENSE.plus(channel.number())).await? as i16;
            *rail = link.get(RAIL.plus(channel.number())).await? as u16;
        }
        self.find_reset(link).await?;
        Ok(())
    }

    fn is_clipped(block: &Block) -> bool {
        block.over & (3 * (SENSE_BIT | RAIL_BIT)) != 0
    }

    fn codes(block: &Block, channel: Channel) -> Codes {
        block.codes(channel)
    }

    fn read_flags<B: Port>(
        &mut self,
        link: &mut Link<B>,
    ) -> impl Future<Output = Result<AlertFlags, Fault>> {
        B::shared(move || async move {
            let flags = from_bits(link.get(ALERT_FLAGS).await?);
            match self.find_reset(link).await {
                Err(Fault::Reset) => Ok(flags | AlertFlags::RESET_SEEN),
                result => result.map(|()| flags),
            }
        })
    }

    fn clear_flags<B: Port>(
        &mut self,
        link: &mut Link<B>,
        flags: AlertFlags,
    ) -> impl Future<Output = Result<(), Fault>> {
        link.put(ALERT_FLAGS.once(), to_bits(flags))
    }

    fn remove_limits<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        _: &LimitPlan<'_, N>,
    ) -> impl Future<Output = Result<(), Fault>> {
        disarm(link)
    }

    async fn set_limits<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        plan: &LimitPlan<'_, N>,
    ) -> Result<(), Fault> {
        for limit in plan.limits().list() {
            if plan.compared_by(limit) == Source::Part {
                let register = match limit.kind() {
                    Kind::OverVoltage => RAIL_LIMIT,
                    _ => SENSE_LIMIT,
                };
                let register = register.plus(limit.channel().number());
                let code = plan.code_of(limit).ok_or(Fault::Refused)?;
                link.put_verified(register, register.low_bytes(code))
                    .await?;
            }
        }
        self.set_masks(link, plan.limits().masks()).await?;
        self.find_reset(link).await
    }

    fn set_masks<B: Port>(
        &mut self,
        link: &mut Link<B>,
        [a, b]: &[AlertFlags; 2],
    ) -> impl Future<Output = Result<(), Fault>> {
        link.put_verified(MASK, to_bits(*a | *b))
    }
}

impl Moorhen {
    fn expect<const N: usize>(&mut self, scan: &Scan<N>) {
        let (mut configuration, mut shot_us) = (0, INFO.wake_us);
        for channel in Channel::first(CHANNELS) {
            if let Some(range) = scan.range(channel) {
                let bits = ENABLE_BIT
                    | SENSE_BIT.wrapping_mul(range.sense.into())
                    | RAIL_BIT.wrapping_mul(range.rail.into());
                configuration |= bits << channel.number();
                shot_us = shot_us.wrapping_add(const { INFO.scan_us_max(1) });
            }
        }
        (self.configuration, self.shot_us) = (configuration, shot_us);
    }

    /// Section 3.2: a reset shows by the configuration, and so does somebody else's.
    fn find_reset<B: Port>(&self, link: &mut Link<B>) -> impl Future<Output = Result<(), Fault>> {
        B::shared(move || async move {
            let got = link.get(CONFIGURATION).await? as u32;
            let fault = match got {
                0 => Fault::Reset,
                _ => Fault::Changed,
            };
            link.expect(fault, self.configuration.into(), got)
        })
    }
}

impl Block {
    fn codes(&self, channel: Channel) -> Codes {
        let place = channel.index();
        let (Some(sense), Some(rail)) = (self.sense.get(place), self.rail.get(place)) else {
            return Codes::default();
        };
        let (sense, rail) = (i32::from(*sense), u32::from(*rail));
        let over = self.over >> channel.number();
        Codes {
            sense,
            rail,
            power: product(sense, rail as i32),
            sense_clipped: over & SENSE_BIT != 0,
            rail_clipped: over & RAIL_BIT != 0,
        }
    }
}

/// No flag reaches the output, and no limit is passed any more.
fn disarm<B: Port>(link: &mut Link<B>) -> impl Future<Output = Result<(), Fault>> {
    B::shared(move || async move {
        link.put_verified(MASK, 0).await?;
        for channel in 0..CHANNELS {
            link.put_verified(SENSE_LIMIT.plus(channel), SENSE_MOST)
                .await?;
            link.put_verified(RAIL_LIMIT.plus(channel), RAIL_MOST)
                .await?;
        }
        Ok(())
    })
}

/// Flags with their input bits (section 3.1).
const INPUTS: [(AlertFlags, u16); 4] = [
    (of(Channel::C0, Kind::OverCurrent), SENSE_BIT),
    (of(Channel::C0, Kind::OverVoltage), RAIL_BIT),
    (of(Channel::C1, Kind::OverCurrent), SENSE_BIT << 1),
    (of(Channel::C1, Kind::OverVoltage), RAIL_BIT << 1),
];

const fn of(channel: Channel, kind: Kind) -> AlertFlags {
    AlertFlags::of(AlertFlag::Limit(channel, kind))
}

fn from_bits(bits: u64) -> AlertFlags {
    let set = INPUTS.iter().filter(|(_, bit)| bits as u16 & bit != 0);
    set.fold(AlertFlags::empty(), |flags, (flag, _)| flags | *flag)
}

fn to_bits(flags: AlertFlags) -> u64 {
    let set = INPUTS.iter().filter(|(flag, _)| flags.contains(*flag));
    set.fold(0, |bits, (_, bit)| bits | u64::from(*bit))
}
