//! The registers (datasheet, section 3): which pointers exist, what words mean, and what a write
//! changes.

use super::slot::{SLOTS, Slot};
use crate::part::analogue::Code;

/// A register by name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Register {
    Identity,
    Mark,
    Ranges,
    Mask,
    Causes,
    Trigger,
    Progress,
    Restart,
    Limit(Slot),
    Result(Slot),
}

impl Register {
    /// The register that a pointer names.
    pub(super) fn at(pointer: u8) -> Option<Self> {
        Some(match pointer {
            IDENTITY_POINTER => Self::Identity,
            0x36 => Self::Mark,
            0x39 => Self::Ranges,
            0x3A => Self::Mask,
            0x3C => Self::Causes,
            0x53 => Self::Trigger,
            0x5C => Self::Progress,
            0x65 => Self::Restart,
            0xA1 => Self::Limit(Slot::bus(0)),
            0xA2 => Self::Limit(Slot::sense(0)),
            0xA5 => Self::Result(Slot::bus(0)),
            0xA6 => Self::Result(Slot::sense(0)),
            0xB1 => Self::Limit(Slot::bus(1)),
            0xB2 => Self::Limit(Slot::sense(1)),
            0xB5 => Self::Result(Slot::bus(1)),
            0xB6 => Self::Result(Slot::sense(1)),
            _ => return None,
        })
    }
}

/// What the host wrote and what it may read; a reset clears all of it.
#[derive(Debug)]
pub(super) struct Registers {
    pub(super) ranges: u16,
    pub(super) mask: u16,
    pub(super) causes: u16,
    pub(super) busy: bool,
    mark: u16,
    limits: [i32; SLOTS],
    results: [Code; SLOTS],
    /// Single-shots finished, modulo 64.
    count: u16,
}

impl Registers {
    pub(super) fn after_reset() -> Self {
        Self {
            ranges: 0,
            mask: 0,
            causes: 0,
            busy: false,
            mark: 0,
            limits: [2047, 4095, 2047, 4095],
            results: [ZERO; SLOTS],
            count: 0,
        }
    }

    /// The word at a pointer, zero where there is nothing to read.
    pub(super) fn read(&self, pointer: u8) -> u16 {
        match Register::at(pointer) {
            Some(Register::Identity) => IDENTITY,
            Some(Register::Mark) => self.mark,
            Some(Register::Ranges) => self.ranges,
            Some(Register::Mask) => self.mask,
            Some(Register::Causes) => self.causes,
            Some(Register::Progress) => self.progress(),
            Some(Register::Limit(slot)) => packed(self.limits[slot.index()]),
            Some(Register::Result(slot)) => {
                let channel = (slot.channel() as u16) << CHANNEL_SHIFT;
                channel | packed(self.results[slot.index()].value) | self.count & COUNT_MASK
            }
            Some(Register::Trigger | Register::Restart) | None => 0,
        }
    }

    /// A complete write. What it asks of the part besides is given back.
    pub(super) fn write(&mut self, pointer: u8, word: u16) -> Option<Command> {
        match Register::at(pointer)? {
            Register::Mark => self.mark = word,
            Register::Ranges => self.ranges = word & Slot::BITS,
            Register::Mask => self.mask = word & Slot::BITS,
            Register::Causes => self.causes &= !word,
            Register::Limit(slot) => self.limits[slot.index()] = unpacked(slot, word),
            Register::Trigger if word == TRIGGER_WORD && !self.busy => {
                return Some(Command::Trigger);
            }
            Register::Restart if word == RESTART_WORD => return Some(Command::Restart),
            Register::Trigger | Register::Restart => {}
            Register::Identity | Register::Progress | Register::Result(_) => {}
        }
        None
    }

    /// A conversion has ended: the code against its limit.
    pub(super) fn judge(&mut self, slot: Slot, code: Code) {
        if code.value > self.limits[slot.index()] {
            self.causes |= slot.bit();
        }
    }

    /// A single-shot has ended: everything about it is to be seen from now on.
    pub(super) fn finish(&mut self, results: [Code; SLOTS]) {
        self.results = results;
        self.count = (self.count + 1) % COUNT_MODULUS;
        self.busy = false;
    }

    fn progress(&self) -> u16 {
        let slots = core::iter::successors(Some(Slot::FIRST), |slot| slot.next());
        let clipped = slots.filter(|slot| self.results[slot.index()].clipped);
        let clipped = clipped.fold(0, |bits, slot| bits | slot.bit());
        u16::from(self.busy) << BUSY_BIT | clipped | self.count
    }
}

/// What a write asks for that takes more than registers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Command {
    Trigger,
    Restart,
}

/// A code at its place in a word (3.5), the other bits zero.
fn packed(code: i32) -> u16 {
    (code as u16) << CODE_SHIFT & CODE_MASK
}

/// The code of a limit word.
fn unpacked(slot: Slot, word: u16) -> i32 {
    if slot.is_sense() {
        // Bit 14 is the sign: up by one, and down again with it.
        i32::from((word << 1) as i16 >> (CODE_SHIFT + 1))
    } else {
        i32::from((word & CODE_MASK) >> CODE_SHIFT)
    }
}

/// What a read finds before any pointer was written.
pub(super) const IDENTITY_POINTER: u8 = 0x35;
const IDENTITY: u16 = 0x91E4;
const TRIGGER_WORD: u16 = 0x0001;
const RESTART_WORD: u16 = 0xC35A;
const CHANNEL_SHIFT: u32 = 15;
const CODE_SHIFT: u32 = 3;
const CODE_MASK: u16 = 0x7FF8;
/// What a result says of the sequence count.
const COUNT_MASK: u16 = 7;
const COUNT_MODULUS: u16 = 64;
const BUSY_BIT: u32 = 10;
pub(super) const ZERO: Code = Code {
    value: 0,
    clipped: false,
};
