//! What a device is asked for before it is used.

use super::ask::{Answer, cleared, not_supported};
use super::command::{INVALID_COMMAND, INVALID_DATA, StatusRegister, Writable, code};
use super::declaration::{Device, Expect, PageSpec};
use super::format::{Format, VoutMode};
use super::walk::Next;
use super::{EnergyCount, Learned, Pmbus, byte, bytes};
use crate::old::Channel;
use crate::old::alert::Kind;
use crate::old::exchange::{Fault, Read, Step, Turn};
use crate::old::part::Source;

/// CAPABILITY: check bytes.
const PEC: u8 = 0x80;
/// CAPABILITY: an alert output.
const SMBALERT: u8 = 0x10;
/// Part II, revision 1.2: the first in which a one clears a status bit.
const REVISION_1_2: u8 = 2;

/// Items of a page.
const VOUT_MODE: u8 = 0;
const VOLTAGE: u8 = 1;
const CURRENT: u8 = 2;
const POWER: u8 = 3;
const ENERGY: u8 = 4;
const LIMITS: u8 = 5;
const END: u8 = LIMITS + Kind::ALL.len() as u8;

impl<D: Device, const N: usize> Pmbus<D, N> {
    /// Whether the device has an alert output that is used.
    pub(super) fn alerts() -> bool {
        let alerts = &D::DECLARATION.spec.alerts;
        !alerts.outputs.is_empty() && !alerts.kinds.is_empty()
    }

    /// What the device says of itself as a whole.
    pub(super) fn identify(&mut self, turn: &mut Turn<'_>) -> Result<Next, Fault> {
        let next = match self.at.step {
            0 => {
                // Whether there is a check byte is what it tells.
                let read = Read {
                    pointer: code::CAPABILITY,
                    len: 1,
                    at: 0,
                    check: false,
                };
                Next::Do(Step::Read(read))
            }
            1 => {
                let pec = if D::DECLARATION.checked { PEC } else { 0 };
                let needed = pec | if Self::alerts() { SMBALERT } else { 0 };
                if byte(turn.block, 0) & needed != needed {
                    return Err(common(code::CAPABILITY));
                }
                Next::Do(Self::read(code::PMBUS_REVISION, 1))
            }
            _ => {
                if byte(turn.block, 0) & 0x0F < REVISION_1_2 {
                    return Err(common(code::PMBUS_REVISION));
                }
                Next::Over
            }
        };
        self.at.step = self.at.step.wrapping_add(1); // below four
        Ok(next)
    }

    /// Whether the device answers QUERY. STATUS_CML has no bit of an unknown command or of bad data afterwards.
    pub(super) fn find_query(&mut self, turn: &mut Turn<'_>) -> Result<Next, Fault> {
        let query = || Step::Ask(Self::call(code::QUERY, [1, code::QUERY], 2));
        let next = match self.at.step {
            0 => Next::Do(query()),
            1 => {
                self.query = answers_query(turn);
                // Asked twice before it counts as not there: the bus may have failed.
                if self.query {
                    Next::Go
                } else {
                    Next::Do(query())
                }
            }
            2 => {
                self.query |= answers_query(turn);
                Next::Do(Self::read(code::STATUS_CML, 1))
            }
            3 => match cleared(byte(turn.block, 0) & (INVALID_COMMAND | INVALID_DATA)) {
                Some(clear) => Next::Do(clear),
                None => Next::Over,
            },
            _ => Next::Over,
        };
        self.at.step = self.at.step.wrapping_add(1); // below six
        Ok(next)
    }

    /// Nothing of STATUS_CML reaches the alert output: asking for what is not there must not pull it.
    pub(super) fn mute_questions(&mut self, turn: &mut Turn<'_>) -> Result<Next, Fault> {
        if !Self::alerts() {
            return Ok(Next::Over);
        }
        self.mask(turn, 0, StatusRegister::Cml, u8::MAX)
    }

    /// Every page: formats, and which of the optional things it has.
    pub(super) fn learn(&mut self, turn: &mut Turn<'_>) -> Result<Next, Fault> {
        self.walk(
            turn,
            false,
            |_, _| true,
            &mut |part, turn, channel, page| part.learn_item(turn, channel, page),
        )
    }

    fn learn_item(
        &mut self,
        turn: &mut Turn<'_>,
        channel: Channel,
        page: &PageSpec,
    ) -> Result<Option<Next>, Fault> {
        let mut learned = *self.learned(channel);
        let next = match self.at.item {
            VOUT_MODE => {
                learned = Learned::NOTHING;
                self.vout_mode(turn, page, &mut learned)?
            }
            VOLTAGE => {
                // DIRECT by VOUT_MODE, and not known yet how.
                let direct = page.voltage == Expect::Ask
                    && page.side == super::Side::Output
                    && learned.voltage == Format::Linear11;
                let known = match (page.voltage, learned.voltage) {
                    (Expect::Ask, Format::Linear11) => None,
                    (_, format) => Some(format),
                };
                let command = page.side.voltage();
                match self.format(turn, page, command, known)? {
                    Answer::Open(next) => next,
                    Answer::Is(None) => return Err(not_supported(command, page)),
                    Answer::Is(Some(Format::Linear11)) if direct => {
                        return Err(not_supported(code::COEFFICIENTS, page));
                    }
                    Answer::Is(Some(format)) => {
                        learned.voltage = format;
                        Next::Over
                    }
                }
            }
            CURRENT => {
                let command = page.side.current();
                match self.format(turn, page, command, known(page.current))? {
                    Answer::Open(next) => next,
                    Answer::Is(None) => return Err(not_supported(command, page)),
                    Answer::Is(Some(format)) => {
                        learned.current = format;
                        Next::Over
                    }
                }
            }
            POWER if D::DECLARATION.spec.power == Source::Driver => Next::Over,
            POWER => match self.format(turn, page, page.side.power(), known(page.power))? {
                Answer::Open(next) => next,
                Answer::Is(format) => {
                    learned.power = format;
                    Next::Over
                }
            },
            ENERGY => self.energy(turn, page, &mut learned)?,
            LIMITS..END => self.limit(turn, page, &mut learned),
            _ => return Ok(None),
        };
        if let Some(place) = self.learned.get_mut(channel.index()) {
            *place = learned;
        }
        Ok(Some(next))
    }

