//! Devices of the open PMBus standard (Part II, revisions 1.2 and 1.3), as far as they tell
//! voltage, current, power and energy.
//!
//! A device is declared in constants ([`Device`]): its pages and their formats, what it can do and
//! how exactly. `init` and `resume` compare that with what the device says of itself by CAPABILITY,
//! PMBUS_REVISION, VOUT_MODE, QUERY and COEFFICIENTS. A difference is a [`Fault::Format`], with the
//! command and both formats in the standard's own code bytes:
//!
//! | register in the error | expected and got |
//! |---|---|
//! | 0x20, VOUT_MODE | the byte of VOUT_MODE |
//! | a reading or a limit | the byte of QUERY about it, without reserved bits; or, for a command that is DIRECT in both, m in the lower and b in the upper half of a word; or R |
//!
//! A device that says VID has a fault of its own, [`Fault::Vid`]. A reset in the middle of the
//! questions may show as a difference, for it selects page 0.
//!
//! # Safe by construction
//!
//! - Everything that is written is a [`Writable`]; no command that changes an output is one.
//!   Limits are warn limits, which do nothing but tell.
//! - PAGE is written and read back before the values of a channel, and read again after them: a
//!   reset or another host in between is a [`Fault::Page`], and no value of another page is taken.
//! - Status bits are cleared after they were seen, no others with them, on a page that was read
//!   back. What nobody can exclude is another host that selects a page between two transfers.
//!
//! # What the driver makes up
//!
//! Running sums (from the device's energy count where one is declared: the mean power since the
//! sample before; energy that flows backwards is in no count, and is left to the trapezoid), power
//! on pages that do not tell it, under-current and whatever else a page does not compare. The
//! device converts by itself whatever the mode is; nothing is latched, and results of different
//! commands may be of different samples.

mod command;
mod declaration;
mod energy;
mod format;
pub mod gallinule;
mod limits;
mod operations;
mod pages;

pub use command::{Side, Writable};
pub use declaration::{Declaration, Device, EnergyCount, Page};
pub use format::Format;

use core::marker::PhantomData;

use super::Codes;
use crate::board::{Board, Rail, SenseResistor};
#[cfg(doc)]
use crate::bus::Fault;
use crate::units::{Resistance, Tolerance};
use declaration::PageMap;

/// A rail of a device that measures amperes itself, as if through 1 Ω. What the device may be off
/// by stands in its [`PartInfo`](crate::info::PartInfo).
pub const RAIL: Rail = Rail::new(SenseResistor::new(
    Resistance::from_ohms(1),
    Tolerance::ZERO,
));

/// A device `D` with `N` channels on a bus.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pmbus<D, const N: usize> {
    address: u8,
    /// Bit c: channel c is enabled.
    enabled: u16,
    device: PhantomData<D>,
}

/// What the pages showed last.
#[derive(Clone, Copy, Debug)]
pub struct Block<const N: usize> {
    shown: [Shown; N],
}

#[derive(Clone, Copy, Debug)]
struct Shown {
    codes: Codes,
    /// The energy count as it was read, count byte lowest; 0 where there is none.
    count: u64,
    /// That of the last sample that came through, and of the one before; 0 if current flowed
    /// backwards then.
    added: u64,
    before: u64,
}

impl<D: Device, const N: usize> Pmbus<D, N> {
    const ALL: Option<[PageMap; N]> = PageMap::all(D::INFO, D::DECLARATION.pages);
    const PAGES: &'static [PageMap] = match &Self::ALL {
        Some(all) => all,
        None => &[],
    };

    /// A device at this 7-bit address. A declaration that cannot be does not compile.
    #[must_use]
    pub const fn new(address: u8) -> Self {
        const {
            assert!(Self::ALL.is_some());
            assert!(D::DECLARATION.is_sound(D::INFO, N));
        }
        Self {
            address,
            enabled: 0,
            device: PhantomData,
        }
    }

    /// A board whose rails hang on this device: [`RAIL`] with a load, mostly.
    #[must_use]
    pub const fn board<const M: usize>(rails: &[Rail; M]) -> Board<M> {
        Board::new(D::INFO, rails)
    }
}
