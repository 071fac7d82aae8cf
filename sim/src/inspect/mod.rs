//! Looking at a part's registers by name, for bringing a board up: over any bus, the bench's or a
//! real one, while firmware runs or without any.
//!
//! It disturbs nothing on a part without pages. All that is written is the pointer, which moves in
//! the part; registers that cannot be read, or whose reading changes something, are not touched.
//! Firmware that shares the bus must write the pointer before each read of its own, as the driver
//! does.
//!
//! A register that each page has one of its own of needs the page to be selected: that is written,
//! read back, and put back as it was right after the register was read. Firmware that is between
//! two transfers then finds a page that it did not select, so stop it first.
//!
//! Registers are read one after the other: what a running part shows in two of them may come from
//! two moments.
//!
//! ```
//! use crake_sim::{
//!     bench::Bench,
//!     inspect::{CORNCRAKE, Inspector, Value},
//!     part::corncrake::Corncrake,
//! };
//!
//! let bench = Bench::new(1);
//! bench.part(Corncrake::new(0x32))?;
//! let mut inspector = Inspector::new(bench.i2c(), 0x32, &CORNCRAKE);
//! let reset_seen = inspector.read("RESET_SEEN")?;
//! assert_eq!(reset_seen.bytes(), [0x01]);
//! assert_eq!(reset_seen.value("reset_seen"), Some(Value::Flag(true)));
//! # Ok::<(), Box<dyn core::error::Error>>(())
//! ```

mod corncrake;
mod description;
mod error;
mod gallinule;
mod moorhen;
mod scales;

use alloc::{borrow::ToOwned, vec, vec::Vec};

use embedded_hal::i2c::I2c;

pub use corncrake::CORNCRAKE;
pub use description::{
    Access, Counts, Description, Field, Form, Measure, Order, Register, Text, Value, Words,
};
pub use error::{InspectError, NoSuchRegister};
pub use gallinule::GALLINULE;
pub use moorhen::MOORHEN;
pub use scales::{Quantity, Resistor, Scales};

use crate::part::pec::pec;

/// Reads the registers of one part.
#[derive(Debug)]
pub struct Inspector<I> {
    i2c: I,
    address: u8,
    description: &'static Description,
}

impl<I: I2c> Inspector<I> {
    /// For the part at a 7-bit address, which has these registers. Nothing is sent.
    pub fn new(i2c: I, address: u8, description: &'static Description) -> Self {
        Self {
            i2c,
            address,
            description,
        }
    }

    /// Reads the register of this name, in capitals or not: one transfer. For one that each page
    /// has, see [`read_page`](Self::read_page).
    ///
    /// # Errors
    /// A name that the part does not have, a register that is not for onlookers, or one of which
    /// each page has its own: nothing was sent. A transfer that failed, or whose count of bytes or
    /// check byte is wrong: the part's pointer may have moved, and reading again is harmless.
    pub fn read(&mut self, name: &str) -> Result<Contents, InspectError<I::Error>> {
        self.on_page(find(self.description, name)?, None)
    }

    /// Reads the register of this name on a page: selects the page, if it is not selected yet, and
    /// puts back the one that was.
    ///
    /// # Errors
    /// As for [`read`](Self::read); nothing was sent if that page has no such register. If the page
    /// could not be selected, or not be put back, the part may be left with this page or the one
    /// before; the error names the page that was to be selected last.
    pub fn read_page(&mut self, name: &str, page: u8) -> Result<Contents, InspectError<I::Error>> {
        self.on_page(find(self.description, name)?, Some(page))
    }

    /// Reads the register of this name on each page that has it, or the one that there is.
    ///
    /// # Errors
    /// As for [`read_page`](Self::read_page); the first that failed.
    pub fn read_each(&mut self, name: &str) -> Result<Vec<Contents>, InspectError<I::Error>> {
        self.each(find(self.description, name)?)
    }

    /// Reads everything that may be read, in the order of the description, each register on each of
    /// its pages.
    ///
    /// # Errors
    /// The first transfer that failed.
    pub fn read_all(&mut self) -> Result<Vec<Contents>, InspectError<I::Error>> {
        let registers = self.description.registers.iter();
        let open = registers.filter(|register| register.access.is_open());
        let read: Result<Vec<_>, _> = open.map(|register| self.each(register)).collect();
        Ok(read?.concat())
    }

    /// What codes are worth by the ranges that the part has now: reads the registers that say so,
    /// of each channel the first in the description.
    ///
    /// # Errors
    /// As for [`read`](Self::read).
    pub fn scales(&mut self, resistors: &[Resistor]) -> Result<Scales, InspectError<I::Error>> {
        let mut scales = Scales::new(self.description, resistors);
        for register in self.description.registers {
            let tells = |field: &Field| match field.counts {
                Counts::SenseRange(channel) => scales.sense_lsb_nv(channel).is_none(),
                Counts::RailRange(channel) => scales.rail_lsb_nv(channel).is_none(),
                _ => false,
            };
            if register.access.is_open() && register.fields.iter().any(tells) {
                for contents in self.each(register)? {
                    scales = scales.with(&contents);
                }
            }
        }
        Ok(scales)
    }

