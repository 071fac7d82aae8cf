//! Stands in for the bus and a Corncrake on it: the frame block of section 10.1 of docs/old/corncrake-datasheet.md, latched anew under whatever tag is asked for.

use crake::old::Clock;
use crake::old::crc::{Crc16, Pec};
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, NoAcknowledgeSource, Operation};

/// 7-bit address of the part.
pub const ADDRESS: u8 = 0x32;
/// Set-up serial of the block.
pub const SERIAL: u16 = 0x0123;

const NO_ANSWER: ErrorKind = ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address);
const IDENTITY: [u8; 4] = [0x9E, 0x37, 0xC4, 0x01];
const SERIAL_REGISTER: u8 = 0x01;
const LATCH: u8 = 0x03;
const FRAME: u8 = 0x80;
const CHECKED: usize = 109;

/// Section 10.1, without the check byte.
#[rustfmt::skip]
const BLOCK: [u8; 111] = [
    0x5A, 0x01, 0x23, 0x11, 0x4F, 0x60, 0x41, 0x40, 0x10, 0x0A, 0xBC, 0xDE, 0xF0, 0x01, 0x48, 0x20, 0x80, 0xE8, 0x00,
    0xA5, 0x39, 0x5D, 0x00, 0x00, 0x00, 0x3A, 0xDE, 0x68, 0xB1, 0x00, 0x00, 0x1D, 0xA4, 0x8D, 0xE7, 0x7B, 0xC0, 0xFF, 0xE2, 0xB4, 0xBC, 0x7A, 0xFF,
    0xEA, 0x6E, 0x39, 0xC8, 0xFF, 0xFF, 0xFF, 0x1B, 0x1E, 0x40, 0xFF, 0xFF, 0xFF, 0x57, 0x7D, 0x23, 0x6A, 0x80, 0x01, 0xFF, 0xFF, 0xFF, 0xFF, 0x01,
    0xFF, 0xFD, 0x00, 0x01, 0x07, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0x07, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFE, 0x00, 0x00, 0x00, 0x00, 0x00,
    0x00, 0x00, 0x00, 0x00, 0xF8, 0x00, 0x00, 0x00, 0x00, 0x00, 0xF8, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0x00, 0xDD, 0x5A,
];

/// The bus with the part on it.
pub struct Bus {
    block: [u8; BLOCK.len()],
}

impl Bus {
    pub const fn new() -> Self {
        Self { block: BLOCK }
    }

    /// Copies the block under another tag, with the check value that belongs to it.
    fn latch(&mut self, tag: u8) {
        self.block[0] = tag;
        let mut check = Crc16::new();
        check.add_all(&self.block[..CHECKED]);
        self.block[CHECKED..].copy_from_slice(&check.value().to_be_bytes());
    }
}

impl ErrorType for Bus {
    type Error = ErrorKind;
}

impl I2c for Bus {
    fn write(&mut self, address: u8, bytes: &[u8]) -> Result<(), ErrorKind> {
        match *bytes {
            [LATCH, tag, _seen, _check] if address == ADDRESS => {
                self.latch(tag);
                Ok(())
            }
            _ => Err(NO_ANSWER),
        }
    }

    fn write_read(&mut self, address: u8, bytes: &[u8], room: &mut [u8]) -> Result<(), ErrorKind> {
        let data: &[u8] = match *bytes {
            [0x00] if address == ADDRESS => &IDENTITY,
            [SERIAL_REGISTER] if address == ADDRESS => &SERIAL.to_be_bytes(),
            [FRAME] if address == ADDRESS => &self.block,
            _ => return Err(NO_ANSWER),
        };
        let mut check = Pec::new();
        check.add_all(&[ADDRESS << 1, bytes[0], ADDRESS << 1 | 1]);
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
pub struct Ticks(pub u64);

impl Clock for Ticks {
    fn now_us(&mut self) -> u64 {
        self.0 += 1;
        self.0
    }
}
