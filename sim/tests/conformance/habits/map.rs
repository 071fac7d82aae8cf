//! The map of Whinchat in all its kinds, with room for a mistake.

use std::marker::PhantomData;

use crake::Channel;
use crake::board::LimitPlan;
use crake::bus::{Fault, Link, Port, Register, Wire};
use crake::config::{AlertFlag, AlertFlags, Kind, Run, Scan};
use crake::info::{PartInfo, Source, Undetectable};
use crake::part::{AddUp, Codes, Compare, Part, SoftwareComparator, SoftwareSums};

use super::Habit::*;

/// `C` and `S` stand in place of what the driver compares and adds up.
#[derive(Clone)]
pub(super) struct Map<const H: u8, const N: usize, C = SoftwareComparator<N>, S = SoftwareSums<N>> {
    mistake: &'static str,
    setup: u64,
    wait_us: u32,
    of: PhantomData<(C, S)>,
}

/// Results of up to six channels.
const N2: usize = 12;

#[derive(Clone, Copy, Debug)]
pub(super) struct Block<const N: usize> {
    codes: [Codes; N],
}

const fn word(pointer: u8) -> Register {
    Register::new(pointer, 2)
}

const SETUP: Register = word(0x01);
const FLAGS: Register = word(0x08);
/// Of SETUP: it runs at its scan rate.
const RUN: u64 = 1 << 12;

impl<const H: u8, const N: usize, C, S> Map<H, N, C, S> {
    pub(super) const fn new(mistake: &'static str) -> Self {
        Self {
            mistake,
            setup: 0,
            wait_us: 0,
            of: PhantomData,
        }
    }

    fn has(&self, mistake: &str) -> bool {
        self.mistake == mistake
    }

    fn expect<const M: usize>(&mut self, scan: &Scan<M>) {
        let k = match self.mistake {
            "means of half as many scans" => scan.averaging_log2.saturating_sub(1),
            "k left out" => 0,
            _ => scan.averaging_log2,
        };
        self.setup = u64::from(scan.enabled) | u64::from(k) << 8;
        let runs = matches!(scan.run, Run::Continuous(_));
        let runs = match self.mistake {
            "a single-shot for a scan rate" => false,
            "a scan rate for a single-shot" => true,
            _ => runs,
        };
        if Self::HABIT == BothModes && runs {
            self.setup |= RUN;
        }
        let scans = match self.has("wait for one scan alone") {
            true => 1,
            false => 1 << scan.averaging_log2,
        };
        self.wait_us = 50 + scans * Self::VALUES.scan_us_max(scan.channel_count());
    }

    /// Whether results come without being asked for.
    fn runs(&self) -> bool {
        Self::HABIT == FreeRunning || self.setup & RUN != 0
    }

    async fn get<B: Port>(&self, link: &mut Link<B>, register: Register) -> Result<u64, Fault> {
        if self.has("low byte first") {
            return Ok((link.get(register).await? as u16).swap_bytes().into());
        }
        if Self::POINTER_BYTES == 1 {
            return link.get(register).await;
        }
        let mut bytes = [0; 2];
        link.transfer(&[0, register.pointer()], &mut bytes).await?;
        Ok(u16::from_be_bytes(bytes).into())
    }

    async fn put<B: Port>(&self, link: &mut Link<B>, pointer: u8, value: u64) -> Result<(), Fault> {
        if Self::POINTER_BYTES == 1 {
            return link.put(word(pointer), value).await;
        }
        let [high, low] = (value as u16).to_be_bytes();
        link.transfer(&[0, pointer, high, low], &mut []).await
    }

    async fn put_verified<B: Port>(
        &self,
        link: &mut Link<B>,
        pointer: u8,
        value: u64,
    ) -> Result<(), Fault> {
        self.put(link, pointer, value).await?;
        if self.has("lost write of a limit") && pointer >= 0x30 {
            return Ok(());
        }
        let got = self.get(link, word(pointer)).await?;
        link.expect(Fault::ReadBack, value as u32, got as u32)
    }

    async fn find_reset<B: Port>(&self, link: &mut Link<B>) -> Result<(), Fault> {
        if self.has("set-up not read back") || self.has("a reset nobody can find out") {
            return Ok(());
        }
        let got = self.get(link, SETUP).await?;
        let reset = if Self::HABIT == ResetIsWanted {
            (1 << N) - 1
        } else {
            0
        };
        let fault = if got == reset {
            Fault::Reset
        } else {
            Fault::Changed
        };
        link.expect(fault, self.setup as u32, got as u32)
    }

