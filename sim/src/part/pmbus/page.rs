//! One page: readings, limits, status and energy count, and what the commands do with them.

use alloc::{vec, vec::Vec};
use core::cmp::Ordering;

use super::{
    command::{Command, KEPT, KeptKind, LIMITS, Quantity, Register},
    description::{Page, Side},
    format::Format,
    status::Status,
};

/// The inside of a page.
#[derive(Debug)]
pub(super) struct PageState {
    pub(super) readings: [u16; 3],
    /// Counts of energy modulo 256 periods.
    pub(super) energy: u32,
    /// Of which READ_EIN and READ_EOUT show the low 24 bits.
    pub(super) samples: u32,
    limits: [u16; LIMITS.len()],
    kept: [u16; KEPT.len()],
    /// By [`Register`]; STATUS_CML is not a page's.
    pub(super) status: [Status; 3],
}

impl PageState {
    pub(super) fn after_reset(page: &Page) -> Self {
        let formats = [
            Some(page.voltage.format),
            Some(page.current.format),
            page.power,
        ];
        let voltage = page.voltage.format;
        Self {
            readings: formats.map(|format| {
                let zero = format.map(|format| format.encode(0.0));
                zero.unwrap_or_default()
            }),
            energy: 0,
            samples: 0,
            limits: LIMITS.map(|limit| {
                let end = format_of(page, limit.quantity).map(|format| match limit.over {
                    true => format.greatest(),
                    false => format.least(),
                });
                end.unwrap_or_default()
            }),
            kept: KEPT.map(|kept| match kept.kind {
                KeptKind::Byte(value) => u16::from(value),
                KeptKind::Word => 0,
                KeptKind::Zero => voltage.encode(0.0),
                KeptKind::Greatest => voltage.greatest(),
            }),
            status: [Register::Vout, Register::Iout, Register::Input].map(|register| {
                // What the page does not have reaches nothing.
                let is_there = page_has(page, Command::Status(register));
                Status::masked(if is_there { register.reset_mask() } else { ALL })
            }),
        }
    }

    /// A sample has come: volts, amperes, watts.
    pub(super) fn sample(&mut self, values: [f64; 3], page: &Page) {
        for (quantity, value) in QUANTITIES.into_iter().zip(values) {
            if let Some(format) = format_of(page, quantity) {
                self.readings[quantity as usize] = format.encode(value);
            }
        }
        if let Some(count) = page.energy {
            let codes = count.coefficients.code(values[2]).max(0) as u64;
            let whole = 256 * u64::from(count.period);
            self.energy = (u64::from(self.energy).wrapping_add(codes) % whole) as u32;
            self.samples = self.samples.wrapping_add(1);
        }
        self.compare(page);
    }

    fn compare(&mut self, page: &Page) {
        for (limit, word) in LIMITS.iter().zip(self.limits) {
            let format = format_of(page, limit.quantity).filter(|_| limit.side == page.side);
            let Some(format) = format else { continue };
            let passed = match format.compare(self.readings[limit.quantity as usize], word) {
                Ordering::Greater => limit.over,
                Ordering::Less => !limit.over,
                Ordering::Equal => false,
            };
            if let Some(status) = self.status_mut(Register::of(limit.side, limit.quantity)) {
                status.compared(limit.bit, passed);
            }
        }
    }

    /// Carries out a write that is complete and allowed, to a command that the page has.
    pub(super) fn write(&mut self, command: Command, value: u16, page: &Page) {
        match command {
            Command::Limit(at) => {
                let limit = LIMITS[at];
                if let Some(format) = format_of(page, limit.quantity) {
                    self.limits[at] = format.kept(value);
                }
                if let Some(status) = self.status_mut(Register::of(limit.side, limit.quantity)) {
                    status.forget_level(limit.bit);
                }
            }
            Command::Kept(at) => self.kept[at] = value,
            Command::Status(register) => {
                if let Some(status) = self.status_mut(register) {
                    status.clear(value as u8);
                }
            }
            _ => {}
        }
    }

    /// What reading a command that the page has gives, without PEC.
    pub(super) fn read(&self, command: Command, page: &Page) -> Vec<u8> {
        let word = |value: u16| value.to_le_bytes().to_vec();
        match command {
            Command::VoutMode => vec![match page.voltage.format {
                Format::Ulinear16 { exponent } => exponent as u8 & 0x1F,
                Format::Direct(_) | Format::Linear11(_) => 0x40,
            }],
            Command::Limit(at) => word(self.limits[at]),
            Command::Kept(at) if command.written() == 1 => vec![self.kept[at] as u8],
            Command::Kept(at) => word(self.kept[at]),
            Command::Status(register) => {
                let status = self.status_of(register);
                status.iter().map(|status| status.bits).collect()
            }
            Command::Reading(_, quantity) => word(self.readings[quantity as usize]),
            Command::Energy(_) => {
                let Some(count) = page.energy else {
                    return Vec::new();
                };
                let period = u32::from(count.period);
                let [low, high] = ((self.energy % period) as u16).to_le_bytes();
                let [s0, s1, s2, _] = self.samples.to_le_bytes();
                block(&[low, high, (self.energy / period) as u8, s0, s1, s2])
            }
            _ => Vec::new(),
        }
    }

    pub(super) fn status_mut(&mut self, register: Register) -> Option<&mut Status> {
        self.status.get_mut(register as usize)
    }

    pub(super) fn status_of(&self, register: Register) -> Option<&Status> {
        self.status.get(register as usize)
    }
}

/// How the value of a command is coded.
pub(super) enum Coding {
    Word(Format),
    Energy,
    Byte,
    Other,
}

pub(super) fn coding(page: &Page, command: Command) -> Coding {
    let word = |quantity| format_of(page, quantity).map_or(Coding::Other, Coding::Word);
    match command {
        Command::Limit(at) => word(LIMITS[at].quantity),
        Command::Reading(_, quantity) => word(quantity),
        Command::Kept(at) if !matches!(KEPT[at].kind, KeptKind::Byte(_)) => word(Quantity::Voltage),
        Command::Energy(_) => Coding::Energy,
        Command::Page
        | Command::WriteProtect
        | Command::Capability
        | Command::VoutMode
        | Command::Revision
        | Command::Kept(_) => Coding::Byte,
        _ => Coding::Other,
    }
}

pub(super) fn page_has(page: &Page, command: Command) -> bool {
    match command {
        Command::Limit(at) => {
            LIMITS[at].side == page.side && format_of(page, LIMITS[at].quantity).is_some()
        }
        Command::Kept(at) => KEPT[at].side == page.side,
        Command::Reading(side, quantity) => {
            side == page.side && format_of(page, quantity).is_some()
        }
        Command::Energy(side) => side == page.side && page.energy.is_some(),
        Command::VoutMode | Command::Status(Register::Vout | Register::Iout) => {
            page.side == Side::Output
        }
        Command::Status(Register::Input) => page.side == Side::Input,
        Command::Coefficients => page.has_coefficients(),
        _ => true,
    }
}

fn format_of(page: &Page, quantity: Quantity) -> Option<Format> {
    match quantity {
        Quantity::Voltage => Some(page.voltage.format),
        Quantity::Current => Some(page.current.format),
        Quantity::Power => page.power,
    }
}

pub(super) fn block(bytes: &[u8]) -> Vec<u8> {
    let mut block = vec![bytes.len() as u8];
    block.extend(bytes);
    block
}

const QUANTITIES: [Quantity; 3] = [Quantity::Voltage, Quantity::Current, Quantity::Power];

/// All bits of a mask.
const ALL: u8 = 0xFF;
