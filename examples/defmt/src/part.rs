//! Stands in for the bus and a Corncrake on it that runs: registers that keep what is written, and
//! one sample block of docs/corncrake-datasheet.md, latched anew under whatever tag is asked for.
//! It compares one limit, over-current of channel 0, with each block. (Also used by
//! examples/on-target.)

use crake::Clock;
use crake::crc::{Crc16, Pec};
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};

/// 7-bit address of the part.
const ADDRESS: u8 = 0x32;
const NO_ANSWER: ErrorKind = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address);

/// Bytes of the block, and of them those that its CRC-16 covers.
pub const LEN: usize = 111;
const COVERED: usize = 109;

// Pointers, section 3.
const IDENTITY: usize = 0x00;
const WRITES: usize = 0x01;
const LATCH: usize = 0x03;
const RUN: usize = 0x04;
const CHANNELS: usize = 0x05;
const RANGES: usize = 0x06;
const AVERAGING: usize = 0x07;
const OVER_CURRENT_0: usize = 0x12;
const FLAGS: usize = 0x37;
const SAMPLE: usize = 0x80;

/// The bus with the part on it.
pub struct Bus {
    registers: [[u8; 5]; SAMPLE],
    block: [u8; LEN],
}

impl Bus {
    /// A part that shows this block, and whose registers say the same as the block.
    pub fn new(block: [u8; LEN]) -> Self {
        let mut registers = [[0; 5]; SAMPLE];
        let [_, w0, w1, mode, configuration, r0, r1, ..] = block;
        registers[IDENTITY] = [0x9E, 0x37, 0xC4, 0x02, 0];
        registers[WRITES] = [w0, w1, 0, 0, 0];
        registers[RUN][0] = mode;
        registers[CHANNELS][0] = configuration & 0x0F;
        registers[RANGES] = [r0, r1, 0, 0, 0];
        registers[AVERAGING][0] = configuration >> 4;
        registers[OVER_CURRENT_0] = [0x01, 0xFF, 0xFF, 0, 0];
        Self { registers, block }
    }

    /// Copies the block under another tag, with the check value that belongs to it.
    fn latch(&mut self, tag: u8) {
        let [w0, w1, ..] = self.registers[WRITES];
        let [r0, r1, ..] = self.registers[RANGES];
        let configuration = self.registers[CHANNELS][0] | self.registers[AVERAGING][0] << 4;
        let head = [tag, w0, w1, self.registers[RUN][0], configuration, r0, r1];
        self.block[..head.len()].copy_from_slice(&head);
        let mut check = Crc16::new();
        check.add_all(&self.block[..COVERED]);
        self.block[COVERED..].copy_from_slice(&check.value().to_be_bytes());

        let signed = |bytes: &[u8]| i32::from_be_bytes([bytes[0], bytes[1], bytes[2], 0]) >> 8;
        if signed(&self.block[13..16]) > signed(&self.registers[OVER_CURRENT_0]) {
            self.registers[FLAGS][2] |= 1 << 2;
        }
    }

    /// A register that keeps what is written, and counts it.
    fn store(&mut self, pointer: usize, data: &[u8]) {
        self.registers[pointer][..data.len()].copy_from_slice(data);
        let [w0, w1, ..] = self.registers[WRITES];
        let writes = u16::from_be_bytes([w0, w1]).wrapping_add(1);
        self.registers[WRITES][..2].copy_from_slice(&writes.to_be_bytes());
    }
}

impl ErrorType for Bus {
    type Error = ErrorKind;
}

impl I2c for Bus {
    fn write(&mut self, address: u8, bytes: &[u8]) -> Result<(), ErrorKind> {
        let [pointer, data @ .., _check] = bytes else {
            return Err(ErrorKind::Other);
        };
        if address != ADDRESS {
            return Err(NO_ANSWER);
        }
        match (usize::from(*pointer), data) {
            (LATCH, [tag, _seen]) => self.latch(*tag),
            (FLAGS, data) => {
                for (flags, ones) in self.registers[FLAGS].iter_mut().zip(data) {
                    *flags &= !ones;
                }
            }
            (pointer, data) => self.store(pointer, data),
        }
        Ok(())
    }

    fn write_read(&mut self, address: u8, bytes: &[u8], room: &mut [u8]) -> Result<(), ErrorKind> {
        let [pointer] = *bytes else {
            return Err(ErrorKind::Other);
        };
        if address != ADDRESS {
            return Err(NO_ANSWER);
        }
        // The check byte comes last.
        let data = match usize::from(pointer) {
            SAMPLE => &self.block[..],
            pointer => &self.registers[pointer][..room.len() - 1],
        };
        let mut check = Pec::new();
        check.add_all(&[ADDRESS << 1, pointer, ADDRESS << 1 | 1]);
        check.add_all(data);
        let sent = data.iter().copied().chain([check.value()]);
        for (byte, sent) in room.iter_mut().zip(sent) {
            *byte = sent;
        }
        Ok(())
    }

    fn transaction(&mut self, _: u8, _: &mut [Operation<'_>]) -> Result<(), ErrorKind> {
        // The driver asks for none.
        Err(ErrorKind::Other)
    }
}

/// Nothing to wait for.
pub struct Pause;

impl DelayNs for Pause {
    fn delay_ns(&mut self, _: u32) {}
}

/// One microsecond later each time.
#[derive(Default)]
pub struct Ticks(u64);

impl Clock for Ticks {
    fn now_us(&mut self) -> u64 {
        self.0 += 1;
        self.0
    }
}
