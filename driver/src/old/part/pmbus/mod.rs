//! Devices of the open PMBus standard (Part II, revisions 1.2 and 1.3), as far as they tell voltage, current, power and energy.
//!
//! A device is declared as data ([`Declaration`]): its pages and their order, what its readings may be off by, what cannot be asked for. What it supports and in which number formats it
//! speaks is asked of it at [`init`](crate::old::ShuntMonitor::init) and [`attach`](crate::old::ShuntMonitor::attach): by CAPABILITY, PMBUS_REVISION, VOUT_MODE, QUERY and COEFFICIENTS, or, where it knows no QUERY, by
//! trying and looking at STATUS_CML. What the declaration counts on and the device lacks is a [`Fault::NotSupported`] that names command and page.
//!
//! # Safe by construction
//!
//! - Everything that can be written is a [`Writable`]; no command that changes an output can be made of one. Limits are warn limits, which do nothing but tell.
//! - PAGE is selected and read back before the values of a channel and read again after them: a reset in between selects page 0, and page 0 is not taken for another.
//! - Status bits are cleared one by one, and only after they were seen, on a page that was read back since.
//! - While a set-up is being changed the device carries an interim mark, which no host takes for a set-up: a change that was cut off shows as a reset, and a reset in the middle of a change is
//!   found by the mark's absence. What remains: a mark is read and then written, and a reset that comes and goes between these two transfers is written over. At the beginning of a change that does
//!   no harm, for all of it is still to come; at its end, or when nothing but the sampling changes, limits are gone unseen. Time for it is one transfer long.
//!
//! # What the driver makes up
//!
//! Running sums (from the device's own energy count where there is one), power on pages that do not tell it, under-current, debounce, causes that follow, and whatever a page does not compare. See
//! [`make_up`](super::make_up).

mod ask;
mod command;
mod declaration;
mod effort;
mod energy;
pub mod format;
pub mod gallinule;
mod learn;
mod limits;
mod registers;
mod sample;
mod steps;
mod walk;

pub use command::{Side, StatusRegister, UserData, WarnLimit, Writable};
pub use declaration::{Declaration, Device, EnergySpec, Expect, PageSpec};
pub use energy::{EnergyCount, Mean, Period};

use core::marker::PhantomData;

use crate::old::Channel;
use crate::old::alert::{Causes, Judge, Kind};
use crate::old::exchange::Fault;
use crate::old::part::Codes;
use crate::old::part::make_up::{Kept, Sums};
use crate::old::sampling::Mode;
use declaration::Scales;
use format::{Coefficients, Format};
use walk::Place;

/// The driver's side of one device `D` with `N` channels: what must be remembered of it between operations.
///
/// A frame is one reading of all enabled channels, in every mode; a pace is the firmware's promise to take one at least so often.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pmbus<D, const N: usize> {
    at: Place,
    /// It answers QUERY.
    query: bool,
    learned: [Learned; N],
    shown: [Shown; N],
    /// Mark that the device is expected to have.
    serial: u16,
    /// Mark whose writing has come to no end yet: it may have taken effect or not, and the next reading tells.
    coming: Option<u16>,
    /// Mark of the change that is under way, whose interim form the device carries.
    change: Option<u16>,
    now: Kept<N>,
    /// Takes over with the next sample.
    next: Option<Kept<N>>,
    reset_seen: bool,
    complete: bool,
    /// Another page than the one selected was found: by a reset, or by somebody else.
    suspect: Option<Fault>,
    sums: Sums<N>,
    judge: Judge<N>,
    /// Causes that the device may set for us.
    by_part: Causes,
    device: PhantomData<D>,
}

/// What a page was asked for.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Learned {
    voltage: Format,
    current: Format,
    /// Where it tells power.
    power: Option<Format>,
    energy: Option<Coefficients>,
    /// Kinds of limits that it compares, by their place in [`Kind::ALL`].
    kinds: u8,
}

/// What a page showed last.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Shown {
    codes: Codes,
    count: Option<EnergyCount>,
    /// The count of the frame before, and whether current flowed backwards then.
    before: Option<(EnergyCount, bool)>,
}

impl Shown {
    const NOTHING: Self = Self {
        codes: Codes {
            sense: 0,
            bus: 0,
            power: 0,
            sense_clipped: false,
            bus_clipped: false,
        },
        count: None,
        before: None,
    };
}

impl Learned {
    const NOTHING: Self = Self {
        voltage: Format::Linear11,
        current: Format::Linear11,
        power: None,
        energy: None,
        kinds: 0,
    };

    const fn compares(&self, kind: Kind) -> bool {
        (self.kinds >> kind.index()) & 1 == 1
    }

    /// The format of the quantity that a kind of limit is about.
    const fn format(&self, kind: Kind) -> Option<Format> {
        match kind {
            Kind::OverVoltage | Kind::UnderVoltage => Some(self.voltage),
            Kind::OverCurrent | Kind::UnderCurrent => Some(self.current),
            Kind::OverPower => self.power,
        }
    }
}

impl<D: Device, const N: usize> Pmbus<D, N> {
    const SCALES: &'static [Scales; N] = &D::DECLARATION.scales();

    fn scales(channel: Channel) -> Option<&'static Scales> {
        Self::SCALES.get(channel.index())
    }

    /// A device of which nothing is known yet. A declaration that makes no sense does not compile.
    #[must_use]
    pub const fn new() -> Self {
        const { assert!(D::DECLARATION.is_sound(N)) }
        Self {
            at: Place::START,
            query: false,
            learned: [Learned::NOTHING; N],
            shown: [Shown::NOTHING; N],
            serial: 0,
            coming: None,
            change: None,
            now: Kept {
                enabled: [true; N],
                mode: Mode::SingleShot,
            },
            next: None,
            reset_seen: false,
            complete: false,
            suspect: None,
            sums: Sums::new(),
            judge: Judge::idle(),
            by_part: Causes::LIMITS,
            device: PhantomData,
        }
    }
}

impl<D: Device, const N: usize> Default for Pmbus<D, N> {
    fn default() -> Self {
        Self::new()
    }
}

fn byte(block: &[u8], at: usize) -> u8 {
    block.get(at).copied().unwrap_or_default()
}

/// `W` bytes from the block's beginning; zeros where it is too short.
fn bytes<const W: usize>(block: &[u8]) -> [u8; W] {
    block.first_chunk().copied().unwrap_or([0; W])
}
