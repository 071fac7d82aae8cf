//! Registers and values of section 3 of the datasheet.

use crate::bus::Register;

pub(super) const IDENTITY: Register = Register::new(0x00, 4);
pub(super) const WRITES: Register = Register::new(0x01, 2);
pub(super) const LATCH: Register = Register::new(0x03, 2);
pub(super) const RUN: Register = Register::new(0x04, 1);
pub(super) const CHANNELS: Register = Register::new(0x05, 1);
pub(super) const RANGES: Register = Register::new(0x06, 2);
pub(super) const AVERAGING: Register = Register::new(0x07, 1);
pub(super) const RESET_SEEN: Register = Register::new(0x0A, 1);
/// Limits of channel 0 in the order of [`Kind::ALL`](crate::config::Kind::ALL); of channel c: 8c
/// further.
pub(super) const LIMITS: [Register; 5] = [
    Register::new(0x10, 2),
    Register::new(0x11, 2),
    Register::new(0x12, 3),
    Register::new(0x13, 3),
    Register::new(0x14, 5),
];
/// Of channel c: c further.
pub(super) const DEBOUNCE: Register = Register::new(0x30, 3);
pub(super) const LATCHING: Register = Register::new(0x34, 3);
pub(super) const MASK_A: Register = Register::new(0x35, 3);
pub(super) const MASK_B: Register = Register::new(0x36, 3);
pub(super) const FLAGS: Register = Register::new(0x37, 3);
pub(super) const CAPTURE_COUNT: Register = Register::new(0x78, 2);
pub(super) const CAPTURE_FROM: Register = Register::new(0x79, 3);
pub(super) const CAPTURE: u8 = 0x7A;
pub(super) const SAMPLE: u8 = 0x80;

/// What IDENTITY reads.
pub(super) const IDENTITY_VALUE: u32 = 0x9E37_C402;

pub(super) const IDLE: u8 = 0x00;
pub(super) const CONTINUOUS: u8 = 0x10;
pub(super) const SINGLE_SHOT: u8 = 0x20;
pub(super) const FAST_CAPTURE: u8 = 0x30;
