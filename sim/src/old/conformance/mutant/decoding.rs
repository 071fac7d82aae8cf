//! Mistakes in what the bytes of a block are taken for. They fit every part.

use crake::old::part::{BusRange, Codec, Codes, Counters, Head, SenseRange, Spec};
use crake::old::{Channel, Mode, Ranges};

use super::Tamper;

/// What is decoded wrongly.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decoding {
    /// The lowest two bytes of sense change places.
    SenseBytesSwapped,
    /// The two bytes of bus change places.
    BusBytesSwapped,
    /// Sense is zero-extended from so many bits.
    SenseSignLost(u8),
    /// Bus is sign-extended from so many bits.
    BusSigned(u8),
    /// Power is zero-extended from so many bits.
    PowerSignLost(u8),
    /// So many channels in reverse order.
    ChannelsReversed(u8),
    /// Every channel has the ranges of channel 0.
    RangesOfFirst,
    /// The bits of the sense range are read as the bus range's.
    RangesExchanged,
    /// Clipping is never told.
    ClippingLost,
    /// Sense's flag is told as bus'.
    ClippingExchanged,
    /// The charge sum is cut to so many bits.
    ChargeCut(u8),
    /// The energy sum is cut to so many bits.
    EnergyCut(u8),
    /// The count of rounds is cut to so many bits.
    RoundsCut(u8),
    /// A reset is never told.
    ResetIgnored,
    /// Results are always taken as complete.
    AlwaysComplete,
    /// Another pace is told than runs.
    PaceMisread,
    /// Another `Spec` than the part's, and what is wrong with it.
    WrongSpec(&'static str, &'static Spec),
}

impl Tamper for Decoding {
    fn name(&self) -> (&'static str, &'static str) {
        match self {
            Self::SenseBytesSwapped => ("sense bytes swapped", "byte-order"),
            Self::BusBytesSwapped => ("bus bytes swapped", "byte-order"),
            Self::SenseSignLost(_) => ("sign of sense lost", "signs-of-sense"),
            Self::BusSigned(_) => ("bus taken as signed", "scale-of-bus"),
            Self::PowerSignLost(_) => ("sign of power lost", "signs-of-power"),
            Self::ChannelsReversed(_) => ("channels in reverse order", "channel-order"),
            Self::RangesOfFirst => ("ranges of channel 0 for all", "ranges"),
            Self::RangesExchanged => ("sense and bus range exchanged", "ranges"),
            Self::ClippingLost => ("clipping flags lost", "clipping"),
            Self::ClippingExchanged => ("sense flag told as bus flag", "clipping"),
            Self::ChargeCut(_) => ("charge sum one bit too narrow", "rollover-charge"),
            Self::EnergyCut(_) => ("energy sum one bit too narrow", "rollover-energy"),
            Self::RoundsCut(_) => ("count of rounds cut to 16 bits", "rollover-rounds"),
            Self::ResetIgnored => ("reset flag ignored", "reset-detection"),
            Self::AlwaysComplete => ("taken as complete too early", "averaging"),
            Self::PaceMisread => ("pace misread", "paces"),
            Self::WrongSpec(name, _) => (name, "spec"),
        }
    }

    fn spec(&self, spec: &'static Spec) -> &'static Spec {
        match self {
            Self::WrongSpec(_, wrong) => wrong,
            _ => spec,
        }
    }

    fn head(&self, mut head: Head) -> Head {
        match *self {
            Self::RoundsCut(bits) => head.rounds &= (1 << bits) - 1,
            Self::ResetIgnored => head.reset_seen = false,
            Self::AlwaysComplete => head.complete = true,
            Self::PaceMisread => {
                if let Mode::Paced(pace) = &mut head.mode {
                    pace.0 ^= 1;
                }
            }
            _ => {}
        }
        head
    }

    fn ranges(&self, inner: &dyn Codec, block: &[u8], channel: Channel) -> Option<Ranges> {
        let ranges = inner.ranges(block, channel)?;
        Some(match self {
            Self::RangesOfFirst => inner.ranges(block, Channel::C0).unwrap_or(ranges),
            Self::RangesExchanged => Ranges {
                sense: SenseRange(ranges.bus.0 & 1),
                bus: BusRange(ranges.sense.0),
            },
            _ => ranges,
        })
    }

    fn codes(&self, inner: &dyn Codec, block: &[u8], channel: Channel) -> Codes {
        let channel = match *self {
            Self::ChannelsReversed(count) if channel.number() < count => {
                Channel::new(count - 1 - channel.number())
            }
            _ => channel,
        };
        let mut codes = inner.codes(block, channel);
        match *self {
            Self::SenseBytesSwapped => {
                let [a, b, low, lowest] = codes.sense.to_be_bytes();
                codes.sense = i32::from_be_bytes([a, b, lowest, low]);
            }
            Self::BusBytesSwapped => codes.bus = u32::from((codes.bus as u16).swap_bytes()),
            Self::SenseSignLost(bits) => codes.sense &= (1 << bits) - 1,
            Self::BusSigned(bits) => {
                let spare = 32 - u32::from(bits);
                codes.bus = ((codes.bus << spare) as i32 >> spare) as u32;
            }
            Self::PowerSignLost(bits) => codes.power &= (1 << bits) - 1,
            Self::ClippingLost => (codes.sense_clipped, codes.bus_clipped) = (false, false),
            Self::ClippingExchanged => {
                (codes.sense_clipped, codes.bus_clipped) = (codes.bus_clipped, codes.sense_clipped);
            }
            _ => {}
        }
        codes
    }

    fn counters(&self, mut counters: Counters) -> Counters {
        match *self {
            Self::ChargeCut(bits) => counters.charge &= (1 << bits) - 1,
            Self::EnergyCut(bits) => counters.energy &= (1 << bits) - 1,
            _ => {}
        }
        counters
    }
}
