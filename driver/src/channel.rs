//! Which of a monitor's inputs is meant.

use core::fmt;

/// One input of a multi-channel monitor, counted from 0.
///
/// A channel is a name, not a promise: whether a monitor has it is checked when it is used, and
/// [`ConfigError::NoSuchChannel`](crate::config::ConfigError::NoSuchChannel) says so.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Channel(u8);

impl Channel {
    /// Channel 0.
    pub const C0: Self = Self(0);
    /// Channel 1.
    pub const C1: Self = Self(1);
    /// Channel 2.
    pub const C2: Self = Self(2);
    /// Channel 3.
    pub const C3: Self = Self(3);

    /// The channel with this number, 0 to 255.
    #[must_use]
    pub const fn new(number: u8) -> Self {
        Self(number)
    }

    /// Its number.
    #[must_use]
    pub const fn number(self) -> u8 {
        self.0
    }

    /// Its place in arrays that hold one entry per channel.
    #[must_use]
    pub const fn index(self) -> usize {
        self.0 as usize
    }

    /// The first `count` channels in rising order.
    pub fn first(count: u8) -> impl DoubleEndedIterator<Item = Self> + ExactSizeIterator {
        (0..count).map(Self)
    }
}

impl fmt::Display for Channel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "channel {}", self.0)
    }
}
