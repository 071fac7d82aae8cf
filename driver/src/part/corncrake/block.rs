use core::fmt;

use crate::Channel;
use crate::crc::Crc16;
use crate::part::{Codes, Sums};

/// The sample block as read (section 5), with the bus's check byte behind it.
///
/// It begins three bytes off a word, so that what a channel has begins on one: cores that cannot
/// load across words then load whole ones.
#[derive(Clone, Copy)]
#[repr(align(4))]
pub struct Block([u8; BEFORE + LEN + 1]);

/// Bytes before the block, zeros.
const BEFORE: usize = 3;
/// Bytes of the block.
pub(super) const LEN: usize = 111;
/// Where channel 0 begins, and how far apart channels are.
const CHANNELS: usize = BEFORE + 13;
const CHANNEL: usize = 24;
/// Over-range flags of all channels.
const CLIPPED: u8 = 0xFF;

impl Block {
    pub(super) const EMPTY: Self = Self([0; BEFORE + LEN + 1]);

    /// All bytes of the block, and the place of the check byte.
    pub(super) fn bytes_mut(&mut self) -> &mut [u8] {
        self.0.get_mut(BEFORE..).unwrap_or_default()
    }

    /// The block's own check value: what it has to be, and what it is.
    #[inline(never)] // as a call it is known to lie on a word
    pub(super) fn check_values(&self) -> (u16, u16) {
        // With the zeros in front whole words.
        let (covered, rest) = self.0.split_at(BEFORE + LEN - 2);
        let mut crc = const { Crc16::before_zeros(BEFORE) };
        crc.add_all(covered);
        let got = match rest.first_chunk() {
            Some(got) => u16::from_be_bytes(*got),
            None => 0,
        };
        (crc.value(), got)
    }

    /// The first bytes: tag, writes, mode, configuration, ranges, flags, scans.
    pub(super) const fn head(&self) -> &[u8; 13] {
        match self.0.split_at(BEFORE).1.first_chunk() {
            Some(head) => head,
            None => &[0; 13],
        }
    }

    pub(super) const fn is_reset_seen(&self) -> bool {
        self.head()[7] & 0x80 != 0
    }

    pub(super) const fn is_complete(&self) -> bool {
        self.head()[7] & 0x40 != 0
    }

    pub(super) const fn is_clipped(&self) -> bool {
        self.head()[8] & CLIPPED != 0
    }

    pub(super) const fn scans(&self) -> u32 {
        let [.., a, b, c, d] = *self.head();
        u32::from_be_bytes([a, b, c, d])
    }

    #[inline(always)]
    fn channel(&self, channel: Channel) -> Option<&[u8; CHANNEL]> {
        let first = channel.index().wrapping_mul(CHANNEL);
        self.0
            .get(CHANNELS..CHANNELS + 4 * CHANNEL)?
            .get(first..)?
            .first_chunk()
    }

    #[inline(always)]
    pub(super) fn codes(&self, channel: Channel) -> Codes {
        let Some(bytes) = self.channel(channel) else {
            return Codes::default();
        };
        let [s0, s1, s2, r0, r1, p0, p1, p2, p3, p4, ..] = *bytes;
        let clipped = self.head()[8].unbounded_shr(u32::from(channel.number()).wrapping_mul(2));
        Codes {
            sense: i32::from_be_bytes([s0, s1, s2, 0]) >> 8,
            rail: u32::from(u16::from_be_bytes([r0, r1])),
            power: (i64::from(p0 as i8) << 32) | i64::from(u32::from_be_bytes([p1, p2, p3, p4])),
            sense_clipped: clipped & 1 != 0,
            rail_clipped: clipped & 2 != 0,
        }
    }

    #[inline(always)]
    pub(super) fn sums(&self, channel: Channel) -> Sums {
        let Some(bytes) = self.channel(channel) else {
            return Sums::default();
        };
        let [.., c0, c1, c2, c3, c4, c5, e0, e1, e2, e3, e4, e5, e6, e7] = *bytes;
        let high = i64::from(i16::from_be_bytes([c0, c1]));
        Sums {
            charge: (high << 32) | i64::from(u32::from_be_bytes([c2, c3, c4, c5])),
            energy: i64::from_be_bytes([e0, e1, e2, e3, e4, e5, e6, e7]),
        }
    }
}

impl fmt::Debug for Block {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "Block({:02X?})", self.head())
    }
}
