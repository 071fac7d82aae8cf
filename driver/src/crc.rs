//! Check bytes, a byte at a time without a table.
//!
//! A byte's remainder is the byte times the polynomial without its top term; what of the product leaves the register is so short that multiplying it once more ends there. Shifts and
//! exclusive-ors make both.

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
        let out = (self.0 ^ byte) as u32;
        // Ten bits; the two that leave come back as four.
        let product = out ^ (out << 1) ^ (out << 2);
        let left = product >> 8;
        self.0 = (product ^ left ^ (left << 1) ^ (left << 2)) as u8;
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
        let register = self.0 as u32;
        let out = (register >> 8) ^ byte as u32;
        // Of x^12 the upper half byte leaves, and comes back times 1 (x^12 and x^5 push no bit of it out a second time).
        let out = out ^ (out >> 4);
        self.0 = ((register << 8) ^ (out << 12) ^ (out << 5) ^ out) as u16;
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
}

impl Default for Crc16 {
    fn default() -> Self {
        Self::new()
    }
}
