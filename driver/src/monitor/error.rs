use core::fmt;

use embedded_hal::i2c;

use crate::bus::{Fault, Target};
use crate::config::{ConfigError, LimitError};

/// What the monitor was doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Operation {
    /// Setting the part up from whatever state it is in.
    Init,
    /// Going on with a part that ran while the firmware did not.
    Resume,
    /// Changing the configuration.
    Configure,
    /// Latching and reading a sample.
    Sample,
    /// Setting limits.
    SetLimits,
    /// Reading alert flags.
    ReadAlerts,
    /// Starting a fast capture.
    StartCapture,
    /// Fetching codes of a fast capture.
    FetchCapture,
    /// Choosing which flags reach an output.
    SetMasks,
}

/// An operation that did not come through: what was asked, of whom, and what came.
///
/// `E` is the bus's own error. What state the part is left in is told by each operation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Error<E> {
    /// What the monitor was doing.
    pub operation: Operation,
    /// 7-bit address of the part that was asked.
    pub address: u8,
    /// Register (pointer, command code) that was asked for last; the last byte of a longer pointer.
    pub register: u8,
    /// What came.
    pub kind: ErrorKind<E>,
}

/// What came instead of success. Values are the lowest 32 bits of what was compared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ErrorKind<E> {
    /// The bus failed, as often as it was tried; this is the last failure.
    Bus(E),
    /// What came was not what had to come; the fault says in which respect.
    Differs {
        /// In which respect.
        fault: Fault,
        /// What had to come.
        expected: u32,
        /// What came.
        got: u32,
    },
    /// The monitor's state or the part does not let it be.
    State(Fault),
    /// The configuration cannot be; nothing was sent, and everything is as it was.
    Config(ConfigError),
    /// A limit cannot be; nothing was sent, and everything is as it was.
    Limits(LimitError),
}

impl<E> Error<E> {
    /// What a fault was about.
    #[inline(never)] // linked once for each kind of bus
    pub(crate) fn of(target: &mut Target<E>, operation: Operation, fault: Fault) -> Self {
        let kind = match fault {
            Fault::Bus => match target.take_bus_error() {
                Some(error) => ErrorKind::Bus(error),
                None => ErrorKind::State(fault),
            },
            Fault::CheckByte
            | Fault::BlockCheck
            | Fault::Stale
            | Fault::Busy
            | Fault::Identity
            | Fault::ReadBack
            | Fault::Page
            | Fault::Format
            | Fault::Vid
            | Fault::Changed => {
                let (expected, got) = target.values();
                ErrorKind::Differs {
                    fault,
                    expected,
                    got,
                }
            }
            _ => ErrorKind::State(fault),
        };
        Self::at(target, operation, kind)
    }

    /// The same where it is known.
    pub(crate) const fn at(target: &Target<E>, operation: Operation, kind: ErrorKind<E>) -> Self {
        Self {
            operation,
            address: target.address(),
            register: target.register(),
            kind,
        }
    }

    /// What failed, in one word; `Refused` for a configuration or a limit that cannot be.
    #[must_use]
    pub const fn fault(&self) -> Fault {
        match &self.kind {
            ErrorKind::Bus(_) => Fault::Bus,
            ErrorKind::Differs { fault, .. } | ErrorKind::State(fault) => *fault,
            ErrorKind::Config(_) | ErrorKind::Limits(_) => Fault::Refused,
        }
    }

    /// Whether the same call may simply be made again, with no `init` in between.
    #[must_use]
    pub const fn may_repeat(&self) -> bool {
        use Operation::{FetchCapture, ReadAlerts, Sample, SetMasks};
        let repeats = matches!(
            self.operation,
            Sample | ReadAlerts | SetMasks | FetchCapture
        );
        repeats
            && matches!(
                self.fault(),
                Fault::Bus
                    | Fault::CheckByte
                    | Fault::BlockCheck
                    | Fault::Stale
                    | Fault::Torn
                    | Fault::Page
                    | Fault::Clock
                    | Fault::Busy
            )
    }
}

impl<E: i2c::Error> Error<E> {
    /// The bus's kind of error, where the bus failed.
    pub fn bus_kind(&self) -> Option<i2c::ErrorKind> {
        match &self.kind {
            ErrorKind::Bus(error) => Some(error.kind()),
            _ => None,
        }
    }
}

impl<E: fmt::Debug> fmt::Display for Error<E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (address, register) = (self.address, self.register);
        write!(f, "{} of the part at 0x{address:02X}: ", self.operation)?;
        match &self.kind {
            ErrorKind::Bus(error) => {
                write!(f, "bus failed at register 0x{register:02X}: {error:?}")
            }
            ErrorKind::Differs {
                fault,
                expected,
                got,
            } => write!(
                f,
                "{fault} at register 0x{register:02X}: expected 0x{expected:X}, got 0x{got:X}"
            ),
            ErrorKind::State(fault) => fault.fmt(f),
            ErrorKind::Config(error) => error.fmt(f),
            ErrorKind::Limits(error) => error.fmt(f),
        }
    }
}

impl<E: fmt::Debug> core::error::Error for Error<E> {}

impl fmt::Display for Operation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Init => "init",
            Self::Resume => "resume",
            Self::Configure => "configure",
            Self::Sample => "sample",
            Self::SetLimits => "set limits",
            Self::ReadAlerts => "read alerts",
            Self::StartCapture => "start capture",
            Self::FetchCapture => "fetch capture",
            Self::SetMasks => "set masks",
        })
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Bus => "the bus failed",
            Self::CheckByte => "wrong check byte",
            Self::BlockCheck => "wrong check value of the block",
            Self::Stale => "no new block in time: another tag",
            Self::Clock => "the host's clock fell or leapt while the sample was latched",
            Self::Torn => "results changed while they were read",
            Self::Busy => "what was begun did not end in time",
            Self::Identity => "another part answers: wrong identity",
            Self::ReadBack => "a register reads back otherwise than it was written",
            Self::Page => "another page is selected",
            Self::Format => "another number format than declared",
            Self::Vid => "VID, a number format that cannot be read",
            Self::Reset => "the part was reset: initialise it",
            Self::Changed => "somebody else wrote to the part: initialise it",
            Self::NotConfigured => "the part is not configured: initialise it",
            Self::NotArmed => "limits are not known to stand in the part: set them",
            Self::Unpowered => "the part's supply is declared off",
            Self::NotSupported => "the part has no such thing",
            Self::Refused => "this cannot be; nothing was sent",
            Self::Waits => "a future over a blocking bus waited",
        })
    }
}
