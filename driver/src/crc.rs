//! Check bytes without a table, several bytes at a time.
//!
//! A remainder takes a quotient, and the quotient of a whole word is a few shifts and
//! exclusive-ors: with the polynomial as `x^n (1 + a)`, where `a` has falling powers alone, the
//! quotient is the word times `1 / (1 + a) = (1 + a)(1 + a^2)(1 + a^4)` and so on, until a factor
//! lies beyond the word. In this field a power of two of a sum is the sum of the powers.

/// The SMBus packet error code: CRC-8, polynomial x^8 + x^2 + x + 1, initial value 0, not
/// reflected, no final exclusive-or.
///
/// It covers every byte on the wire from START on, addresses with their read or write bits
/// included; see the SMBus specification 3.1, section 6.4.
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
        self.0 = pec_of((self.0 ^ byte) as u32) as u8;
    }

    /// Takes bytes in, in wire order.
    pub fn add_all(&mut self, bytes: &[u8]) {
        *self = self.over(bytes);
    }

    /// The same with bytes taken in, in wire order.
    #[must_use]
    #[inline(never)]
    pub fn over(self, bytes: &[u8]) -> Self {
        let (words, rest) = bytes.as_chunks();
        // Its lowest byte counts.
        let mut register = u32::from(self.0);
        for word in words {
            register = pec_of(u32::from_be_bytes(*word) ^ (register << 24));
        }
        for byte in rest {
            register = pec_of((register ^ u32::from(*byte)) & 0xFF);
        }
        Self(register as u8)
    }

    /// The check byte over what was taken in.
    #[must_use]
    pub const fn value(self) -> u8 {
        self.0
    }
}

/// `word` × x^8 ÷ (x^8 + x^2 + x + 1): the remainder in the lowest 8 bits.
const fn pec_of(word: u32) -> u32 {
    // a = x^-6 + x^-7 + x^-8.
    let quotient = word ^ (word >> 6) ^ (word >> 7) ^ (word >> 8);
    let quotient = quotient ^ (quotient >> 12) ^ (quotient >> 14) ^ (quotient >> 16);
    let quotient = quotient ^ (quotient >> 24) ^ (quotient >> 28);
    quotient ^ (quotient << 1) ^ (quotient << 2)
}

/// CRC-16/GENIBUS: polynomial x^16 + x^12 + x^5 + 1 (0x1021), initial value 0xFFFF, not reflected,
/// final exclusive-or 0xFFFF.
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

    /// Before so many bytes of zero, behind which it is as before the first byte: for what is
    /// covered with zeros in front, so that it is whole words.
    pub(crate) const fn before_zeros(bytes: usize) -> Self {
        let (mut register, mut bits) = (0xFFFF, bytes.wrapping_mul(8));
        while bits > 0 {
            bits = bits.wrapping_sub(1);
            register = match register & 1 {
                0 => register >> 1,
                _ => (register ^ 0x1021) >> 1 | 0x8000,
            };
        }
        Self(register)
    }

    /// Takes one byte in.
    pub const fn add(&mut self, byte: u8) {
        let out = (self.0 >> 8) ^ byte as u16;
        self.0 = (self.0 << 8) ^ crc16_of(out as u32) as u16;
    }

    /// Takes bytes in, in order.
    pub fn add_all(&mut self, bytes: &[u8]) {
        let (words, rest) = bytes.as_chunks();
        // Its lowest 16 bits count.
        let mut register = u32::from(self.0);
        for word in words {
            register = crc16_of(u32::from_be_bytes(*word) ^ (register << 16));
        }
        self.0 = register as u16;
        for byte in rest {
            self.add(*byte);
        }
    }

    /// The CRC over what was taken in.
    #[must_use]
    pub const fn value(self) -> u16 {
        self.0 ^ 0xFFFF
    }
}

/// `word` × x^16 ÷ (x^16 + x^12 + x^5 + 1): the remainder in the lowest 16 bits.
const fn crc16_of(word: u32) -> u32 {
    // a = x^-4 + x^-11 + x^-16.
    let quotient = word ^ (word >> 4) ^ (word >> 11) ^ (word >> 16);
    let quotient = quotient ^ (quotient >> 8) ^ (quotient >> 22);
    let quotient = quotient ^ (quotient >> 16);
    quotient ^ (quotient << 5) ^ (quotient << 12)
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

    #[test]
    fn zeros_in_front_change_nothing() {
        for zeros in 0..9 {
            let mut crc = Crc16::before_zeros(zeros);
            crc.add_all(&[0; 9][..zeros]);
            assert_eq!(crc, Crc16::new());
        }
    }

    /// Every length up to a block's, in one piece and in two, so that words and single bytes meet
    /// everywhere.
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