    /// Results as registers have them, read in one transfer, or one by one.
    async fn results<B: Port>(&self, link: &mut Link<B>) -> Result<[u16; N2], Fault> {
        let mut words = [0; N2];
        let first = 0x10 + u8::from(self.has("results from the next register on"));
        if Self::POINTER_BYTES == 2 {
            let mut bytes = [0; 2 * N2];
            let most = usize::from(link.read_max()) & !1;
            for (number, piece) in bytes[..4 * N].chunks_mut(most).enumerate() {
                let pointer = first + (number * most / 2) as u8;
                link.transfer(&[0, pointer], piece).await?;
            }
            for (word, bytes) in words.iter_mut().zip(bytes.chunks(2)) {
                *word = u16::from_be_bytes([bytes[0], bytes[1]]);
            }
            return Ok(words);
        }
        let bytes = match self.mistake {
            "results of one byte" => 1,
            "results of three bytes" => 3,
            _ => 2,
        };
        for (number, word) in words[..2 * N].iter_mut().enumerate() {
            *word = link.get(Register::new(first + number as u8, bytes)).await? as u16;
        }
        Ok(words)
    }

    /// They may change while they are read: two readings in a row have to be the same.
    async fn settled<B: Port>(&self, link: &mut Link<B>) -> Result<[u16; N2], Fault> {
        let mut words = self.results(link).await?;
        let mut left = link.attempts().max(3);
        loop {
            let again = self.results(link).await?;
            left = left.saturating_sub(1);
            if Link::<B>::ends(again == words, left) {
                let same = B::DRY || again == words;
                return if same { Ok(words) } else { Err(Fault::Torn) };
            }
            words = again;
        }
    }

    fn decode(&self, words: &[u16; N2], state: u64) -> [Codes; N] {
        std::array::from_fn(|channel| {
            let (sense, rail) = (words[2 * channel], words[2 * channel + 1]);
            let (sense, rail) = match Self::HABIT {
                SignAndMagnitude
                    if sense & 0x8000 != 0 && !self.has("taken as two's complement") =>
                {
                    (-i32::from(sense & 0x7FFF), rail)
                }
                JustifiedLeft if !self.has("not shifted") => {
                    (i32::from(sense as i16 >> 4), rail >> 4)
                }
                _ => (i32::from(sense as i16), rail),
            };
            let other = if self.has("over-range of another channel") {
                N - 1 - channel
            } else {
                channel
            };
            let over = match Self::HABIT {
                EndCode if self.has("end code not told") => 0,
                EndCode => {
                    let [senses, rails] = [Self::VALUES.sense_ranges, Self::VALUES.rail_ranges];
                    u64::from(senses[0].is_end(sense))
                        | u64::from(rails[0].is_end(rail.into())) << 1
                }
                _ => state >> (2 + 2 * other),
            };
            Codes {
                sense,
                rail: rail.into(),
                power: i64::from(sense) * i64::from(rail),
                sense_clipped: over & 1 != 0,
                rail_clipped: over & 2 != 0,
            }
        })
    }
}

impl<const H: u8, const N: usize, C, S> Wire for Map<H, N, C, S> {
    const CHECK_BYTE: bool = matches!(Self::HABIT, CheckByte);
    const LOW_BYTE_FIRST: bool = matches!(Self::HABIT, LowByteFirst);
    const POINTER_BYTES: usize = if matches!(Self::HABIT, AutoIncrement) {
        2
    } else {
        1
    };
}

impl<const H: u8, const N: usize, C: Compare, S: AddUp> Part for Map<H, N, C, S> {
    const INFO: &'static PartInfo = &Self::VALUES;
    type Block = Block<N>;
    type Comparator = C;
    type Sums = S;
    const EMPTY: Block<N> = Block {
        codes: [Codes {
            sense: 0,
            rail: 0,
            power: 0,
            sense_clipped: false,
            rail_clipped: false,
        }; N],
    };
    const FAILURES_MAX: u8 = 254;
    const FREE_RUNNING: bool = Self::FREE;

    fn address(&self) -> u8 {
        0x2C
    }

