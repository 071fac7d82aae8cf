//! The map's operations.

use crake::Channel;
use crake::board::LimitPlan;
use crake::bus::{Fault, Link, Port, Register, Wire};
use crake::config::{AlertFlags, Run, Scan};
use crake::crc::Crc16;
use crake::info::{PartInfo, Undetectable};
use crake::part::corncrake::INFO;
use crake::part::{Codes, NoComparator, NoSums, Part, Sums};

use super::Block;

#[derive(Clone, Default)]
pub(crate) struct Map {
    pub(super) mistake: &'static str,
    tag: u8,
    seen: u8,
    writes: u16,
    pub(super) writes_known: bool,
    mode: u8,
    configuration: u8,
    ranges: u16,
    latch_us: u32,
}

const WRITES: Register = Register::new(0x01, 2);
const LATCH: Register = Register::new(0x03, 2);
const RUN: Register = Register::new(0x04, 1);
const RESET_SEEN: Register = Register::new(0x0A, 1);
pub(super) const FLAGS: Register = Register::new(0x37, 3);

impl Wire for Map {
    const CHECK_BYTE: bool = true;
    const LOW_BYTE_FIRST: bool = false;
}

impl Part for Map {
    const INFO: &'static PartInfo = &INFO;
    type Block = Block;
    type Comparator = NoComparator;
    type Sums = NoSums;
    const EMPTY: Block = Block::EMPTY;
    const FAILURES_MAX: u8 = 254;

    fn address(&self) -> u8 {
        0x32
    }

    fn undetectable(&self) -> Undetectable {
        match self.mode {
            0x20 => Undetectable::LOST_TRIGGER,
            _ => Undetectable::empty(),
        }
    }

