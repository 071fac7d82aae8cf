//! Questions whose answers are found by QUERY, or by trying.

use super::command::{INVALID_COMMAND, INVALID_DATA, StatusRegister, Writable, code};
use super::declaration::{Device, PageSpec};
use super::format::{Coefficients, Format};
use super::walk::Next;
use super::{Pmbus, byte, bytes};
use crate::old::exchange::{Ask, Fault, Step, Turn};

/// What has become of a question.
pub(super) enum Answer<T> {
    /// Not answered yet.
    Open(Next),
    /// Answered.
    Is(T),
}

/// What QUERY says: supported, can be written, can be read.
const SUPPORTED: u8 = 0x80;
const WRITTEN: u8 = 0x40;
const READ: u8 = 0x20;

/// Steps of asking for a format, after those of asking for a command.
const ASK_COEFFICIENTS: u8 = 8;
const COEFFICIENTS: u8 = 9;
const LOOK: u8 = 10;
const LOOKED: u8 = 11;

impl<D: Device, const N: usize> Pmbus<D, N> {
    pub(super) fn ask(pointer: u8, len: u8) -> Step {
        Step::Ask(Ask::of(Self::reading(pointer, len)))
    }

    /// A block write-block read: the count goes before the data.
    pub(super) fn call<const W: usize>(pointer: u8, data: [u8; W], len: u8) -> Ask {
        Ask::with(Self::reading(pointer, len), data)
    }

    /// Whether the selected page has a command, of `len` bytes when read; with `writes`, one that can be written, too.
    ///
    /// By trying: a device may refuse the command, or take it and send ones. Either way it says so in STATUS_CML.
    pub(super) fn has(
        &mut self,
        turn: &mut Turn<'_>,
        command: u8,
        len: u8,
        writes: bool,
    ) -> Answer<bool> {
        let (step, next) = match self.at.step {
            0 if self.query => {
                let query = Self::call(code::QUERY, [1, command], 2).required();
                (1, Next::Do(Step::Ask(query)))
            }
            0 => (2, Next::Do(Self::ask(command, len))),
            1 => {
                let [count, says] = bytes(turn.block);
                let needed = SUPPORTED | READ | if writes { WRITTEN } else { 0 };
                let has = count == 1 && says & needed == needed;
                self.at.direct = match (says >> 2) & 7 {
                    _ if !has => None,
                    0 => Some(false),
                    3 => Some(true),
                    _ => None,
                };
                return Answer::Is(has);
            }
            2 => {
                self.at.heard = turn.answered;
                self.at.direct = None;
                (3, Next::Do(Self::read(code::STATUS_CML, 1)))
            }
            3 => {
                let set = byte(turn.block, 0) & (INVALID_COMMAND | INVALID_DATA);
                let heard = self.at.heard;
                self.at.heard &= set & INVALID_COMMAND == 0;
                match cleared(set) {
                    Some(clear) => (4, Next::Do(clear)),
                    None if heard => return Answer::Is(true),
                    // It did not refuse: it was the bus, which tells of itself if it fails again.
                    None => (5, Next::Do(Self::read(command, len))),
                }
            }
            4 => return Answer::Is(self.at.heard),
            _ => return Answer::Is(true),
        };
        self.at.step = step;
        Answer::Open(next)
    }

    /// The format of a command that the selected page has, or `None` where it has not. `known` goes without asking.
    pub(super) fn format(
        &mut self,
        turn: &mut Turn<'_>,
        page: &PageSpec,
        command: u8,
        known: Option<Format>,
    ) -> Result<Answer<Option<Format>>, Fault> {
        if self.at.step < ASK_COEFFICIENTS {
            match self.has(turn, command, 2, false) {
                Answer::Open(next) => return Ok(Answer::Open(next)),
                Answer::Is(false) => return Ok(Answer::Is(None)),
                Answer::Is(true) => {}
            }
            if known.is_some() {
                return Ok(Answer::Is(known));
            }
            match (self.query, self.at.direct) {
                (true, None) => return Err(not_supported(command, page)),
                (_, Some(false)) => return Ok(Answer::Is(Some(Format::Linear11))),
                _ => self.at.step = ASK_COEFFICIENTS,
            }
        }
        Ok(match self.coefficients(turn, command) {
            Answer::Open(next) => Answer::Open(next),
            Answer::Is(Some(found)) => Answer::Is(Some(Format::Direct(found))),
            Answer::Is(None) if self.at.direct == Some(true) => {
                return Err(not_supported(code::COEFFICIENTS, page));
            }
            // Nobody says DIRECT: it is what every device has to know.
            Answer::Is(None) => Answer::Is(Some(Format::Linear11)),
        })
    }

    /// Direction 1: as it is read.
    fn coefficients_of(command: u8) -> Ask {
        Self::call(code::COEFFICIENTS, [2, command, 1], 6)
    }

    /// COEFFICIENTS of a command; `None` where the device knows none, or none that make sense.
    pub(super) fn coefficients(
        &mut self,
        turn: &mut Turn<'_>,
        command: u8,
    ) -> Answer<Option<Coefficients>> {
        let (step, next) = match self.at.step {
            0..=ASK_COEFFICIENTS => {
                let ask = Self::coefficients_of(command);
                (COEFFICIENTS, Next::Do(Step::Ask(ask)))
            }
            COEFFICIENTS => {
                let [count, coefficients @ ..] = bytes::<6>(turn.block);
                if turn.answered && count == 5 {
                    return Answer::Is(Coefficients::from_bytes(coefficients));
                }
                self.at.heard = turn.answered;
                (LOOK, Next::Do(Self::read(code::STATUS_CML, 1)))
            }
            LOOK => match cleared(byte(turn.block, 0) & (INVALID_COMMAND | INVALID_DATA)) {
                Some(clear) => (LOOKED, Next::Do(clear)),
                None if self.at.heard => return Answer::Is(None),
                // As above.
                None => {
                    let ask = Self::coefficients_of(command).required();
                    (COEFFICIENTS, Next::Do(Step::Ask(ask)))
                }
            },
            _ => return Answer::Is(None),
        };
        self.at.step = step;
        Answer::Open(next)
    }
}

/// Clears bits of STATUS_CML, if there are any.
pub(super) fn cleared(bits: u8) -> Option<Step> {
    let register = Writable::Status(StatusRegister::Cml);
    (bits != 0).then(|| Step::Write(register.write(u64::from(bits), 1)))
}

pub(super) const fn not_supported(command: u8, page: &PageSpec) -> Fault {
    Fault::NotSupported {
        command,
        page: page.page,
    }
}
