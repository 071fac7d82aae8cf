//! What Whinchat's operations are made of.

use std::marker::PhantomData;

use crake::Channel;
use crake::bus::{Fault, Link, Port, Register, Wire};
use crake::config::{AlertFlag, AlertFlags, Kind, Run, Scan};
use crake::part::Codes;

use super::Habit::*;
use super::map::{Map, N2, RUN, SETUP, word};

impl<const H: u8, const N: usize, C, S> Map<H, N, C, S> {
    pub(super) const fn new(mistake: &'static str) -> Self {
        Self {
            mistake,
            setup: 0,
            wait_us: 0,
            over: 0,
            of: PhantomData,
        }
    }

    pub(super) fn has(&self, mistake: &str) -> bool {
        self.mistake == mistake
    }

    pub(super) fn expect<const M: usize>(&mut self, scan: &Scan<M>) {
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
    pub(super) fn runs(&self) -> bool {
        matches!(Self::HABIT, FreeRunning | OverRangeRead) || self.setup & RUN != 0
    }

    pub(super) async fn get<B: Port>(
        &self,
        link: &mut Link<B>,
        register: Register,
    ) -> Result<u64, Fault> {
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

    pub(super) async fn put<B: Port>(
        &self,
        link: &mut Link<B>,
        pointer: u8,
        value: u64,
    ) -> Result<(), Fault> {
        if Self::POINTER_BYTES == 1 {
            return link.put(word(pointer), value).await;
        }
        let [high, low] = (value as u16).to_be_bytes();
        link.transfer(&[0, pointer, high, low], &mut []).await
    }

    pub(super) async fn put_verified<B: Port>(
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

    pub(super) async fn find_reset<B: Port>(&self, link: &mut Link<B>) -> Result<(), Fault> {
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
    pub(super) async fn results<B: Port>(&self, link: &mut Link<B>) -> Result<[u16; N2], Fault> {
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

    /// STATE, with over-range that earlier samples were to tell.
    pub(super) async fn state<B: Port>(&mut self, link: &mut Link<B>) -> Result<u64, Fault> {
        if Self::HABIT != OverRangeRead || self.has("over-range read again") {
            return self.get(link, word(0x03)).await;
        }
        match link.get(word(0x03).once()).await {
            Ok(state) => self.over |= state,
            Err(_) if self.has("over-range forgotten") => self.over = 0,
            Err(fault) => {
                // Whatever was there may be gone.
                self.over = u64::MAX;
                return Err(fault);
            }
        }
        Ok(self.over)
    }

    /// They may change while they are read: two readings in a row have to be the same.
    pub(super) async fn settled<B: Port>(&self, link: &mut Link<B>) -> Result<[u16; N2], Fault> {
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

    pub(super) fn decode(&self, words: &[u16; N2], state: u64) -> [Codes; N] {
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

    pub(super) async fn identify<B: Port>(&self, link: &mut Link<B>) -> Result<(), Fault> {
        let kind = match self.mistake {
            "identity of one byte" => link.get(Register::new(0x00, 1)).await?,
            "identity of three bytes" => link.get(Register::new(0x00, 3)).await?,
            _ => self.get(link, word(0x00)).await?,
        };
        link.expect(Fault::Identity, 0x51A7, kind as u32)
    }

    pub(super) async fn disarm<B: Port>(&self, link: &mut Link<B>) -> Result<(), Fault> {
        self.put_verified(link, 0x09, 0).await?;
        for channel in (0..N as u8).filter(|_| !self.has("limits left in the part")) {
            self.put_verified(link, 0x30 + channel, 0x7FFF).await?;
        }
        Ok(())
    }

    pub(super) fn flags() -> impl Iterator<Item = (AlertFlags, u64)> {
        let kind = match Self::HABIT {
            ClearedByReading => Kind::OverVoltage,
            _ => Kind::OverCurrent,
        };
        Channel::first(N as u8).map(move |channel| {
            let flag = AlertFlag::Limit(channel, kind);
            (AlertFlags::of(flag), 1 << channel.number())
        })
    }

    pub(super) fn bits(set: AlertFlags) -> u64 {
        let set = Self::flags().filter(|(flag, _)| set.contains(*flag));
        set.fold(0, |bits, (_, bit)| bits | bit)
    }
}
