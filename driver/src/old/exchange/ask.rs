use super::Read;
use crate::old::part::Part;

/// Room for a command code, a count and two data bytes.
const ROOM: usize = 4;

/// Whether operations [ask](super::Step::Ask): known where the firmware is built, so that the player of a part that does not has no code for it.
pub trait Asking {
    /// Whether they do.
    const ASKS: bool;
}

impl<P: Part> Asking for P {
    const ASKS: bool = <P as Part>::ASKS;
}

/// A question that a part may leave unanswered: a command code, perhaps with data bytes, then, after a repeated START, a read.
///
/// With data it is SMBus's block write-block read process call; count bytes are data here. No check byte follows what is written: the one behind what is read covers both.
#[derive(Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Ask {
    bytes: [u8; ROOM],
    written: u8,
    len: u8,
    at: u8,
    check: bool,
    required: bool,
}

impl Ask {
    /// A plain read.
    #[must_use]
    pub const fn of(read: Read) -> Self {
        Self::with(read, [])
    }

    /// A read for which these bytes are written after the command code; at most three, further ones are left out.
    #[must_use]
    pub const fn with<const D: usize>(read: Read, data: [u8; D]) -> Self {
        let mut bytes = [read.pointer; ROOM];
        let [_, room @ ..] = &mut bytes;
        let (mut places, mut rest): (&mut [u8], &[u8]) = (room, &data);
        let mut written = 1_u8;
        while let (Some((place, others)), Some((byte, further))) =
            (places.split_first_mut(), rest.split_first())
        {
            *place = *byte;
            (places, rest) = (others, further);
            written = written.wrapping_add(1); // at most four
        }
        Self {
            bytes,
            written,
            len: read.len,
            at: read.at,
            check: read.check,
            required: false,
        }
    }

    /// The same where no answer is a failure after all, of the bus or the check byte: for a part that is known to answer.
    #[must_use]
    pub const fn required(mut self) -> Self {
        self.required = true;
        self
    }

    /// Whether no answer is a failure.
    #[must_use]
    pub const fn is_required(&self) -> bool {
        self.required
    }

    /// What is written: command code and data.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        self.bytes
            .get(..usize::from(self.written))
            .unwrap_or_default()
    }

    /// What is read.
    #[must_use]
    pub const fn read(&self) -> Read {
        let [pointer, ..] = self.bytes;
        Read {
            pointer,
            len: self.len,
            at: self.at,
            check: self.check,
        }
    }
}

impl core::fmt::Debug for Ask {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "Ask({:02X?}, {:?})", self.bytes(), self.read())
    }
}