    async fn configure<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        scan: &Scan<N>,
        fresh: bool,
    ) -> Result<(), Fault> {
        self.expect(scan);
        if self.has("stops the part before it looks what it is") {
            link.put(RUN, 0).await?;
        }
        self.identify(link).await?;
        if self.has("configure clears flags") {
            self.clear(link, AlertFlags::LIMITS).await?;
        }
        self.tag = 0;
        link.put(LATCH, u64::from(self.seen)).await?;
        if fresh {
            link.put(RESET_SEEN, 1).await?;
        }
        for (pointer, bytes, value) in self.settings() {
            link.put_verified(Register::new(pointer, bytes), value)
                .await?;
        }
        self.take_writes(link).await?;
        self.find_reset(link).await
    }

    async fn resume<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        scan: &Scan<N>,
        writes: u32,
    ) -> Result<(), Fault> {
        self.expect(scan);
        (self.writes, self.writes_known) = (writes as u16, true);
        self.identify(link).await?;
        if !self.has("count of writes not compared") {
            link.require(WRITES, writes, Fault::Changed).await?;
        }
        for (pointer, bytes, value) in &self.settings()[1..] {
            let register = Register::new(*pointer, *bytes);
            if !self.has("resume takes what stands") {
                link.require(register, *value as u32, Fault::Changed)
                    .await?;
            }
        }
        if self.has("resume clears flags") {
            link.put(FLAGS, 0xF_FFFF).await?;
        }
        if self.has("resume writes") {
            link.put(Register::new(0x08, 1), 0).await?;
            self.take_writes(link).await?;
        }
        self.tag = 0;
        link.put(LATCH, u64::from(self.seen)).await?;
        link.delay_us(self.latch_us).await;
        Ok(())
    }

    fn writes(&self) -> u32 {
        self.writes.into()
    }

    async fn latch<B: Port>(&mut self, link: &mut Link<B>) -> Result<(), Fault> {
        self.tag = self.tag.checked_add(1).unwrap_or(1);
        if self.has("lost samples told to the part as seen") {
            self.seen = self.tag.saturating_sub(1);
        }
        match self.mode {
            0x20 if self.has("triggered once and never again") && self.tag > 1 => Ok(()),
            0x20 => link.put(RUN, 0x20).await,
            _ => self.ask(link).await,
        }
    }

    fn latch_us_max(&self) -> u32 {
        if self.has("stamped as if latched at once") {
            0
        } else {
            self.latch_us
        }
    }

    async fn read_block<B: Port>(
        &mut self,
        link: &mut Link<B>,
        wait_us: u32,
        block: &mut Block,
    ) -> Result<(), Fault> {
        let mut left = link.attempts();
        loop {
            link.delay_us(match self.mistake {
                "stamped as if latched at once" => self.latch_us,
                "wait 10 % too short" => wait_us * 9 / 10,
                "stale result taken as new, too early" => wait_us / 2,
                "wake-up left out of the wait" if self.mode == 0x20 => wait_us - INFO.wake_us,
                _ => wait_us,
            })
            .await;
            if self.mode == 0x20 {
                self.ask(link).await?;
            }
            let result = self.read(link, block).await;
            left = left.saturating_sub(1);
            if Link::<B>::ends(result.is_ok(), left) {
                result?;
                break;
            }
        }
        self.seen = self.tag;
        block.1 = self.mistake;
        let bytes = &mut block.0;
        if bytes[7] & 0x80 != 0 && !self.has("note of a reset ignored") {
            return Err(Fault::Reset);
        }
        if !self.writes_known {
            self.writes = u16::from_be_bytes([bytes[1], bytes[2]]);
            self.writes_known = true;
        }
        if !self.has("count of writes not compared") && !self.has("note of a reset ignored") {
            let got = u16::from_be_bytes([bytes[1], bytes[2]]);
            link.expect(Fault::Changed, self.writes.into(), got.into())?;
        }
        if self.has("sense from live registers") {
            for channel in 0..4 {
                let live = link
                    .get(Register::new(0x60 + channel, 3))
                    .await?
                    .to_be_bytes();
                let place = 13 + 24 * usize::from(channel);
                block.0[place..place + 3].copy_from_slice(&live[5..]);
            }
        }
        Ok(())
    }

    fn is_complete(block: &Block) -> bool {
        block.0[7] & 0x40 != 0 || block.has("taken as complete too early")
    }

    fn scans(block: &Block) -> u32 {
        let scans = block.number(9, 4) as u32;
        if block.has("count of scans cut to 16 bits") {
            scans & 0xFFFF
        } else {
            scans
        }
    }

    fn is_clipped(block: &Block) -> bool {
        block.0[8] != 0
    }

    fn codes(block: &Block, channel: Channel) -> Codes {
        block.codes(channel)
    }

    fn sums(block: &Block, channel: Channel) -> Sums {
        block.sums(channel)
    }

    async fn read_flags<B: Port>(&mut self, link: &mut Link<B>) -> Result<AlertFlags, Fault> {
        self.flags(link).await
    }

    async fn clear_flags<B: Port>(
        &mut self,
        link: &mut Link<B>,
        flags: AlertFlags,
    ) -> Result<(), Fault> {
        self.clear(link, flags).await
    }

    async fn remove_limits<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        plan: &LimitPlan<'_, N>,
    ) -> Result<(), Fault> {
        self.write_debounce(link, plan).await
    }

    async fn set_limits<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        plan: &LimitPlan<'_, N>,
    ) -> Result<(), Fault> {
        self.write_limits(link, plan).await
    }

    async fn set_masks<B: Port>(
        &mut self,
        link: &mut Link<B>,
        masks: &[AlertFlags; 2],
    ) -> Result<(), Fault> {
        self.write_masks(link, masks).await?;
        self.take_writes(link).await
    }

    async fn start_capture<B: Port>(
        &mut self,
        link: &mut Link<B>,
        channel: Channel,
    ) -> Result<(), Fault> {
        link.put(RUN, 0).await?;
        link.require(Register::new(0x06, 2), self.ranges.into(), Fault::Changed)
            .await?;
        link.put(RUN, u64::from(0x30 | channel.number())).await?;
        self.take_writes(link).await
    }

    async fn fetch_capture<B: Port>(
        &mut self,
        link: &mut Link<B>,
        _: &mut Block,
        first: u16,
        codes: &mut [i32],
    ) -> Result<(), Fault> {
        let count = Register::new(0x78, 2);
        if self.has("a capture is waited for without end") {
            while let Err(fault) = link.require(count, 1_024, Fault::Busy).await {
                if fault != Fault::Busy {
                    return Err(fault);
                }
            }
        } else {
            link.delay_us(65_536 + 150).await;
            match link.require(count, 1_024, Fault::Busy).await {
                Err(Fault::Busy) => return self.find_reset(link).await.and(Err(Fault::Busy)),
                end => end?,
            }
        }
        for (number, code) in (first..).zip(codes) {
            let from = if self.has("codes of a capture from the end") {
                1_023 - number
            } else {
                number
            };
            link.put_verified(Register::new(0x79, 3), u64::from(from) << 8 | 1)
                .await?;
            let read = link.get(Register::new(0x7A, 3)).await? as u32;
            *code = (read << 8) as i32 >> 8;
        }
        self.find_reset(link).await?;
        link.require(WRITES, self.writes.into(), Fault::Changed)
            .await
    }
}

impl Map {
    pub(super) fn new(mistake: &'static str) -> Self {
        Self {
            mistake,
            ..Self::default()
        }
    }

