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
        }
    }
}

impl core::error::Error for BenchError {}
