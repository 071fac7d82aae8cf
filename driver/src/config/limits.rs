use core::fmt;

use super::{AlertFlags, Kind, Limit, Outputs};
use crate::Channel;

/// Everything that is to be watched: limits, and which of the part's own flags reach which output.
///
/// Constant data: what it takes to set limits that are known at compile time is worked out then.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Limits<'l> {
    enabled: AlertFlags,
    latching: AlertFlags,
    /// Flags that reach output A and output B.
    masks: [AlertFlags; 2],
    limits: &'l [Limit],
    wired: Outputs,
    /// The first limit that cannot be, whatever the part.
    error: Option<LimitError>,
}

/// A limit that cannot be on this part, board and configuration. Nothing was sent, and everything
/// is as it was.
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
    /// The channel is not enabled, or does not exist.
    NotEnabled,
    /// There are two of this kind on the channel.
    SetTwice,
    /// No code of the range lies beyond it, or none within it.
    BeyondFullScale,
    /// Over- and under-limit leave no code between them: one of the two would always be passed.
    Crossed,
    /// It reaches no output and is not silent.
    NoOutput,
    /// 0, or more than 15, or more than a single shot has scans: each begins counting anew.
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
    /// These limits, at most one of a kind per channel, and nothing else; no output is wired to
    /// hardware.
    #[must_use]
    pub const fn new(limits: &'l [Limit]) -> Self {
        let mut all = Self {
            enabled: AlertFlags::empty(),
            latching: AlertFlags::empty(),
            masks: [AlertFlags::empty(); 2],
            limits,
            wired: Outputs::empty(),
            error: None,
        };
        let mut rest = limits;
        while let Some((limit, others)) = rest.split_first() {
            let flags = limit.flags();
            if all.enabled.intersects(flags) {
                all.refuse(limit, LimitReason::SetTwice);
            }
            if let Some(reason) = limit.mistake() {
                all.refuse(limit, reason);
            }
            if limit.is_latching() {
                all.latching = all.latching.union(flags);
            }
            all = all.reaching(flags, limit.outputs());
            all.enabled = all.enabled.union(flags);
            rest = others;
        }
        all
    }

    /// The same, with these outputs told when a running sum comes near its end.
    #[must_use]
    pub const fn rollover_ahead(self, outputs: Outputs) -> Self {
        self.reaching(AlertFlags::ROLLOVER_AHEAD, outputs)
    }

    /// The same, with these outputs told at the end of each scan.
    #[must_use]
    pub const fn scan_done(self, outputs: Outputs) -> Self {
        self.reaching(AlertFlags::SCAN_DONE, outputs)
    }

    /// The same, with these outputs wired to hardware, a gate or an interlock: nothing is masked
    /// there, so each limit that reaches one needs
    /// [`Lasting::LookAgain`](super::Lasting::LookAgain).
    ///
    /// A flag that was served is cleared, and stands again with the next conversion beyond the
    /// limit: such an output is let go for one scan at each look. Hardware that must hold has to
    /// latch itself.
    #[must_use]
    pub const fn wired(mut self, outputs: Outputs) -> Self {
        self.wired = outputs;
        let mut rest = self.limits;
        while let Some((limit, others)) = rest.split_first() {
            if limit.is_maskable() && limit.outputs().intersects(outputs) {
                self.refuse(limit, LimitReason::MaskedOnWired);
            }
            rest = others;
        }
        self
    }

    /// The limits.
    #[must_use]
    pub const fn list(&self) -> &'l [Limit] {
        self.limits
    }

    /// All flags that are asked for: every limit's, and those of the part's own that reach an
    /// output.
    #[must_use]
    pub const fn enabled(&self) -> AlertFlags {
        self.enabled
    }

    /// The flags of limits that latch.
    #[must_use]
    pub const fn latching(&self) -> AlertFlags {
        self.latching
    }

    /// The flags that reach output A and output B.
    #[must_use]
    pub const fn masks(&self) -> &[AlertFlags; 2] {
        &self.masks
    }

    /// Outputs that are wired to hardware.
    #[must_use]
    pub const fn wired_outputs(&self) -> Outputs {
        self.wired
    }

    /// The first limit that cannot be, whatever the part.
    ///
    /// # Errors
    /// That one.
    pub const fn check(&self) -> Result<(), LimitError> {
        match self.error {
            Some(error) => Err(error),
            None => Ok(()),
        }
    }

    /// The limit of a kind on a channel.
    #[must_use]
    pub fn find(&self, channel: Channel, kind: Kind) -> Option<&'l Limit> {
        self.limits
            .iter()
            .find(|limit| limit.channel() == channel && limit.kind() == kind)
    }

    const fn reaching(mut self, flags: AlertFlags, outputs: Outputs) -> Self {
        let [a, b] = &mut self.masks;
        if outputs.contains(Outputs::A) {
            *a = a.union(flags);
        }
        if outputs.contains(Outputs::B) {
            *b = b.union(flags);
        }
        if !outputs.is_empty() {
            self.enabled = self.enabled.union(flags);
        }
        self
    }

    const fn refuse(&mut self, limit: &Limit, reason: LimitReason) {
        if self.error.is_none() {
            self.error = Some(LimitError {
                channel: limit.channel(),
                kind: limit.kind(),
                reason,
            });
        }
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
            Self::NotEnabled => "the channel is not enabled, or does not exist",
            Self::SetTwice => "there are two such limits",
            Self::BeyondFullScale => "no code of the range lies beyond it, or none within it",
            Self::Crossed => "over- and under-limit leave no code between them",
            Self::NoOutput => "it reaches no output and is not silent",
            Self::Debounce(count) => {
                return write!(
                    f,
                    "a debounce of {count}: 1 to 15 can be, or as many as a single shot has scans"
                );
            }
            Self::Hysteresis => "the hysteresis is below zero or of another dimension",
            Self::MaskedOnWired => {
                "it would be masked on an output that is wired to hardware: have it looked at again"
            }
        })
    }
}