    fn undetectable(&self) -> Undetectable {
        let same = Self::HABIT == ResetIsWanted && self.setup == (1 << N) - 1;
        let mut undetectable = Self::INFO.undetectable;
        if same && !self.has("a reset taken as found out")
            || self.has("a reset nobody can find out")
        {
            undetectable |= Undetectable::RESET;
        }
        if Self::HABIT == BothModes && !self.runs() {
            undetectable |= Undetectable::LOST_TRIGGER;
        }
        undetectable
    }

    async fn configure<B: Port, const M: usize>(
        &mut self,
        link: &mut Link<B>,
        scan: &Scan<M>,
        _: bool,
    ) -> Result<(), Fault> {
        self.identify(link).await?;
        if self.has("configure clears flags") {
            link.put(FLAGS.once(), 0xFFFF).await?;
        }
        // SETUP is ignored while it converts.
        link.delay_us(50 + (Self::INFO.scan_us_max(N as u8) << Self::INFO.averaging_log2_max))
            .await;
        self.expect(scan);
        if self.has("first scan not waited for") {
            self.disarm(link).await?;
            return self.put_verified(link, 0x01, self.setup).await;
        }
        self.put_verified(link, 0x01, self.setup).await?;
        self.disarm(link).await?;
        if self.runs() {
            // The first scan.
            link.delay_us(self.wait_us).await;
        }
        self.find_reset(link).await
    }

    async fn resume<B: Port, const M: usize>(
        &mut self,
        link: &mut Link<B>,
        scan: &Scan<M>,
        _: u32,
    ) -> Result<(), Fault> {
        self.expect(scan);
        if self.has("resume looks at nothing") {
            return Ok(());
        }
        self.identify(link).await?;
        match self.mistake {
            "resume takes what stands" => self.setup = self.get(link, SETUP).await?,
            "resume sets up anew" => self.put_verified(link, 0x01, self.setup).await?,
            "resume clears flags" => self.put(link, 0x08, 0xFFFF).await?,
            "resume reads flags" => drop(self.get(link, FLAGS).await?),
            _ => {}
        }
        self.find_reset(link).await?;
        link.delay_us(self.wait_us).await;
        if self.has("resume leaves out the wait") {
            self.wait_us = 0;
        }
        Ok(())
    }

    async fn latch<B: Port>(&mut self, link: &mut Link<B>) -> Result<(), Fault> {
        match Self::HABIT {
            _ if self.runs() => Ok(()),
            OneRegister => self.put(link, 0x01, 0x8000 | self.setup).await,
            _ => self.put(link, 0x02, 1).await,
        }
    }

    fn latch_us_max(&self) -> u32 {
        if self.runs() { 0 } else { self.wait_us }
    }

    fn age_us_max(&self) -> u32 {
        let age_us = 2_041 + self.wait_us;
        match self.mistake {
            _ if !self.runs() => 0,
            "age left out" => 0,
            "age 15 % too short" => age_us * 85 / 100,
            _ => age_us,
        }
    }

    async fn read_block<B: Port>(
        &mut self,
        link: &mut Link<B>,
        wait_us: u32,
        block: &mut Block<N>,
    ) -> Result<(), Fault> {
        while self.has("polls for ever, whatever the bus says") && !B::DRY {
            let _ = self.get(link, word(0x03)).await;
        }
        while self.has("polls for ever") && !B::DRY {
            self.get(link, word(0x03)).await?;
        }
        let short = self.has("wait 10 % too short");
        link.delay_us(if short { wait_us * 9 / 10 } else { wait_us })
            .await;
        let words = match Self::FREE && !self.has("read once") {
            true => self.settled(link).await?,
            false => self.results(link).await?,
        };
        let state = self.get(link, word(0x03)).await?;
        block.codes = self.decode(&words, state);
        self.find_reset(link).await
    }

    fn is_clipped(block: &Block<N>) -> bool {
        block
            .codes
            .iter()
            .any(|codes| codes.sense_clipped || codes.rail_clipped)
    }

    fn codes(block: &Block<N>, channel: Channel) -> Codes {
        block
            .codes
            .get(channel.index())
            .copied()
            .unwrap_or_default()
    }

