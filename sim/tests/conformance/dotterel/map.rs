//! The map of Dotterel.

use crake::Channel;
use crake::board::LimitPlan;
use crake::bus::{Fault, Link, Port, Register, Wire};
use crake::config::{AlertFlag, AlertFlags, Kind, Outputs, Run, Scan};
use crake::info::{
    AlertInfo, Oscillator, PartInfo, RangeErrors, RangeInfo, Source, SumBits, Supply, Undetectable,
};
use crake::part::{Codes, Part, SoftwareComparator, SoftwareSums, Sums};
use crake::units::{Current, Voltage};

const SENSE_UNIT: Voltage = Voltage::from_nanovolts(500);
const RAIL_UNIT: Voltage = Voltage::from_microvolts(50);
const SENSE: [RangeInfo; 1] = [RangeInfo::new(SENSE_UNIT, 14, -8_192, 8_191)];
const RAIL: [RangeInfo; 1] = [RangeInfo::new(RAIL_UNIT, 180, 0, 4_095)];

pub const INFO: PartInfo = PartInfo {
    name: "Dotterel",
    channels: 3,
    sense_unit: SENSE_UNIT,
    rail_unit: RAIL_UNIT,
    sense_ranges: &SENSE,
    rail_ranges: &RAIL,
    sense_errors: &[RangeErrors::new(
        3_000,
        Voltage::from_microvolts(20),
        Voltage::from_microvolts(3),
    )],
    rail_errors: &[RangeErrors::new(
        4_000,
        Voltage::from_millivolts(16),
        Voltage::from_millivolts(2),
    )],
    bias: Current::from_nanoamps(60),
    offset_stability: Voltage::from_microvolts(1),
    scan_periods_us: &[4_000],
    conversion_ns: 600_000,
    averaging_log2_max: 6,
    charge_sum: Source::Part,
    sum_bits: SUM_BITS,
    alerts: AlertInfo {
        outputs: Outputs::A,
        kinds: &[&[Kind::OverCurrent]],
        cleared_by_reading: true,
        ..AlertInfo::NONE
    },
    oscillator: Oscillator {
        error_ppm: 15_000,
        wander_ppm: 2_000,
    },
    wake_us: 200,
    reset_us: 600,
    supply: Supply {
        idle: Current::from_microamps(3),
        resting: Current::from_microamps(90),
        converting: Current::from_microamps(280),
    },
    undetectable: Undetectable::WRITES.union(Undetectable::OVER_RANGE),
    ..PartInfo::PLAIN
};

/// A fallen count tells a reset, so that samples may be half its span apart, not all of it.
const SUM_BITS: SumBits = {
    let mut bits = SumBits::new(63, 40, 24, &SENSE, &RAIL);
    bits.safe_log2 = 23;
    bits
};

const CHANNELS: u8 = 3;
const KIND: Register = Register::new(0x02, 2);
const KIND_VALUE: u32 = 0xD07E;
const SETUP: Register = Register::new(0x05, 2);
const ALERT: u32 = 1 << 8;
const LATCH: u32 = 1 << 15;
const AFTER_RESET: u32 = 0x0007;
const FLAGS: Register = Register::new(0x09, 1);
const LIMIT: Register = Register::new(0x0C, 2);
const LIMIT_BITS: u64 = 0x3FFF;
const NEVER: u64 = 0x1FFF;
const COUNT: Register = Register::new(0x20, 3);
const STATE: Register = Register::new(0x21, 1);
const SENSES: Register = Register::new(0x30, 2);
const RAILS: Register = Register::new(0x38, 2);
const CHARGES: Register = Register::new(0x40, 5);
/// Waking up and a period of a slow oscillator: (200 + 4000) / 0.985, rounded up.
const LATCH_US: u32 = 4_264;
/// The count of scans is of 24 bits; more than half of its span forward is backward.
const SCANS: u32 = 0xFF_FFFF;

#[derive(Clone, Copy, Debug, Default)]
pub struct Dotterel {
    /// Bits 0 to 6 of SETUP.
    configuration: u32,
    /// ALERT of SETUP; `None` while that is not known.
    alert: Option<bool>,
    /// COUNT of the last block, and as it was before the latch.
    last: u32,
    before: u32,
}

