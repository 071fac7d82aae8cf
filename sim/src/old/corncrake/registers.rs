//! The register table (datasheet, section 3): which pointers exist, how wide they are, and who may touch them.

use super::{CHANNELS, alerts::Kind};

/// A register by name; a number is a channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Register {
    Identity,
    Serial,
    State,
    Latch,
    Run,
    Channels,
    Ranges,
    Averaging,
    Guard,
    Restart,
    Boot,
    Limit(usize, Kind),
    Debounce(usize),
    Hold,
    MaskA,
    MaskB,
    Causes,
    Levels,
    Outputs,
    Sense(usize),
    Bus(usize),
    Power(usize),
    Charge(usize),
    Energy(usize),
    Rounds,
    StoreCount,
    StoreIndex,
    Store,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Access {
    Read,
    Write,
    Both,
}

impl Register {
    /// The register that a pointer names. The frame window is not among them: see [`window_offset`].
    pub(super) fn at(pointer: u8) -> Option<Self> {
        let channel = usize::from(pointer) % CHANNELS;
        Some(match pointer {
            0x00 => Self::Identity,
            0x01 => Self::Serial,
            0x02 => Self::State,
            0x03 => Self::Latch,
            0x04 => Self::Run,
            0x05 => Self::Channels,
            0x06 => Self::Ranges,
            0x07 => Self::Averaging,
            0x08 => Self::Guard,
            0x09 => Self::Restart,
            0x0A => Self::Boot,
            0x10..=0x2F => Self::Limit(
                usize::from(pointer - 0x10) / 8,
                *Kind::ALL.get(usize::from(pointer) % 8)?,
            ),
            0x30..=0x33 => Self::Debounce(channel),
            0x34 => Self::Hold,
            0x35 => Self::MaskA,
            0x36 => Self::MaskB,
            0x37 => Self::Causes,
            0x38 => Self::Levels,
            0x39 => Self::Outputs,
            0x60..=0x63 => Self::Sense(channel),
            0x64..=0x67 => Self::Bus(channel),
            0x68..=0x6B => Self::Power(channel),
            0x6C..=0x6F => Self::Charge(channel),
            0x70..=0x73 => Self::Energy(channel),
            0x74 => Self::Rounds,
            0x78 => Self::StoreCount,
            0x79 => Self::StoreIndex,
            0x7A => Self::Store,
            _ => return None,
        })
    }

    /// Data bytes, without the check byte.
    pub(super) fn width(self) -> usize {
        match self {
            Self::State
            | Self::Channels
            | Self::Averaging
            | Self::Guard
            | Self::Restart
            | Self::Boot
            | Self::Outputs => 1,
            Self::Serial
            | Self::Latch
            | Self::Ranges
            | Self::Bus(_)
            | Self::StoreCount
            | Self::StoreIndex => 2,
            Self::Limit(_, Kind::OverVoltage | Kind::UnderVoltage) => 2,
            Self::Run | Self::Debounce(_) | Self::Sense(_) => 3,
            Self::Limit(_, Kind::OverCurrent | Kind::UnderCurrent) => 3,
            Self::Hold | Self::MaskA | Self::MaskB | Self::Causes | Self::Levels => 3,
            Self::Identity | Self::Rounds => 4,
            Self::Limit(_, Kind::OverPower) | Self::Power(_) => 5,
            Self::Charge(_) => 6,
            Self::Energy(_) => 8,
            Self::Store => 3 * STORE_WINDOW,
        }
    }

    pub(super) fn access(self) -> Access {
        match self {
            Self::Latch | Self::Restart => Access::Write,
            Self::Run | Self::Boot | Self::Causes | Self::StoreIndex => Access::Both,
            _ if self.is_set_up() => Access::Both,
            _ => Access::Read,
        }
    }

    /// Whether accepted writes count in SERIAL.
    pub(super) fn is_set_up(self) -> bool {
        matches!(
            self,
            Self::Run
                | Self::Channels
                | Self::Ranges
                | Self::Averaging
                | Self::Guard
                | Self::Limit(..)
                | Self::Debounce(_)
                | Self::Hold
                | Self::MaskA
                | Self::MaskB
        )
    }
}

/// Which byte of the frame block a pointer names (section 2.4).
pub(super) fn window_offset(pointer: u8) -> Option<usize> {
    (0x80..=0xEE)
        .contains(&pointer)
        .then(|| usize::from(pointer - 0x80))
}

/// Conversions that STORE shows at a time.
pub(super) const STORE_WINDOW: usize = 16;
