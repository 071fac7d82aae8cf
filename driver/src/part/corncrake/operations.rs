use core::future::Future;

use super::registers::{
    AVERAGING, CHANNELS, CONTINUOUS, IDENTITY, IDENTITY_VALUE, IDLE, LATCH, RANGES, RESET_SEEN,
    RUN, SAMPLE, SINGLE_SHOT, WRITES,
};
use super::{Block, Corncrake, INFO, block};
use crate::Channel;
use crate::board::LimitPlan;
use crate::bus::{Fault, Link, Port, Register, Wire};
use crate::config::{AlertFlags, Run, Scan};
use crate::info::{PartInfo, Supply, Undetectable};
use crate::part::{Codes, NoComparator, NoSums, Part, Sums};

/// Steps of a configuration.
const SETTINGS: u8 = 5;
/// The longest that one channel of a scan takes, in microseconds.
const CHANNEL_US_MAX: u32 = INFO.scan_us_max(1);

impl Wire for Corncrake {
    const CHECK_BYTE: bool = true;
    const LOW_BYTE_FIRST: bool = false;
}

impl Part for Corncrake {
    const INFO: &'static PartInfo = &INFO;
    const SUPPLY_TYPICAL: Supply = super::info::SUPPLY_TYPICAL;
    type Block = Block;
    type Comparator = NoComparator;
    type Sums = NoSums;
    const EMPTY: Block = Block::EMPTY;
    const FAILURES_MAX: u8 = 254;

    fn address(&self) -> u8 {
        self.address
    }

    /// A single-shot whose start was lost leaves complete results behind: those before.
    fn undetectable(&self) -> Undetectable {
        match self.is_single_shot() {
            true => Undetectable::LOST_TRIGGER,
            false => Undetectable::empty(),
        }
    }

