use super::command::Side;
use super::format::{Format, Scale};
use crate::config::Kind;
use crate::info::{PartInfo, RangeInfo, Source, Undetectable};
use crate::units::Voltage;

/// A device as its maker describes it: a type, whose constants lie in flash.
pub trait Device: core::fmt::Debug {
    /// What it can do and how exactly.
    ///
    /// The device measures amperes itself: sense voltages are those across 1 Ω, and rails have
    /// [`pmbus::RAIL`](super::RAIL). Sense and rail ranges are those of the pages, in their order;
    /// their limits of error hold half a step of the format in the offset. `alerts.kinds` are the
    /// kinds that are left to the device, page by page; of power only where a page tells it, and
    /// never under-current. Sums and [`WRITES`](Undetectable::WRITES) are the driver's, and without
    /// a [mark](Declaration::mark) a reset is undetectable.
    const INFO: &'static PartInfo;

    /// How it speaks.
    const DECLARATION: &'static Declaration;
}

/// How a device speaks. Nothing of it is learned at run time: `init` and `resume` compare it with
/// what the device says of itself.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Declaration {
    /// Channel 0 up.
    pub pages: &'static [Page],
    /// Whether it has PAGE; without, it has one page.
    pub paged: bool,
    /// Whether transfers carry a check byte, which CAPABILITY has to tell.
    pub check_byte: bool,
    /// Whether it answers QUERY and, for DIRECT formats, COEFFICIENTS. A device that does not is
    /// taken at this declaration, but for VOUT_MODE.
    pub query: bool,
    /// Number n of USER_DATA_n, 0 to 15, where the driver may keep four bytes that a reset brings
    /// to zero: a reset is found by them. Without, it shows by PAGE alone, if that was not 0.
    pub mark: Option<u8>,
    /// Longest time from the beginning of a conversion to the end of the next one of the same page,
    /// in microseconds: so old may be what is read, and so long is waited for a first reading.
    pub sample_us: u32,
}

/// One page of a device: a channel.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Page {
    /// Its number, 0 to 31.
    pub number: u8,
    /// Which commands it has.
    pub side: Side,
    /// Format of the voltage, and of its limits.
    pub voltage: Format,
    /// Format of the current, and of its limits.
    pub current: Format,
    /// Format of the power and of its limit, where it is told; else it is the product.
    pub power: Option<Format>,
    /// Its energy count, where it has one that is to be used.
    pub energy: Option<EnergyCount>,
}

/// An energy count: READ_EIN or READ_EOUT, power codes summed up once a sample.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct EnergyCount {
    /// Slope, offset and exponent of ten of what one code of it stands for, as in
    /// [`Format::Direct`].
    pub coefficients: (i16, i16, i8),
    /// Counts of one rollover: 32 767, as the standard's formula has it, or 32 768 of a plain
    /// counter. It cannot be asked for.
    pub period: u16,
}

/// How words of a page become codes, worked out in constants.
#[derive(Clone, Copy, Debug)]
pub(super) struct Scales {
    pub(super) voltage: Scale,
    pub(super) current: Scale,
    pub(super) power: Option<Scale>,
    pub(super) energy: Option<Energy>,
    pub(super) sense: RangeInfo,
    pub(super) rail: RangeInfo,
}

/// An energy count likewise.
#[derive(Clone, Copy, Debug)]
pub(super) struct Energy {
    pub(super) scale: Scale,
    pub(super) period: u32,
    /// More than a sample adds at full scale.
    pub(super) most: u32,
}

const NO_RANGE: RangeInfo = RangeInfo {
    lsb_units: 0,
    full_scale_uv: 0,
    code_min: 0,
    code_max: 0,
};

impl EnergyCount {
    pub(super) const fn format(&self) -> Format {
        let (m, b, r) = self.coefficients;
        Format::Direct { m, b, r }
    }
}

impl Scales {
    pub(super) const NOTHING: Self = Self {
        voltage: Scale::ONE,
        current: Scale::ONE,
        power: None,
        energy: None,
        sense: NO_RANGE,
        rail: NO_RANGE,
    };

    /// Greatest power code.
    pub(super) const fn power_max(&self) -> i64 {
        (self.sense.code_max as i64).wrapping_mul(self.rail.code_max as i64)
    }

