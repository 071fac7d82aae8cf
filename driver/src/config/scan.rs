use core::fmt;

use crate::Channel;
use crate::info::{PartInfo, RangeInfo, Undetectable};
use crate::units::Voltage;

/// What a channel has to reach: the greatest voltages that are to be measured, in either direction.
///
/// The finest range that reaches it is taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct FullScale {
    /// In microvolts, which is fine enough to choose a range, and half as long as a quantity.
    sense_uv: u32,
    rail_uv: u32,
}

/// How often all channels are converted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ScanRate {
    period_us: u32,
}

/// What the part does by itself.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Mode {
    /// Nothing: no conversions, sums stand still, least supply current.
    Idle,
    /// Scans for ever, at the part's slowest rate that is at least this one.
    Continuous(ScanRate),
    /// As many scans as one mean takes, back to back, then idle.
    SingleShot,
}

/// A [`Mode`] as one part can have it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Run {
    /// Nothing.
    Idle,
    /// Scans for ever; the number is the place in [`PartInfo::scan_periods_us`].
    Continuous(u8),
    /// As many scans as one mean takes, then idle.
    SingleShot,
}

/// What to convert on `N` channels, and how often.
///
/// ```
/// use crake::config::{Config, FullScale, ScanRate};
/// use crake::units::Voltage;
/// use crake::Channel;
///
/// const LOGIC: FullScale =
///     FullScale::new(Voltage::from_millivolts(20), Voltage::from_millivolts(3_500));
/// const DRIVE: FullScale = FullScale::new(Voltage::from_millivolts(60), Voltage::from_volts(16));
/// // Two rails, 500 scans a second.
/// const CONFIG: Config<2> = Config::continuous([LOGIC, DRIVE], ScanRate::per_second(500));
/// # let _ = CONFIG.without(Channel::C1);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Config<const N: usize> {
    channels: [Option<FullScale>; N],
    mode: Mode,
    averaging_log2: u8,
}

/// A configuration that this part or this board cannot have. Nothing was sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ConfigError {
    /// The part has no such channel.
    NoSuchChannel(Channel),
    /// No channel is enabled.
    NoChannel,
    /// No sense range of the part reaches what was asked for.
    SenseFullScale(Channel),
    /// No rail range of the part reaches what was asked for.
    RailFullScale(Channel),
    /// The part has no scan rate as high as this.
    ScanRate(ScanRate),
    /// Means of 2^`asked` scans; the part goes to 2^`greatest`.
    Averaging {
        /// What was asked.
        asked: u8,
        /// What the part can do.
        greatest: u8,
    },
    /// The board's factors were worked out for a part with other units.
    BoardOfAnotherPart,
    /// The sense resistor or its correction is beyond what this part can be used with.
    SenseResistor(Channel),
}

/// The ranges of one enabled channel, as found in the part's tables.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ChannelRange {
    /// Place in [`PartInfo::sense_ranges`].
    pub sense: u8,
    /// Place in [`PartInfo::rail_ranges`].
    pub rail: u8,
    /// One sense code in units of [`PartInfo::sense_unit`].
    pub sense_lsb: u8,
    /// One rail code in units of [`PartInfo::rail_unit`].
    pub rail_lsb: u8,
}

/// A [`Config`] as one part can have it: what a part's map is given.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Scan<const N: usize> {
    /// Ranges of each channel; of a channel that is not enabled they mean nothing.
    pub ranges: [ChannelRange; N],
    /// Bit c: channel c is enabled.
    pub enabled: u16,
    /// What the part does by itself.
    pub run: Run,
    /// k of means over 2^k scans.
    pub averaging_log2: u8,
    /// What nobody can find out on the part in this configuration.
    pub undetectable: Undetectable,
}

impl FullScale {
    /// At least this much across the sense resistor, and of the rail; rounded up to microvolts, and
    /// 4 kV at the most.
    #[must_use]
    pub const fn new(sense: Voltage, rail: Voltage) -> Self {
        Self {
            sense_uv: microvolts(sense),
            rail_uv: microvolts(rail),
        }
    }

    /// Across the sense resistor, at least.
    #[must_use]
    pub const fn sense(&self) -> Voltage {
        Voltage::from_microvolts(self.sense_uv as i64)
    }

    /// Of the rail, at least.
    #[must_use]
    pub const fn rail(&self) -> Voltage {
        Voltage::from_microvolts(self.rail_uv as i64)
    }
}

