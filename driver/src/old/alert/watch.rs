use super::{Cause, Causes, Kind, Outputs};
use crate::old::Channel;
use crate::units::{Current, Power, Voltage};

/// A limit in engineering units.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Limit {
    /// Trips above this bus voltage.
    OverVoltage(Voltage),
    /// Trips below this bus voltage.
    UnderVoltage(Voltage),
    /// Trips above this current.
    OverCurrent(Current),
    /// Trips below this current.
    UnderCurrent(Current),
    /// Trips above this power.
    OverPower(Power),
}

impl Limit {
    /// What it watches for.
    #[must_use]
    pub const fn kind(&self) -> Kind {
        match self {
            Self::OverVoltage(_) => Kind::OverVoltage,
            Self::UnderVoltage(_) => Kind::UnderVoltage,
            Self::OverCurrent(_) => Kind::OverCurrent,
            Self::UnderCurrent(_) => Kind::UnderCurrent,
            Self::OverPower(_) => Kind::OverPower,
        }
    }

    /// Its value in nanovolts, nanoamperes or nanowatts.
    #[must_use]
    pub const fn value(&self) -> i64 {
        match self {
            Self::OverVoltage(limit) | Self::UnderVoltage(limit) => limit.as_nanovolts(),
            Self::OverCurrent(limit) | Self::UnderCurrent(limit) => limit.as_nanoamps(),
            Self::OverPower(limit) => limit.as_nanowatts(),
        }
    }

    /// The same kind of limit at another value, in nanovolts, nanoamperes or nanowatts.
    #[must_use]
    pub const fn at(&self, value: i64) -> Self {
        match self {
            Self::OverVoltage(_) => Self::OverVoltage(Voltage::from_nanovolts(value)),
            Self::UnderVoltage(_) => Self::UnderVoltage(Voltage::from_nanovolts(value)),
            Self::OverCurrent(_) => Self::OverCurrent(Current::from_nanoamps(value)),
            Self::UnderCurrent(_) => Self::UnderCurrent(Current::from_nanoamps(value)),
            Self::OverPower(_) => Self::OverPower(Power::from_nanowatts(value)),
        }
    }
}

/// One limit on one channel, and what is to happen when it is passed.
///
/// ```
/// use crake::old::alert::{Limit, Outputs, Watch};
/// use crake::old::Channel;
/// use crake::old::units::{Current, Voltage};
///
/// static WATCHES: [Watch; 2] = [
///     Watch::new(Channel::C1, Limit::OverCurrent(Current::from_milliamps(3_200))).debounce(4).held().to(Outputs::A),
///     Watch::new(Channel::C3, Limit::UnderVoltage(Voltage::from_millivolts(3_300))).to(Outputs::B),
/// ];
/// assert_eq!(WATCHES[0].channel(), Channel::C1);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Watch {
    channel: Channel,
    limit: Limit,
    debounce: u8,
    held: bool,
    outputs: Outputs,
    silent: bool,
    hysteresis: u64,
}

impl Watch {
    /// A limit that is passed at the first conversion beyond it, follows the condition, and reaches no output yet.
    #[must_use]
    pub const fn new(channel: Channel, limit: Limit) -> Self {
        Self {
            channel,
            limit,
            debounce: 1,
            held: false,
            outputs: Outputs::empty(),
            silent: false,
            hysteresis: 0,
        }
    }

    /// The same, passed only after this many consecutive conversions beyond the limit.
    #[must_use]
    pub const fn debounce(mut self, conversions: u8) -> Self {
        self.debounce = conversions;
        self
    }

    /// The same, with the cause held until it was seen and cleared, even if the condition is over. Without it the cause follows the condition, and one that is over before
    /// the host looks is gone.
    #[must_use]
    pub const fn held(mut self) -> Self {
        self.held = true;
        self
    }

    /// The same, reaching these outputs.
    #[must_use]
    pub const fn to(mut self, outputs: Outputs) -> Self {
        self.outputs = outputs;
        self
    }

    /// The same, reaching no output on purpose: to be found by looking.
    #[must_use]
    pub const fn silent(mut self) -> Self {
        self.silent = true;
        self
    }

    /// The same, reported again only after the reading was back on the permitted side by at least `margin` nanovolts, nanoamperes or
    /// nanowatts. Filters events, not the part's own line.
    #[must_use]
    pub const fn hysteresis(mut self, margin: u64) -> Self {
        self.hysteresis = margin;
        self
    }

    /// The channel.
    #[must_use]
    pub const fn channel(&self) -> Channel {
        self.channel
    }

    /// The limit as asked for.
    #[must_use]
    pub const fn limit(&self) -> Limit {
        self.limit
    }

    /// Consecutive conversions beyond the limit until it counts as passed.
    #[must_use]
    pub const fn debounce_count(&self) -> u8 {
        self.debounce
    }

    /// Whether the cause is held until cleared.
    #[must_use]
    pub const fn is_held(&self) -> bool {
        self.held
    }

    /// The outputs it reaches.
    #[must_use]
    pub const fn outputs(&self) -> Outputs {
        self.outputs
    }

    /// Whether it reaches no output on purpose.
    #[must_use]
    pub const fn is_silent(&self) -> bool {
        self.silent
    }

    /// Margin by which a reading has to be back before the next event.
    #[must_use]
    pub const fn margin(&self) -> u64 {
        self.hysteresis
    }
}

/// Everything that is to be watched: the limits, and which of the part's own causes reach which output.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Watches<'w> {
    /// The limits; at most one of a kind per channel.
    pub limits: &'w [Watch],
    /// Outputs told when a running sum comes near its end.
    pub rollover_ahead: Outputs,
    /// Outputs told at the end of each round.
    pub round_done: Outputs,
    /// Outputs told of a reset. A reset takes the masks with it, so parts tell by the frame instead; see the part's datasheet.
    pub reset_seen: Outputs,
}

impl<'w> Watches<'w> {
    /// These limits, and nothing else.
    #[must_use]
    pub const fn limits(limits: &'w [Watch]) -> Self {
        Self {
            limits,
            rollover_ahead: Outputs::empty(),
            round_done: Outputs::empty(),
            reset_seen: Outputs::empty(),
        }
    }

    /// The same, with these outputs told when a running sum comes near its end.
    #[must_use]
    pub const fn rollover_ahead(mut self, outputs: Outputs) -> Self {
        self.rollover_ahead = outputs;
        self
    }

    /// All causes that are asked for: every limit's, and those of the part's own that reach an output.
    #[must_use]
    pub fn interest(&self) -> Causes {
        let limits = self
            .limits
            .iter()
            .map(|watch| Cause::Limit(watch.channel, watch.limit.kind()));
        let own = [
            (Cause::RolloverAhead, self.rollover_ahead),
            (Cause::RoundDone, self.round_done),
            (Cause::ResetSeen, self.reset_seen),
        ];
        let own = own
            .into_iter()
            .filter_map(|(cause, outputs)| (!outputs.is_empty()).then_some(cause));
        limits
            .chain(own)
            .fold(Causes::empty(), |causes, cause| causes | Causes::of(cause))
    }

    /// The limit of a kind on a channel.
    #[must_use]
    pub fn find(&self, channel: Channel, kind: Kind) -> Option<&'w Watch> {
        self.limits
            .iter()
            .find(|watch| watch.channel == channel && watch.limit.kind() == kind)
    }
}