    fn each(
        &mut self,
        register: &'static Register,
    ) -> Result<Vec<Contents>, InspectError<I::Error>> {
        if register.pages.is_empty() {
            return Ok(vec![self.on_page(register, None)?]);
        }
        let pages = register.pages.iter();
        pages
            .map(|page| self.on_page(register, Some(*page)))
            .collect()
    }

    fn on_page(
        &mut self,
        register: &'static Register,
        page: Option<u8>,
    ) -> Result<Contents, InspectError<I::Error>> {
        if !register.access.is_open() {
            return Err(InspectError::NotForOnlookers { register });
        }
        let bytes = match (page, self.description.selector) {
            (None, _) if register.pages.is_empty() => self.bytes(register)?,
            (Some(page), Some(selector)) if register.pages.contains(&page) => {
                let before = self.selected(selector)?;
                if before == page {
                    self.bytes(register)?
                } else {
                    let selected = self.select(selector, page);
                    let bytes = selected.and_then(|()| self.bytes(register));
                    // Whatever came of it.
                    let restored = self.select(selector, before);
                    let bytes = bytes?;
                    restored?;
                    bytes
                }
            }
            _ => return Err(InspectError::NoSuchPage { register, page }),
        };
        Ok(Contents {
            register,
            page,
            bytes,
        })
    }

    fn selected(&mut self, selector: &'static Register) -> Result<u8, InspectError<I::Error>> {
        let bytes = self.bytes(selector)?;
        Ok(bytes.first().copied().unwrap_or_default())
    }

    /// Selects a page and looks whether it is.
    fn select(
        &mut self,
        selector: &'static Register,
        page: u8,
    ) -> Result<(), InspectError<I::Error>> {
        let address = self.address;
        let mut bytes = vec![selector.pointer, page];
        if self.description.checked {
            bytes.push(pec(pec(0, &[address << 1]), &bytes));
        }
        self.i2c
            .write(address, &bytes)
            .map_err(|source| InspectError::Selecting {
                selector,
                address,
                page,
                source,
            })?;
        let shown = self.selected(selector)?;
        if shown == page {
            return Ok(());
        }
        Err(InspectError::NotSelected {
            selector,
            address,
            page,
            shown,
        })
    }

    /// What the register shows, on the page that is selected: one transfer.
    fn bytes(&mut self, register: &'static Register) -> Result<Vec<u8>, InspectError<I::Error>> {
        let address = self.address;
        let len = usize::from(register.len) + usize::from(register.block);
        let mut bytes = vec![0; len + usize::from(self.description.checked)];
        self.i2c
            .write_read(address, &[register.pointer], &mut bytes)
            .map_err(|source| InspectError::Bus {
                register,
                address,
                source,
            })?;
        // A block of another length has its check byte elsewhere.
        if let Some(came) = bytes.first().copied().filter(|_| register.block)
            && came != register.len
        {
            return Err(InspectError::Count {
                register,
                address,
                came,
            });
        }
        if self.description.checked {
            let came = bytes.pop().unwrap_or_default();
            let head = [address << 1, register.pointer, address << 1 | 1];
            let expected = pec(pec(0, &head), &bytes);
            if came != expected {
                return Err(InspectError::CheckByte {
                    register,
                    address,
                    bytes,
                    expected,
                    came,
                });
            }
        }
        Ok(bytes.split_off(usize::from(register.block)))
    }
}

/// The register of this name, in capitals or not.
///
/// # Errors
/// There is none; the error lists those that there are.
pub fn find(
    description: &'static Description,
    name: &str,
) -> Result<&'static Register, NoSuchRegister> {
    description.register(name).ok_or_else(|| NoSuchRegister {
        name: name.to_owned(),
        description,
    })
}

/// A register and what it held.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Contents {
    register: &'static Register,
    page: Option<u8>,
    bytes: Vec<u8>,
}

impl Contents {
    /// The register.
    pub fn register(&self) -> &'static Register {
        self.register
    }

    /// The page that it was read on, of a register that each page has.
    pub fn page(&self) -> Option<u8> {
        self.page
    }

    /// Its bytes in the order of the wire, without the count of a block and without a check byte.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// All fields, decoded.
    pub fn values(&self) -> impl Iterator<Item = (&'static Field, Value)> {
        self.register.values(&self.bytes)
    }

    /// The field of this name, decoded; `None` if the register has none.
    pub fn value(&self, name: &str) -> Option<Value> {
        let mut values = self.values();
        let found = values.find(|(field, _)| field.name == name);
        found.map(|(_, value)| value)
    }
}