    async fn read_flags<B: Port>(&mut self, link: &mut Link<B>) -> Result<AlertFlags, Fault> {
        let bits = match Self::HABIT {
            ClearedByReading if !self.has("a read that clears is repeated") => {
                link.get(FLAGS.once()).await?
            }
            CheckByte if self.has("check byte of flags ignored") => {
                let mut bytes = [0; 2];
                link.read(0x08, &mut bytes).await?;
                u16::from_be_bytes(bytes).into()
            }
            _ => self.get(link, FLAGS).await?,
        };
        let flags = Self::flags().filter(|(_, bit)| bits & bit != 0);
        let flags = flags.fold(AlertFlags::empty(), |all, (flag, _)| all | flag);
        match self.find_reset(link).await {
            Err(Fault::Reset) if !self.has("what was read before a reset dropped") => {
                Ok(flags | AlertFlags::RESET_SEEN)
            }
            // What was read is gone from the part.
            Err(_) if Self::HABIT == ClearedByReading && !flags.is_empty() => Ok(flags),
            result => result.map(|()| flags),
        }
    }

    async fn clear_flags<B: Port>(
        &mut self,
        link: &mut Link<B>,
        seen: AlertFlags,
    ) -> Result<(), Fault> {
        let seen = Self::bits(seen);
        match Self::HABIT {
            ClearedByReading => Ok(()),
            AutoIncrement => {
                let [high, low] = (seen as u16).to_be_bytes();
                link.transfer_once(&[0, 0x08, high, low], &mut []).await
            }
            _ => link.put(FLAGS.once(), seen).await,
        }
    }

    async fn remove_limits<B: Port, const M: usize>(
        &mut self,
        link: &mut Link<B>,
        _: &LimitPlan<'_, M>,
    ) -> Result<(), Fault> {
        self.disarm(link).await
    }

    async fn set_limits<B: Port, const M: usize>(
        &mut self,
        link: &mut Link<B>,
        plan: &LimitPlan<'_, M>,
    ) -> Result<(), Fault> {
        for limit in plan.limits().list() {
            if plan.compared_by(limit) == Source::Part {
                let code = plan.code_of(limit).ok_or(Fault::Refused)?;
                let word = match Self::HABIT {
                    SignAndMagnitude if code < 0 => 0x8000 | -code,
                    JustifiedLeft => code << 4,
                    _ => code,
                };
                let pointer = 0x30 + limit.channel().number();
                self.put_verified(link, pointer, word as u64 & 0xFFFF)
                    .await?;
            }
        }
        self.set_masks(link, plan.limits().masks()).await?;
        self.find_reset(link).await
    }

    async fn set_masks<B: Port>(
        &mut self,
        link: &mut Link<B>,
        [a, b]: &[AlertFlags; 2],
    ) -> Result<(), Fault> {
        let open = match self.has("one mask for all flags") && !(*a | *b).is_empty() {
            true => (1 << N) - 1,
            false => Self::bits(*a | *b),
        };
        self.put_verified(link, 0x09, open).await
    }
}

impl<const H: u8, const N: usize, C, S> Map<H, N, C, S> {
    async fn identify<B: Port>(&self, link: &mut Link<B>) -> Result<(), Fault> {
        let kind = match self.mistake {
            "identity of one byte" => link.get(Register::new(0x00, 1)).await?,
            "identity of three bytes" => link.get(Register::new(0x00, 3)).await?,
            _ => self.get(link, word(0x00)).await?,
        };
        link.expect(Fault::Identity, 0x51A7, kind as u32)
    }

    async fn disarm<B: Port>(&self, link: &mut Link<B>) -> Result<(), Fault> {
        self.put_verified(link, 0x09, 0).await?;
        for channel in (0..N as u8).filter(|_| !self.has("limits left in the part")) {
            self.put_verified(link, 0x30 + channel, 0x7FFF).await?;
        }
        Ok(())
    }

    fn flags() -> impl Iterator<Item = (AlertFlags, u64)> {
        let kind = match Self::HABIT {
            ClearedByReading => Kind::OverVoltage,
            _ => Kind::OverCurrent,
        };
        Channel::first(N as u8).map(move |channel| {
            let flag = AlertFlag::Limit(channel, kind);
            (AlertFlags::of(flag), 1 << channel.number())
        })
    }

    fn bits(set: AlertFlags) -> u64 {
        let set = Self::flags().filter(|(flag, _)| set.contains(*flag));
        set.fold(0, |bits, (_, bit)| bits | bit)
    }
}
