//! What registers a part has and what their bits mean, as constant data: for bringing a board up, for dumps and for tests.
//!
//! A map does not need it: it decodes with code of its own. Nothing here is linked into firmware that does not ask for it.
//!
//! ```
//! use crake::old::part::{corncrake, description::Value};
//!
//! let sense = corncrake::DESCRIPTION.register("SENSE_2").unwrap();
//! let (field, value) = sense.values(&[0xFF, 0xE2, 0xB4]).next().unwrap();
//! assert_eq!((sense.pointer, field.name, value), (0x62, "code", Value::Signed(-7500)));
//! ```

use super::Spec;
use super::pmbus::format::Format;
use crate::old::Channel;

/// All registers of a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Description {
    /// What the part can do: its name, and the LSBs of its ranges.
    pub spec: &'static Spec,
    /// The 7-bit addresses that it can have.
    pub addresses: &'static [u8],
    /// Whether a check byte (SMBus packet error code) follows the last byte of a register that is read: over address and write bit, pointer, address and read bit, and the bytes.
    pub checked: bool,
    /// The register of one byte that selects the page, where registers have [pages](Register::pages).
    pub selector: Option<&'static Register>,
    /// The registers, in the order of the part's datasheet.
    pub registers: &'static [Register],
}

impl Description {
    /// The register of this name, in capitals or not.
    #[must_use]
    pub fn register(&self, name: &str) -> Option<&'static Register> {
        self.registers
            .iter()
            .find(|register| register.name.eq_ignore_ascii_case(name))
    }
}

/// One register.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Register {
    /// Its name in the datasheet.
    pub name: &'static str,
    /// The pointer, or command code, that selects it.
    pub pointer: u8,
    /// Bytes, without a check byte and without the count of a block; the value of a longer one than 8 bytes is only reached field by field.
    pub len: u8,
    /// Whether a count of its bytes comes before them on the wire, as in an SMBus block read. It is `len`.
    pub block: bool,
    /// Order of the bytes on the wire.
    pub order: Order,
    /// What may be done with it.
    pub access: Access,
    /// The pages that have one, each its own: it shows the page that was selected last. Empty where there is one for the whole part.
    pub pages: &'static [u8],
    /// What its bits mean; bits without a meaning are in none.
    pub fields: &'static [Field],
}

impl Register {
    /// The same, one for each of these pages.
    pub(super) const fn on(self, pages: &'static [u8]) -> Self {
        Self { pages, ..self }
    }

    /// The same, as a block.
    pub(super) const fn block(self) -> Self {
        Self {
            block: true,
            ..self
        }
    }

    /// What a field of this register is in `raw`, the register's bytes as they came; bytes that are missing count as zero.
    #[must_use]
    pub fn value(&self, field: &Field, raw: &[u8]) -> Value {
        let bits = self.bits(field, raw);
        match field.form {
            Form::Unsigned => Value::Unsigned(bits),
            Form::Signed => {
                let above = u64::BITS.saturating_sub(u32::from(field.bits));
                Value::Signed((bits.wrapping_shl(above) as i64).wrapping_shr(above))
            }
            Form::Flag => Value::Flag(bits != 0),
            Form::Named(names) => match names.iter().find(|(value, _)| *value == bits) {
                Some((_, name)) => Value::Named(bits, name),
                None => Value::Unnamed(bits),
            },
            Form::Pattern => Value::Unsigned(bits),
            Form::Text => Value::Text(self.text(field, raw)),
        }
    }

    /// Every field with its value in `raw`.
    pub fn values(&self, raw: &[u8]) -> impl Iterator<Item = (&'static Field, Value)> {
        let fields = self.fields;
        fields
            .iter()
            .map(move |field| (field, self.value(field, raw)))
    }

    fn bits(&self, field: &Field, raw: &[u8]) -> u64 {
        let first = usize::from(field.low >> 3);
        // A field of 64 bits may lie in nine bytes.
        let value = (0..9_u8).fold(0, |value, place| {
            let byte = self.byte(raw, first.wrapping_add(usize::from(place)));
            value | u128::from(byte).wrapping_shl(u32::from(place).wrapping_mul(8))
        });
        let value = value.wrapping_shr(u32::from(field.low & 7)) as u64;
        match u64::BITS.checked_sub(u32::from(field.bits)) {
            Some(above) => value & u64::MAX.checked_shr(above).unwrap_or_default(),
            None => value,
        }
    }

