//! Command codes. What can be written is a type, from which no command can be made that changes an output.

use crate::old::alert::Kind;
use crate::old::exchange::Command;

/// Commands that are read, and are the same for outputs and inputs.
pub(super) mod code {
    pub const PAGE: u8 = 0x00;
    pub const CAPABILITY: u8 = 0x19;
    pub const QUERY: u8 = 0x1A;
    pub const SMBALERT_MASK: u8 = 0x1B;
    pub const VOUT_MODE: u8 = 0x20;
    pub const COEFFICIENTS: u8 = 0x30;
    pub const STATUS_CML: u8 = 0x7E;
    pub const PMBUS_REVISION: u8 = 0x98;
}

/// STATUS_CML: a command that is not supported.
pub(super) const INVALID_COMMAND: u8 = 0x80;
/// STATUS_CML: data that are not allowed.
pub(super) const INVALID_DATA: u8 = 0x40;

/// Everything that this map can write. Warn limits, but no fault limit; status bits one by one, but not all at once.
///
/// There is no way from here to an output: OPERATION, VOUT_COMMAND, margins, fault limits and their responses, stores and restores have no name in it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Writable {
    /// PAGE.
    Page,
    /// SMBALERT_MASK.
    AlertMask,
    /// A warn limit.
    Limit(WarnLimit),
    /// A status register, whose bits a one clears.
    Status(StatusRegister),
    /// Memory for the user, which the device does not use.
    UserData(UserData),
}

/// A limit that warns and does nothing else.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum WarnLimit {
    /// VOUT_OV_WARN_LIMIT.
    VoutOver,
    /// VOUT_UV_WARN_LIMIT.
    VoutUnder,
    /// IOUT_OC_WARN_LIMIT.
    IoutOver,
    /// POUT_OP_WARN_LIMIT.
    PoutOver,
    /// VIN_OV_WARN_LIMIT.
    VinOver,
    /// VIN_UV_WARN_LIMIT.
    VinUnder,
    /// IIN_OC_WARN_LIMIT.
    IinOver,
    /// PIN_OP_WARN_LIMIT.
    PinOver,
}

/// A status register that can be written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum StatusRegister {
    /// STATUS_VOUT.
    Vout,
    /// STATUS_IOUT.
    Iout,
    /// STATUS_INPUT.
    Input,
    /// STATUS_CML.
    Cml,
}

/// One of USER_DATA_00 to USER_DATA_15.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct UserData(u8);

impl UserData {
    /// USER_DATA_00 to _15, by number; of greater numbers the low four bits count.
    #[must_use]
    pub const fn new(number: u8) -> Self {
        Self(number & 0x0F)
    }
}

impl Writable {
    /// All of them.
    pub const ALL: [Self; 15] = [
        Self::Page,
        Self::AlertMask,
        Self::Limit(WarnLimit::VoutOver),
        Self::Limit(WarnLimit::VoutUnder),
        Self::Limit(WarnLimit::IoutOver),
        Self::Limit(WarnLimit::PoutOver),
        Self::Limit(WarnLimit::VinOver),
        Self::Limit(WarnLimit::VinUnder),
        Self::Limit(WarnLimit::IinOver),
        Self::Limit(WarnLimit::PinOver),
        Self::Status(StatusRegister::Vout),
        Self::Status(StatusRegister::Iout),
        Self::Status(StatusRegister::Input),
        Self::Status(StatusRegister::Cml),
        Self::UserData(UserData(0)),
    ];

    /// The command code.
    #[must_use]
    pub const fn code(self) -> u8 {
        match self {
            Self::Page => code::PAGE,
            Self::AlertMask => code::SMBALERT_MASK,
            Self::Limit(limit) => limit.code(),
            Self::Status(register) => register.code(),
            Self::UserData(UserData(number)) => 0xB0 | number,
        }
    }

    /// A write of the lowest `width` bytes, low byte first: the one place where this map makes a command.
    pub(super) fn write(self, value: u64, width: u8) -> Command {
        Command::little_endian(self.code(), value, width)
    }
}

impl WarnLimit {
    /// The command code.
    #[must_use]
    pub const fn code(self) -> u8 {
        match self {
            Self::VoutOver => 0x42,
            Self::VoutUnder => 0x43,
            Self::IoutOver => 0x4A,
            Self::PoutOver => 0x6A,
            Self::VinOver => 0x57,
            Self::VinUnder => 0x58,
            Self::IinOver => 0x5D,
            Self::PinOver => 0x6B,
        }
    }
}

impl StatusRegister {
    /// The command code.
    #[must_use]
    pub const fn code(self) -> u8 {
        match self {
            Self::Vout => 0x7A,
            Self::Iout => 0x7B,
            Self::Input => 0x7C,
            Self::Cml => code::STATUS_CML,
        }
    }
}

/// Which side of a converter a page is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Side {
    /// READ_VOUT, READ_IOUT, READ_POUT, READ_EOUT and their limits.
    Output,
    /// READ_VIN, READ_IIN, READ_PIN, READ_EIN and their limits.
    Input,
}

/// A page's limit of a kind: what is written, and where it shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Comparator {
    pub limit: WarnLimit,
    pub register: StatusRegister,
    pub bit: u8,
}

impl Side {
    pub(super) const fn voltage(self) -> u8 {
        match self {
            Self::Output => 0x8B,
            Self::Input => 0x88,
        }
    }

    pub(super) const fn current(self) -> u8 {
        match self {
            Self::Output => 0x8C,
            Self::Input => 0x89,
        }
    }

    pub(super) const fn power(self) -> u8 {
        match self {
            Self::Output => 0x96,
            Self::Input => 0x97,
        }
    }

    pub(super) const fn energy(self) -> u8 {
        match self {
            Self::Output => 0x87,
            Self::Input => 0x86,
        }
    }

    /// The status registers that its limits show in.
    pub(super) const fn registers(self) -> &'static [StatusRegister] {
        match self {
            Self::Output => &[StatusRegister::Vout, StatusRegister::Iout],
            Self::Input => &[StatusRegister::Input],
        }
    }

    /// `None` for under-current, whose only limit in the standard is a fault limit.
    pub(super) const fn comparator(self, kind: Kind) -> Option<Comparator> {
        let (limit, register, bit) = match (self, kind) {
            (Self::Output, Kind::OverVoltage) => (WarnLimit::VoutOver, StatusRegister::Vout, 6),
            (Self::Output, Kind::UnderVoltage) => (WarnLimit::VoutUnder, StatusRegister::Vout, 5),
            (Self::Output, Kind::OverCurrent) => (WarnLimit::IoutOver, StatusRegister::Iout, 5),
            (Self::Output, Kind::OverPower) => (WarnLimit::PoutOver, StatusRegister::Iout, 0),
            (Self::Input, Kind::OverVoltage) => (WarnLimit::VinOver, StatusRegister::Input, 6),
            (Self::Input, Kind::UnderVoltage) => (WarnLimit::VinUnder, StatusRegister::Input, 5),
            (Self::Input, Kind::OverCurrent) => (WarnLimit::IinOver, StatusRegister::Input, 1),
            (Self::Input, Kind::OverPower) => (WarnLimit::PinOver, StatusRegister::Input, 0),
            (_, Kind::UnderCurrent) => return None,
        };
        Some(Comparator {
            limit,
            register,
            bit: 1 << bit,
        })
    }
}
