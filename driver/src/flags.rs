//! What alerts are about: kinds of limits, alert flags, outputs.

use core::fmt;

use crate::Channel;

/// What a limit watches for on a channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Kind {
    /// Rail voltage above the limit.
    OverVoltage,
    /// Rail voltage below the limit.
    UnderVoltage,
    /// Current above the limit; signed, so a limit below zero watches for too little reverse
    /// current.
    OverCurrent,
    /// Current below the limit; signed, so a limit below zero watches for too much reverse current.
    UnderCurrent,
    /// Power above the limit; signed.
    OverPower,
}

impl Kind {
    /// All kinds, in the order of their bits in [`AlertFlags`].
    pub const ALL: [Self; 5] = [
        Self::OverVoltage,
        Self::UnderVoltage,
        Self::OverCurrent,
        Self::UnderCurrent,
        Self::OverPower,
    ];

    /// Whether values above the limit are meant (else values below it).
    #[must_use]
    pub const fn is_over(self) -> bool {
        matches!(
            self,
            Self::OverVoltage | Self::OverCurrent | Self::OverPower
        )
    }

    /// Place in [`ALL`](Self::ALL).
    #[must_use]
    pub const fn index(self) -> usize {
        match self {
            Self::OverVoltage => 0,
            Self::UnderVoltage => 1,
            Self::OverCurrent => 2,
            Self::UnderCurrent => 3,
            Self::OverPower => 4,
        }
    }
}

/// One thing that an alert can be about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum AlertFlag {
    /// A limit on a channel was passed.
    Limit(Channel, Kind),
    /// One of the part's running sums comes near its end: time to take a sample.
    RolloverAhead,
    /// A scan was completed.
    ScanDone,
    /// The part was reset. No output tells of it, for a reset takes the masks with it: every look
    /// at the flags does.
    ResetSeen,
}

bitflags::bitflags! {
    /// A set of flags: five bits per channel from channel 0 up, in the order of [`Kind::ALL`], and
    /// three for the part as a whole.
    ///
    /// Room for twelve channels; flags of further channels are in no set.
    #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
    pub struct AlertFlags: u64 {
        /// [`AlertFlag::RolloverAhead`].
        const ROLLOVER_AHEAD = 1 << 61;
        /// [`AlertFlag::ScanDone`].
        const SCAN_DONE = 1 << 62;
        /// [`AlertFlag::ResetSeen`].
        const RESET_SEEN = 1 << 63;
        /// Every limit of every channel.
        const LIMITS = (1 << 60) - 1;
        /// The three that are about the part as a whole.
        const OWN = 0b111 << 61;
    }

    /// A set of alert outputs.
    #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
    pub struct Outputs: u8 {
        /// Output A.
        const A = 1;
        /// Output B.
        const B = 2;
    }
}

/// Bits of a channel's limits.
const KIND_COUNT: u8 = 5;
/// Channels that have bits.
const CHANNEL_COUNT: u8 = 12;

impl AlertFlag {
    /// Its place in [`AlertFlags`]; 60 for a limit of a channel that has none.
    #[must_use]
    pub(crate) const fn bit(self) -> u8 {
        match self {
            Self::Limit(channel, kind) if channel.number() < CHANNEL_COUNT => channel
                .number()
                .wrapping_mul(KIND_COUNT)
                .wrapping_add(kind.index() as u8), // below 60
            Self::Limit(..) => 60,
            Self::RolloverAhead => 61,
            Self::ScanDone => 62,
            Self::ResetSeen => 63,
        }
    }
}

impl AlertFlags {
    /// The set of one flag.
    #[must_use]
    pub const fn of(flag: AlertFlag) -> Self {
        match flag.bit() {
            60 => Self::empty(),
            bit => Self::from_bits_retain(1 << bit),
        }
    }

    /// The flags of one channel.
    #[must_use]
    pub const fn channel(channel: Channel) -> Self {
        if channel.number() >= CHANNEL_COUNT {
            return Self::empty();
        }
        Self::from_bits_retain(0b11111 << channel.number().wrapping_mul(KIND_COUNT)) // below 60
    }

    /// The flags in it, limits first, from channel 0 up.
    pub fn each(self) -> impl Iterator<Item = AlertFlag> {
        let mut rest = self.bits();
        core::iter::from_fn(move || {
            while rest != 0 {
                let bit = rest.trailing_zeros() as u8; // below 64
                rest &= rest.wrapping_sub(1);
                let flag = Self::at(bit);
                if flag.is_some() {
                    return flag;
                }
            }
            None
        })
    }

    /// The flag of a bit; `None` for the one that is nobody's.
    pub(crate) fn at(bit: u8) -> Option<AlertFlag> {
        match 1_u64
            .checked_shl(u32::from(bit))
            .map(Self::from_bits_retain)?
        {
            Self::ROLLOVER_AHEAD => Some(AlertFlag::RolloverAhead),
            Self::SCAN_DONE => Some(AlertFlag::ScanDone),
            Self::RESET_SEEN => Some(AlertFlag::ResetSeen),
            _ if bit >= CHANNEL_COUNT.wrapping_mul(KIND_COUNT) => None,
            _ => {
                let kind = Kind::ALL.get(usize::from(bit % KIND_COUNT))?;
                Some(AlertFlag::Limit(Channel::new(bit / KIND_COUNT), *kind))
            }
        }
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::OverVoltage => "over-voltage",
            Self::UnderVoltage => "under-voltage",
            Self::OverCurrent => "over-current",
            Self::UnderCurrent => "under-current",
            Self::OverPower => "over-power",
        })
    }
}

impl fmt::Display for AlertFlag {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Limit(channel, kind) => write!(f, "{kind} of {channel}"),
            Self::RolloverAhead => f.write_str("rollover ahead"),
            Self::ScanDone => f.write_str("scan done"),
            Self::ResetSeen => f.write_str("reset seen"),
        }
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for AlertFlags {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "AlertFlags({=u64:#x})", self.bits());
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Outputs {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "Outputs({=u8:#b})", self.bits());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_flag_has_a_bit_of_its_own() {
        let mut all = AlertFlags::empty();
        let mut count = 0;
        for flag in AlertFlags::all().each() {
            let bit = AlertFlags::of(flag);
            assert_eq!(bit.bits().count_ones(), 1, "{flag}");
            assert!(!all.intersects(bit), "{flag}");
            all |= bit;
            count += 1;
        }
        assert_eq!(count, 63);
        assert_eq!(all, AlertFlags::all());
        assert_eq!(
            AlertFlags::of(AlertFlag::Limit(Channel::new(12), Kind::OverPower)),
            AlertFlags::empty()
        );
    }
}
