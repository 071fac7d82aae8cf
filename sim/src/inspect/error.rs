use alloc::{string::String, vec::Vec};
use core::error::Error;
use core::fmt;

use super::description::{Access, Description, Register};

/// Why a register could not be looked at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum InspectError<E> {
    /// The part has no register of this name.
    NoSuchRegister(NoSuchRegister),
    /// It can only be written, reading it would change the part, or its length is not known.
    NotForOnlookers {
        /// The register.
        register: &'static Register,
    },
    /// The transfer failed.
    Bus {
        /// The register.
        register: &'static Register,
        /// The part's 7-bit address.
        address: u8,
        /// What the bus says.
        source: E,
    },
    /// Each of some pages has one, and no page was named, or one that is not among them.
    NoSuchPage {
        /// The register.
        register: &'static Register,
        /// The page.
        page: Option<u8>,
    },
    /// The page could not be written.
    Selecting {
        /// The register that selects it.
        selector: &'static Register,
        /// The part's 7-bit address.
        address: u8,
        /// The page.
        page: u8,
        /// What the bus says.
        source: E,
    },
    /// The page was written, and another is selected.
    NotSelected {
        /// The register that selects it.
        selector: &'static Register,
        /// The part's 7-bit address.
        address: u8,
        /// The page.
        page: u8,
        /// What the register shows.
        shown: u8,
    },
    /// The block does not have as many bytes as the register.
    Count {
        /// The register.
        register: &'static Register,
        /// The part's 7-bit address.
        address: u8,
        /// The count that came.
        came: u8,
    },
    /// The bytes came, and a check byte that is not theirs.
    CheckByte {
        /// The register.
        register: &'static Register,
        /// The part's 7-bit address.
        address: u8,
        /// The bytes that came.
        bytes: Vec<u8>,
        /// The check byte that belongs to them.
        expected: u8,
        /// The check byte that came.
        came: u8,
    },
}

impl<E> From<NoSuchRegister> for InspectError<E> {
    fn from(error: NoSuchRegister) -> Self {
        Self::NoSuchRegister(error)
    }
}

impl<E: fmt::Debug> fmt::Display for InspectError<E> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NoSuchRegister(error) => error.fmt(f),
            Self::NotForOnlookers { register } => {
                let (name, pointer) = (register.name, register.pointer);
                let why = match register.access {
                    Access::Write => "it can only be written, and has nothing to show",
                    Access::ReadVaries => "how long it is depends on another register",
                    _ => "reading it changes the part",
                };
                write!(f, "{name} ({pointer:#04x}) is left alone: {why}")
            }
            Self::Bus {
                register,
                address,
                source,
            } => {
                let (name, pointer) = (register.name, register.pointer);
                write!(f, "{name} ({pointer:#04x}) of the part at {address:#04x} ")?;
                write!(f, "cannot be read: {source:?}")
            }
            Self::NoSuchPage { register, page } => {
                let (name, pages) = (register.name, register.pages);
                match page {
                    None => write!(f, "{name}: each of the pages {pages:?} has one of its own"),
                    Some(page) if pages.is_empty() => {
                        write!(f, "{name} belongs to no page, and so not to page {page}")
                    }
                    Some(page) => {
                        write!(f, "{name} is none of page {page}: ")?;
                        write!(f, "the pages {pages:?} have it")
                    }
                }
            }
            Self::Selecting {
                selector,
                address,
                page,
                source,
            } => {
                let (name, pointer) = (selector.name, selector.pointer);
                write!(f, "{name} ({pointer:#04x}) of the part at {address:#04x} ")?;
                write!(f, "cannot be set to {page}: {source:?}")
            }
            Self::NotSelected {
                selector,
                address,
                page,
                shown,
            } => {
                let (name, pointer) = (selector.name, selector.pointer);
                write!(f, "{name} ({pointer:#04x}) of the part at {address:#04x} ")?;
                write!(f, "was set to {page} and shows {shown}")
            }
            Self::Count {
                register,
                address,
                came,
            } => {
                let (name, pointer, len) = (register.name, register.pointer, register.len);
                write!(f, "{name} ({pointer:#04x}) of the part at {address:#04x}: ")?;
                write!(f, "a block of {len} was expected, its count is {came}")
            }
            Self::CheckByte {
                register,
                address,
                bytes,
                expected,
                came,
            } => {
                let (name, pointer) = (register.name, register.pointer);
                write!(f, "{name} ({pointer:#04x}) of the part at {address:#04x}: ")?;
                write!(f, "{bytes:02X?} came with check byte {came:#04x}, ")?;
                write!(f, "theirs is {expected:#04x}")
            }
        }
    }
}

impl<E: fmt::Debug> Error for InspectError<E> {}

/// A part has no register of this name.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NoSuchRegister {
    /// The name asked for.
    pub name: String,
    /// The registers that the part has.
    pub description: &'static Description,
}

impl fmt::Display for NoSuchRegister {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Description {
            name, registers, ..
        } = self.description;
        write!(f, "{name} has no register {}; it has", self.name)?;
        for (place, register) in registers.iter().enumerate() {
            let comma = if place == 0 { "" } else { "," };
            write!(f, "{comma} {}", register.name)?;
        }
        Ok(())
    }
}

impl Error for NoSuchRegister {}