    /// The format and scale of what a kind of limit is about.
    pub(super) const fn of(&self, kind: Kind) -> Option<&Scale> {
        match kind {
            Kind::OverVoltage | Kind::UnderVoltage => Some(&self.voltage),
            Kind::OverCurrent | Kind::UnderCurrent => Some(&self.current),
            Kind::OverPower => self.power.as_ref(),
        }
    }

    const fn new(info: &PartInfo, page: &Page, sense: RangeInfo, rail: RangeInfo) -> Option<Self> {
        const NANO: u128 = 1_000_000_000;
        let sense_nv = sense.lsb_nv(info.sense_unit) as u128;
        let rail_nv = rail.lsb_nv(info.rail_unit) as u128;
        // nA × nV are 1e-18 W.
        let product = sense_nv.saturating_mul(rail_nv);
        let (sense_max, rail_max) = (sense.code_max as u64, rail.code_max as u64);
        let power_max = sense_max.saturating_mul(rail_max);
        let power = match page.power {
            Some(format) => match Scale::new(format, product, NANO * NANO, power_max) {
                None => return None,
                scale => scale,
            },
            None => None,
        };
        let energy = match page.energy {
            Some(count) => {
                let scale = Scale::new(count.format(), product, NANO * NANO, power_max);
                match scale {
                    Some(scale) if scale.takes_means() => {
                        let most = scale.position_of(power_max as i64);
                        if most <= 0 || most > u16::MAX as i64 {
                            return None;
                        }
                        Some(Energy {
                            scale,
                            period: count.period as u32,
                            most: most as u32,
                        })
                    }
                    _ => return None,
                }
            }
            None => None,
        };
        let (Some(voltage), Some(current)) = (
            Scale::new(page.voltage, rail_nv, NANO, rail_max),
            Scale::new(page.current, sense_nv, NANO, sense_max),
        ) else {
            return None;
        };
        Some(Self {
            voltage,
            current,
            power,
            energy,
            sense,
            rail,
        })
    }

    /// Of all pages of a device, and whether a declaration can be.
    pub(super) const fn all<const N: usize>(info: &PartInfo, pages: &[Page]) -> ([Self; N], bool) {
        let mut all = [Self::NOTHING; N];
        let mut sound = pages.len() == N
            && info.sense_ranges.len() == N
            && info.rail_ranges.len() == N
            && info.sense_errors.len() == N
            && info.rail_errors.len() == N;
        let (mut pages, mut into): (_, &mut [Self]) = (pages, &mut all);
        let (mut senses, mut rails) = (info.sense_ranges, info.rail_ranges);
        while let ([page, more @ ..], [to, others @ ..], [sense, s @ ..], [rail, r @ ..]) =
            (pages, into, senses, rails)
        {
            match Self::new(info, page, *sense, *rail) {
                Some(scales) => *to = scales,
                None => sound = false,
            }
            (pages, into, senses, rails) = (more, others, s, r);
        }
        (all, sound)
    }
}

impl Declaration {
    /// Whether it and what the device can do fit each other, for so many channels.
    pub(super) const fn is_sound(&self, info: &PartInfo, channels: usize) -> bool {
        let told = info.undetectable;
        let reset = self.mark.is_some() || told.contains(Undetectable::RESET);
        let sums = matches!(info.charge_sum, Source::Driver) && info.sum_bits.tick_us != 0;
        let mut kinds_fit = info.alerts.kinds.len() == channels;
        let (mut pages, mut kinds) = (self.pages, info.alerts.kinds);
        while let ([page, more @ ..], [of_page, others @ ..]) = (pages, kinds) {
            let mut rest = *of_page;
            while let [kind, further @ ..] = rest {
                let power = !matches!(kind, Kind::OverPower) || page.power.is_some();
                kinds_fit = kinds_fit && power && page.side.comparator(*kind).is_some();
                rest = further;
            }
            (pages, kinds) = (more, others);
        }
        kinds_fit
            && info.channels as usize == channels
            && (self.paged || channels == 1)
            && told.contains(Undetectable::WRITES)
            && reset
            && sums
    }
}

/// Whether a range reaches a full scale.
pub(super) const fn reaches(range: &RangeInfo, asked: Voltage) -> bool {
    (range.full_scale_uv as u64).wrapping_mul(1_000) >= asked.as_nanovolts().unsigned_abs()
}
