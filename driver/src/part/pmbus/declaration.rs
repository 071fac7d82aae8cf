use super::command::Side;
use super::format::{Format, Scale};
use crate::Channel;
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

/// A page with what is worked out for it in constants.
#[derive(Clone, Copy, Debug)]
pub(super) struct PageMap {
    pub(super) page: &'static Page,
    pub(super) channel: Channel,
    /// Kinds of limits that are left to the device.
    pub(super) kinds: &'static [Kind],
    /// How words of voltage, current, power and energy count become codes.
    pub(super) scales: [Scale; 4],
    /// More counts than a sample adds at full scale.
    pub(super) most: u32,
    pub(super) sense_max: i32,
    pub(super) rail_max: i32,
}

impl PageMap {
    /// Greatest power code.
    pub(super) const fn power_max(&self) -> i64 {
        (self.sense_max as i64).wrapping_mul(self.rail_max as i64)
    }

    /// The scale of what a kind of limit is about.
    pub(super) const fn scale(&self, kind: Kind) -> &Scale {
        let [voltage, current, power, _] = &self.scales;
        match kind {
            Kind::OverVoltage | Kind::UnderVoltage => voltage,
            Kind::OverCurrent | Kind::UnderCurrent => current,
            Kind::OverPower => power,
        }
    }

    const fn new(
        info: &PartInfo,
        page: &'static Page,
        sense: &RangeInfo,
        rail: &RangeInfo,
    ) -> Self {
        const NANO: u128 = 1_000_000_000;
        // nA × nV are 1e-18 W.
        const ATTO: u128 = 1_000_000_000_000_000_000;
        let sense_nv = sense.lsb_nv(info.sense_unit) as u128;
        let rail_nv = rail.lsb_nv(info.rail_unit) as u128;
        let product = sense_nv.saturating_mul(rail_nv);
        let voltage = Scale::new(page.voltage, rail_nv, NANO);
        let current = Scale::new(page.current, sense_nv, NANO);
        let (mut power, mut energy) = (Scale::NONE, Scale::NONE);
        if let Some(format) = page.power {
            power = Scale::new(format, product, ATTO);
        }
        if let Some(EnergyCount { coefficients, .. }) = page.energy {
            let (m, b, r) = coefficients;
            energy = Scale::new(Format::Direct { m, b, r }, product, ATTO);
        }
        let mut map = Self {
            page,
            channel: Channel::C0,
            kinds: &[],
            scales: [voltage, current, power, energy],
            most: 0,
            sense_max: sense.code_max,
            rail_max: rail.code_max,
        };
        map.most = energy.above(map.power_max()) as u32;
        map
    }

    const fn is_sound(&self) -> bool {
        let [voltage, current, power, energy] = &self.scales;
        let mut sound = voltage.is_there()
            && current.is_there()
            && power.is_there() == self.page.power.is_some()
            && energy.is_there() == self.page.energy.is_some()
            // Above, no rollover is safe.
            && (!energy.is_there() || self.most <= 1 << 16);
        let mut kinds = self.kinds;
        while let [kind, others @ ..] = kinds {
            let told = !matches!(kind, Kind::OverPower) || power.is_there();
            sound = sound && told && self.page.side.comparator(*kind).is_some();
            kinds = others;
        }
        sound
    }

    /// Of all pages of a device. `None` for a declaration that cannot be: each page has ranges and
    /// kinds of limits of its own.
    pub(super) const fn all<const N: usize>(
        info: &'static PartInfo,
        mut pages: &'static [Page],
    ) -> Option<[Self; N]> {
        let (mut senses, mut rails) = (info.sense_ranges, info.rail_ranges);
        let mut kinds = info.alerts.kinds;
        let ([page, ..], [sense, ..], [rail, ..]) = (pages, senses, rails) else {
            return None;
        };
        let (mut all, mut channel) = ([Self::new(info, page, sense, rail); N], 0_u8);
        let mut left: &mut [Self] = &mut all;
        while let ([to, t @ ..], [page, p @ ..], [sense, s @ ..], [rail, r @ ..], [of, k @ ..]) =
            (left, pages, senses, rails, kinds)
        {
            *to = Self::new(info, page, sense, rail);
            (to.kinds, to.channel) = (of, Channel::new(channel));
            if !to.is_sound() {
                return None;
            }
            channel = channel.wrapping_add(1);
            (left, pages, senses, rails, kinds) = (t, p, s, r, k);
        }
        match (pages, senses, rails, kinds) {
            ([], [], [], []) if channel as usize == N => Some(all),
            _ => None,
        }
    }
}

impl Declaration {
    /// Whether it and what the device can do fit each other, for so many channels.
    pub(super) const fn is_sound(&self, info: &PartInfo, channels: usize) -> bool {
        let told = info.undetectable;
        info.channels as usize == channels
            && (self.paged || channels == 1)
            && told.contains(Undetectable::WRITES)
            && (self.mark.is_some() || told.contains(Undetectable::RESET))
            && matches!(info.charge_sum, Source::Driver)
            && info.sum_bits.tick_us != 0
    }
}

/// Whether a range reaches a full scale.
pub(super) const fn reaches(range: &RangeInfo, asked: Voltage) -> bool {
    (range.full_scale_uv as u64).wrapping_mul(1_000) >= asked.as_nanovolts().unsigned_abs()
}
