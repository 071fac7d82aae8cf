use core::fmt;
use core::time::Duration;

use super::{AlertFlag, AlertFlags, Kind, LimitReason, Outputs};
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

/// A quantity that limits are about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Quantity {
    /// A rail voltage.
    Voltage(Voltage),
    /// A current.
    Current(Current),
    /// A power.
    Power(Power),
}

/// What happens while a condition lasts, once its event was told.
///
/// A flag that stands keeps its output active, and would keep the bus busy if it were served again
/// and again. An output that is declared [wired](super::Limits::wired) to hardware is never masked:
/// a limit that reaches one has to be looked at again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Lasting {
    /// The flag alone is taken off its outputs until a sample shows the condition over by its
    /// hysteresis; further flags on the same output are told as quickly as ever. On a part that
    /// cannot mask one flag alone, the condition is looked at again every second.
    MaskUntilOver,
    /// The flag stays on its outputs; it is looked at again after this time. Further flags on the
    /// same output are found by that look, so late.
    LookAgain(Duration),
}

/// One limit on one channel, and what is to happen when it is passed.
///
/// ```
/// use core::time::Duration;
/// use crake::alert::{Lasting, Limit, Outputs, Quantity, Threshold};
/// use crake::units::{Current, Voltage};
/// use crake::Channel;
///
/// static LIMITS: [Limit; 2] = [
///     Limit::new(Channel::C1, Threshold::OverCurrent(Current::from_milliamps(3_200)))
///         .debounce(4)
///         .hysteresis(Quantity::Current(Current::from_milliamps(200)))
///         .to(Outputs::A),
///     Limit::new(Channel::C3, Threshold::UnderVoltage(Voltage::from_millivolts(3_300)))
///         .following()
///         .lasting(Lasting::LookAgain(Duration::from_millis(500)))
///         .to(Outputs::B),
/// ];
/// assert_eq!(LIMITS[0].channel(), Channel::C1);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Limit {
    /// Its flag, made once.
    flags: AlertFlags,
    threshold: Threshold,
    /// The condition is over from here on, in billionths.
    release: i64,
    lasting: Lasting,
    channel: Channel,
    debounce: u8,
    outputs: Outputs,
    latching: bool,
    silent: bool,
    /// The hysteresis is of the threshold's dimension, and not below zero.
    releases: bool,
}

impl Threshold {
    /// Whether a value in billionths is beyond it.
    pub(crate) const fn is_passed_at(&self, value: i64) -> bool {
        if self.kind().is_over() {
            value > self.billionths()
        } else {
            value < self.billionths()
        }
    }

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

    /// Its value.
    #[must_use]
    pub const fn quantity(&self) -> Quantity {
        Quantity::of(self.kind(), self.billionths())
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

impl Quantity {
    /// The quantity that a kind of limit is about, in nanovolts, nanoamperes or nanowatts.
    #[must_use]
    pub const fn of(kind: Kind, billionths: i64) -> Self {
        match kind {
            Kind::OverVoltage | Kind::UnderVoltage => {
                Self::Voltage(Voltage::from_nanovolts(billionths))
            }
            Kind::OverCurrent | Kind::UnderCurrent => {
                Self::Current(Current::from_nanoamps(billionths))
            }
            Kind::OverPower => Self::Power(Power::from_nanowatts(billionths)),
        }
    }

    /// In nanovolts, nanoamperes or nanowatts.
    #[must_use]
    pub const fn billionths(&self) -> i64 {
        match self {
            Self::Voltage(voltage) => voltage.as_nanovolts(),
            Self::Current(current) => current.as_nanoamps(),
            Self::Power(power) => power.as_nanowatts(),
        }
    }

    /// Whether it is what a kind of limit is about.
    #[must_use]
    pub const fn fits(&self, kind: Kind) -> bool {
        matches!(
            (self, kind),
            (Self::Voltage(_), Kind::OverVoltage | Kind::UnderVoltage)
                | (Self::Current(_), Kind::OverCurrent | Kind::UnderCurrent)
                | (Self::Power(_), Kind::OverPower)
        )
    }
}

impl Limit {
    /// Greatest debounce, in conversions.
    pub const DEBOUNCE_MAX: u8 = 15;

    /// A limit that is passed at the first conversion beyond it and whose flag latches. It reaches
    /// no output yet; a condition that lasts is masked until it is over.
    #[must_use]
    pub const fn new(channel: Channel, threshold: Threshold) -> Self {
        let margin = threshold.billionths().unsigned_abs() >> 6;
        let limit = Self {
            flags: AlertFlags::of(AlertFlag::Limit(channel, threshold.kind())),
            threshold,
            release: 0,
            lasting: Lasting::MaskUntilOver,
            channel,
            debounce: 1,
            outputs: Outputs::empty(),
            latching: true,
            silent: false,
            releases: true,
        };
        limit.released_by(margin)
    }

    /// The same, passed only after this many conversions in a row beyond the limit, 1 to 15; in a
    /// single shot no more than it has scans.
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

    /// The same, over only once a sample is back on the permitted side by this much; not below
    /// zero, and of the threshold's own dimension.
    ///
    /// A 64th of the limit unless it is set. A limit near zero needs one of its own, as much as the
    /// noise makes from peak to peak. It filters events and masks; the output itself has none.
    #[must_use]
    pub const fn hysteresis(mut self, margin: Quantity) -> Self {
        self.releases = margin.fits(self.threshold.kind()) && margin.billionths() >= 0;
        self.released_by(margin.billionths().unsigned_abs())
    }

    const fn released_by(mut self, margin: u64) -> Self {
        let limit = self.threshold.billionths();
        self.release = if self.threshold.kind().is_over() {
            limit.saturating_sub_unsigned(margin)
        } else {
            limit.saturating_add_unsigned(margin)
        };
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

    /// What it watches for.
    #[must_use]
    pub const fn kind(&self) -> Kind {
        self.threshold.kind()
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

    /// Where the condition counts as over: back from the limit by the hysteresis.
    #[must_use]
    pub const fn release(&self) -> Quantity {
        Quantity::of(self.threshold.kind(), self.release)
    }

    /// Whether a value in billionths is back by the hysteresis.
    pub(crate) const fn is_over_at(&self, value: i64) -> bool {
        if self.threshold.kind().is_over() {
            value <= self.release
        } else {
            value >= self.release
        }
    }

    /// Why it cannot be, whatever the part.
    pub(super) const fn mistake(&self) -> Option<LimitReason> {
        if self.debounce == 0 || self.debounce > Self::DEBOUNCE_MAX {
            Some(LimitReason::Debounce(self.debounce))
        } else if self.outputs.is_empty() && !self.silent {
            Some(LimitReason::NoOutput)
        } else if !self.releases {
            Some(LimitReason::Hysteresis)
        } else {
            None
        }
    }

    /// What happens while the condition lasts.
    #[must_use]
    pub const fn lasting_rule(&self) -> Lasting {
        self.lasting
    }

    /// Whether its flag is to be taken off an output while the condition lasts.
    pub(crate) const fn is_maskable(&self) -> bool {
        !self.outputs.is_empty() && matches!(self.lasting, Lasting::MaskUntilOver)
    }

    /// Its alert flag.
    #[must_use]
    pub const fn flag(&self) -> AlertFlag {
        AlertFlag::Limit(self.channel, self.threshold.kind())
    }

    /// The set of its flag.
    #[must_use]
    pub const fn flags(&self) -> AlertFlags {
        self.flags
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Voltage(voltage) => voltage.fmt(f),
            Self::Current(current) => current.fmt(f),
            Self::Power(power) => power.fmt(f),
        }
    }
}
