use core::fmt;

use crake::Channel;
use crake::alert::AlertFlag;
use crake::bus::Fault;
use crake::totals::Gap;
use crake::units::{Current, Voltage};

use crate::charge::Charging;
use crate::{DRIVE, name};

/// Something that the supervisor noticed or did, and when it became known, in microseconds on the
/// host's clock.
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
    /// The part is configured and its limits are armed.
    Watching,
    /// DRIVE went over its limit and was opened; it stays open. The current is that of the sample
    /// right after, `None` if there was none.
    DriveTripped(Option<Current>),
    /// DRIVE was closed again, by command.
    DriveRestored,
    /// CELL went below its limit and MODEM was opened. The voltage is that of the sample right
    /// after, `None` if there was none.
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
    Told(AlertFlag),
    /// The part was reset, or somebody else wrote to it: configuration and limits are gone, and
    /// nothing was watched since some moment after `last_good_us`.
    Lost {
        /// What was found.
        fault: Fault,
        /// The latest moment at which it surely watched.
        last_good_us: u64,
    },
    /// Limits are in force again after that.
    Rearmed {
        /// Number of discontinuities of the totals.
        epoch: u32,
        /// Time that the totals have not counted, as a bracket.
        gap: Gap,
    },
    /// The part cannot be reached: told once, whatever the number of attempts.
    Unreachable(Fault),
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
            Self::DriveTripped(current) => {
                f.write_str("DRIVE over-current: opened, stays open")?;
                after(f, current)
            }
            Self::DriveRestored => f.write_str("DRIVE closed by command"),
            Self::ModemShed(voltage) => {
                f.write_str("CELL under-voltage: MODEM shed")?;
                after(f, voltage)
            }
            Self::ModemRestored(voltage) => write!(f, "CELL back at {voltage}: MODEM closed again"),
            Self::Stuck(channel, current) => write!(
                f,
                "{} is open and still carries {current}: switch or wiring is at fault",
                name(channel)
            ),
            Self::Ceased(channel) => write!(f, "{} carries nothing any more", name(channel)),
            Self::DriveReversed(current) => {
                let how = match current.is_negative() {
                    true => "back into its source",
                    false => "forth again",
                };
                write!(f, "{} flows {how} ({current})", name(DRIVE))
            }
            Self::Charging(charging) => f.write_str(match charging {
                Charging::No => "CELL is not being charged",
                Charging::Trickle => "CELL is on trickle charge",
                Charging::Bulk => "CELL is on bulk charge",
                Charging::Taper => "CELL's charge tapers off",
            }),
            Self::Told(AlertFlag::Limit(channel, kind)) => write!(f, "{} {kind}", name(channel)),
            Self::Told(flag) => flag.fmt(f),
            Self::Lost {
                fault,
                last_good_us,
            } => write!(
                f,
                "nothing is watched since some time after {}: {fault}",
                Seconds(last_good_us)
            ),
            Self::Rearmed { epoch, gap } => write!(
                f,
                "limits are armed again; epoch {epoch}, {} to {} us not counted",
                gap.least_us, gap.greatest_us
            ),
            Self::Unreachable(fault) => write!(f, "the part cannot be reached: {fault}"),
            Self::Reachable => f.write_str("the part can be reached again"),
            Self::SwitchFailed(channel) => write!(f, "the pin of {} refused", name(channel)),
        }
    }
}

/// Microseconds, shown as seconds.
struct Seconds(u64);

impl fmt::Display for Seconds {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (s, us) = (self.0 / 1_000_000, self.0 % 1_000_000);
        write!(f, "{s}.{us:06} s")
    }
}

fn after(f: &mut fmt::Formatter<'_>, shown: Option<impl fmt::Display>) -> fmt::Result {
    match shown {
        Some(shown) => write!(f, " ({shown} in the sample after)"),
        None => Ok(()),
    }
}