    fn text(&self, field: &Field, raw: &[u8]) -> Text {
        let first = usize::from(field.low >> 3);
        let count = usize::from(field.bits >> 3);
        let mut text = Text {
            bytes: [0; Text::MAX],
            len: 0,
        };
        for (place, into) in text.bytes.iter_mut().take(count).enumerate() {
            let byte = self.byte(raw, first.wrapping_add(place));
            if !matches!(byte, b' '..=b'~') {
                break;
            }
            *into = byte;
            text.len = text.len.wrapping_add(1);
        }
        text
    }

    /// The byte so far from the least significant.
    fn byte(&self, raw: &[u8], place: usize) -> u8 {
        let len = usize::from(self.len);
        let index = match self.order {
            Order::LowFirst => Some(place).filter(|place| *place < len),
            Order::HighFirst => len.checked_sub(place.wrapping_add(1)),
        };
        let byte = index.and_then(|index| raw.get(index));
        byte.copied().unwrap_or_default()
    }
}

/// Order of a register's bytes on the wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Order {
    /// Most significant byte first.
    HighFirst,
    /// Least significant byte first.
    LowFirst,
}

/// What may be done with a register.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Access {
    /// Read, and reading changes nothing.
    Read,
    /// Written; what a read gives means nothing.
    Write,
    /// Read and written; reading changes nothing.
    Both,
    /// Read, and reading changes the part (it clears, or goes on to the next): not for onlookers.
    ReadChanges,
}

impl Access {
    /// Whether whoever only looks on may read it.
    #[must_use]
    pub const fn is_open(self) -> bool {
        matches!(self, Self::Read | Self::Both)
    }
}

/// Some bits of a register that mean something together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Field {
    /// Its name: lower case, no spaces, once in its register.
    pub name: &'static str,
    /// Its lowest bit, counted from the register's least significant.
    pub low: u16,
    /// How many bits, 1 to 64; of a text whole bytes, at most [`Text::MAX`].
    pub bits: u8,
    /// How the bits are read.
    pub form: Form,
    /// What one of it stands for.
    pub counts: Counts,
}

impl Field {
    /// Bits that are read in some way and count nothing.
    pub(super) const fn new(name: &'static str, low: u16, bits: u8, form: Form) -> Self {
        Self {
            name,
            low,
            bits,
            form,
            counts: Counts::Nothing,
        }
    }

    /// The same, counting something.
    pub(super) const fn counting(self, counts: Counts) -> Self {
        Self { counts, ..self }
    }
}

/// How the bits of a field are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Form {
    /// A whole number from zero up.
    Unsigned,
    /// Two's complement.
    Signed,
    /// Set or not.
    Flag,
    /// Values with names; others may come.
    Named(&'static [(u64, &'static str)]),
    /// Bits that are no number: something fixed, a mark, a word in a format of its own. A [`Value::Unsigned`], for people in hexadecimal.
    Pattern,
    /// ASCII, the first character in the lowest byte.
    Text,
}

/// What one of a field stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Counts {
    /// Nothing, or what the field's name says.
    Nothing,
    /// An LSB of the sense range in which this channel is measured.
    Sense(Channel),
    /// An LSB of the bus range in which this channel is measured.
    Bus(Channel),
    /// The product of both LSBs, over the sense resistance.
    Power(Channel),
    /// A sense code during one round.
    Charge(Channel),
    /// A power code during one round.
    Energy(Channel),
    /// It is the place of this channel's sense range in [`Spec::sense`].
    SenseRange(Channel),
    /// It is the place of this channel's bus range in [`Spec::bus`].
    BusRange(Channel),
    /// The whole word is so much of this, in the number format of the page: pages that are not listed have none.
    Word(Measure, &'static [(u8, Format)]),
}

/// What a word in a number format of its own measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Measure {
    /// Volts.
    Voltage,
    /// Amperes.
    Current,
    /// Watts.
    Power,
}

/// What a field is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Value {
    /// A whole number from zero up.
    Unsigned(u64),
    /// A whole number.
    Signed(i64),
    /// Set or not.
    Flag(bool),
    /// A value that has a name.
    Named(u64, &'static str),
    /// One that should have a name and has none.
    Unnamed(u64),
    /// Characters.
    Text(Text),
}

/// A short text, as far as it can be printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Text {
    bytes: [u8; Self::MAX],
    len: u8,
}

impl Text {
    /// The most characters.
    pub const MAX: usize = 16;

