//! What the command codes mean (docs/pmbus-device.md, A2.2 and B3).

use super::description::Side;

/// A command that some page of some device may have.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Command {
    Page,
    WriteProtect,
    Capability,
    Query,
    AlertMask,
    VoutMode,
    Coefficients,
    Limit(usize),
    StatusByte,
    StatusWord,
    Status(Register),
    Reading(Side, Quantity),
    Energy(Side),
    Revision,
    /// MFR_ID, MFR_MODEL, MFR_REVISION.
    Identity(usize),
    UserData,
    /// A byte or word that is kept and nothing more.
    Kept(usize),
    /// A Send Byte command.
    Send(Send),
}

/// A STATUS register that SMBALERT_MASK masks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Register {
    Vout,
    Iout,
    Input,
    Cml,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Quantity {
    Voltage,
    Current,
    Power,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Send {
    ClearFaults,
    RestoreUserAll,
    /// One whose effect is not modelled.
    Other,
}

/// A warn or fault limit.
#[derive(Clone, Copy, Debug)]
pub(super) struct Limit {
    pub(super) code: u8,
    pub(super) side: Side,
    pub(super) quantity: Quantity,
    /// Whether it is passed by what lies above, or below.
    pub(super) over: bool,
    /// Its bit in the STATUS register of its side and quantity.
    pub(super) bit: u8,
    fault: bool,
}

/// A command of which the model keeps the value and nothing more.
#[derive(Clone, Copy, Debug)]
pub(super) struct Kept {
    pub(super) code: u8,
    pub(super) side: Side,
    pub(super) kind: KeptKind,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum KeptKind {
    /// A byte, with its reset value.
    Byte(u8),
    /// A word, zero after a reset, in the format of the page's voltage.
    Word,
    /// A word in the format of the page's voltage that says zero after a reset.
    Zero,
    /// A word in the format of the page's voltage that says its greatest after a reset.
    Greatest,
}

/// What the host may do.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Access {
    pub(super) read: bool,
    pub(super) write: bool,
}

impl Command {
    pub(super) fn of(code: u8) -> Option<Self> {
        Some(match code {
            0x00 => Self::Page,
            0x03 => Self::Send(Send::ClearFaults),
            0x10 => Self::WriteProtect,
            0x11 | 0x12 | 0x15 => Self::Send(Send::Other),
            0x16 => Self::Send(Send::RestoreUserAll),
            0x19 => Self::Capability,
            0x1A => Self::Query,
            0x1B => Self::AlertMask,
            0x20 => Self::VoutMode,
            0x30 => Self::Coefficients,
            0x78 => Self::StatusByte,
            0x79 => Self::StatusWord,
            0x7A => Self::Status(Register::Vout),
            0x7B => Self::Status(Register::Iout),
            0x7C => Self::Status(Register::Input),
            0x7E => Self::Status(Register::Cml),
            0x86 => Self::Energy(Side::Input),
            0x87 => Self::Energy(Side::Output),
            0x88 => Self::Reading(Side::Input, Quantity::Voltage),
            0x89 => Self::Reading(Side::Input, Quantity::Current),
            0x8B => Self::Reading(Side::Output, Quantity::Voltage),
            0x8C => Self::Reading(Side::Output, Quantity::Current),
            0x96 => Self::Reading(Side::Output, Quantity::Power),
            0x97 => Self::Reading(Side::Input, Quantity::Power),
            0x98 => Self::Revision,
            0x99..=0x9B => Self::Identity(usize::from(code - 0x99)),
            0xB0 => Self::UserData,
            _ => {
                let limit = LIMITS
                    .iter()
                    .position(|limit| limit.code == code)
                    .map(Self::Limit);
                return limit.or_else(|| {
                    KEPT.iter()
                        .position(|kept| kept.code == code)
                        .map(Self::Kept)
                });
            }
        })
    }

    /// What is written, in bytes without PEC, a block's count among them: of a process call its
    /// first half.
    pub(super) fn written(self) -> usize {
        match self {
            Self::Page | Self::WriteProtect | Self::Status(_) => 1,
            Self::Query | Self::AlertMask | Self::Limit(_) => 2,
            Self::Coefficients => 3,
            Self::UserData => 1 + USER_DATA_LEN,
            Self::Kept(at) => match KEPT[at].kind {
                KeptKind::Byte(_) => 1,
                KeptKind::Word | KeptKind::Zero | KeptKind::Greatest => 2,
            },
            _ => 0,
        }
    }

    /// Whether its reading has a first half that says what of.
    pub(super) fn is_process_call(self) -> bool {
        matches!(self, Self::Query | Self::AlertMask | Self::Coefficients)
    }

    pub(super) fn access(self) -> Access {
        let (read, write) = match self {
            Self::Page
            | Self::WriteProtect
            | Self::AlertMask
            | Self::Limit(_)
            | Self::Status(_)
            | Self::UserData
            | Self::Kept(_) => (true, true),
            Self::Send(_) => (false, true),
            _ => (true, false),
        };
        Access { read, write }
    }
}

impl Register {
    pub(super) fn of(side: Side, quantity: Quantity) -> Self {
        match (side, quantity) {
            (Side::Input, _) => Self::Input,
            (Side::Output, Quantity::Voltage) => Self::Vout,
            (Side::Output, Quantity::Current | Quantity::Power) => Self::Iout,
        }
    }

    /// The mask after a reset: warnings do not get through.
    pub(super) fn reset_mask(self) -> u8 {
        let warnings = LIMITS
            .iter()
            .filter(|limit| !limit.fault && Self::of(limit.side, limit.quantity) == self);
        warnings.fold(0, |mask, limit| mask | limit.bit)
    }
}

/// Whether a writing transfer to this code is more than a watching host has any business with.
pub(super) fn disturbs(code: u8) -> bool {
    match Command::of(code) {
        Some(Command::Limit(at)) => LIMITS[at].fault,
        Some(Command::Page | Command::AlertMask | Command::Status(_) | Command::UserData) => false,
        Some(command) => !command.is_process_call(),
        None => true,
    }
}

const fn limit(
    code: u8,
    side: Side,
    quantity: Quantity,
    over: bool,
    bit: u8,
    fault: bool,
) -> Limit {
    Limit {
        code,
        side,
        quantity,
        over,
        bit: 1 << bit,
        fault,
    }
}

const fn kept(code: u8, side: Side, kind: KeptKind) -> Kept {
    Kept { code, side, kind }
}

pub(super) const LIMITS: [Limit; 16] = {
    use Quantity::{Current, Power, Voltage};
    use Side::{Input, Output};
    [
        limit(0x40, Output, Voltage, true, 7, true),
        limit(0x42, Output, Voltage, true, 6, false),
        limit(0x43, Output, Voltage, false, 5, false),
        limit(0x44, Output, Voltage, false, 4, true),
        limit(0x46, Output, Current, true, 7, true),
        limit(0x4A, Output, Current, true, 5, false),
        limit(0x4B, Output, Current, false, 4, true),
        limit(0x68, Output, Power, true, 1, true),
        limit(0x6A, Output, Power, true, 0, false),
        limit(0x55, Input, Voltage, true, 7, true),
        limit(0x57, Input, Voltage, true, 6, false),
        limit(0x58, Input, Voltage, false, 5, false),
        limit(0x59, Input, Voltage, false, 4, true),
        limit(0x5B, Input, Current, true, 2, true),
        limit(0x5D, Input, Current, true, 1, false),
        limit(0x6B, Input, Power, true, 0, false),
    ]
};

pub(super) const KEPT: [Kept; 12] = {
    use KeptKind::{Byte, Greatest, Word, Zero};
    use Side::{Input, Output};
    [
        kept(0x01, Output, Byte(0x80)),
        kept(0x02, Output, Byte(0)),
        kept(0x21, Output, Zero),
        kept(0x22, Output, Word),
        kept(0x24, Output, Greatest),
        kept(0x25, Output, Zero),
        kept(0x26, Output, Zero),
        kept(0x35, Input, Word),
        kept(0x36, Input, Word),
        kept(0x41, Output, Byte(0x80)),
        kept(0x45, Output, Byte(0x80)),
        kept(0x47, Output, Byte(0x80)),
    ]
};

pub(super) const USER_DATA_LEN: usize = 4;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_code_of_the_tables_means_its_row_alone() {
        for (at, limit) in LIMITS.iter().enumerate() {
            assert_eq!(Command::of(limit.code), Some(Command::Limit(at)));
        }
        for (at, kept) in KEPT.iter().enumerate() {
            assert_eq!(Command::of(kept.code), Some(Command::Kept(at)));
        }
    }
}
