//! Looking at a part's registers by name, for bringing a board up: over any bus, the bench's or a
//! real one, while firmware runs or without any.
//!
//! It disturbs nothing. All that is written is the pointer, which moves in the part; registers that
//! cannot be read, or whose reading changes something, are not touched. Firmware that shares the
//! bus must write the pointer before each read of its own, as the driver does.
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
mod moorhen;
mod scales;

use alloc::{borrow::ToOwned, vec, vec::Vec};

use embedded_hal::i2c::I2c;

pub use corncrake::CORNCRAKE;
pub use description::{Access, Counts, Description, Field, Form, Order, Register, Value};
pub use error::{InspectError, NoSuchRegister};
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

    /// Reads the register of this name, in capitals or not: one transfer.
    ///
    /// # Errors
    /// A name that the part does not have, or a register that is not for onlookers: nothing was
    /// sent. A transfer that failed, or whose check byte is wrong: the part's pointer may have
    /// moved, and reading again is harmless.
    pub fn read(&mut self, name: &str) -> Result<Contents, InspectError<I::Error>> {
        let register = find(self.description, name)?;
        if register.access.is_open() {
            self.contents(register)
        } else {
            Err(InspectError::NotForOnlookers { register })
        }
    }

    /// Reads everything that may be read, in the order of the description.
    ///
    /// # Errors
    /// The first transfer that failed.
    pub fn read_all(&mut self) -> Result<Vec<Contents>, InspectError<I::Error>> {
        let registers = self.description.registers.iter();
        let open = registers.filter(|register| register.access.is_open());
        open.map(|register| self.contents(register)).collect()
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
                scales = scales.with(&self.contents(register)?);
            }
        }
        Ok(scales)
    }

    /// What the register shows: one transfer.
    fn contents(
        &mut self,
        register: &'static Register,
    ) -> Result<Contents, InspectError<I::Error>> {
        let address = self.address;
        let len = usize::from(register.len) + usize::from(self.description.checked);
        let mut bytes = vec![0; len];
        self.i2c
            .write_read(address, &[register.pointer], &mut bytes)
            .map_err(|source| InspectError::Bus {
                register,
                address,
                source,
            })?;
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
        Ok(Contents { register, bytes })
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
    bytes: Vec<u8>,
}

impl Contents {
    /// The register.
    pub fn register(&self) -> &'static Register {
        self.register
    }

    /// Its bytes in the order of the wire, without a check byte.
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
