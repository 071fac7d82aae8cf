//! What registers a part has and what their bits mean, as constant data.

use crake::Channel;

use crate::part::pmbus::Format;

/// All registers of a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Description {
    /// The part's name.
    pub name: &'static str,
    /// The 7-bit addresses that it can have.
    pub addresses: &'static [u8],
    /// Whether a check byte (SMBus packet error code) follows the last byte of a register that is
    /// read: over address and write bit, pointer, address and read bit, and the bytes.
    pub checked: bool,
    /// How many channels the part has.
    pub channels: u8,
    /// The weight of a sense code in nanovolts, by range code.
    pub sense_lsb_nv: &'static [u64],
    /// The weight of a rail code in nanovolts, by range code.
    pub rail_lsb_nv: &'static [u64],
    /// The register of one byte that selects the page, where registers have
    /// [pages](Register::pages).
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
pub struct Register {
    /// Its name in the datasheet.
    pub name: &'static str,
    /// The pointer, or command code, that selects it.
    pub pointer: u8,
    /// Bytes, without a check byte and without the count of a block.
    pub len: u8,
    /// Whether a count of its bytes, which is `len`, comes before them on the wire, as in an SMBus
    /// block read.
    pub block: bool,
    /// Order of the bytes on the wire.
    pub order: Order,
    /// What may be done with it.
    pub access: Access,
    /// The pages that have one, each its own: it shows that of the page that was selected last.
    /// Empty where there is one for the whole part.
    pub pages: &'static [u8],
    /// What its bits mean; bits without a meaning are in none.
    pub fields: &'static [Field],
}

impl Register {
    /// One for the whole part, most significant byte first, without a count.
    #[must_use]
    pub const fn new(
        name: &'static str,
        pointer: u8,
        len: u8,
        access: Access,
        fields: &'static [Field],
    ) -> Self {
        Self {
            name,
            pointer,
            len,
            block: false,
            order: Order::HighFirst,
            access,
            pages: &[],
            fields,
        }
    }

    /// The same in this order of bytes.
    #[must_use]
    pub const fn ordered(self, order: Order) -> Self {
        Self { order, ..self }
    }

    /// The same, one for each of these pages.
    #[must_use]
    pub const fn on(self, pages: &'static [u8]) -> Self {
        Self { pages, ..self }
    }

    /// What a field of this register is in `raw`, the register's bytes as they came; bytes that are
    /// missing count as zero.
    #[must_use]
    pub fn value(&self, field: &Field, raw: &[u8]) -> Value {
        let bits = self.bits(field, raw);
        match field.form {
            Form::Unsigned | Form::Pattern => Value::Unsigned(bits),
            Form::Signed => {
                let above = u64::BITS.saturating_sub(u32::from(field.bits));
                Value::Signed((bits.wrapping_shl(above) as i64).wrapping_shr(above))
            }
            Form::Flag => Value::Flag(bits != 0),
            Form::Named(names) => match names.iter().find(|(value, _)| *value == bits) {
                Some((_, name)) => Value::Named(bits, name),
                None => Value::Unnamed(bits),
            },
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
        let first = usize::from(field.low / 8);
        // A field of 64 bits may lie in nine bytes.
        let value = (0..9).fold(0, |value, place| {
            value | u128::from(self.byte(raw, first + place)) << (8 * place)
        });
        let value = (value >> (field.low % 8)) as u64;
        match u64::BITS.checked_sub(u32::from(field.bits)) {
            Some(above) => value & u64::MAX.checked_shr(above).unwrap_or_default(),
            None => value,
        }
    }

    fn text(&self, field: &Field, raw: &[u8]) -> Text {
        let first = usize::from(field.low / 8);
        let mut text = Text::default();
        let places = text.bytes.iter_mut().take(usize::from(field.bits / 8));
        for (place, into) in places.enumerate() {
            let byte = self.byte(raw, first + place);
            if !matches!(byte, b' '..=b'~') {
                break;
            }
            *into = byte;
            text.len += 1;
        }
        text
    }

    /// The byte so far from the least significant.
    fn byte(&self, raw: &[u8], place: usize) -> u8 {
        let len = usize::from(self.len);
        let index = match self.order {
            Order::LowFirst => Some(place).filter(|place| *place < len),
            Order::HighFirst => len.checked_sub(place + 1),
        };
        let byte = index.and_then(|index| raw.get(index));
        byte.copied().unwrap_or_default()
    }
}

/// Order of a register's bytes on the wire.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    /// Most significant byte first.
    HighFirst,
    /// Least significant byte first.
    LowFirst,
}

/// What may be done with a register.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Access {
    /// Read, and reading changes nothing.
    Read,
    /// Written; what a read gives means nothing.
    Write,
    /// Read and written; reading changes nothing.
    Both,
    /// Read, and reading changes the part (it clears, or goes on to the next).
    ReadChanges,
    /// Read, and its length, at most `len`, depends on another register.
    ReadVaries,
}