    /// The characters up to the first that is none of printable ASCII.
    #[must_use]
    pub fn as_str(&self) -> &str {
        let shown = self.bytes.get(..usize::from(self.len));
        core::str::from_utf8(shown.unwrap_or_default()).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NAMES: &[(u64, &str)] = &[(1, "one"), (6, "six")];

    fn register(order: Order, len: u8) -> Register {
        Register {
            name: "R",
            pointer: 0,
            len,
            order,
            access: Access::Read,
            block: false,
            pages: &[],
            fields: &[],
        }
    }

    /// Every place and width in twelve bytes, against the number put together bit by bit.
    #[test]
    fn bits_of_every_place_and_width() {
        let raw: [u8; 12] =
            core::array::from_fn(|place| (place as u32 + 1).wrapping_mul(0x9E37_79B1) as u8);
        for order in [Order::HighFirst, Order::LowFirst] {
            let bit = |bit: u16| {
                let byte = usize::from(bit / 8);
                let byte = match order {
                    Order::HighFirst => 11_usize.checked_sub(byte),
                    Order::LowFirst => Some(byte),
                };
                let byte = byte.and_then(|byte| raw.get(byte)).copied();
                byte.unwrap_or_default() >> (bit % 8) & 1 == 1
            };
            for low in 0..100_u16 {
                for bits in 1..=64_u8 {
                    let unsigned = (0..bits).rev().fold(0_u64, |value, place| {
                        value << 1 | u64::from(bit(low + u16::from(place)))
                    });
                    let sign = i128::from(bit(low + u16::from(bits) - 1)) << bits;
                    let signed = i64::try_from(i128::from(unsigned) - sign).unwrap();
                    let register = register(order, 12);
                    let value = |form| register.value(&Field::new("f", low, bits, form), &raw);
                    assert_eq!(value(Form::Unsigned), Value::Unsigned(unsigned));
                    assert_eq!(value(Form::Signed), Value::Signed(signed));
                }
            }
        }
    }

    #[test]
    fn names_and_flags() {
        let register = register(Order::LowFirst, 1);
        let field = Field::new("f", 2, 3, Form::Named(NAMES));
        assert_eq!(register.value(&field, &[0xFB]), Value::Named(6, "six"));
        assert_eq!(register.value(&field, &[0xE3]), Value::Unnamed(0));
        let flag = Field::new("f", 7, 1, Form::Flag);
        assert_eq!(register.value(&flag, &[0x80]), Value::Flag(true));
        assert_eq!(register.value(&flag, &[0x7F]), Value::Flag(false));
    }

    #[test]
    fn patterns_and_texts() {
        let register = register(Order::LowFirst, 6);
        let pattern = Field::new("f", 8, 16, Form::Pattern);
        let raw = *b"\x06CRAKE";
        assert_eq!(register.value(&pattern, &raw), Value::Unsigned(0x5243));
        let text = |bits, raw: &[u8]| {
            let Value::Text(text) = register.value(&Field::new("f", 8, bits, Form::Text), raw)
            else {
                panic!("no text");
            };
            text
        };
        assert_eq!(text(40, &raw).as_str(), "CRAKE");
        assert_eq!(text(16, &raw).as_str(), "CR");
        assert_eq!(text(40, b"\x06CR\x7FKE").as_str(), "CR");
        assert_eq!(text(40, b"\x06CR").as_str(), "CR");
        assert_eq!(text(255, &raw).as_str(), "CRAKE");
    }

    #[test]
    fn what_is_missing_or_not_the_register_s_counts_as_zero() {
        let all = Field::new("f", 0, 16, Form::Unsigned);
        for (order, short) in [(Order::HighFirst, 0xAB00), (Order::LowFirst, 0x00AB)] {
            let register = register(order, 2);
            assert_eq!(register.value(&all, &[0xAB]), Value::Unsigned(short));
            assert_eq!(register.value(&all, &[]), Value::Unsigned(0));
            // A check byte behind it is not part of it.
            let beyond = Field::new("f", 16, 8, Form::Unsigned);
            assert_eq!(register.value(&beyond, &[1, 2, 3]), Value::Unsigned(0));
            for bits in [0, 65, 255] {
                let odd = Field::new("f", u16::MAX, bits, Form::Signed);
                assert_eq!(register.value(&odd, &[0xFF; 2]), Value::Signed(0));
            }
        }
    }
}