#[derive(Clone, Copy, Debug, Default)]
pub struct Block {
    scans: u32,
    complete: bool,
    results: [(i16, u16, i64); 3],
}

impl Wire for Dotterel {
    const CHECK_BYTE: bool = true;
    const LOW_BYTE_FIRST: bool = true;
}

impl Part for Dotterel {
    const INFO: &'static PartInfo = &INFO;
    type Block = Block;
    const EMPTY: Block = Block {
        scans: 0,
        complete: false,
        results: [(0, 0, 0); 3],
    };
    type Comparator = SoftwareComparator<3>;
    type Sums = SoftwareSums<3>;
    const FAILURES_MAX: u8 = 254;

    fn address(&self) -> u8 {
        0x26
    }

    /// All channels and no mean is what a reset leaves.
    fn undetectable(&self) -> Undetectable {
        match self.configuration {
            AFTER_RESET => INFO.undetectable.union(Undetectable::RESET),
            _ => INFO.undetectable,
        }
    }

    async fn configure<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        scan: &Scan<N>,
        _fresh: bool,
    ) -> Result<(), Fault> {
        self.expect(scan)?;
        link.require(KIND, KIND_VALUE, Fault::Identity).await?;
        // Without a channel a latch that is pending is done.
        link.put_verified(SETUP, 0).await?;
        for channel in 0..CHANNELS {
            link.put_verified(LIMIT.plus(channel), NEVER).await?;
        }
        self.last = link.get(COUNT).await? as u32;
        link.put_verified(SETUP, self.configuration.into()).await?;
        self.alert = Some(false);
        self.find_reset(link).await.map(drop)
    }

    async fn resume<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        scan: &Scan<N>,
        _writes: u32,
    ) -> Result<(), Fault> {
        self.expect(scan)?;
        link.require(KIND, KIND_VALUE, Fault::Identity).await?;
        self.last = link.get(COUNT).await? as u32;
        self.find_reset(link).await.map(drop)
    }

    /// The trigger writes all of the set-up: what a reset took would stand again. So it is looked
    /// at before; and the count of before tells a latch that never took place.
    async fn latch<B: Port>(&mut self, link: &mut Link<B>) -> Result<(), Fault> {
        self.before = link.get(COUNT).await? as u32;
        let setup = self.find_reset(link).await?;
        link.put(SETUP, (setup | LATCH).into()).await
    }

    fn latch_us_max(&self) -> u32 {
        LATCH_US
    }

    async fn read_block<B: Port>(
        &mut self,
        link: &mut Link<B>,
        wait_us: u32,
        block: &mut Block,
    ) -> Result<(), Fault> {
        link.delay_us(wait_us).await;
        let setup = self.find_reset_raw(link).await?;
        link.expect(Fault::Busy, 0, setup & LATCH)?;
        block.scans = link.get(COUNT).await? as u32;
        block.complete = link.get(STATE).await? & 1 != 0;
        for (channel, (sense, rail, charge)) in (0..).zip(&mut block.results) {
            *sense = link.get(SENSES.plus(channel)).await? as i16;
            *rail = link.get(RAILS.plus(channel)).await? as u16;
            let sum = link.get(CHARGES.plus(channel)).await? as i64;
            *charge = sum << 24 >> 24;
        }
        if self.configuration & 7 != 0 && block.scans == self.before {
            link.expect(Fault::Stale, 1, 0)?;
        }
        // It counts up: a count that fell is of after a reset.
        let since = block.scans.wrapping_sub(self.last) & SCANS;
        if since > SCANS / 2 {
            link.expect(Fault::Reset, 1, 0)?;
        }
        self.find_reset(link).await?;
        self.last = block.scans;
        Ok(())
    }

    fn is_complete(block: &Block) -> bool {
        block.complete
    }

    fn scans(block: &Block) -> u32 {
        block.scans
    }

    fn is_clipped(block: &Block) -> bool {
        Channel::first(CHANNELS).any(|channel| {
            let codes = block.codes(channel);
            codes.sense_clipped || codes.rail_clipped
        })
    }

    fn codes(block: &Block, channel: Channel) -> Codes {
        block.codes(channel)
    }

    fn sums(block: &Block, channel: Channel) -> Sums {
        let (_, _, charge) = block.of(channel);
        Sums { charge, energy: 0 }
    }

    async fn read_flags<B: Port>(&mut self, link: &mut Link<B>) -> Result<AlertFlags, Fault> {
        let bits = link.get(FLAGS.once()).await?;
        let set = Channel::first(CHANNELS).filter(|channel| bits >> channel.number() & 1 != 0);
        let flags = set.fold(AlertFlags::empty(), |all, channel| {
            all | AlertFlags::of(AlertFlag::Limit(channel, Kind::OverCurrent))
        });
        match self.find_reset(link).await {
            Err(Fault::Reset) => Ok(flags | AlertFlags::RESET_SEEN),
            // What was read is gone from the part.
            Err(_) if !flags.is_empty() => Ok(flags),
            result => result.map(|_| flags),
        }
    }

    async fn remove_limits<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        _: &LimitPlan<'_, N>,
    ) -> Result<(), Fault> {
        self.let_through(link, false).await?;
        for channel in 0..CHANNELS {
            link.put_verified(LIMIT.plus(channel), NEVER).await?;
        }
        Ok(())
    }

    async fn set_limits<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        plan: &LimitPlan<'_, N>,
    ) -> Result<(), Fault> {
        for limit in plan.limits().list() {
            if plan.compared_by(limit) == Source::Part {
                let register = LIMIT.plus(limit.channel().number());
                let code = plan.code_of(limit).ok_or(Fault::Refused)?;
                link.put_verified(register, register.low_bytes(code) & LIMIT_BITS)
                    .await?;
            }
        }
        self.set_masks(link, plan.limits().masks()).await?;
        self.find_reset(link).await.map(drop)
    }

    /// One bit for all flags.
    async fn set_masks<B: Port>(
        &mut self,
        link: &mut Link<B>,
        [a, b]: &[AlertFlags; 2],
    ) -> Result<(), Fault> {
        self.let_through(link, !(*a | *b).is_empty()).await
    }
}

