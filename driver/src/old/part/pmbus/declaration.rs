use super::Period;
use super::command::{Side, UserData};
use super::format::{Coefficients, Format, Unit};
use crate::old::part::{RangeSpec, Source, Spec};
use crate::old::sampling::Ranges;

/// A device as its maker describes it: a type without size, whose constant lies in flash.
pub trait Device: core::fmt::Debug {
    /// What is known of it beforehand. Everything else it is asked for.
    const DECLARATION: &'static Declaration;
}

/// What is known of a device beforehand: what it cannot be asked for, and what it has to have.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Declaration {
    /// What it can do and how exactly. `channels` is the number of [`pages`](Self::pages), `sums` is the driver's, with [`Sums::WIDTHS`](crate::old::part::make_up::Sums::WIDTHS).
    ///
    /// The device measures amperes itself: a sense code counts `sense_unit_nv × lsb_units` nanoamperes, as if through 1 Ω; rails have
    /// [`Shunt::inside`](crate::old::board::Shunt::inside), and the device's limits of error for the current stand in the sense ranges, with half a step of its format in the offset.
    /// `paces` are promises of the firmware to read so often, none faster than the device's own samples. `power` is the driver's where no page tells power at all.
    /// `alerts.kinds` are the kinds to be left to the device; on a page that lacks one of them the driver judges it. Under-current is the driver's always: its only limit is one that may switch off.
    pub spec: Spec,
    /// Whether writes carry a check byte and reads are verified: the device has to say that it can.
    pub checked: bool,
    /// Whether it has PAGE; without, it has one page.
    pub paged: bool,
    /// Where the mark is kept by which a reset and a stranger's set-up are found: four bytes that a reset brings to zero. Without one, a reset shows only by PAGE, if it was not 0, and nobody can
    /// [attach](crate::old::ShuntMonitor::attach).
    pub mark: Option<UserData>,
    /// Channel 0 up.
    pub pages: &'static [PageSpec],
}

/// One page of a device: a channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct PageSpec {
    /// Its number, 0 to 31.
    pub page: u8,
    /// Which commands it has.
    pub side: Side,
    /// Its ranges, which do not change.
    pub ranges: Ranges,
    /// Format of the voltage, and of its limits. [`Expect::Ask`] goes by VOUT_MODE for an output.
    pub voltage: Expect,
    /// Format of the current, and of its limits.
    pub current: Expect,
    /// Format of the power, where it is told, and of its limits.
    pub power: Expect,
    /// Its energy count, where it has one that is to be used. A count without this is let alone: its period cannot be asked for.
    pub energy: Option<EnergySpec>,
}

/// An energy count. It is told in DIRECT format.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct EnergySpec {
    /// How it goes on after its greatest value.
    pub period: Period,
    /// What one code of it stands for; `None` asks.
    pub coefficients: Option<Coefficients>,
}

/// Where a format comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Expect {
    /// The device is asked.
    Ask,
    /// It is this one; for a device that answers no such question, or wrongly.
    Is(Format),
}

/// In what a page's codes are counted, and how far they go.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scales {
    pub voltage: Unit,
    pub current: Unit,
    pub power: Unit,
    pub bus_max: u32,
    pub sense_max: i32,
}

impl Scales {
    const NOTHING: Self = Self {
        voltage: Unit::NANO,
        current: Unit::NANO,
        power: Unit::NANO,
        bus_max: 0,
        sense_max: 0,
    };
}

impl Declaration {
    /// Whether it makes sense, and fits `channels` channels: checked where a [`Pmbus`](super::Pmbus) is made.
    #[must_use]
    pub const fn is_sound(&self, channels: usize) -> bool {
        let mut rest = self.pages;
        while let Some((page, others)) = rest.split_first() {
            let sense = self.spec.sense.len() > page.ranges.sense.0 as usize;
            let bus = self.spec.bus.len() > page.ranges.bus.0 as usize;
            if !sense || !bus || page.page > 31 {
                return false;
            }
            rest = others;
        }
        self.pages.len() == channels
            && channels == self.spec.channels as usize
            && channels > 0
            && channels <= 12
            && (self.paged || channels == 1)
            && matches!(self.spec.sums, Source::Driver)
            && self.whole_nanowatts()
    }

    /// Whether every product of a sense and a bus step is a whole number of nanowatts.
    const fn whole_nanowatts(&self) -> bool {
        let mut senses = self.spec.sense;
        while let Some((sense, others)) = senses.split_first() {
            let mut buses = self.spec.bus;
            while let Some((bus, rest)) = buses.split_first() {
                match self.nanowatts(sense, bus) {
                    Some(_) => buses = rest,
                    None => return false,
                }
            }
            senses = others;
        }
        true
    }

    /// Nanowatts of one power code; `None` where they are not whole, or a step or a code does not fit 32 bits, signed for currents.
    const fn nanowatts(&self, sense: &RangeSpec, bus: &RangeSpec) -> Option<u32> {
        const MAX: u64 = u32::MAX as u64;
        let codes = sense.code_max <= i32::MAX as u32;
        let sense = sense.lsb_nv(self.spec.sense_unit_nv);
        let bus = bus.lsb_nv(self.spec.bus_unit_nv);
        if !codes || sense > MAX || bus > MAX {
            return None;
        }
        // 32 by 32 bits. nA × nV = 1e-18 W.
        let product = sense.wrapping_mul(bus);
        let whole = product / 1_000_000_000;
        if !product.is_multiple_of(1_000_000_000) || whole == 0 || whole > MAX {
            return None;
        }
        Some(whole as u32)
    }

    /// The scales of all channels.
    pub(super) const fn scales<const N: usize>(&self) -> [Scales; N] {
        let mut scales = [Scales::NOTHING; N];
        let (mut places, mut pages): (&mut [Scales], _) = (&mut scales, self.pages);
        while let (Some((place, rest)), Some((page, others))) =
            (places.split_first_mut(), pages.split_first())
        {
            if let Some(found) = self.scales_of(page) {
                *place = found;
            }
            (places, pages) = (rest, others);
        }
        scales
    }

    const fn scales_of(&self, page: &PageSpec) -> Option<Scales> {
        let (Some((_, [sense, ..])), Some((_, [bus, ..]))) = (
            self.spec
                .sense
                .split_at_checked(page.ranges.sense.0 as usize),
            self.spec.bus.split_at_checked(page.ranges.bus.0 as usize),
        ) else {
            return None;
        };
        let Some(nanowatts) = self.nanowatts(sense, bus) else {
            return None;
        };
        // Both are what a product that fits is made of.
        Some(Scales {
            voltage: Unit::nano(bus.lsb_nv(self.spec.bus_unit_nv) as u32),
            current: Unit::nano(sense.lsb_nv(self.spec.sense_unit_nv) as u32),
            power: Unit::nano(nanowatts),
            bus_max: bus.code_max,
            sense_max: sense.code_max as i32,
        })
    }
}
