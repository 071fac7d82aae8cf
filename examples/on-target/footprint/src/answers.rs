use core::cell::Cell;
use core::convert::Infallible;

use crake::crc::{Crc16, Pec};
use embedded_hal::i2c::{ErrorType, I2c, Operation};

use crate::ADDRESS;

/// A bus that answers as the part would, without a part: what was written reads back, every check
/// byte is right, and a block is whole and carries the tag that comes next.
///
/// The block is made by [`prepare`](Self::prepare), outside what is measured; the bus then only
/// copies it. Each block counts 500 scans more than the one before, and sums to match.
#[derive(Debug)]
pub struct Answers {
    block: [Cell<u8>; BLOCK],
    tag: Cell<u8>,
    scans: Cell<u32>,
    /// As written last.
    register: [Cell<u8>; 8],
    flags: [Cell<u8>; 3],
    standing: [u8; 3],
    bits: Cell<u32>,
    transfers: Cell<u32>,
}

/// A block and its check byte.
const BLOCK: usize = 112;
/// Continuous, 500 scans a second.
const MODE: u8 = 0x11;

impl Answers {
    /// `standing` are the flags that come up again with each [`prepare`](Self::prepare).
    #[must_use]
    pub const fn new(standing: [u8; 3]) -> Self {
        Self {
            block: [const { Cell::new(0) }; BLOCK],
            tag: Cell::new(0),
            scans: Cell::new(0),
            register: [const { Cell::new(0) }; 8],
            flags: [const { Cell::new(0) }; 3],
            standing,
            bits: Cell::new(0),
            transfers: Cell::new(0),
        }
    }

    /// Bits on the bus so far, START, STOP and acknowledgements included.
    pub fn bits(&self) -> u32 {
        self.bits.get()
    }

    /// Transfers so far.
    pub fn transfers(&self) -> u32 {
        self.transfers.get()
    }

    /// Makes the block for the tag after the last one that was asked for: 1.5 A or so in each
    /// channel, and more.
    #[inline(never)]
    pub fn prepare(&self) {
        for (flag, standing) in self.flags.iter().zip(self.standing) {
            flag.set(standing);
        }
        self.scans
            .set(self.scans.get().wrapping_add(500) & 0x0FFF_FFFF);
        let scans = self.scans.get();
        let [r0, r1, r2, r3] = scans.to_be_bytes();
        let tag = if self.tag.get() == u8::MAX {
            1
        } else {
            self.tag.get() + 1
        };
        put(
            &self.block,
            &[tag, 0, 0, MODE, 0x0F, 0x11, 0x11, 0x40, 0, r0, r1, r2, r3],
        );
        let charge = i64::from(scans) * 30_000;
        let energy = charge * 13_200;
        for channel in self.block.get(13..109).unwrap_or_default().chunks(24) {
            put(
                channel,
                &[0x00, 0x75, 0x30, 0x33, 0x90, 0x00, 0x17, 0x9A, 0x7B, 0x00],
            );
            put(
                channel.get(10..).unwrap_or_default(),
                charge.to_be_bytes().get(2..).unwrap_or_default(),
            );
            put(channel.get(16..).unwrap_or_default(), &energy.to_be_bytes());
        }
        let mut crc = Crc16::new();
        for byte in self.block.iter().take(109) {
            crc.add(byte.get());
        }
        put(
            self.block.get(109..).unwrap_or_default(),
            &crc.value().to_be_bytes(),
        );
        let mut pec = Pec::new();
        pec.add_all(&[ADDRESS << 1, 0x80, ADDRESS << 1 | 1]);
        for byte in self.block.iter().take(111) {
            pec.add(byte.get());
        }
        put(self.block.get(111..).unwrap_or_default(), &[pec.value()]);
    }

    #[inline(never)]
    fn take(&self, bytes: &[u8]) {
        self.transfers.set(self.transfers.get() + 1);
        self.bits
            .set(self.bits.get() + 2 + 9 * (1 + bytes.len() as u32));
        match *bytes {
            [0x03, tag, ..] => self.tag.set(tag),
            [0x37, ref cleared @ ..] => {
                for (flag, cleared) in self.flags.iter().zip(cleared) {
                    flag.set(flag.get() & !cleared);
                }
            }
            [_, ref data @ ..] => put(&self.register, data),
            [] => {}
        }
    }

    #[inline(never)]
    fn give(&self, pointer: u8, room: &mut [u8]) {
        self.transfers.set(self.transfers.get() + 1);
        self.bits
            .set(self.bits.get() + 3 + 9 * (3 + room.len() as u32));
        match pointer {
            0x80 => return copy(&self.block, room),
            0x37 => copy(&self.flags, room),
            0x00 => fill(room, &[0x9E, 0x37, 0xC4, 0x02]),
            0x01 | 0x02 | 0x0A => fill(room, &[0, 0]),
            0x78 => fill(room, &[0, 64]),
            _ => copy(&self.register, room),
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
}

fn put(room: &[Cell<u8>], bytes: &[u8]) {
    for (place, byte) in room.iter().zip(bytes) {
        place.set(*byte);
    }
}

fn copy(from: &[Cell<u8>], room: &mut [u8]) {
    for (place, byte) in room.iter_mut().zip(from) {
        *place = byte.get();
    }
}

fn fill(room: &mut [u8], bytes: &[u8]) {
    for (place, byte) in room.iter_mut().zip(bytes) {
        *place = *byte;
    }
}

/// A handle of a stand-in, which is what a monitor owns.
#[derive(Clone, Copy, Debug)]
pub struct Handle<'a>(pub &'a Answers);

impl ErrorType for Handle<'_> {
    type Error = Infallible;
}

impl I2c for Handle<'_> {
    fn write(&mut self, _: u8, write: &[u8]) -> Result<(), Infallible> {
        self.0.take(write);
        Ok(())
    }

    fn write_read(&mut self, _: u8, write: &[u8], read: &mut [u8]) -> Result<(), Infallible> {
        self.0
            .give(write.first().copied().unwrap_or_default(), read);
        Ok(())
    }

    fn transaction(&mut self, _: u8, _: &mut [Operation<'_>]) -> Result<(), Infallible> {
        Ok(())
    }
}

impl embedded_hal_async::i2c::I2c for Handle<'_> {
    async fn write(&mut self, _: u8, write: &[u8]) -> Result<(), Infallible> {
        self.0.take(write);
        Ok(())
    }

    async fn write_read(&mut self, _: u8, write: &[u8], read: &mut [u8]) -> Result<(), Infallible> {
        self.0
            .give(write.first().copied().unwrap_or_default(), read);
        Ok(())
    }

    async fn transaction(&mut self, _: u8, _: &mut [Operation<'_>]) -> Result<(), Infallible> {
        Ok(())
    }
}
