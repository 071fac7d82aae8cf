use crate::crc::Pec;

/// Room for a pointer, eight data bytes and a check byte.
const ROOM: usize = 10;

/// The bytes of one write: a pointer (command code) and at most eight data bytes.
#[derive(Clone, Copy, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Command {
    bytes: [u8; ROOM],
    len: u8,
}

impl Command {
    /// A pointer followed by the lowest `width` bytes of `value`, most significant first. `width` beyond 8 counts as 8.
    #[must_use]
    pub fn big_endian(pointer: u8, value: u64, width: u8) -> Self {
        let width = usize::from(width.min(8));
        let value = value.to_be_bytes();
        let skipped = value.len().saturating_sub(width);
        Self::from_bytes(pointer, value.get(skipped..).unwrap_or_default())
    }

    /// A pointer followed by the lowest `width` bytes of `value`, least significant first. `width` beyond 8 counts as 8.
    #[must_use]
    pub fn little_endian(pointer: u8, value: u64, width: u8) -> Self {
        let width = usize::from(width.min(8));
        Self::from_bytes(
            pointer,
            value.to_le_bytes().get(..width).unwrap_or_default(),
        )
    }

    fn from_bytes(pointer: u8, data: &[u8]) -> Self {
        let mut bytes = [0; ROOM];
        let [first, rest @ ..] = &mut bytes;
        *first = pointer;
        for (place, byte) in rest.iter_mut().zip(data) {
            *place = *byte;
        }
        Self {
            bytes,
            len: (data.len() as u8).saturating_add(1), // at most nine
        }
    }

    fn push(&mut self, byte: u8) {
        if let Some(place) = self.bytes.get_mut(usize::from(self.len)) {
            *place = byte;
            self.len = self.len.saturating_add(1);
        }
    }

    /// The register that is written.
    #[must_use]
    pub const fn pointer(&self) -> u8 {
        let [pointer, ..] = self.bytes;
        pointer
    }

    /// The data bytes after the pointer.
    #[must_use]
    pub fn data(&self) -> &[u8] {
        self.bytes().get(1..).unwrap_or_default()
    }

    /// Pointer and data, as sent.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        self.bytes.get(..usize::from(self.len)).unwrap_or_default()
    }

    /// Adds the check byte that belongs to a write to the 7-bit `address`.
    pub(super) fn check(&mut self, address: u8) {
        let mut pec = Pec::new();
        pec.add(address << 1);
        pec.add_all(self.bytes());
        self.push(pec.value());
    }
}

impl core::fmt::Debug for Command {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "Command({:02X?})", self.bytes())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_in_either_order() {
        let big = Command::big_endian(0x12, 0x00AA_BBCC, 3);
        assert_eq!(big.bytes(), [0x12, 0xAA, 0xBB, 0xCC]);
        let little = Command::little_endian(0x12, 0x00AA_BBCC, 3);
        assert_eq!(little.bytes(), [0x12, 0xCC, 0xBB, 0xAA]);
        assert_eq!(big.pointer(), 0x12);
        assert_eq!(little.data(), [0xCC, 0xBB, 0xAA]);
    }

    #[test]
    fn check_byte_of_published_write() {
        // Write Word, address 0x34, command 0x42 = 0x0140: E9 (worked out with two PyPI packages, crcmod and crc).
        let mut command = Command::little_endian(0x42, 0x0140, 2);
        command.check(0x34);
        assert_eq!(command.bytes(), [0x42, 0x40, 0x01, 0xE9]);
    }
}