    fn vout_mode(
        &mut self,
        turn: &mut Turn<'_>,
        page: &PageSpec,
        learned: &mut Learned,
    ) -> Result<Next, Fault> {
        const MODE: u8 = 8;
        match (page.voltage, page.side, self.at.step) {
            (Expect::Is(format), ..) => learned.voltage = format,
            (Expect::Ask, super::Side::Input, _) => {}
            (Expect::Ask, super::Side::Output, step) if step < MODE => {
                match self.has(turn, code::VOUT_MODE, 1, false) {
                    Answer::Open(next) => return Ok(next),
                    Answer::Is(false) => return Err(not_supported(code::VOUT_MODE, page)),
                    Answer::Is(true) => {}
                }
                self.at.step = MODE;
                return Ok(Next::Do(Self::read(code::VOUT_MODE, 1)));
            }
            (Expect::Ask, super::Side::Output, _) => {
                match VoutMode::from_byte(byte(turn.block, 0)) {
                    VoutMode::Linear(exponent) => learned.voltage = Format::Linear16(exponent),
                    VoutMode::Direct => {}
                    _ => return Err(not_supported(code::VOUT_MODE, page)),
                }
            }
        }
        Ok(Next::Over)
    }

    /// The count that the declaration tells of: it has to be there.
    fn energy(
        &mut self,
        turn: &mut Turn<'_>,
        page: &PageSpec,
        learned: &mut Learned,
    ) -> Result<Next, Fault> {
        const COEFFICIENTS: u8 = 8;
        let Some(energy) = page.energy else {
            return Ok(Next::Over);
        };
        let command = page.side.energy();
        if self.at.step < COEFFICIENTS {
            match self.has(turn, command, EnergyCount::BLOCK_LEN, false) {
                Answer::Open(next) => return Ok(next),
                Answer::Is(false) => return Err(not_supported(command, page)),
                Answer::Is(true) => {}
            }
            if energy.coefficients.is_some() {
                learned.energy = energy.coefficients;
                return Ok(Next::Over);
            }
            self.at.step = COEFFICIENTS;
        }
        match self.coefficients(turn, command) {
            Answer::Open(next) => Ok(next),
            Answer::Is(None) => Err(not_supported(code::COEFFICIENTS, page)),
            found @ Answer::Is(_) => {
                if let Answer::Is(coefficients) = found {
                    learned.energy = coefficients;
                }
                Ok(Next::Over)
            }
        }
    }

    /// Whether the page compares a kind that is left to the device.
    fn limit(&mut self, turn: &mut Turn<'_>, page: &PageSpec, learned: &mut Learned) -> Next {
        let kind = Kind::ALL.get(usize::from(self.at.item.wrapping_sub(LIMITS)));
        let wanted = |kind: &&Kind| D::DECLARATION.spec.alerts.kinds.contains(kind);
        let Some(kind) = kind.filter(wanted) else {
            return Next::Over;
        };
        let (Some(comparator), Some(_)) = (page.side.comparator(*kind), learned.format(*kind))
        else {
            return Next::Over;
        };
        match self.has(turn, comparator.limit.code(), 2, true) {
            Answer::Open(next) => next,
            Answer::Is(has) => {
                learned.kinds |= u8::from(has) << kind.index();
                Next::Over
            }
        }
    }

    pub(super) fn learned(&self, channel: Channel) -> &Learned {
        const NOTHING: &Learned = &Learned::NOTHING;
        self.learned.get(channel.index()).unwrap_or(NOTHING)
    }

    /// Puts the mask of a status register and reads it back. A one in it keeps the bit from the alert output.
    pub(super) fn mask(
        &mut self,
        turn: &mut Turn<'_>,
        page: u8,
        register: StatusRegister,
        mask: u8,
    ) -> Result<Next, Fault> {
        let next = match self.at.step {
            0 => {
                let value = u16::from_le_bytes([register.code(), mask]);
                Next::Do(Step::Write(Writable::AlertMask.write(u64::from(value), 2)))
            }
            1 => {
                let pointer = code::SMBALERT_MASK;
                let call = Self::call(pointer, [1, register.code()], 2).required();
                Next::Do(Step::Ask(call))
            }
            _ => {
                let [count, read] = bytes(turn.block);
                if count != 1 {
                    let command = code::SMBALERT_MASK;
                    return Err(Fault::NotSupported { command, page });
                }
                if read != mask {
                    return Err(Fault::ReadBack { wrote: mask, read });
                }
                Next::Over
            }
        };
        self.at.step = self.at.step.wrapping_add(1); // below four
        Ok(next)
    }
}

fn answers_query(turn: &Turn<'_>) -> bool {
    let [count, says] = bytes(turn.block);
    turn.answered && count == 1 && says & 0x80 != 0
}

/// A command that every page shares.
const fn common(command: u8) -> Fault {
    Fault::NotSupported { command, page: 0 }
}

const fn known(expect: Expect) -> Option<Format> {
    match expect {
        Expect::Ask => None,
        Expect::Is(format) => Some(format),
    }
}
