use core::fmt;

use super::{AlertFlags, Kind, Limit, Outputs};
use crate::Channel;

/// Everything that is to be watched: limits, and which of the part's own flags reach which output.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Limits<'l> {
    /// The limits; at most one of a kind per channel.
    pub limits: &'l [Limit],
    /// Outputs told when a running sum comes near its end.
    pub rollover_ahead: Outputs,
    /// Outputs told at the end of each scan.
    pub scan_done: Outputs,
    /// Outputs that are wired to hardware, a gate or an interlock: no flag is ever masked there.
    pub wired: Outputs,
}

/// A limit that cannot be on this part, board and configuration. Nothing was sent, and everything is as
/// it was.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LimitError {
    /// On which channel.
    pub channel: Channel,
    /// Of which kind.
    pub kind: Kind,
    /// Why not.
    pub reason: LimitReason,
}

/// Why a limit cannot be.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum LimitReason {
    /// The board has no such rail, or the part no such channel.
    NoSuchChannel,
    /// The channel is not enabled.
    NotEnabled,
    /// There are two of this kind on the channel.
    SetTwice,
    /// No code of the range lies beyond it, or none within it.
    BeyondFullScale,
    /// Over- and under-limit leave no code between them: one of the two would always be passed.
    Crossed,
    /// It reaches no output and is not silent.
    NoOutput,
    /// 0, or more than 15.
    Debounce(u8),
    /// The hysteresis is below zero or of another dimension.
    Hysteresis,
    /// It would be masked on an output that is wired to hardware: have it looked at again.
    MaskedOnWired,
}

impl Default for Limits<'_> {
    fn default() -> Self {
        Self::new(&[])
    }
}

impl<'l> Limits<'l> {
    /// These limits, and nothing else; no output is wired to hardware.
    #[must_use]
    pub const fn new(limits: &'l [Limit]) -> Self {
        Self {
            limits,
            rollover_ahead: Outputs::empty(),
            scan_done: Outputs::empty(),
            wired: Outputs::empty(),
        }
    }

    /// The same, with these outputs told when a running sum comes near its end.
    #[must_use]
    pub const fn rollover_ahead(mut self, outputs: Outputs) -> Self {
        self.rollover_ahead = outputs;
        self
    }

    /// The same, with these outputs told at the end of each scan.
    #[must_use]
    pub const fn scan_done(mut self, outputs: Outputs) -> Self {
        self.scan_done = outputs;
        self
    }

    /// The same, with these outputs wired to hardware: nothing is masked there, so each limit that
    /// reaches one needs [`Lasting::LookAgain`](super::Lasting::LookAgain).
    #[must_use]
    pub const fn wired(mut self, outputs: Outputs) -> Self {
        self.wired = outputs;
        self
    }

    /// All flags that are asked for: every limit's, and those of the part's own that reach an output.
    #[must_use]
    pub fn enabled(&self) -> AlertFlags {
        self.those(|_| true) | self.own(Outputs::all())
    }

    /// The flags that reach an output, or one of several.
    #[must_use]
    pub fn mask(&self, output: Outputs) -> AlertFlags {
        self.those(|limit| limit.outputs().intersects(output)) | self.own(output)
    }

    /// The flags that latch, as far as limits go.
    #[must_use]
    pub fn latching(&self) -> AlertFlags {
        self.those(Limit::is_latching)
    }

    /// The limit of a kind on a channel.
    #[must_use]
    pub fn find(&self, channel: Channel, kind: Kind) -> Option<&'l Limit> {
        self.limits
            .iter()
            .find(|limit| limit.channel() == channel && limit.kind() == kind)
    }

    fn those(&self, wanted: impl Fn(&Limit) -> bool) -> AlertFlags {
        let limits = self.limits.iter().filter(|limit| wanted(limit));
        limits.fold(AlertFlags::empty(), |flags, limit| {
            flags | AlertFlags::of(limit.flag())
        })
    }

    const fn own(&self, output: Outputs) -> AlertFlags {
        let mut flags = AlertFlags::empty();
        if self.rollover_ahead.intersects(output) {
            flags = flags.union(AlertFlags::ROLLOVER_AHEAD);
        }
        if self.scan_done.intersects(output) {
            flags = flags.union(AlertFlags::SCAN_DONE);
        }
        flags
    }
}

impl fmt::Display for LimitError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} of {}: {}", self.kind, self.channel, self.reason)
    }
}

impl core::error::Error for LimitError {}

impl fmt::Display for LimitReason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::NoSuchChannel => "there is no such channel",
            Self::NotEnabled => "the channel is not enabled",
            Self::SetTwice => "there are two such limits",
            Self::BeyondFullScale => "no code of the range lies beyond it, or none within it",
            Self::Crossed => "over- and under-limit leave no code between them",
            Self::NoOutput => "it reaches no output and is not silent",
            Self::Debounce(count) => return write!(f, "a debounce of {count}: 1 to 15 can be"),
            Self::Hysteresis => "the hysteresis is below zero or of another dimension",
            Self::MaskedOnWired => {
                "it would be masked on an output that is wired to hardware: have it looked at again"
            }
        })
    }
}
