use core::time::Duration;

use super::{AlertFlag, AlertFlags, Kind, Outputs};
use crate::Channel;
use crate::units::{Current, Power, Voltage};

/// A threshold in engineering units.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Threshold {
    /// Passed above this rail voltage.
    OverVoltage(Voltage),
    /// Passed below this rail voltage.
    UnderVoltage(Voltage),
    /// Passed above this current.
    OverCurrent(Current),
    /// Passed below this current.
    UnderCurrent(Current),
    /// Passed above this power.
    OverPower(Power),
}

/// What happens while a condition lasts, once its event was told.
///
/// A flag that stands keeps its output active and would keep the bus busy. An output that is wired to
/// hardware is never masked: choose [`LookAgain`](Self::LookAgain) for it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Lasting {
    /// The flag alone is taken off its output until a sample shows the condition over by its
    /// hysteresis. On a part with one mask for all it is the other, at the interval given.
    MaskUntilOver,
    /// The flag stays on its output; it is looked at again after this time.
    LookAgain(Duration),
}

/// One limit on one channel, and what is to happen when it is passed.
///
/// ```
/// use crake::config::{Limit, Outputs, Threshold};
/// use crake::Channel;
/// use crake::units::{Current, Voltage};
///
/// static LIMITS: [Limit; 2] = [
///     Limit::new(Channel::C1, Threshold::OverCurrent(Current::from_milliamps(3_200)))
///         .debounce(4)
///         .to(Outputs::A),
///     Limit::new(Channel::C3, Threshold::UnderVoltage(Voltage::from_millivolts(3_300)))
///         .following()
///         .to(Outputs::B),
/// ];
/// assert_eq!(LIMITS[0].channel(), Channel::C1);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Limit {
    channel: Channel,
    threshold: Threshold,
    debounce: u8,
    latching: bool,
    outputs: Outputs,
    silent: bool,
    hysteresis: u64,
    lasting: Lasting,
}

impl Threshold {
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
    pub const fn billionths(&self) -> i64 {
        match self {
            Self::OverVoltage(limit) | Self::UnderVoltage(limit) => limit.as_nanovolts(),
            Self::OverCurrent(limit) | Self::UnderCurrent(limit) => limit.as_nanoamps(),
            Self::OverPower(limit) => limit.as_nanowatts(),
        }
    }

    /// A threshold of a kind at a value in nanovolts, nanoamperes or nanowatts.
    #[must_use]
    pub const fn of(kind: Kind, billionths: i64) -> Self {
        match kind {
            Kind::OverVoltage => Self::OverVoltage(Voltage::from_nanovolts(billionths)),
            Kind::UnderVoltage => Self::UnderVoltage(Voltage::from_nanovolts(billionths)),
            Kind::OverCurrent => Self::OverCurrent(Current::from_nanoamps(billionths)),
            Kind::UnderCurrent => Self::UnderCurrent(Current::from_nanoamps(billionths)),
            Kind::OverPower => Self::OverPower(Power::from_nanowatts(billionths)),
        }
    }
}

impl Limit {
    /// A limit that is passed at the first conversion beyond it and whose flag latches. It reaches no
    /// output yet, and has no hysteresis.
    #[must_use]
    pub const fn new(channel: Channel, threshold: Threshold) -> Self {
        Self {
            channel,
            threshold,
            debounce: 1,
            latching: true,
            outputs: Outputs::empty(),
            silent: false,
            hysteresis: 0,
            lasting: Lasting::MaskUntilOver,
        }
    }

    /// The same, passed only after this many conversions in a row beyond the limit.
    #[must_use]
    pub const fn debounce(mut self, conversions: u8) -> Self {
        self.debounce = conversions;
        self
    }

    /// The same, with a flag that follows the condition: one that is over before the host looks is
    /// gone.
    #[must_use]
    pub const fn following(mut self) -> Self {
        self.latching = false;
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

    /// The same, over only once a reading is back on the permitted side by this much. The unit is that
    /// of the threshold: a voltage in nanovolts, a current in nanoamperes, a power in nanowatts.
    #[must_use]
    pub const fn hysteresis_billionths(mut self, margin: u64) -> Self {
        self.hysteresis = margin;
        self
    }

    /// The same with another treatment of a condition that lasts.
    #[must_use]
    pub const fn lasting(mut self, lasting: Lasting) -> Self {
        self.lasting = lasting;
        self
    }

    /// The channel.
    #[must_use]
    pub const fn channel(&self) -> Channel {
        self.channel
    }

    /// The threshold as asked for.
    #[must_use]
    pub const fn threshold(&self) -> Threshold {
        self.threshold
    }

    /// Conversions in a row beyond the limit until it counts as passed.
    #[must_use]
    pub const fn debounce_count(&self) -> u8 {
        self.debounce
    }

    /// Whether the flag stays until it is cleared.
    #[must_use]
    pub const fn is_latching(&self) -> bool {
        self.latching
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

    /// How far a reading has to be back before the condition counts as over, in billionths.
    #[must_use]
    pub const fn margin(&self) -> u64 {
        self.hysteresis
    }

    /// What happens while the condition lasts.
    #[must_use]
    pub const fn lasting_rule(&self) -> Lasting {
        self.lasting
    }

    /// Its alert flag.
    #[must_use]
    pub const fn flag(&self) -> AlertFlag {
        AlertFlag::Limit(self.channel, self.threshold.kind())
    }
}

/// Everything that is to be watched: limits, and which of the part's own flags reach which output.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Limits<'l> {
    /// The limits; at most one of a kind per channel.
    pub limits: &'l [Limit],
    /// Outputs told when a running sum comes near its end.
    pub rollover_ahead: Outputs,
    /// Outputs told at the end of each scan.
    pub scan_done: Outputs,
    /// Outputs told of a reset. A reset takes the masks with it: see the part's document.
    pub reset_seen: Outputs,
}

impl<'l> Limits<'l> {
    /// These limits, and nothing else.
    #[must_use]
    pub const fn new(limits: &'l [Limit]) -> Self {
        Self {
            limits,
            rollover_ahead: Outputs::empty(),
            scan_done: Outputs::empty(),
            reset_seen: Outputs::empty(),
        }
    }

    /// The same, with these outputs told when a running sum comes near its end.
    #[must_use]
    pub const fn rollover_ahead(mut self, outputs: Outputs) -> Self {
        self.rollover_ahead = outputs;
        self
    }

    /// All flags that are asked for: every limit's, and those of the part's own that reach an output.
    #[must_use]
    pub fn enabled(&self) -> AlertFlags {
        let own = [
            (AlertFlags::ROLLOVER_AHEAD, self.rollover_ahead),
            (AlertFlags::SCAN_DONE, self.scan_done),
            (AlertFlags::RESET_SEEN, self.reset_seen),
        ];
        let own = own
            .iter()
            .filter(|(_, outputs)| !outputs.is_empty())
            .map(|(flag, _)| *flag);
        let limits = self.limits.iter().map(|limit| AlertFlags::of(limit.flag()));
        limits
            .chain(own)
            .fold(AlertFlags::empty(), |flags, flag| flags | flag)
    }

    /// The limit of a kind on a channel.
    #[must_use]
    pub fn find(&self, channel: Channel, kind: Kind) -> Option<&'l Limit> {
        self.limits
            .iter()
            .find(|limit| limit.channel == channel && limit.threshold.kind() == kind)
    }
}
