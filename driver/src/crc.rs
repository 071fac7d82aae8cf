//! Check bytes without a table, several bytes at a time.
//!
//! Of a polynomial with few terms, all of them low, what stands above the register is multiplied by the terms and comes back lower: a few shifts and exclusive-ors
//! make the remainder of a whole word.

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
        self.0 = reduced((self.0 ^ byte) as u32);
    }

    /// Takes bytes in, in wire order.
    pub const fn add_all(&mut self, mut bytes: &[u8]) {
        if let Some((&word, rest)) = bytes.split_first_chunk() {
            // What came so far as a remainder of 14 bits, not yet times x^8. A further word moves it up by x^32, which leaves x^8 + x^4 + 1.
            let mut so_far = shortened(u32::from_be_bytes(word) ^ ((self.0 as u32) << 24));
            bytes = rest;
            while let Some((&word, rest)) = bytes.split_first_chunk() {
                let word = u32::from_be_bytes(word);
                so_far = shortened(word ^ so_far ^ (so_far << 4) ^ (so_far << 8));
                bytes = rest;
            }
            self.0 = reduced(remainder(so_far) as u32);
        }
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

/// A word of 32 bits made 14 bits long, with the same remainder: x^16 leaves x^4 + x^2 + 1, and of the 20 bits that remain x^8 leaves x^2 + x + 1.
const fn shortened(word: u32) -> u32 {
    let high = word >> 16;
    let word = (word & 0xFFFF) ^ high ^ (high << 2) ^ (high << 4);
    let high = word >> 8;
    (word & 0xFF) ^ high ^ (high << 1) ^ (high << 2)
}

/// `word` × x^8 ÷ polynomial: the remainder, for a word of 8 bits.
const fn reduced(word: u32) -> u8 {
    // Ten bits.
    remainder(word ^ (word << 1) ^ (word << 2))
}

/// `word` ÷ polynomial: the remainder, for a word of up to 14 bits. x^8 leaves x^2 + x + 1.
const fn remainder(word: u32) -> u8 {
    let high = word >> 8;
    (word ^ high ^ (high << 1) ^ (high << 2)) as u8
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
        // Of x^12 the upper half byte leaves, and comes back.
        let out = out ^ (out >> 4);
        self.0 = ((register << 8) ^ (out << 12) ^ (out << 5) ^ out) as u16;
    }

    /// Takes bytes in, in order.
    pub const fn add_all(&mut self, mut bytes: &[u8]) {
        while let Some((&word, rest)) = bytes.split_first_chunk() {
            let word = u32::from_be_bytes(word);
            let register = pair_taken_in(self.0 as u32, word >> 16);
            self.0 = pair_taken_in(register & 0xFFFF, word & 0xFFFF) as u16;
            bytes = rest;
        }
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

/// The register after two bytes more, in its lower 16 bits.
const fn pair_taken_in(register: u32, pair: u32) -> u32 {
    // What leaves comes back until nothing does: 1 ÷ (1 + x^-4 + x^-11 + x^-16) = 1 + x^-4 + x^-8 + x^-11 + x^-12 and what lies beyond 16 bits.
    let out = register ^ pair;
    let fours = out ^ (out >> 4);
    let out = fours ^ (fours >> 8) ^ (out >> 11);
    out ^ (out << 5) ^ (out << 12)
}

impl Default for Crc16 {
    fn default() -> Self {
        Self::new()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Bit by bit, straight from the definitions.
    fn slowly(bytes: &[u8], top: u32, polynomial: u32, initial: u32) -> u32 {
        bytes.iter().fold(initial, |register, byte| {
            let mut register = register ^ u32::from(*byte) << (top - 7);
            for _ in 0..8 {
                let out = register >> top & 1;
                register = ((register << 1) ^ (out * polynomial)) & ((2 << top) - 1);
            }
            register
        })
    }

    /// Every length up to a block's, in one piece and in two, so that words and single bytes meet everywhere.
    #[test]
    fn however_bytes_are_taken_in() {
        let bytes: [u8; 112] =
            core::array::from_fn(|place| (place as u32).wrapping_mul(0x9E37_79B1).to_be_bytes()[0]);
        for len in 0..bytes.len() {
            for cut in 0..=len {
                let (mut pec, mut crc) = (Pec::new(), Crc16::new());
                for piece in [&bytes[..cut], &bytes[cut..len]] {
                    pec.add_all(piece);
                    crc.add_all(piece);
                }
                assert_eq!(u32::from(pec.value()), slowly(&bytes[..len], 7, 0x07, 0));
                let expected = slowly(&bytes[..len], 15, 0x1021, 0xFFFF) ^ 0xFFFF;
                assert_eq!(u32::from(crc.value()), expected);
            }
        }
    }
}
