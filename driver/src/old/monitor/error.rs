use core::fmt;

use embedded_hal::i2c;

use crate::old::exchange::{Fault, Misuse};

/// What the monitor was doing.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Task {
    /// Setting the part up.
    Init,
    /// Joining a part that runs.
    Attach,
    /// Latching a frame.
    Latch,
    /// Changing the set-up.
    Configure,
    /// Changing set-up and watches.
    Arm,
    /// Looking for causes once.
    Look,
    /// Serving an alert: looks, and a latch. Errors name the one or the other.
    Service,
    /// Fetching a burst.
    Fetch,
}

/// An operation that did not succeed: what was asked, of whom, and what came.
///
/// `E` is the bus's own error. What state the part is left in is told by each operation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Error<E> {
    /// What the monitor was doing.
    pub task: Task,
    /// 7-bit address of the part that was asked.
    pub address: u8,
    /// Register (command code) that was asked for last.
    pub register: u8,
    /// What came.
    pub came: Came<E>,
}

/// What came instead of success.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Came<E> {
    /// The bus failed, as often as it was tried.
    Bus(E),
    /// The bus worked; what it brought was wrong, or the request was.
    Fault(Fault),
}

impl Task {
    /// How often a service looks for causes at the most: a condition that stands sets its cause again and again.
    pub const LOOKS: u8 = 4;
}

impl<E> Error<E> {
    /// Whether the same call may simply be made again: no for mistakes of the caller and for a part that is another than expected.
    ///
    /// No call of this layer loses counts by being repeated.
    #[must_use]
    pub const fn is_worth_repeating(&self) -> bool {
        match &self.came {
            Came::Bus(_) => true,
            Came::Fault(fault) => !matches!(
                fault,
                Fault::Misuse(_)
                    | Fault::Identity { .. }
                    | Fault::SetUpChanged { .. }
                    | Fault::ResetSeen
                    | Fault::NoRoom
            ),
        }
    }

    /// The caller's mistake, if it was one.
    #[must_use]
    pub const fn misuse(&self) -> Option<Misuse> {
        match &self.came {
            Came::Fault(Fault::Misuse(misuse)) => Some(*misuse),
            _ => None,
        }
    }
}

impl<E: i2c::Error> Error<E> {
    /// The bus's kind of error, if it was the bus.
    pub fn bus_kind(&self) -> Option<i2c::ErrorKind> {
        match &self.came {
            Came::Bus(error) => Some(error.kind()),
            Came::Fault(_) => None,
        }
    }
}

impl fmt::Display for Task {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Init => "setting up",
            Self::Attach => "joining",
            Self::Latch => "latching a frame of",
            Self::Configure => "changing the set-up of",
            Self::Arm => "changing set-up and watches of",
            Self::Look => "looking for causes of",
            Self::Service => "serving an alert of",
            Self::Fetch => "fetching a burst from",
        })
    }
}

impl<E: fmt::Debug> fmt::Display for Error<E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            task,
            address,
            register,
            came,
        } = self;
        write!(
            f,
            "{task} the part at 0x{address:02X}, register 0x{register:02X}: "
        )?;
        match came {
            Came::Bus(error) => write!(f, "the bus failed: {error:?}"),
            Came::Fault(fault) => fault.fmt(f),
        }
    }
}

impl<E: fmt::Debug + core::error::Error + 'static> core::error::Error for Error<E> {
    fn source(&self) -> Option<&(dyn core::error::Error + 'static)> {
        match &self.came {
            Came::Bus(error) => Some(error),
            Came::Fault(fault) => Some(fault),
        }
    }
}