    async fn configure<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        scan: &Scan<N>,
        fresh: bool,
    ) -> Result<(), Fault> {
        self.expect(scan);
        identify(link).await?;
        // The stop makes it done at once, so that no sample's latch is taken for a repeat.
        self.supersede(link).await?;
        if fresh {
            link.put(RESET_SEEN, 1).await?;
        }
        for step in 0..SETTINGS {
            let (register, value) = self.setting(step);
            link.put_verified(register, u64::from(value)).await?;
        }
        self.take_writes(link).await?;
        // What was written before a reset is gone.
        link.require(RESET_SEEN, 0, Fault::Reset).await
    }

    async fn resume<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        scan: &Scan<N>,
        writes: u32,
    ) -> Result<(), Fault> {
        self.expect(scan);
        self.adopt(writes as u16);
        identify(link).await?;
        // The next block tells the same, and of a reset; but a single shot is started before that.
        link.require(WRITES, writes, Fault::Changed).await?;
        // Stopping is no setting.
        for step in 1..SETTINGS {
            let (register, value) = self.setting(step);
            link.require(register, value, Fault::Changed).await?;
        }
        self.supersede(link).await?;
        link.delay_us(self.latch_us).await;
        Ok(())
    }

    fn writes(&self) -> u32 {
        u32::from(self.writes)
    }

    fn latch<B: Port>(&mut self, link: &mut Link<B>) -> impl Future<Output = Result<(), Fault>> {
        self.tag = match self.tag {
            u8::MAX => 1,
            tag => tag.wrapping_add(1),
        };
        let latch = u16::from_be_bytes([self.tag, self.seen]);
        let (register, value) = match self.is_single_shot() {
            true => (RUN, u16::from(SINGLE_SHOT)),
            false => (LATCH, latch),
        };
        link.put(register, u64::from(value))
    }

    fn latch_us_max(&self) -> u32 {
        self.latch_us
    }

    async fn read_block<B: Port>(
        &mut self,
        link: &mut Link<B>,
        wait_us: u32,
        block: &mut Block,
    ) -> Result<(), Fault> {
        let mut left = link.attempts();
        loop {
            link.delay_us(wait_us).await;
            if self.is_single_shot() {
                self.ask(link).await?;
            }
            let mut result = self.read_pieces(link, block).await;
            if result.is_ok() {
                result = self.check(link, block);
            }
            left = left.saturating_sub(1);
            if Link::<B>::ends(result.is_ok(), left) {
                result?;
                break;
            }
        }
        self.seen = self.tag;
        if block.is_reset_seen() {
            return Err(Fault::Reset);
        }
        self.compare(link, block)
    }

    fn is_complete(block: &Block) -> bool {
        block.is_complete()
    }

    fn scans(block: &Block) -> u32 {
        block.scans()
    }

    fn is_clipped(block: &Block) -> bool {
        block.is_clipped()
    }

    #[inline(always)]
    fn codes(block: &Block, channel: Channel) -> Codes {
        block.codes(channel)
    }

    #[inline(always)]
    fn sums(block: &Block, channel: Channel) -> Sums {
        block.sums(channel)
    }

    fn start_capture<B: Port>(
        &mut self,
        link: &mut Link<B>,
        channel: Channel,
    ) -> impl Future<Output = Result<(), Fault>> {
        self.begin_capture(link, channel)
    }

    fn fetch_capture<B: Port>(
        &mut self,
        link: &mut Link<B>,
        block: &mut Block,
        first: u16,
        codes: &mut [i32],
    ) -> impl Future<Output = Result<(), Fault>> {
        self.take_capture(link, block, first, codes)
    }

    fn read_flags<B: Port>(
        &mut self,
        link: &mut Link<B>,
    ) -> impl Future<Output = Result<AlertFlags, Fault>> {
        self.flags(link)
    }

    fn clear_flags<B: Port>(
        &mut self,
        link: &mut Link<B>,
        flags: AlertFlags,
    ) -> impl Future<Output = Result<(), Fault>> {
        self.clear(link, flags)
    }

    fn remove_limits<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        plan: &LimitPlan<'_, N>,
    ) -> impl Future<Output = Result<(), Fault>> {
        self.write_debounce(link, plan)
    }

    fn set_limits<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        plan: &LimitPlan<'_, N>,
    ) -> impl Future<Output = Result<(), Fault>> {
        self.write_limits(link, plan)
    }

    async fn set_masks<B: Port>(
        &mut self,
        link: &mut Link<B>,
        masks: &[AlertFlags; 2],
    ) -> Result<(), Fault> {
        self.write_masks(link, masks).await?;
        self.take_writes(link).await
    }
}

impl Corncrake {
    const fn is_single_shot(&self) -> bool {
        self.mode == SINGLE_SHOT
    }

    /// What the block is to show under this configuration.
    #[inline(never)]
    fn expect<const N: usize>(&mut self, scan: &Scan<N>) {
        self.mode = match scan.run {
            Run::Idle => IDLE,
            Run::Continuous(rate) => CONTINUOUS | rate,
            Run::SingleShot => SINGLE_SHOT,
        };
        self.configuration = (scan.enabled as u8 & 0x0F) | (scan.averaging_log2 << 4);
        // Channels without a rail keep the reset value, the widest rail range.
        let (mut ranges, mut latch_us) = (0, 0_u32);
        for channel in Channel::first(4).rev() {
            let bits = match scan.range(channel) {
                Some(range) => {
                    latch_us = latch_us.wrapping_add(CHANNEL_US_MAX);
                    range.sense << 2 | range.rail
                }
                None => 0x2,
            };
            ranges = ranges << 4 | u16::from(bits);
        }
        if self.is_single_shot() {
            // At most 2^10 scans.
            latch_us = (latch_us << scan.averaging_log2).wrapping_add(INFO.wake_us);
        }
        (self.ranges, self.latch_us) = (ranges, latch_us);
    }

