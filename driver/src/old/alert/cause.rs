use core::fmt;

use crate::old::Channel;

/// What a limit watches for on a channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Kind {
    /// Bus voltage above the limit.
    OverVoltage,
    /// Bus voltage below the limit.
    UnderVoltage,
    /// Current above the limit; signed, so a limit below zero watches for too little reverse current.
    OverCurrent,
    /// Current below the limit; signed, so a limit below zero watches for too much reverse current.
    UnderCurrent,
    /// Power above the limit; signed.
    OverPower,
}

impl Kind {
    /// All kinds, in the order of their bits in [`Causes`].
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
pub enum Cause {
    /// A limit on a channel was passed.
    Limit(Channel, Kind),
    /// One of the part's running sums comes near its end: time to read a frame.
    RolloverAhead,
    /// A round was completed.
    RoundDone,
    /// The part was reset.
    ResetSeen,
}

bitflags::bitflags! {
    /// A set of causes: five bits per channel from channel 0 up, in the order of [`Kind::ALL`], and three for the part as a whole.
    ///
    /// Room for twelve channels; causes of further channels are in no set.
    #[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash)]
    pub struct Causes: u64 {
        /// [`Cause::RolloverAhead`].
        const ROLLOVER_AHEAD = 1 << 61;
        /// [`Cause::RoundDone`].
        const ROUND_DONE = 1 << 62;
        /// [`Cause::ResetSeen`].
        const RESET_SEEN = 1 << 63;
        /// Every limit of every channel.
        const LIMITS = (1 << 60) - 1;
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
const KINDS: u8 = 5;
/// Channels that have bits.
const CHANNELS: u8 = 12;

impl Causes {
    /// The set of one cause.
    #[must_use]
    pub const fn of(cause: Cause) -> Self {
        match cause {
            Cause::Limit(channel, kind) => {
                if channel.number() >= CHANNELS {
                    return Self::empty();
                }
                let bit = channel
                    .number()
                    .wrapping_mul(KINDS)
                    .wrapping_add(kind.index() as u8); // below 60
                Self::from_bits_retain(1 << bit)
            }
            Cause::RolloverAhead => Self::ROLLOVER_AHEAD,
            Cause::RoundDone => Self::ROUND_DONE,
            Cause::ResetSeen => Self::RESET_SEEN,
        }
    }

    /// The causes of one channel.
    #[must_use]
    pub const fn channel(channel: Channel) -> Self {
        if channel.number() >= CHANNELS {
            return Self::empty();
        }
        Self::from_bits_retain(0b11111 << channel.number().wrapping_mul(KINDS)) // below 60
    }

    /// The causes in it, limits first, from channel 0 up.
    pub fn each(self) -> impl Iterator<Item = Cause> {
        let mut rest = self.bits();
        core::iter::from_fn(move || {
            while rest != 0 {
                let bit = rest.trailing_zeros() as u8; // below 64
                rest &= rest.wrapping_sub(1);
                let cause = Self::at(bit);
                if cause.is_some() {
                    return cause;
                }
            }
            None
        })
    }

    /// The cause of a bit; `None` for the one that is nobody's.
    fn at(bit: u8) -> Option<Cause> {
        match 1_u64
            .checked_shl(u32::from(bit))
            .map(Self::from_bits_retain)?
        {
            Self::ROLLOVER_AHEAD => Some(Cause::RolloverAhead),
            Self::ROUND_DONE => Some(Cause::RoundDone),
            Self::RESET_SEEN => Some(Cause::ResetSeen),
            _ if bit >= CHANNELS.wrapping_mul(KINDS) => None,
            _ => {
                let kind = Kind::ALL.get(usize::from(bit % KINDS))?;
                Some(Cause::Limit(Channel::new(bit / KINDS), *kind))
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

impl fmt::Display for Cause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Limit(channel, kind) => write!(f, "{kind} of {channel}"),
            Self::RolloverAhead => f.write_str("rollover ahead"),
            Self::RoundDone => f.write_str("round done"),
            Self::ResetSeen => f.write_str("reset seen"),
        }
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Causes {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "Causes({=u64:#x})", self.bits());
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
    fn every_cause_has_a_bit_of_its_own() {
        let mut all = Causes::empty();
        let mut count = 0;
        for cause in Causes::all().each() {
            let bit = Causes::of(cause);
            assert_eq!(bit.bits().count_ones(), 1, "{cause}");
            assert!(!all.intersects(bit), "{cause}");
            all |= bit;
            count += 1;
        }
        assert_eq!(count, 63);
        assert_eq!(all, Causes::all());
        assert_eq!(
            Causes::of(Cause::Limit(Channel::new(12), Kind::OverPower)),
            Causes::empty()
        );
    }
}