impl Access {
    /// Whether an onlooker may read it, who knows nothing of the part's other registers.
    #[must_use]
    pub const fn is_open(self) -> bool {
        matches!(self, Self::Read | Self::Both)
    }
}

/// Some bits of a register that mean something together.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
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
    #[must_use]
    pub const fn new(name: &'static str, low: u16, bits: u8, form: Form) -> Self {
        Self {
            name,
            low,
            bits,
            form,
            counts: Counts::Nothing,
        }
    }

    /// The same, counting something.
    #[must_use]
    pub const fn counting(self, counts: Counts) -> Self {
        Self { counts, ..self }
    }
}

/// A whole number from zero up.
pub(super) const fn number(name: &'static str, low: u16, bits: u8) -> Field {
    Field::new(name, low, bits, Form::Unsigned)
}

/// One bit, set or not.
pub(super) const fn flag(name: &'static str, low: u16) -> Field {
    Field::new(name, low, 1, Form::Flag)
}

/// Values with names.
pub(super) const fn named(
    name: &'static str,
    low: u16,
    bits: u8,
    names: &'static [(u64, &'static str)],
) -> Field {
    Field::new(name, low, bits, Form::Named(names))
}

/// How the bits of a field are read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// A whole number from zero up.
    Unsigned,
    /// Two's complement.
    Signed,
    /// Set or not.
    Flag,
    /// Values with names; others may come.
    Named(&'static [(u64, &'static str)]),
    /// Bits that are no number. A [`Value::Unsigned`], for people in hexadecimal.
    Pattern,
    /// ASCII, the first character in the lowest byte.
    Text,
}

/// What one of a field stands for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Counts {
    /// Nothing, or what the field's name says.
    Nothing,
    /// An LSB of the sense range in which this channel is measured.
    Sense(Channel),
    /// An LSB of the rail range in which this channel is measured.
    Rail(Channel),
    /// The product of both LSBs, over the sense resistance.
    Power(Channel),
    /// A sense code during one scan.
    Charge(Channel),
    /// A power code during one scan.
    Energy(Channel),
    /// It is the place of this channel's sense range in [`Description::sense_lsb_nv`].
    SenseRange(Channel),
    /// It is the place of this channel's rail range in [`Description::rail_lsb_nv`].
    RailRange(Channel),
    /// The whole word is so much of this, in the number format of the page.
    Word(Measure, Words),
}

/// Pages and their number formats; other pages have none.
pub type Words = &'static [(u8, Format)];

/// What a word in a number format of its page measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
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
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
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

    fn register(order: Order, len: u8) -> Register {
        Register::new("R", 0, len, Access::Read, &[]).ordered(order)
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
                    let signed = (i128::from(unsigned) - sign) as i64;
                    let register = register(order, 12);
                    let value = |form| register.value(&Field::new("f", low, bits, form), &raw);
                    assert_eq!(value(Form::Unsigned), Value::Unsigned(unsigned));
                    assert_eq!(value(Form::Pattern), Value::Unsigned(unsigned));
                    assert_eq!(value(Form::Signed), Value::Signed(signed));
                }
            }
        }
    }

    #[test]
    fn names_and_flags() {
        let register = register(Order::LowFirst, 1);
        let field = Field::new("f", 2, 3, Form::Named(&[(1, "one"), (6, "six")]));
        assert_eq!(register.value(&field, &[0xFB]), Value::Named(6, "six"));
        assert_eq!(register.value(&field, &[0xE3]), Value::Unnamed(0));
        let flag = Field::new("f", 7, 1, Form::Flag);
        assert_eq!(register.value(&flag, &[0x80]), Value::Flag(true));
        assert_eq!(register.value(&flag, &[0x7F]), Value::Flag(false));
    }

    #[test]
    fn patterns_and_texts() {
        let register = register(Order::LowFirst, 6);
        let raw = *b"\x06CRAKE";
        let pattern = Field::new("f", 8, 16, Form::Pattern);
        assert_eq!(register.value(&pattern, &raw), Value::Unsigned(0x5243));
        for (bits, raw, shown) in [
            (40, &raw[..], "CRAKE"),
            (16, &raw, "CR"),
            (40, b"\x06CR\x7FKE", "CR"),
            (40, b"\x06CR", "CR"),
            (255, &raw, "CRAKE"),
        ] {
            let field = Field::new("f", 8, bits, Form::Text);
            let Value::Text(text) = register.value(&field, raw) else {
                panic!("no text");
            };
            assert_eq!(text.as_str(), shown);
        }
    }

    #[test]
    fn what_is_missing_or_beyond_the_register_counts_as_zero() {
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
