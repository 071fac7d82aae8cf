use core::fmt;

use crate::old::Channel;
use crate::old::alert::{Cause, Kind};

/// What went wrong, other than the bus itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Fault {
    /// The check byte (PEC) of a read was wrong, as often as it was tried.
    CheckByte {
        /// Computed from the bytes that came.
        expected: u8,
        /// As it came.
        got: u8,
    },
    /// The latched block's own check value was wrong, as often as it was read.
    BlockCheck {
        /// Computed from the bytes that came.
        expected: u16,
        /// As it came.
        got: u16,
    },
    /// The latch did not take place within the time that the datasheet gives: the block still carries an older tag.
    Stale {
        /// Tag that was asked for.
        expected: u8,
        /// Tag of the block.
        got: u8,
    },
    /// A conversion that was asked for did not end within the time that the datasheet gives.
    Busy,
    /// A command that the part's declaration counts on: it does not have it on this page, or not in the way that was declared.
    NotSupported {
        /// Command code.
        command: u8,
        /// Page that was selected.
        page: u8,
    },
    /// A page was to be selected, and another is.
    WrongPage {
        /// As selected.
        expected: u8,
        /// As it came.
        got: u8,
    },
    /// Another part answers at this address, or none that is known.
    Identity {
        /// By the datasheet.
        expected: u32,
        /// As it came.
        got: u32,
    },
    /// A register did not read back as written, as often as it was tried.
    ReadBack {
        /// First data byte that differs, as written.
        wrote: u8,
        /// The same byte as read.
        read: u8,
    },
    /// The part's set-up is not the one that was left there: somebody else wrote to it.
    SetUpChanged {
        /// Set-up serial that was expected.
        expected: u16,
        /// Set-up serial as it came.
        got: u16,
    },
    /// The part was reset since it was last set up: it can be initialised, not joined.
    ResetSeen,
    /// A mistake in the part's map: a read that is empty, or that does not fit the block, or a question of a part that said it asks none.
    NoRoom,
    /// The caller asked for something that this part or board cannot do; nothing was sent.
    Misuse(Misuse),
}

/// A request that cannot be carried out on this part, found before anything was sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Misuse {
    /// The part has no such channel.
    NoSuchChannel(Channel),
    /// No channel is enabled.
    NoChannel,
    /// The part has no such sense range on this channel.
    NoSuchSenseRange(Channel),
    /// The part has no such bus range on this channel.
    NoSuchBusRange(Channel),
    /// The part has no such pace.
    NoSuchPace,
    /// The part cannot average over that many rounds.
    NoSuchAveraging {
        /// k as asked for.
        k: u8,
        /// Greatest k of the part.
        max: u8,
    },
    /// A burst was asked for on a channel that is not enabled.
    BurstOnDisabled(Channel),
    /// The part has no bursts.
    NoBurst,
    /// The part cannot tell an output of this cause.
    NotTold(Cause),
    /// The part's supply is declared off.
    Unpowered,
    /// A limit on a channel that is not enabled.
    WatchedButNotEnabled(Channel),
    /// Two limits of the same kind on one channel.
    WatchedTwice(Channel, Kind),
    /// A limit that no reading can pass, or that every reading passes.
    LimitBeyondFullScale(Channel, Kind),
    /// An over-limit below the under-limit of the same quantity: no value would be permitted.
    LimitsCrossed(Channel, Kind),
    /// A limit that reaches no output, though it was not declared silent.
    ReachesNoOutput(Channel, Kind),
    /// A debounce of none, or of more than 15.
    NoSuchDebounce(Channel, Kind, u8),
    /// Ranges of a channel with limits in force were to change without them: change both together, by arming.
    LimitsInForce(Channel),
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::CheckByte { expected, got } => {
                write!(f, "check byte 0x{got:02X}, expected 0x{expected:02X}")
            }
            Self::BlockCheck { expected, got } => {
                write!(
                    f,
                    "block check value 0x{got:04X}, expected 0x{expected:04X}"
                )
            }
            Self::Stale { expected, got } => {
                write!(
                    f,
                    "no new latch in time: tag 0x{got:02X}, expected 0x{expected:02X}"
                )
            }
            Self::Busy => f.write_str("a conversion that was asked for did not end in time"),
            Self::NotSupported { command, page } => {
                write!(
                    f,
                    "command 0x{command:02X} on page {page} is not there, or not as declared"
                )
            }
            Self::WrongPage { expected, got } => {
                write!(f, "page {got} is selected, not {expected}")
            }
            Self::Identity { expected, got } => {
                write!(f, "identity 0x{got:08X}, expected 0x{expected:08X}")
            }
            Self::ReadBack { wrote, read } => {
                write!(f, "wrote 0x{wrote:02X}, read back 0x{read:02X}")
            }
            Self::SetUpChanged { expected, got } => {
                write!(
                    f,
                    "set-up serial {got}, expected {expected}: somebody else wrote to the part"
                )
            }
            Self::ResetSeen => f.write_str("the part was reset: initialise it"),
            Self::NoRoom => f.write_str("the part's map asks for a read that is empty or too long"),
            Self::Misuse(misuse) => misuse.fmt(f),
        }
    }
}

impl fmt::Display for Misuse {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::NoSuchChannel(channel) => write!(f, "the part has no {channel}"),
            Self::NoChannel => f.write_str("no channel is enabled"),
            Self::NoSuchSenseRange(channel) => write!(f, "no such sense range for {channel}"),
            Self::NoSuchBusRange(channel) => write!(f, "no such bus range for {channel}"),
            Self::NoSuchPace => f.write_str("the part has no such pace"),
            Self::NoSuchAveraging { k, max } => {
                write!(f, "means of 2^{k} rounds: this part goes to 2^{max}")
            }
            Self::BurstOnDisabled(channel) => write!(f, "burst on {channel}, which is not enabled"),
            Self::NoBurst => f.write_str("the part has no bursts"),
            Self::NotTold(cause) => write!(f, "this part tells no output of {cause}"),
            Self::Unpowered => f.write_str("the part's supply is declared off"),
            Self::WatchedButNotEnabled(channel) => {
                write!(f, "a limit on {channel}, which is not enabled")
            }
            Self::WatchedTwice(channel, kind) => write!(f, "two limits for {kind} of {channel}"),
            Self::LimitBeyondFullScale(channel, kind) => {
                write!(
                    f,
                    "the limit for {kind} of {channel} lies beyond full scale: choose a wider range or another limit"
                )
            }
            Self::LimitsCrossed(channel, kind) => {
                write!(
                    f,
                    "the limit for {kind} of {channel} lies below the one for the opposite: no value would be permitted"
                )
            }
            Self::ReachesNoOutput(channel, kind) => {
                write!(
                    f,
                    "{kind} of {channel} reaches no output: give it one, or declare it silent"
                )
            }
            Self::NoSuchDebounce(channel, kind, count) => {
                write!(
                    f,
                    "debounce of {count} for {kind} of {channel}: 1 to 15 conversions"
                )
            }
            Self::LimitsInForce(channel) => {
                write!(
                    f,
                    "{channel} has limits in force: change its range and its limits together, by arming"
                )
            }
        }
    }
}

impl core::error::Error for Fault {}
impl core::error::Error for Misuse {}
