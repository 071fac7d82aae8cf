use crate::old::exchange::{Command, Read, Step};

/// Registers of 16 bits in one byte order, with or without check bytes: steps that reach them, and words in what was read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Words {
    low_first: bool,
    checked: bool,
}

impl Words {
    /// Low byte first, as SMBus has it; `checked`, reads are verified by a check byte.
    #[must_use]
    pub const fn low_first(checked: bool) -> Self {
        Self {
            low_first: true,
            checked,
        }
    }

    /// High byte first.
    #[must_use]
    pub const fn high_first(checked: bool) -> Self {
        Self {
            low_first: false,
            checked,
        }
    }

    /// The word at a place of what was read; zero where it is too short.
    #[must_use]
    pub fn at(self, raw: &[u8], place: u8) -> u16 {
        let bytes = raw.get(usize::from(place)..);
        let bytes = bytes.and_then(|rest| rest.first_chunk()).copied();
        let bytes = bytes.unwrap_or_default();
        if self.low_first {
            u16::from_le_bytes(bytes)
        } else {
            u16::from_be_bytes(bytes)
        }
    }

    /// Reads a register to a place.
    #[must_use]
    pub const fn read(self, pointer: u8, place: u8) -> Step {
        Step::Read(Read {
            pointer,
            len: 2,
            at: place,
            check: self.checked,
        })
    }

    /// Writes a register, reads it back and compares.
    #[must_use]
    pub fn put(self, pointer: u8, value: u16) -> Step {
        Step::Put(self.command(pointer, value))
    }

    /// Writes a register that cannot be read back, or reads otherwise.
    #[must_use]
    pub fn write(self, pointer: u8, value: u16) -> Step {
        Step::Write(self.command(pointer, value))
    }

    /// The same as the moment of a sample: the host's clock is read before and after.
    #[must_use]
    pub fn write_stamped(self, pointer: u8, value: u16) -> Step {
        Step::WriteStamped(self.command(pointer, value))
    }

    fn command(self, pointer: u8, value: u16) -> Command {
        if self.low_first {
            Command::little_endian(pointer, u64::from(value), 2)
        } else {
            Command::big_endian(pointer, u64::from(value), 2)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_orders() {
        let (low, high) = (Words::low_first(false), Words::high_first(true));
        let raw = [0x12, 0x34, 0x56];
        assert_eq!((low.at(&raw, 1), high.at(&raw, 1)), (0x5634, 0x3456));
        assert_eq!((low.at(&raw, 2), high.at(&raw, 9)), (0, 0));
        let bytes = |step| match step {
            Step::Put(command) | Step::Write(command) => command,
            _ => panic!("a write"),
        };
        assert_eq!(bytes(low.put(7, 0xABCD)).bytes(), [7, 0xCD, 0xAB]);
        assert_eq!(bytes(high.write(7, 0xABCD)).bytes(), [7, 0xAB, 0xCD]);
    }
}