impl ScanRate {
    /// So many scans a second, at least; 0 counts as 1.
    #[must_use]
    pub const fn per_second(scans: u32) -> Self {
        match 1_000_000_u32.checked_div(scans) {
            Some(period_us) => Self { period_us },
            None => Self {
                period_us: 1_000_000,
            },
        }
    }

    /// One scan every so many seconds, at least.
    #[must_use]
    pub const fn every_seconds(seconds: u16) -> Self {
        Self {
            period_us: (seconds as u32).saturating_mul(1_000_000),
        }
    }

    /// One scan every so many microseconds, at least: an entry of
    /// [`PartInfo::scan_periods_us`] is that rate of the part.
    #[must_use]
    pub const fn every_microseconds(period_us: u32) -> Self {
        Self { period_us }
    }

    /// From the start of one scan to the start of the next, in microseconds.
    #[must_use]
    pub const fn period_us(self) -> u32 {
        self.period_us
    }
}

impl<const N: usize> Config<N> {
    /// All `N` channels, scanned for ever; readings from single scans.
    #[must_use]
    pub const fn continuous(channels: [FullScale; N], rate: ScanRate) -> Self {
        Self::new(channels, Mode::Continuous(rate))
    }

    /// All `N` channels, converted when asked to; readings from single scans.
    #[must_use]
    pub const fn single_shot(channels: [FullScale; N]) -> Self {
        Self::new(channels, Mode::SingleShot)
    }

    const fn new(channels: [FullScale; N], mode: Mode) -> Self {
        let mut enabled = [None; N];
        let (mut to, mut from): (&mut [_], &[_]) = (&mut enabled, &channels);
        while let (Some((entry, to_rest)), Some((scale, from_rest))) =
            (to.split_first_mut(), from.split_first())
        {
            *entry = Some(*scale);
            (to, from) = (to_rest, from_rest);
        }
        Self {
            channels: enabled,
            mode,
            averaging_log2: 0,
        }
    }

    /// The same with another mode.
    #[must_use]
    pub const fn with_mode(mut self, mode: Mode) -> Self {
        self.mode = mode;
        self
    }

    /// The same with another full scale for one channel; unchanged where there is no such channel.
    #[must_use]
    pub fn with(mut self, channel: Channel, full_scale: FullScale) -> Self {
        if let Some(entry) = self.channels.get_mut(channel.index()) {
            *entry = Some(full_scale);
        }
        self
    }

    /// The same without one channel.
    #[must_use]
    pub fn without(mut self, channel: Channel) -> Self {
        if let Some(entry) = self.channels.get_mut(channel.index()) {
            *entry = None;
        }
        self
    }

    /// The same with readings that are means of 2^`k` scans. Running sums take every scan
    /// regardless.
    #[must_use]
    pub const fn averaging(mut self, k: u8) -> Self {
        self.averaging_log2 = k;
        self
    }

    /// What is asked of a channel; `None` where it is not enabled or does not exist.
    #[must_use]
    pub fn full_scale(&self, channel: Channel) -> Option<FullScale> {
        self.channels.get(channel.index()).copied().flatten()
    }

    /// What the part does by itself.
    #[must_use]
    pub const fn mode(&self) -> Mode {
        self.mode
    }

    /// Writes the same as a part can have it to `scan`.
    ///
    /// # Errors
    /// The first thing that does not fit; `scan` then means nothing.
    #[inline(never)]
    pub fn resolve(&self, info: &PartInfo, scan: &mut Scan<N>) -> Result<(), ConfigError> {
        scan.enabled = 0;
        for (number, (entry, asked)) in (0_u8..).zip(scan.ranges.iter_mut().zip(&self.channels)) {
            let Some(asked) = asked else { continue };
            let channel = Channel::new(number);
            if number >= info.channels {
                return Err(ConfigError::NoSuchChannel(channel));
            }
            [entry.sense, entry.sense_lsb] = finest(info.sense_ranges, asked.sense_uv)
                .ok_or(ConfigError::SenseFullScale(channel))?;
            [entry.rail, entry.rail_lsb] = finest(info.rail_ranges, asked.rail_uv)
                .ok_or(ConfigError::RailFullScale(channel))?;
            scan.enabled |= 1_u16.unbounded_shl(u32::from(number));
        }
        if scan.enabled == 0 {
            return Err(ConfigError::NoChannel);
        }
        if self.averaging_log2 > info.averaging_log2_max {
            return Err(ConfigError::Averaging {
                asked: self.averaging_log2,
                greatest: info.averaging_log2_max,
            });
        }
        scan.averaging_log2 = self.averaging_log2;
        scan.undetectable = info.undetectable;
        scan.run = match self.mode {
            Mode::Idle => Run::Idle,
            Mode::SingleShot => Run::SingleShot,
            Mode::Continuous(rate) => slowest(info.scan_periods_us, rate.period_us)
                .map(Run::Continuous)
                .ok_or(ConfigError::ScanRate(rate))?,
        };
        Ok(())
    }
}