impl Dotterel {
    fn expect<const N: usize>(&mut self, scan: &Scan<N>) -> Result<(), Fault> {
        let mean = u32::from(scan.averaging_log2 & 7) << 4;
        self.alert = None;
        self.configuration = mean
            | match scan.run {
                Run::Idle => 0,
                Run::Continuous(_) => u32::from(scan.enabled & 7),
                Run::SingleShot => return Err(Fault::NotSupported),
            };
        Ok(())
    }

    /// SETUP as it reads, if it is as it has to be but for LATCH.
    async fn find_reset_raw<B: Port>(&self, link: &mut Link<B>) -> Result<u32, Fault> {
        let got = link.get(SETUP).await? as u32;
        let fault = match got & !LATCH {
            AFTER_RESET => Fault::Reset,
            _ => Fault::Changed,
        };
        let alert = match self.alert {
            Some(true) => ALERT,
            Some(false) => 0,
            None => got & ALERT,
        };
        link.expect(fault, self.configuration | alert, got & !LATCH)?;
        Ok(got)
    }

    async fn find_reset<B: Port>(&self, link: &mut Link<B>) -> Result<u32, Fault> {
        Ok(self.find_reset_raw(link).await? & !LATCH)
    }

    async fn let_through<B: Port>(&mut self, link: &mut Link<B>, on: bool) -> Result<(), Fault> {
        self.find_reset(link).await?;
        self.alert = None;
        let setup = self.configuration | if on { ALERT } else { 0 };
        link.put(SETUP, setup.into()).await?;
        let got = link.get(SETUP).await? as u32;
        link.expect(Fault::ReadBack, setup, got & !LATCH)?;
        self.alert = Some(on);
        Ok(())
    }
}

impl Block {
    fn of(&self, channel: Channel) -> (i16, u16, i64) {
        let result = self.results.get(channel.index()).copied();
        result.unwrap_or_default()
    }

    fn codes(&self, channel: Channel) -> Codes {
        let (sense, rail, _) = self.of(channel);
        let (sense, rail) = (i32::from(sense), i32::from(rail));
        let ([sense_range], [rail_range]) = (&SENSE, &RAIL);
        Codes {
            sense,
            rail: rail as u32,
            power: i64::from(sense).wrapping_mul(i64::from(rail)),
            sense_clipped: sense_range.is_end(sense),
            rail_clipped: rail_range.is_end(rail),
        }
    }
}
