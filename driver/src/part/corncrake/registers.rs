//! Pointers and values of section 3 of the datasheet.

pub(super) const IDENTITY: u8 = 0x00;
pub(super) const WRITES: u8 = 0x01;
pub(super) const LATCH: u8 = 0x03;
pub(super) const RUN: u8 = 0x04;
pub(super) const CHANNELS: u8 = 0x05;
pub(super) const RANGES: u8 = 0x06;
pub(super) const AVERAGING: u8 = 0x07;
pub(super) const RESET_SEEN: u8 = 0x0A;
/// Limit of kind j on channel c: at 8c + j from here.
pub(super) const LIMITS: u8 = 0x10;
/// Of channel c: c from here.
pub(super) const DEBOUNCE: u8 = 0x30;
pub(super) const LATCHING: u8 = 0x34;
pub(super) const MASK_A: u8 = 0x35;
pub(super) const MASK_B: u8 = 0x36;
pub(super) const FLAGS: u8 = 0x37;
pub(super) const CAPTURE_COUNT: u8 = 0x78;
pub(super) const CAPTURE_FROM: u8 = 0x79;
pub(super) const CAPTURE: u8 = 0x7A;
pub(super) const SAMPLE: u8 = 0x80;

/// What IDENTITY reads.
pub(super) const IDENTITY_VALUE: u32 = 0x9E37_C402;

pub(super) const IDLE: u8 = 0x00;
pub(super) const CONTINUOUS: u8 = 0x10;
pub(super) const SINGLE_SHOT: u8 = 0x20;
pub(super) const FAST_CAPTURE: u8 = 0x30;