impl<const N: usize> Scan<N> {
    /// No channel enabled.
    pub const NONE: Self = Self {
        ranges: [ChannelRange::NONE; N],
        enabled: 0,
        run: Run::Idle,
        averaging_log2: 0,
        undetectable: Undetectable::empty(),
    };

    /// The ranges of a channel; `None` where it is not enabled or does not exist.
    #[must_use]
    pub fn range(&self, channel: Channel) -> Option<&ChannelRange> {
        let enabled = 1_u16.unbounded_shl(u32::from(channel.number())) & self.enabled != 0;
        self.ranges.get(channel.index()).filter(|_| enabled)
    }

    /// Number of enabled channels.
    #[must_use]
    pub const fn channel_count(&self) -> u8 {
        self.enabled.count_ones() as u8
    }

    /// From the start of one scan to the start of the next, nominal, in microseconds; 0 where there
    /// is none.
    #[must_use]
    pub fn period_us(&self, info: &PartInfo) -> u32 {
        self.run.period_us(info)
    }
}

impl Run {
    /// From the start of one scan to the start of the next; 0 where there is none.
    pub(crate) fn period_us(self, info: &PartInfo) -> u32 {
        match self {
            Self::Continuous(rate) => info
                .scan_periods_us
                .get(usize::from(rate))
                .copied()
                .unwrap_or_default(),
            Self::Idle | Self::SingleShot => 0,
        }
    }
}

impl ChannelRange {
    pub(crate) const NONE: Self = Self {
        sense: 0,
        rail: 0,
        sense_lsb: 0,
        rail_lsb: 0,
    };
}

impl fmt::Display for ScanRate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "one scan every {} µs", self.period_us)
    }
}

impl fmt::Display for ConfigError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSuchChannel(channel) => write!(f, "the part has no {channel}"),
            Self::NoChannel => f.write_str("no channel is enabled"),
            Self::SenseFullScale(channel) => {
                write!(
                    f,
                    "{channel}: no sense range reaches the full scale asked for"
                )
            }
            Self::RailFullScale(channel) => {
                write!(
                    f,
                    "{channel}: no rail range reaches the full scale asked for"
                )
            }
            Self::ScanRate(rate) => write!(f, "the part has no scan rate as high as {rate}"),
            Self::Averaging { asked, greatest } => {
                write!(
                    f,
                    "means of 2^{asked} scans: this part goes to 2^{greatest}"
                )
            }
            Self::BoardOfAnotherPart => {
                f.write_str("the board was worked out for a part with other units")
            }
            Self::SenseResistor(channel) => write!(
                f,
                "{channel}: the sense resistor, or its correction, is beyond what this part can \
                 be used with"
            ),
        }
    }
}

impl core::error::Error for ConfigError {}

/// Place and LSB of the finest range that reaches so many microvolts.
#[inline(always)]
fn finest(ranges: &[RangeInfo], asked_uv: u32) -> Option<[u8; 2]> {
    let found = finest_of(ranges, asked_uv);
    (found >= 0).then_some([(found >> 8) as u8, found as u8])
}

/// The same in one word, which a call gives in fewer instructions: below zero where there is none.
#[inline(never)]
fn finest_of(ranges: &[RangeInfo], asked_uv: u32) -> i32 {
    let mut found = -1_i32; // its lowest byte is the greatest LSB
    for (place, range) in (0_i32..).zip(ranges) {
        if range.full_scale_uv >= asked_uv && range.lsb_units <= found as u8 {
            found = place << 8 | i32::from(range.lsb_units);
        }
    }
    found
}

/// The magnitude in microvolts, rounded up.
const fn microvolts(voltage: Voltage) -> u32 {
    let uv = voltage.as_nanovolts().unsigned_abs().div_ceil(1_000);
    if uv > u32::MAX as u64 {
        u32::MAX
    } else {
        uv as u32
    }
}

/// Place of the longest period that is at most this one.
fn slowest(periods_us: &[u32], asked_us: u32) -> Option<u8> {
    let (mut found, mut longest) = (0, 0);
    for (place, period_us) in (0_u8..).zip(periods_us) {
        if *period_us <= asked_us && *period_us > longest {
            (found, longest) = (place, *period_us);
        }
    }
    (longest != 0).then_some(found)
}
