//! The registers (section 3 of the datasheet): which pointers exist, what words mean, and what a
//! write changes.

use super::input::{INPUTS, Input};
use crate::part::analogue::Code;

/// A register by name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Register {
    Identity,
    Configuration,
    Trigger,
    Status,
    Result(Input),
    AlertFlags,
    Mask,
    Limit(Input),
    Restart,
}

impl Register {
    /// The register that a pointer names.
    fn at(pointer: u8) -> Option<Self> {
        Some(match pointer {
            IDENTITY_POINTER => Self::Identity,
            0x1C => Self::Configuration,
            0x1F => Self::Trigger,
            0x24 => Self::Status,
            0x42 => Self::Result(Input::sense(0)),
            0x43 => Self::Result(Input::sense(1)),
            0x4A => Self::Result(Input::rail(0)),
            0x4B => Self::Result(Input::rail(1)),
            0x71 => Self::AlertFlags,
            0x72 => Self::Mask,
            0x88 => Self::Limit(Input::sense(0)),
            0x89 => Self::Limit(Input::sense(1)),
            0x8E => Self::Limit(Input::rail(0)),
            0x8F => Self::Limit(Input::rail(1)),
            0xD6 => Self::Restart,
            _ => return None,
        })
    }
}

/// What the host wrote and what it may read. A reset clears all of it.
#[derive(Debug)]
pub(super) struct Registers {
    configuration: u16,
    mask: u16,
    flags: u16,
    busy: bool,
    done: bool,
    limits: [i32; INPUTS],
    results: [Code; INPUTS],
}

impl Registers {
    pub(super) fn after_reset() -> Self {
        Self {
            configuration: 0,
            mask: 0,
            flags: 0,
            busy: false,
            done: false,
            limits: [2047, 4095, 2047, 4095],
            results: NO_RESULTS,
        }
    }

    /// The word at a pointer, zero where there is nothing to read.
    pub(super) fn read(&self, pointer: u8) -> u16 {
        match Register::at(pointer) {
            Some(Register::Identity) => IDENTITY,
            Some(Register::Configuration) => self.configuration,
            Some(Register::Status) => self.status(),
            // Two's complement, sign-extended by the cast.
            Some(Register::Result(input)) => self.results[input.index()].value as u16,
            Some(Register::Limit(input)) => self.limits[input.index()] as u16,
            Some(Register::AlertFlags) => self.flags,
            Some(Register::Mask) => self.mask,
            Some(Register::Trigger | Register::Restart) | None => 0,
        }
    }

    /// A complete write. What it asks of the part besides is given back.
    pub(super) fn write(&mut self, pointer: u8, word: u16) -> Option<Command> {
        match Register::at(pointer)? {
            Register::Configuration if !self.busy => {
                self.configuration = word & CONFIGURATION_BITS;
            }
            Register::Trigger if word == TRIGGER_WORD && !self.busy && self.is_any_enabled() => {
                self.busy = true;
                self.done = false;
                return Some(Command::Trigger);
            }
            Register::Status => self.done &= word & DONE == 0,
            Register::AlertFlags => self.flags &= !word,
            Register::Mask => self.mask = word & Input::bits(Input::all()),
            Register::Limit(input) => self.limits[input.index()] = limit(input, word),
            Register::Restart if word == RESTART_WORD => return Some(Command::Restart),
            Register::Configuration | Register::Trigger | Register::Restart => {}
            Register::Identity | Register::Result(_) => {}
        }
        None
    }

    /// What a single-shot converts after `before`, the first of it after None. None at its end.
    pub(super) fn next(&self, before: Option<Input>) -> Option<Input> {
        let from = before.map_or(0, |before| before.index() + 1);
        let mut rest = Input::all().skip(from);
        rest.find(|input| self.configuration & input.enable_bit() != 0)
    }

    /// The range code of an input.
    pub(super) fn range(&self, input: Input) -> usize {
        usize::from(self.configuration & input.bit() != 0)
    }

    /// A conversion has ended: the code against its limit.
    pub(super) fn compare(&mut self, input: Input, code: Code) {
        if code.value > self.limits[input.index()] {
            self.flags |= input.bit();
        }
    }

    /// A single-shot has ended: everything about it is to be seen from now on.
    pub(super) fn finish(&mut self, results: [Code; INPUTS]) {
        self.results = results;
        self.busy = false;
        self.done = true;
    }

    pub(super) fn is_busy(&self) -> bool {
        self.busy
    }

    pub(super) fn pulls_low(&self) -> bool {
        self.flags & self.mask != 0
    }

    pub(super) fn is_output_reached(&self) -> bool {
        self.mask != 0
    }

    fn is_any_enabled(&self) -> bool {
        self.next(None).is_some()
    }

    fn status(&self) -> u16 {
        let over_range = Input::all().filter(|input| self.results[input.index()].clipped);
        let bit = |set, bit| if set { bit } else { 0 };
        bit(self.busy, BUSY) + bit(self.done, DONE) + Input::bits(over_range)
    }
}

/// What a write asks for that takes more than registers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Command {
    /// A single-shot, accepted.
    Trigger,
    Restart,
}

/// The code that a limit's word holds in bits 11 to 0.
fn limit(input: Input, word: u16) -> i32 {
    if input.is_sense() {
        // Bit 11 is the sign: up to the top of the word, and down again with it.
        i32::from((word << 4) as i16 >> 4)
    } else {
        i32::from(word & 0x0FFF)
    }
}

/// What a read finds before any pointer was written.
pub(super) const IDENTITY_POINTER: u8 = 0x0B;
const IDENTITY: u16 = 0x6B2D;
const TRIGGER_WORD: u16 = 0x00B4;
const RESTART_WORD: u16 = 0x3AC9;
/// What there is in CONFIGURATION: enabled channels, and ranges of the inputs.
const CONFIGURATION_BITS: u16 = 0x3330;
/// In STATUS.
const BUSY: u16 = 1 << 15;
const DONE: u16 = 1 << 1;
/// Results of which none was converted.
pub(super) const NO_RESULTS: [Code; INPUTS] = [Code {
    value: 0,
    clipped: false,
}; INPUTS];
