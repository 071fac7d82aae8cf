use core::fmt;

use crake::old::Channel;
use crake::old::alert::Cause;
use crake::old::ledger::Gap;
use crake::old::units::{Current, Voltage};

use crate::charge::Charging;
use crate::{DRIVE, name};

/// Something that the supervisor noticed or did, and when it became known, in microseconds on the host's clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Record {
    /// When.
    pub at_us: u64,
    /// What.
    pub event: Event,
}

/// What the supervisor notices and does.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event {
    /// The part is set up and its limits are armed.
    Watching,
    /// DRIVE went over its limit and was opened; it stays open. The current is that of the frame right after, `None` if there was none.
    DriveTripped(Option<Current>),
    /// DRIVE was closed again, by command.
    DriveRestored,
    /// CELL went below its limit and MODEM was opened. The voltage is that of the frame right after, `None` if there was none.
    ModemShed(Option<Voltage>),
    /// CELL was back for long enough, and MODEM was closed again.
    ModemRestored(Voltage),
    /// The switch of this rail was opened, and current goes on: at least this much.
    Stuck(Channel, Current),
    /// A stuck rail's current has ceased.
    Ceased(Channel),
    /// DRIVE's current has begun to flow back into its source, or forth again.
    DriveReversed(Current),
    /// What is being done to the cell has changed.
    Charging(Charging),
    /// A limit was passed that is only told.
    Told(Cause),
    /// The part was reset, or a stranger wrote to it: set-up and limits are gone, and nothing was watched since some moment after `last_good_us`.
    SetUpLost {
        /// Whether it was a reset, running sums gone with it.
        reset: bool,
        /// The latest moment at which it surely watched.
        last_good_us: u64,
    },
    /// Limits are in force again after a reset. The ledger is in this epoch and has so much time that is accounted for on no rail.
    Rearmed {
        /// Number of times counts were lost.
        epoch: u32,
        /// Time not accounted for, as a bracket.
        gap: Gap,
    },
    /// The part cannot be reached: told once, whatever the number of attempts.
    Unreachable,
    /// It can again.
    Reachable,
    /// A pin refused.
    SwitchFailed(Channel),
}

impl fmt::Display for Record {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (s, us) = (self.at_us / 1_000_000, self.at_us % 1_000_000);
        write!(f, "{s:>4}.{us:06} s  {}", self.event)
    }
}

impl fmt::Display for Event {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::Watching => f.write_str("limits are armed"),
            Self::DriveTripped(Some(current)) => {
                write!(
                    f,
                    "DRIVE over-current: opened, stays open ({current} in the frame after)"
                )
            }
            Self::DriveTripped(None) => f.write_str("DRIVE over-current: opened, stays open"),
            Self::DriveRestored => f.write_str("DRIVE closed by command"),
            Self::ModemShed(Some(voltage)) => {
                write!(
                    f,
                    "CELL under-voltage: MODEM shed ({voltage} in the frame after)"
                )
            }
            Self::ModemShed(None) => f.write_str("CELL under-voltage: MODEM shed"),
            Self::ModemRestored(voltage) => write!(f, "CELL back at {voltage}: MODEM closed again"),
            Self::Stuck(channel, current) => write!(
                f,
                "{} is open and still carries {current}: switch or wiring is at fault",
                name(channel)
            ),
            Self::Ceased(channel) => write!(f, "{} carries nothing any more", name(channel)),
            Self::DriveReversed(current) => write!(
                f,
                "{} flows {} ({current})",
                name(DRIVE),
                if current.is_negative() {
                    "back into its source"
                } else {
                    "forth again"
                }
            ),
            Self::Charging(charging) => f.write_str(match charging {
                Charging::No => "CELL is not being charged",
                Charging::Trickle => "CELL is on trickle charge",
                Charging::Bulk => "CELL is on bulk charge",
                Charging::Taper => "CELL's charge tapers off",
            }),
            Self::Told(Cause::Limit(channel, kind)) => write!(f, "{} {kind}", name(channel)),
            Self::Told(cause) => write!(f, "{cause}"),
            Self::SetUpLost {
                reset,
                last_good_us,
            } => {
                let (s, us) = (last_good_us / 1_000_000, last_good_us % 1_000_000);
                let what = if reset {
                    "the part was reset"
                } else {
                    "a stranger wrote to the part"
                };
                write!(
                    f,
                    "{what}: nothing is watched since some time after {s}.{us:06} s"
                )
            }
            Self::Rearmed { epoch, gap } => write!(
                f,
                "limits are armed again; epoch {epoch}, between {} and {} us not accounted for",
                gap.least_us, gap.greatest_us
            ),
            Self::Unreachable => f.write_str("the part cannot be reached"),
            Self::Reachable => f.write_str("the part can be reached again"),
            Self::SwitchFailed(channel) => write!(f, "the pin of {} refused", name(channel)),
        }
    }
}
