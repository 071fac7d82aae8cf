use core::fmt;

/// A bench put together in a way that no board could be. Nothing has changed on the bench.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum BenchError {
    /// The part has no strap for this 7-bit address.
    NoSuchAddress(u8),
    /// Another target on the bus has this 7-bit address.
    AddressTaken(u8),
    /// The part has no such channel.
    NoSuchChannel(usize),
    /// No part on the bench has this 7-bit address.
    NoPart(u8),
    /// A fault names no part, and there is none, or more than one.
    WhichPart,
    /// There is no rail behind this channel.
    NoRail(usize),
    /// No line is wired to the output of this name.
    NoLine(&'static str),
}

impl fmt::Display for BenchError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSuchAddress(address) => {
                write!(f, "the part cannot be strapped to address {address:#04x}")
            }
            Self::AddressTaken(address) => write!(
                f,
                "address {address:#04x} is taken by another target on the bus"
            ),
            Self::NoSuchChannel(channel) => write!(f, "the part has no channel {channel}"),
            Self::NoPart(address) => write!(f, "no part on the bench has address {address:#04x}"),
            Self::WhichPart => f.write_str("the fault names no part, and not just one is there"),
            Self::NoRail(channel) => write!(f, "there is no rail behind channel {channel}"),
            Self::NoLine(output) => write!(f, "no line is wired to output {output}"),
        }
    }
}

impl core::error::Error for BenchError {}
