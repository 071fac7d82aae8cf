//! Corncrake's map once more, plainly, from docs/corncrake-datasheet.md, and with one mistake at
//! a time: what the kit has to find.

use std::rc::Rc;

use crake::Channel;
use crake::board::LimitPlan;
use crake::bus::{Fault, Link, Port, Register, Wire};
use crake::config::{AlertFlags, Kind, Run, Scan};
use crake::crc::Crc16;
use crake::info::PartInfo;
use crake::part::corncrake::INFO;
use crake::part::{Codes, Part, Sums};
use crake::units::Voltage;

use crate::conformance::{Corncrake, Fixture, Stated, Subject};

/// Each mistake, and the check that is about it.
#[rustfmt::skip]
pub(super) const MISTAKES: &[(&str, &str)] = &[
    ("a capture is waited for without end", "ends"),
    ("another part's identity accepted", "identity"),
    ("stops the part before it looks what it is", "identity"),
    ("sense bytes swapped", "byte-order"),
    ("rail bytes swapped", "byte-order"),
    ("channels in reverse order", "channel-order"),
    ("sign of sense lost", "signs"),
    ("sense and rail range exchanged", "scale-of-sense"),
    ("rail taken as signed", "scale-of-rail"),
    ("ranges of the other end's channels", "ranges"),
    ("channels enabled from the other end", "enabled-channels"),
    ("sign of power lost", "power"),
    ("stamped as if latched at once", "stamps"),
    ("triggered once and never again", "single-shot"),
    ("single-shot of one scan more", "single-shot"),
    ("wait 10 % too short", "waits"),
    ("wake-up left out of the wait", "waits"),
    ("stale result taken as new, too early", "waits"),
    ("taken as complete too early", "averaging"),
    ("averaging one step too long", "averaging"),
    ("one scan rate taken for the next", "scan-rates"),
    ("pieces of a block one byte aside", "read-in-pieces"),
    ("sense from live registers", "coherence"),
    ("over-range flags lost", "over-range"),
    ("sense flag told as rail flag", "over-range"),
    ("over-range of another channel", "over-range"),
    ("lost samples told to the part as seen", "over-range"),
    ("codes of a capture from the end", "fast-capture"),
    ("charge of the channel before", "running-sums"),
    ("charge sum one bit too narrow", "rollover-charge"),
    ("energy sum one bit too narrow", "rollover-energy"),
    ("count of scans cut to 16 bits", "rollover-scans"),
    ("limits one code too high", "limit-at-code"),
    ("limits one code too low", "limit-at-code"),
    ("over and under exchanged", "limit-at-code"),
    ("limits of the other end's channels", "limit-at-code"),
    ("latching ignored", "latching"),
    ("everything latches", "latching"),
    ("clears every flag", "clears-what-was-seen"),
    ("clears nothing", "clears-what-was-seen"),
    ("a clear that is repeated", "lost-events"),
    ("masks to the other output", "masks"),
    ("debounce one less", "debounce"),
    ("debounce of 1 for all", "debounce"),
    ("the part's own flags masked", "rollover-ahead"),
    ("limits not read back", "limits-read-back"),
    ("check byte of flags ignored", "check-byte"),
    ("block's check value ignored", "block-check"),
    ("stale tag accepted", "lost-latch"),
    ("note of a reset ignored", "reset"),
    ("resume clears flags", "resume"),
    ("resume writes", "resume"),
    ("count of writes not compared", "foreign-writes"),
    ("tries of its own that nobody counts", "longest-time"),
    ("a failed look is an empty one", "bus-errors"),
];