    pub(super) fn has(&self, mistake: &str) -> bool {
        self.mistake == mistake
    }

    fn expect<const N: usize>(&mut self, scan: &Scan<N>) {
        self.mode = match scan.run {
            Run::Idle => 0,
            Run::Continuous(_) if self.has("a single-shot for a scan rate") => 0x20,
            Run::SingleShot if self.has("a scan rate for a single-shot") => 0x10,
            Run::Continuous(2) if self.has("one scan rate taken for the next") => 0x13,
            Run::Continuous(rate) => 0x10 | rate,
            Run::SingleShot => 0x20,
        };
        let mut k = scan.averaging_log2;
        let longer = "averaging one step too long";
        if self.has(longer) && self.mode != 0x20 || self.has("single-shot of one scan more") {
            k = (k + 1).min(10);
        }
        if self.has("averaging one step too short") && self.mode != 0x20 {
            k = k.saturating_sub(1);
        }
        let mut enabled = scan.enabled as u8;
        if self.has("channels enabled from the other end") {
            enabled = enabled.reverse_bits() >> 4;
        }
        self.configuration = enabled | k << 4;
        self.ranges = 0;
        for channel in Channel::first(4).rev() {
            let bits = match scan.range(channel) {
                Some(range) if self.has("sense and rail range exchanged") => {
                    (range.rail & 1) << 2 | range.sense
                }
                Some(range) => range.sense << 2 | range.rail,
                None => 2,
            };
            self.ranges = match self.has("ranges of the other end's channels") {
                true => self.ranges >> 4 | u16::from(bits) << 12,
                false => self.ranges << 4 | u16::from(bits),
            };
        }
        self.latch_us = INFO.scan_us_max(4);
        if self.mode == 0x20 {
            self.latch_us = (self.latch_us << k) + INFO.wake_us;
        }
    }

    /// Registers, their bytes and values, in the order in which they are written.
    fn settings(&self) -> [(u8, u8, u64); 5] {
        let starts = if self.mode == 0x20 { 0 } else { self.mode };
        [
            (0x04, 1, 0),
            (0x05, 1, u64::from(self.configuration & 0x0F)),
            (0x06, 2, self.ranges.into()),
            (0x07, 1, u64::from(self.configuration >> 4)),
            (0x04, 1, starts.into()),
        ]
    }

    async fn identify<B: Port>(&self, link: &mut Link<B>) -> Result<(), Fault> {
        let identity = Register::new(0x00, 4);
        if self.has("another part's identity accepted") {
            return link.get(identity).await.map(drop);
        }
        let mut wanted: u32 = 0x9E37_C402;
        if self.has("identity low byte first") {
            wanted = wanted.swap_bytes();
        }
        link.require(identity, wanted, Fault::Identity).await
    }

    pub(super) async fn find_reset<B: Port>(&self, link: &mut Link<B>) -> Result<(), Fault> {
        if self.has("note of a reset ignored") {
            return Ok(());
        }
        link.require(RESET_SEEN, 0, Fault::Reset).await
    }

    pub(super) async fn take_writes<B: Port>(&mut self, link: &mut Link<B>) -> Result<(), Fault> {
        self.writes = link.get(WRITES).await? as u16;
        self.writes_known = true;
        Ok(())
    }

    async fn ask<B: Port>(&self, link: &mut Link<B>) -> Result<(), Fault> {
        link.put(LATCH, u16::from_be_bytes([self.tag, self.seen]).into())
            .await
    }

    async fn read<B: Port>(&self, link: &mut Link<B>, block: &mut Block) -> Result<(), Fault> {
        let most = usize::from(link.read_max());
        let mut at = 0;
        while at < 112 {
            // The check byte comes with one byte of the block at the least.
            let len = most.min(112 - at);
            let len = if at + len == 111 { len - 1 } else { len };
            let aside = u8::from(at > 0 && self.has("pieces of a block one byte aside"));
            let pointer = 0x80 + at as u8 - aside;
            link.read(pointer, &mut block.0[at..at + len]).await?;
            at += len;
            if at == 112 {
                link.checked(pointer, &block.0[at - len..])?;
            }
        }
        let mut crc = Crc16::new();
        crc.add_all(&block.0[..109]);
        if !self.has("block's check value ignored") {
            let got = block.number(109, 2) as u32;
            link.expect(Fault::BlockCheck, crc.value().into(), got)?;
        }
        if !self.has("stale tag accepted") && !self.has("stale result taken as new, too early") {
            link.expect(Fault::Stale, self.tag.into(), block.0[0].into())?;
        }
        Ok(())
    }
}
