//! Command codes (PMBus Part II). What can be written is a type, of which no command can be made
//! that changes an output.

use crate::bus::Register;
use crate::config::Kind;

pub(super) const QUERY: u8 = 0x1A;
pub(super) const COEFFICIENTS: u8 = 0x30;
pub(super) const CAPABILITY: u8 = 0x19;
pub(super) const VOUT_MODE: Register = Register::new(0x20, 1);
pub(super) const REVISION: Register = Register::new(0x98, 1);

/// A command that may be written: everything that this map ever writes.
///
/// There is no way from here to an output: OPERATION, VOUT_COMMAND, margins, fault limits and their
/// responses, stores and restores are not among [`ALL`](Self::ALL), and neither is CLEAR_FAULTS,
/// which would lose causes that nobody saw.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Writable(Register);

/// Names each command that may be written once, with its code and bytes.
macro_rules! writables {
    ($($(#[$doc:meta])* $NAME:ident: $code:literal, $bytes:literal;)*) => {
        impl Writable {
            $($(#[$doc])* pub const $NAME: Self = Self(Register::new($code, $bytes));)*

            /// All of them.
            pub const ALL: &'static [Self] = &[$(Self::$NAME),*];
        }
    };
}

writables! {
    /// PAGE.
    PAGE: 0x00, 1;
    /// SMBALERT_MASK.
    ALERT_MASK: 0x1B, 2;
    /// VOUT_OV_WARN_LIMIT: warn limits do nothing but tell.
    VOUT_OVER: 0x42, 2;
    /// VOUT_UV_WARN_LIMIT.
    VOUT_UNDER: 0x43, 2;
    /// IOUT_OC_WARN_LIMIT.
    IOUT_OVER: 0x4A, 2;
    /// VIN_OV_WARN_LIMIT.
    VIN_OVER: 0x57, 2;
    /// VIN_UV_WARN_LIMIT.
    VIN_UNDER: 0x58, 2;
    /// IIN_OC_WARN_LIMIT.
    IIN_OVER: 0x5D, 2;
    /// POUT_OP_WARN_LIMIT.
    POUT_OVER: 0x6A, 2;
    /// PIN_OP_WARN_LIMIT.
    PIN_OVER: 0x6B, 2;
    /// STATUS_VOUT: a one clears a bit.
    STATUS_VOUT: 0x7A, 1;
    /// STATUS_IOUT.
    STATUS_IOUT: 0x7B, 1;
    /// STATUS_INPUT.
    STATUS_INPUT: 0x7C, 1;
    /// USER_DATA_00, memory for the host; the others follow it.
    USER_DATA: 0xB0, 5;
}

impl Writable {
    /// The command code.
    #[must_use]
    pub const fn code(self) -> u8 {
        self.0.pointer()
    }

    /// USER_DATA_00 to _15, by number; of greater numbers the low four bits count.
    pub(super) const fn user_data(number: u8) -> Self {
        Self(Self::USER_DATA.0.plus(number & 0x0F))
    }

    /// The one thing that this map gives to a link for writing.
    pub(super) const fn register(self) -> Register {
        self.0
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

/// A page's limit of a kind, and where it shows.
#[derive(Clone, Copy)]
pub(super) struct Comparator {
    pub(super) limit: Writable,
    pub(super) status: Writable,
    pub(super) bit: u8,
}

impl Side {
    /// Commands of voltage, current and power, and of the energy count: a count byte and six more.
    pub(super) const fn readings(self) -> &'static [u8; 4] {
        match self {
            Self::Output => &[0x8B, 0x8C, 0x96, 0x87],
            Self::Input => &[0x88, 0x89, 0x97, 0x86],
        }
    }

    /// The status registers that its limits show in.
    pub(super) const fn statuses(self) -> &'static [Writable] {
        match self {
            Self::Output => &[Writable::STATUS_VOUT, Writable::STATUS_IOUT],
            Self::Input => &[Writable::STATUS_INPUT],
        }
    }

    /// `None` for under-current, whose only limit in the standard may switch off.
    #[inline(never)] // linked once
    pub(super) const fn comparator(self, kind: Kind) -> Option<Comparator> {
        use Writable as W;
        let (limit, status, bit) = match (self, kind) {
            (Self::Output, Kind::OverVoltage) => (W::VOUT_OVER, W::STATUS_VOUT, 6),
            (Self::Output, Kind::UnderVoltage) => (W::VOUT_UNDER, W::STATUS_VOUT, 5),
            (Self::Output, Kind::OverCurrent) => (W::IOUT_OVER, W::STATUS_IOUT, 5),
            (Self::Output, Kind::OverPower) => (W::POUT_OVER, W::STATUS_IOUT, 0),
            (Self::Input, Kind::OverVoltage) => (W::VIN_OVER, W::STATUS_INPUT, 6),
            (Self::Input, Kind::UnderVoltage) => (W::VIN_UNDER, W::STATUS_INPUT, 5),
            (Self::Input, Kind::OverCurrent) => (W::IIN_OVER, W::STATUS_INPUT, 1),
            (Self::Input, Kind::OverPower) => (W::PIN_OVER, W::STATUS_INPUT, 0),
            (_, Kind::UnderCurrent) => return None,
        };
        let bit = 1 << bit;
        Some(Comparator { limit, status, bit })
    }
}
