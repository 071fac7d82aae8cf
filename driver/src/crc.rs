//! Check bytes, a half byte at a time.
//!
//! The usual table of sixteen remainders is not needed: a half byte times either polynomial (without its top term) has no more bits than
//! the register, so the product needs no reduction and three shifts make it.

/// The SMBus packet error code: CRC-8, polynomial x^8 + x^2 + x + 1, initial value 0, not reflected, no final exclusive-or.
///
/// It covers every byte on the wire from START on, addresses with their read or write bits included; see the SMBus specification 3.1, section 6.4.
///
/// ```
/// use crake::crc::Pec;
///
/// // Write byte: address 0x34, command 0x00, data 0x01.
/// let mut pec = Pec::new();
/// pec.add(0x34 << 1);
/// pec.add_all(&[0x00, 0x01]);
/// assert_eq!(pec.value(), 0x93);
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pec(u8);

impl Pec {
    /// Before the first byte.
    #[must_use]
    pub const fn new() -> Self {
        Self(0)
    }

    /// Takes one byte in.
    pub const fn add(&mut self, byte: u8) {
        self.add_half(byte >> 4);
        self.add_half(byte & 0xF);
    }

    /// Takes bytes in, in wire order.
    pub const fn add_all(&mut self, mut bytes: &[u8]) {
        while let Some((&byte, rest)) = bytes.split_first() {
            self.add(byte);
            bytes = rest;
        }
    }

    /// The check byte over what was taken in.
    #[must_use]
    pub const fn value(self) -> u8 {
        self.0
    }

    const fn add_half(&mut self, half: u8) {
        let out = (self.0 >> 4) ^ half;
        self.0 = (self.0 << 4) ^ (out << 2) ^ (out << 1) ^ out;
    }
}

/// CRC-16/GENIBUS: polynomial x^16 + x^12 + x^5 + 1 (0x1021), initial value 0xFFFF, not reflected, final exclusive-or 0xFFFF.
///
/// ```
/// use crake::crc::Crc16;
///
/// let mut crc = Crc16::new();
/// crc.add_all(b"123456789");
/// assert_eq!(crc.value(), 0xD64E);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Crc16(u16);

impl Crc16 {
    /// Before the first byte.
    #[must_use]
    pub const fn new() -> Self {
        Self(0xFFFF)
    }

    /// Takes one byte in.
    pub const fn add(&mut self, byte: u8) {
        self.add_half(byte as u16 >> 4);
        self.add_half(byte as u16 & 0xF);
    }

    /// Takes bytes in, in order.
    pub const fn add_all(&mut self, mut bytes: &[u8]) {
        while let Some((&byte, rest)) = bytes.split_first() {
            self.add(byte);
            bytes = rest;
        }
    }

    /// The CRC over what was taken in.
    #[must_use]
    pub const fn value(self) -> u16 {
        self.0 ^ 0xFFFF
    }

    const fn add_half(&mut self, half: u16) {
        let out = (self.0 >> 12) ^ half;
        self.0 = (self.0 << 4) ^ (out << 12) ^ (out << 5) ^ out;
    }
}

impl Default for Crc16 {
    fn default() -> Self {
        Self::new()
    }
}
