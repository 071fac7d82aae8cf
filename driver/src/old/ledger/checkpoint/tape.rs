//! Fields to bytes and back, each named once.

/// Fields in one order for both ways: a pen writes them down, an eye reads them back.
pub trait Tape {
    fn bytes(&mut self, field: &mut [u8]);
}

macro_rules! fields {
    ($($int:ident)*) => {
        impl dyn Tape + '_ {
            $(pub(in super::super) fn $int(&mut self, field: &mut $int) {
                let mut bytes = field.to_be_bytes();
                self.bytes(&mut bytes);
                *field = $int::from_be_bytes(bytes);
            })*

            pub(in super::super) fn flag(&mut self, field: &mut bool) {
                let mut byte = [u8::from(*field)];
                self.bytes(&mut byte);
                *field = byte != [0];
            }
        }
    };
}
fields!(u8 u16 u32 u64 i8 i64 i128);

pub(in super::super) struct Pen<'p> {
    rest: &'p mut [u8],
}

impl<'p> Pen<'p> {
    pub(in super::super) const fn new(rest: &'p mut [u8]) -> Self {
        Self { rest }
    }
}

impl Tape for Pen<'_> {
    fn bytes(&mut self, field: &mut [u8]) {
        if let Some((place, rest)) =
            core::mem::take(&mut self.rest).split_at_mut_checked(field.len())
        {
            place.copy_from_slice(field);
            self.rest = rest;
        }
    }
}

pub(in super::super) struct Eye<'e> {
    rest: &'e [u8],
}

impl<'e> Eye<'e> {
    pub(in super::super) const fn new(rest: &'e [u8]) -> Self {
        Self { rest }
    }

    /// How many bytes are left.
    #[cfg(test)]
    pub(in super::super) const fn rest(&self) -> usize {
        self.rest.len()
    }
}

impl Tape for Eye<'_> {
    /// Leaves the field as it is where there are too few bytes; lengths are checked apart.
    fn bytes(&mut self, field: &mut [u8]) {
        if let Some((place, rest)) = self.rest.split_at_checked(field.len()) {
            field.copy_from_slice(place);
            self.rest = rest;
        }
    }
}

/// Takes the same room whether there is something or not.
pub(in super::super) fn visit_option<T: Copy + Default>(
    option: &mut Option<T>,
    tape: &mut dyn Tape,
    visit: impl Fn(&mut T, &mut dyn Tape),
) {
    let mut present = option.is_some();
    tape.flag(&mut present);
    let mut value = option.unwrap_or_default();
    visit(&mut value, tape);
    *option = present.then_some(value);
}
