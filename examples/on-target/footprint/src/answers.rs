use core::convert::Infallible;

use crake::crc::{Crc16, Pec};
use embedded_hal::i2c::{ErrorType, I2c, Operation};

use crate::ADDRESS;

/// A bus that answers as the part would, without a part: what was written reads back, blocks are whole and carry the tag that was asked for, every check byte is right.
///
/// Each block counts 500 rounds more than the one before, and sums to match. Its own cost is the same whoever calls, so it can be measured alone and taken off.
#[derive(Clone, Debug)]
pub struct Answers {
    /// Causes that stand: read, and cleared by writing ones.
    pub causes: [u8; 3],
    /// Data bytes that were handed to the host.
    pub bytes_read: u32,
    /// Bits on the bus: START, STOP and acknowledgements included.
    pub bits: u32,
    /// Transfers.
    pub transfers: u32,
    tag: u8,
    serial: u16,
    rounds: u32,
    last: [u8; 8],
}

const MODE: u8 = 0x11;

impl Default for Answers {
    fn default() -> Self {
        Self::new()
    }
}

impl Answers {
    /// Nothing asked yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            causes: [0; 3],
            bytes_read: 0,
            bits: 0,
            transfers: 0,
            tag: 0,
            serial: 0,
            rounds: 0,
            last: [0; 8],
        }
    }

    #[inline(never)]
    fn take(&mut self, bytes: &[u8]) {
        self.transfers += 1;
        self.bits += 2 + 9 * (1 + bytes.len() as u32);
        match *bytes {
            [0x03, tag, ..] | [0x04, _, tag, ..] => self.tag = tag,
            [0x37, high, middle, low, _] => {
                let [a, b, c] = self.causes;
                self.causes = [a & !high, b & !middle, c & !low];
            }
            [0x01..=0x3F, ref data @ ..] => {
                for (kept, byte) in self.last.iter_mut().zip(data) {
                    *kept = *byte;
                }
            }
            _ => {}
        }
    }

    #[inline(never)]
    fn give(&mut self, pointer: u8, room: &mut [u8]) {
        self.transfers += 1;
        self.bits += 3 + 9 * (3 + room.len() as u32);
        self.bytes_read += room.len() as u32;
        match pointer {
            0x80 => self.block(room),
            0x00 => fill(room, &[0x9E, 0x37, 0xC4, 0x01]),
            0x01 => fill(room, &self.serial.to_be_bytes()),
            0x02 => fill(room, &[0]),
            0x37 => fill(room, &self.causes),
            0x78 => fill(room, &[0, 64]),
            0x60..=0x7A => fill(room, &[0, 1, 2, 3, 4, 5, 6, 7]),
            _ => fill(room, &self.last),
        }
        if let Some((check, data)) = room.split_last_mut() {
            let mut pec = Pec::new();
            pec.add(ADDRESS << 1);
            pec.add(pointer);
            pec.add(ADDRESS << 1 | 1);
            pec.add_all(data);
            *check = pec.value();
        }
    }

    /// A frame block: 1.5 A or so in each channel, and more.
    fn block(&mut self, room: &mut [u8]) {
        self.rounds = self.rounds.wrapping_add(500) & 0x0FFF_FFFF;
        let [a, b] = self.serial.to_be_bytes();
        let [r0, r1, r2, r3] = self.rounds.to_be_bytes();
        let head = [self.tag, a, b, MODE, 0x0F, 0x11, 0x11, 0x40, 0, r0, r1, r2, r3];
        fill(room, &head);
        let charge = i64::from(self.rounds) * 30_000;
        let energy = i64::from(self.rounds) * 30_000 * 13_200;
        for channel in room.get_mut(13..109).unwrap_or_default().chunks_mut(24) {
            fill(channel, &[0x00, 0x75, 0x30, 0x33, 0x90, 0x00, 0x17, 0x9A, 0x7B, 0x00]);
            fill(channel.get_mut(10..).unwrap_or_default(), charge.to_be_bytes().get(2..).unwrap_or_default());
            fill(channel.get_mut(16..).unwrap_or_default(), &energy.to_be_bytes());
        }
        let mut crc = Crc16::new();
        crc.add_all(room.get(..109).unwrap_or_default());
        fill(room.get_mut(109..).unwrap_or_default(), &crc.value().to_be_bytes());
    }
}

fn fill(room: &mut [u8], bytes: &[u8]) {
    for (place, byte) in room.iter_mut().zip(bytes) {
        *place = *byte;
    }
}

impl ErrorType for Answers {
    type Error = Infallible;
}

impl I2c for Answers {
    fn read(&mut self, _: u8, read: &mut [u8]) -> Result<(), Infallible> {
        fill(read, &[ADDRESS << 1, 0xD1]);
        Ok(())
    }

    fn write(&mut self, _: u8, write: &[u8]) -> Result<(), Infallible> {
        self.take(write);
        Ok(())
    }

    fn write_read(&mut self, _: u8, write: &[u8], read: &mut [u8]) -> Result<(), Infallible> {
        self.give(write.first().copied().unwrap_or_default(), read);
        Ok(())
    }

    fn transaction(&mut self, _: u8, _: &mut [Operation<'_>]) -> Result<(), Infallible> {
        Ok(())
    }
}

impl embedded_hal_async::i2c::I2c for Answers {
    async fn write(&mut self, _: u8, write: &[u8]) -> Result<(), Infallible> {
        self.take(write);
        Ok(())
    }

    async fn write_read(&mut self, _: u8, write: &[u8], read: &mut [u8]) -> Result<(), Infallible> {
        self.give(write.first().copied().unwrap_or_default(), read);
        Ok(())
    }

    async fn transaction(&mut self, _: u8, _: &mut [embedded_hal_async::i2c::Operation<'_>]) -> Result<(), Infallible> {
        Ok(())
    }
}