/// Wrong figures; `info` is about all of them.
pub(super) const FIGURES: &[(&str, Change)] = &[
    ("LSB wrong", |info| {
        info.sense_ranges = first(info.sense_ranges, |range| range.lsb_units = 4);
    }),
    ("least code wrong", |info| {
        info.sense_ranges = first(info.sense_ranges, |range| range.code_min += 1);
    }),
    ("gain limit wrong", |info| {
        info.sense_errors = first(info.sense_errors, |errors| errors.gain_ppm = 200);
    }),
    ("offset limit wrong", |info| {
        info.rail_errors = first(info.rail_errors, |errors| errors.offset = Voltage::ZERO);
    }),
    ("noise wrong", |info| {
        info.sense_errors = first(info.sense_errors, |errors| errors.noise = Voltage::ZERO);
    }),
    ("energy sum narrower", |info| info.sum_bits.energy = 59),
    ("a scan period wrong", |info| {
        info.scan_periods_us = first(info.scan_periods_us, |period_us| *period_us = 400);
    }),
    ("skew wrong", |info| info.skew_us = 500),
    ("wake-up time wrong", |info| info.wake_us = 15),
    ("oscillator too good", |info| {
        info.oscillator.error_ppm = 1_500
    }),
    ("greatest debounce wrong", |info| {
        info.alerts.debounce_max = 16
    }),
];

type Change = fn(&mut PartInfo);

/// A table with its first entry changed.
fn first<T: Copy>(table: &[T], change: impl FnOnce(&mut T)) -> &'static [T] {
    let mut table = table.to_vec();
    change(&mut table[0]);
    table.leak()
}

