//! Decoding of the sample block.

use crake::Channel;
use crake::part::{Codes, Sums};

/// The sample block and its check byte, and what is wrong with their decoding.
#[derive(Debug)]
pub(crate) struct Block(pub(super) [u8; 112], pub(super) &'static str);

impl Block {
    pub(super) const EMPTY: Self = Self([0; 112], "");

    pub(super) fn codes(&self, channel: Channel) -> Codes {
        let mut place = 24 * channel.index();
        if self.has("channels in reverse order") {
            place = 72 - place;
        }
        let [s0, s1, s2, r0, r1, ..] = self.0[13 + place..] else {
            return Codes::default();
        };
        let sense = match self.1 {
            "sense bytes swapped" => [s0, s2, s1, 0],
            _ => [s0, s1, s2, 0],
        };
        let sense = i32::from_be_bytes(sense) >> 8;
        let rail = match self.1 {
            "rail bytes swapped" => [r1, r0],
            _ => [r0, r1],
        };
        let rail = u16::from_be_bytes(rail);
        let power = self.number(18 + place, 5) << 24 >> 24;
        let shift = match self.1 {
            "over-range of another channel" => 6 - 2 * channel.number(),
            _ => 2 * channel.number(),
        };
        let clipped = match self.1 {
            "over-range flags lost" => 0,
            _ => self.0[8] >> shift & 3,
        };
        let exchanged = self.has("sense flag told as rail flag");
        Codes {
            sense: if self.has("sign of sense lost") {
                sense & 0x3_FFFF
            } else {
                sense
            },
            rail: match self.has("rail taken as signed") {
                true => i32::from(rail as i16) as u32,
                false => rail.into(),
            },
            power: if self.has("sign of power lost") {
                power & 0xFF_FFFF_FFFF
            } else {
                power
            },
            sense_clipped: clipped & if exchanged { 2 } else { 1 } != 0,
            rail_clipped: clipped & if exchanged { 1 } else { 2 } != 0,
        }
    }

    pub(super) fn sums(&self, channel: Channel) -> Sums {
        let place = 24 * channel.index();
        let other = if self.has("charge of the channel before") {
            (place + 72) % 96
        } else {
            place
        };
        let charge = self.number(23 + other, 6) << 16 >> 16;
        let energy = self.number(29 + place, 8);
        Sums {
            charge: match self.1 {
                "charge sum one bit too narrow" => charge & 0x7FF_FFFF_FFFF,
                "sign of charge lost" => charge & 0xFFF_FFFF_FFFF,
                _ => charge,
            },
            energy: match self.has("energy sum one bit too narrow") {
                true => energy & 0x7FF_FFFF_FFFF_FFFF,
                false => energy,
            },
        }
    }

    pub(super) fn has(&self, mistake: &str) -> bool {
        self.1 == mistake
    }

    pub(super) fn number(&self, place: usize, bytes: usize) -> i64 {
        let all = self.0[place..place + bytes].iter();
        all.fold(0, |number, byte| number << 8 | i64::from(*byte))
    }
}
