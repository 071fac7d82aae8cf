//! The register table (datasheet, section 3): which pointers exist, how wide they are, and who may
//! touch them.

use super::{CHANNELS, alerts::Kind};

/// A register by name; a number is a channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Register {
    Identity,
    Writes,
    State,
    Latch,
    Run,
    Channels,
    Ranges,
    Averaging,
    Guard,
    Restart,
    ResetSeen,
    Limit(usize, Kind),
    Debounce(usize),
    Latching,
    MaskA,
    MaskB,
    Flags,
    Conditions,
    Outputs,
    Sense(usize),
    Rail(usize),
    Power(usize),
    Charge(usize),
    Energy(usize),
    Scans,
    CaptureCount,
    CaptureFrom,
    Capture,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Access {
    Read,
    Write,
    Both,
}

impl Register {
    /// The register that a pointer names. The sample window is not among them: see
    /// [`window_offset`].
    pub(super) fn at(pointer: u8) -> Option<Self> {
        let channel = usize::from(pointer) % CHANNELS;
        Some(match pointer {
            0x00 => Self::Identity,
            0x01 => Self::Writes,
            0x02 => Self::State,
            0x03 => Self::Latch,
            0x04 => Self::Run,
            0x05 => Self::Channels,
            0x06 => Self::Ranges,
            0x07 => Self::Averaging,
            0x08 => Self::Guard,
            0x09 => Self::Restart,
            0x0A => Self::ResetSeen,
            0x10..=0x2F => Self::Limit(
                usize::from(pointer - 0x10) / 8,
                *Kind::ALL.get(usize::from(pointer) % 8)?,
            ),
            0x30..=0x33 => Self::Debounce(channel),
            0x34 => Self::Latching,
            0x35 => Self::MaskA,
            0x36 => Self::MaskB,
            0x37 => Self::Flags,
            0x38 => Self::Conditions,
            0x39 => Self::Outputs,
            0x60..=0x63 => Self::Sense(channel),
            0x64..=0x67 => Self::Rail(channel),
            0x68..=0x6B => Self::Power(channel),
            0x6C..=0x6F => Self::Charge(channel),
            0x70..=0x73 => Self::Energy(channel),
            0x74 => Self::Scans,
            0x78 => Self::CaptureCount,
            0x79 => Self::CaptureFrom,
            0x7A => Self::Capture,
            _ => return None,
        })
    }

    /// Data bytes, without the check byte; of CAPTURE those of one code.
    pub(super) fn width(self) -> usize {
        match self {
            Self::State
            | Self::Run
            | Self::Channels
            | Self::Averaging
            | Self::Guard
            | Self::Restart
            | Self::ResetSeen
            | Self::Outputs => 1,
            Self::Writes | Self::Latch | Self::Ranges | Self::Rail(_) | Self::CaptureCount => 2,
            Self::Limit(_, Kind::OverVoltage | Kind::UnderVoltage) => 2,
            Self::Debounce(_) | Self::Sense(_) | Self::CaptureFrom | Self::Capture => 3,
            Self::Limit(_, Kind::OverCurrent | Kind::UnderCurrent) => 3,
            Self::Latching | Self::MaskA | Self::MaskB | Self::Flags | Self::Conditions => 3,
            Self::Identity | Self::Scans => 4,
            Self::Limit(_, Kind::OverPower) | Self::Power(_) => 5,
            Self::Charge(_) => 6,
            Self::Energy(_) => 8,
        }
    }

    pub(super) fn access(self) -> Access {
        match self {
            Self::Latch | Self::Restart => Access::Write,
            Self::ResetSeen | Self::Flags | Self::CaptureFrom => Access::Both,
            _ if self.is_counted() => Access::Both,
            _ => Access::Read,
        }
    }

    /// Whether accepted writes count in WRITES.
    pub(super) fn is_counted(self) -> bool {
        matches!(
            self,
            Self::Run
                | Self::Channels
                | Self::Ranges
                | Self::Averaging
                | Self::Guard
                | Self::Limit(..)
                | Self::Debounce(_)
                | Self::Latching
                | Self::MaskA
                | Self::MaskB
        )
    }
}

/// Which byte of the sample block a pointer names (section 2.4).
pub(super) fn window_offset(pointer: u8) -> Option<usize> {
    (0x80..=0xEE)
        .contains(&pointer)
        .then(|| usize::from(pointer - 0x80))
}