/// The wrong map on the bench's model.
pub(super) struct WrongCorncrake(pub(super) &'static str);

impl Subject<4> for WrongCorncrake {
    type Part = Map;

    fn stated(&self) -> Stated {
        Corncrake::STATED
    }

    fn map(&self) -> Map {
        Map {
            mistake: self.0,
            ..Map::default()
        }
    }

    fn fixture(&self, oscillator_ppm: i32) -> Rc<dyn Fixture> {
        Corncrake::bench(oscillator_ppm)
    }
}

#[derive(Clone, Default)]
pub(crate) struct Map {
    mistake: &'static str,
    tag: u8,
    seen: u8,
    writes: u16,
    writes_known: bool,
    mode: u8,
    configuration: u8,
    ranges: u16,
    latch_us: u32,
}

/// The sample block and its check byte, and what is wrong with their decoding.
#[derive(Debug)]
pub(crate) struct Block([u8; 112], &'static str);

const WRITES: Register = Register::new(0x01, 2);
const LATCH: Register = Register::new(0x03, 2);
const RUN: Register = Register::new(0x04, 1);
const RESET_SEEN: Register = Register::new(0x0A, 1);
const FLAGS: Register = Register::new(0x37, 3);

impl Wire for Map {
    const CHECK_BYTE: bool = true;
    const LOW_BYTE_FIRST: bool = false;
}

impl Part for Map {
    const INFO: &'static PartInfo = &INFO;
    type Block = Block;
    const EMPTY: Block = Block([0; 112], "");
    const FAILURES_MAX: u8 = 254;

    fn address(&self) -> u8 {
        0x32
    }

    fn undetectable(&self) -> crake::info::Undetectable {
        match self.mode {
            0x20 => crake::info::Undetectable::LOST_TRIGGER,
            _ => crake::info::Undetectable::empty(),
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
        self.tag = 0;
        link.put(LATCH, u64::from(self.seen)).await?;
        if fresh {
            link.put(RESET_SEEN, 1).await?;
        }
        for (pointer, bytes, value) in [
            (0x04, 1, 0),
            (0x05, 1, u64::from(self.configuration & 0x0F)),
            (0x06, 2, self.ranges.into()),
            (0x07, 1, u64::from(self.configuration >> 4)),
            (
                0x04,
                1,
                if self.mode == 0x20 {
                    0
                } else {
                    self.mode.into()
                },
            ),
        ] {
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
        let mut place = 24 * channel.index();
        if block.has("channels in reverse order") {
            place = 72 - place;
        }
        let [s0, s1, s2, r0, r1, ..] = block.0[13 + place..] else {
            return Codes::default();
        };
        let sense = match block.1 {
            "sense bytes swapped" => [s0, s2, s1, 0],
            _ => [s0, s1, s2, 0],
        };
        let sense = i32::from_be_bytes(sense) >> 8;
        let rail = match block.1 {
            "rail bytes swapped" => [r1, r0],
            _ => [r0, r1],
        };
        let rail = u16::from_be_bytes(rail);
        let power = block.number(18 + place, 5) << 24 >> 24;
        let shift = match block.1 {
            "over-range of another channel" => 6 - 2 * channel.number(),
            _ => 2 * channel.number(),
        };
        let clipped = match block.1 {
            "over-range flags lost" => 0,
            _ => block.0[8] >> shift & 3,
        };
        let exchanged = block.has("sense flag told as rail flag");
        Codes {
            sense: if block.has("sign of sense lost") {
                sense & 0x3_FFFF
            } else {
                sense
            },
            rail: match block.has("rail taken as signed") {
                true => i32::from(rail as i16) as u32,
                false => rail.into(),
            },
            power: if block.has("sign of power lost") {
                power & 0xFF_FFFF_FFFF
            } else {
                power
            },
            sense_clipped: clipped & if exchanged { 2 } else { 1 } != 0,
            rail_clipped: clipped & if exchanged { 1 } else { 2 } != 0,
        }
    }

    fn sums(block: &Block, channel: Channel) -> Sums {
        let place = 24 * channel.index();
        let other = if block.has("charge of the channel before") {
            (place + 72) % 96
        } else {
            place
        };
        let charge = block.number(23 + other, 6) << 16 >> 16;
        let energy = block.number(29 + place, 8);
        Sums {
            charge: match block.has("charge sum one bit too narrow") {
                true => charge & 0x7FF_FFFF_FFFF,
                false => charge,
            },
            energy: match block.has("energy sum one bit too narrow") {
                true => energy & 0x7FF_FFFF_FFFF_FFFF,
                false => energy,
            },
        }
    }

    async fn read_flags<B: Port>(
        &mut self,
        link: &mut Link<B>,
        _: &Block,
    ) -> Result<AlertFlags, Fault> {
        let mut bytes = [0; 3];
        let bits = match self.mistake {
            "check byte of flags ignored" => {
                link.read(0x37, &mut bytes).await?;
                u64::from_be_bytes([0, 0, 0, 0, 0, bytes[0], bytes[1], bytes[2]])
            }
            "a failed look is an empty one" => match link.get(FLAGS).await {
                Err(Fault::Bus) => 0,
                result => result?,
            },
            "tries of its own that nobody counts" => {
                let mut result = link.get(FLAGS).await;
                for _ in 0..5 {
                    if result.is_err() {
                        result = link.get(FLAGS).await;
                    }
                }
                result?
            }
            _ => link.get(FLAGS).await?,
        };
        Ok(AlertFlags::from_bits_retain(
            bits & 0xF_FFFF | (bits & 0x70_0000) << 41,
        ))
    }

    async fn clear_flags<B: Port>(
        &mut self,
        link: &mut Link<B>,
        flags: AlertFlags,
    ) -> Result<(), Fault> {
        match self.mistake {
            "clears every flag" => link.put(FLAGS.once(), 0xF_FFFF).await,
            "clears nothing" => Ok(()),
            "a clear that is repeated" => link.put(FLAGS, bits(flags)).await,
            _ => link.put(FLAGS.once(), bits(flags)).await,
        }
    }

    async fn remove_limits<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        plan: &LimitPlan<'_, N>,
    ) -> Result<(), Fault> {
        self.write_masks(link, &[AlertFlags::empty(); 2]).await?;
        for channel in Channel::first(4) {
            let counts = Kind::ALL.iter().rev().fold(0, |counts, kind| {
                let count = match (plan.debounce(channel, *kind), self.mistake) {
                    (_, "debounce of 1 for all") => 1,
                    (count, "debounce one less") => count.saturating_sub(1).max(1),
                    (count, _) => count,
                };
                counts << 4 | u64::from(count)
            });
            self.write(link, 0x30 + channel.number(), 3, counts).await?;
        }
        Ok(())
    }

    async fn set_limits<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        plan: &LimitPlan<'_, N>,
    ) -> Result<(), Fault> {
        let limits = plan.limits();
        let latching = match self.mistake {
            "latching ignored" => AlertFlags::OWN,
            "everything latches" => AlertFlags::all(),
            _ => limits.latching() | AlertFlags::OWN,
        };
        self.write(link, 0x34, 3, bits(latching)).await?;
        for limit in limits.list() {
            let code = plan.code_of(limit).ok_or(Fault::Refused)?;
            let code = match self.mistake {
                "limits one code too high" => code + 1,
                "limits one code too low" => code - 1,
                _ => code,
            };
            let mut kind = limit.kind().index() as u8;
            if kind < 4 && self.has("over and under exchanged") {
                kind ^= 1;
            }
            let mut channel = limit.channel().number();
            if self.has("limits of the other end's channels") {
                channel = 3 - channel;
            }
            let bytes = [2, 2, 3, 3, 5][usize::from(kind)];
            let register = Register::new(0x10 + 8 * channel + kind, bytes);
            self.write(link, register.pointer(), bytes, register.low_bytes(code))
                .await?;
        }
        self.write_masks(link, limits.masks()).await?;
        self.take_writes(link).await?;
        self.find_reset(link).await
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
    fn has(&self, mistake: &str) -> bool {
        self.mistake == mistake
    }

    fn expect<const N: usize>(&mut self, scan: &Scan<N>) {
        self.mode = match scan.run {
            Run::Idle => 0,
            Run::Continuous(2) if self.has("one scan rate taken for the next") => 0x13,
            Run::Continuous(rate) => 0x10 | rate,
            Run::SingleShot => 0x20,
        };
        let mut k = scan.averaging_log2;
        let longer = "averaging one step too long";
        if self.has(longer) && self.mode != 0x20 || self.has("single-shot of one scan more") {
            k = (k + 1).min(10);
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

    async fn identify<B: Port>(&self, link: &mut Link<B>) -> Result<(), Fault> {
        let identity = Register::new(0x00, 4);
        if self.has("another part's identity accepted") {
            return link.get(identity).await.map(drop);
        }
        link.require(identity, 0x9E37_C402, Fault::Identity).await
    }

    async fn find_reset<B: Port>(&self, link: &mut Link<B>) -> Result<(), Fault> {
        if self.has("note of a reset ignored") {
            return Ok(());
        }
        link.require(RESET_SEEN, 0, Fault::Reset).await
    }

    async fn take_writes<B: Port>(&mut self, link: &mut Link<B>) -> Result<(), Fault> {
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

    async fn write<B: Port>(
        &mut self,
        link: &mut Link<B>,
        pointer: u8,
        bytes: u8,
        value: u64,
    ) -> Result<(), Fault> {
        let register = Register::new(pointer, bytes);
        match self.has("limits not read back") {
            true => link.put(register, value).await,
            false => link.put_verified(register, value).await,
        }
    }

    async fn write_masks<B: Port>(
        &mut self,
        link: &mut Link<B>,
        [a, b]: &[AlertFlags; 2],
    ) -> Result<(), Fault> {
        self.writes_known = false;
        let own = match self.has("the part's own flags masked") {
            true => 0xF_FFFF,
            false => u64::MAX,
        };
        let (a_at, b_at) = match self.has("masks to the other output") {
            true => (0x36, 0x35),
            false => (0x35, 0x36),
        };
        self.write(link, a_at, 3, bits(*a) & own).await?;
        self.write(link, b_at, 3, bits(*b) & own).await
    }
}

impl Block {
    fn has(&self, mistake: &str) -> bool {
        self.1 == mistake
    }

    fn number(&self, place: usize, bytes: usize) -> i64 {
        let all = self.0[place..place + bytes].iter();
        all.fold(0, |number, byte| number << 8 | i64::from(*byte))
    }
}

fn bits(flags: AlertFlags) -> u64 {
    flags.bits() & 0xF_FFFF | (flags.bits() >> 41) & 0x70_0000
}
