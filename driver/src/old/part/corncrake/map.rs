//! Register map of Corncrake, from docs/old/corncrake-datasheet.md.

/// The 7-bit addresses by strap (section 2.1).
pub const ADDRESSES: [u8; 4] = [0x32, 0x33, 0x34, 0x35];

/// IDENTITY's fixed value; its last byte is the revision.
pub const IDENTITY_VALUE: u32 = 0x9E37_C401;
/// What RESTART takes.
pub const RESTART_VALUE: u64 = 0xA5;
/// What clears BOOT.
pub const BOOT_CLEAR: u64 = 0x01;
/// GUARD: writes without check byte are ignored.
pub const GUARD_CHECKED: u64 = 0x01;

/// Pointers (section 3).
pub mod pointer {
    pub const IDENTITY: u8 = 0x00;
    pub const SERIAL: u8 = 0x01;
    pub const LATCH: u8 = 0x03;
    pub const RUN: u8 = 0x04;
    pub const CHANNELS: u8 = 0x05;
    pub const RANGES: u8 = 0x06;
    pub const AVERAGING: u8 = 0x07;
    pub const GUARD: u8 = 0x08;
    pub const RESTART: u8 = 0x09;
    pub const BOOT: u8 = 0x0A;
    pub const LIMITS: u8 = 0x10;
    pub const LIMITS_STRIDE: u8 = 8;
    pub const DEBOUNCE: u8 = 0x30;
    pub const HOLD: u8 = 0x34;
    pub const MASK_A: u8 = 0x35;
    pub const MASK_B: u8 = 0x36;
    pub const CAUSES: u8 = 0x37;
    pub const STATE: u8 = 0x02;
    pub const STORE_COUNT: u8 = 0x78;
    pub const STORE_INDEX: u8 = 0x79;
    pub const STORE: u8 = 0x7A;
    pub const FRAME: u8 = 0x80;
}

/// Layout of the frame block (section 5).
pub mod block {
    pub const LEN: u8 = 111;
    pub const TAG: usize = 0;
    pub const SERIAL: usize = 1;
    pub const MODE: usize = 3;
    pub const SETUP: usize = 4;
    pub const RANGES: usize = 5;
    pub const FLAGS: usize = 7;
    pub const ROUNDS: usize = 9;
    pub const CHANNEL: usize = 13;
    pub const CHANNEL_STRIDE: usize = 24;
    pub const CRC: usize = 109;
}

/// Flag bits of the frame block.
pub mod flag {
    pub const RESET_SEEN: u16 = 1 << 15;
    pub const COMPLETE: u16 = 1 << 14;
}

/// Mode bytes of RUN.
pub mod mode {
    pub const IDLE: u8 = 0x00;
    pub const PACED: u8 = 0x10;
    pub const SINGLE_SHOT: u8 = 0x20;
    pub const BURST: u8 = 0x30;
}

/// Cause bits (section 3.6); the limits of channel c stand at bits 5c to 5c + 4, as in [`Causes`](crate::old::alert::Causes).
pub mod cause {
    pub const LIMITS: u64 = 0x000F_FFFF;
    pub const ROLLOVER_AHEAD: u64 = 1 << 20;
    pub const ROUND_DONE: u64 = 1 << 21;
    pub const RESET_SEEN: u64 = 1 << 22;
    /// Held whatever HOLD says; HOLD takes nothing else there.
    pub const ALWAYS_HELD: u64 = ROLLOVER_AHEAD | ROUND_DONE | RESET_SEEN;
}

/// STATE (section 3.1).
pub mod state {
    pub const MODE: u8 = 0x0F;
    pub const BURST: u8 = 3;
}

/// The burst's store (sections 3 and 3.3).
pub mod store {
    /// Conversions kept.
    pub const LEN: u16 = 1024;
    /// Greatest STORE_INDEX.
    pub const INDEX_MAX: u16 = 1008;
    /// Codes in one read of STORE.
    pub const CODES: u16 = 16;
    /// Bytes of each.
    pub const CODE_LEN: usize = 3;
}