    /// Registers with their values, in the order in which they are written: the part is stopped,
    /// then set, then started.
    ///
    /// A step at a time, so that an operation waits for all of them at one place.
    #[inline(never)]
    const fn setting(&self, step: u8) -> (Register, u32) {
        match step {
            0 => (RUN, IDLE as u32),
            1 => (CHANNELS, (self.configuration & 0x0F) as u32),
            2 => (RANGES, self.ranges as u32),
            3 => (AVERAGING, (self.configuration >> 4) as u32),
            // A single shot is started by each latch.
            _ if self.is_single_shot() => (RUN, IDLE as u32),
            _ => (RUN, self.mode as u32),
        }
    }

    /// Asks for a latch.
    fn ask<B: Port>(&self, link: &mut Link<B>) -> impl Future<Output = Result<(), Fault>> {
        let value = u16::from_be_bytes([self.tag, self.seen]);
        link.put(LATCH, u64::from(value))
    }

    /// Latches with the tag that no sample has.
    fn supersede<B: Port>(
        &mut self,
        link: &mut Link<B>,
    ) -> impl Future<Output = Result<(), Fault>> {
        self.tag = 0;
        self.ask(link)
    }

    /// Takes the part's count of writes as it stands for ours.
    pub(super) async fn take_writes<B: Port>(&mut self, link: &mut Link<B>) -> Result<(), Fault> {
        let writes = link.get(WRITES).await? as u16;
        self.adopt(writes);
        Ok(())
    }

    const fn adopt(&mut self, writes: u16) {
        self.writes = writes;
        self.writes_known = true;
    }

    /// Reads the block, in pieces where the bus cannot read so much at once.
    async fn read_pieces<B: Port>(
        &self,
        link: &mut Link<B>,
        block: &mut Block,
    ) -> Result<(), Fault> {
        let most = usize::from(link.read_max());
        let mut rest = block.bytes_mut();
        if !self.block_pec {
            (_, rest) = rest.split_last_mut().ok_or(Fault::NotSupported)?;
        }
        let mut pointer = SAMPLE;
        loop {
            let mut len = rest.len();
            if len > most {
                // The last piece has the check byte; one byte of the block goes with it.
                len = most.min(len.saturating_sub(2));
            }
            let (piece, others) = rest.split_at_mut_checked(len).ok_or(Fault::NotSupported)?;
            link.read(pointer, piece).await?;
            if others.is_empty() {
                return match self.block_pec {
                    true => link.checked(pointer, piece),
                    false => Ok(()),
                };
            }
            pointer = pointer.wrapping_add(len as u8);
            rest = others;
        }
    }

    /// Whether the block is whole, and the one that was asked for.
    fn check<B: Port>(&self, link: &mut Link<B>, block: &Block) -> Result<(), Fault> {
        let (expected, got) = block.check_values();
        link.expect(Fault::BlockCheck, u32::from(expected), u32::from(got))?;
        let tag = block.head()[0];
        link.expect(Fault::Stale, u32::from(self.tag), u32::from(tag))
    }

    /// Whether writes, mode, configuration and ranges are ours.
    fn compare<B: Port>(&mut self, link: &mut Link<B>, block: &Block) -> Result<(), Fault> {
        let [_, w0, w1, mut mode, configuration, r0, r1, ..] = *block.head();
        if self.is_single_shot() {
            // It is over; its start did not count as a write.
            mode = SINGLE_SHOT;
        }
        if !self.writes_known {
            self.adopt(u16::from_be_bytes([w0, w1]));
        }
        let [e0, e1] = self.writes.to_be_bytes();
        let expected = u32::from_be_bytes([e0, e1, self.mode, self.configuration]);
        let got = u32::from_be_bytes([w0, w1, mode, configuration]);
        link.expect(Fault::Changed, expected, got)?;
        let got = u16::from_be_bytes([r0, r1]);
        link.expect(Fault::Changed, u32::from(self.ranges), u32::from(got))
    }
}

/// Whether it is a Corncrake that answers.
fn identify<B: Port>(link: &mut Link<B>) -> impl Future<Output = Result<(), Fault>> {
    link.require(IDENTITY, IDENTITY_VALUE, Fault::Identity)
}

const _: () = assert!(block::LEN == 111);
