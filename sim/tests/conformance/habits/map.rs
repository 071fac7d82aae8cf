//! The map of Whinchat in all its kinds, with room for a mistake.

use std::marker::PhantomData;

use crake::Channel;
use crake::board::LimitPlan;
use crake::bus::{Fault, Link, Port, Register, Wire};
use crake::config::{AlertFlags, Scan};
use crake::info::{PartInfo, Source, Undetectable};
use crake::part::{AddUp, Codes, Compare, Part, SoftwareComparator, SoftwareSums};

use super::Habit::*;

/// `C` and `S` stand in place of what the driver compares and adds up.
#[derive(Clone)]
pub(super) struct Map<const H: u8, const N: usize, C = SoftwareComparator<N>, S = SoftwareSums<N>> {
    pub(super) mistake: &'static str,
    pub(super) setup: u64,
    pub(super) wait_us: u32,
    /// Over-range that was read, and is not told yet.
    pub(super) over: u64,
    pub(super) of: PhantomData<(C, S)>,
}

/// Results of up to six channels.
pub(super) const N2: usize = 12;

#[derive(Clone, Copy, Debug)]
pub(super) struct Block<const N: usize> {
    codes: [Codes; N],
}

pub(super) const fn word(pointer: u8) -> Register {
    Register::new(pointer, 2)
}

pub(super) const SETUP: Register = word(0x01);
const FLAGS: Register = word(0x08);
/// Of SETUP: it runs at its scan rate.
pub(super) const RUN: u64 = 1 << 12;

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
        // A single-shot may be in progress, which SETUP shows where it has the trigger.
        if !self.has("resume in the middle of a single-shot") {
            link.delay_us(self.wait_us).await;
        }
        if self.has("resume leaves out the wait") {
            self.wait_us = 0;
        }
        self.find_reset(link).await
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
        let state = self.state(link).await?;
        let state = match self.runs() || !self.has("over-range of single-shots left out") {
            true => state,
            false => 0,
        };
        block.codes = self.decode(&words, state);
        match self.find_reset(link).await {
            Err(Fault::Changed) if self.mistake.starts_with("another's configuration") => {}
            Err(_) if !self.runs() && self.has("a reset in a single-shot let pass") => {}
            result => result?,
        }
        self.over = 0;
        Ok(())
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
