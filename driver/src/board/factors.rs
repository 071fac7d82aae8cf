use super::{Correction, Flow, Gain, Rail};
use crate::config::ChannelRange;
use crate::convert::{
    CurrentFactor, PowerFactor, corrected, long_factor, product, product_by_short,
    product_unsigned, scaled, times,
};
use crate::info::PartInfo;
use crate::units::{Current, Power, Voltage};

/// How codes become quantities on one rail.
///
/// This is the one place where a code becomes a quantity: readings, limits, captures and totals all
/// come here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(C)] // bytes in front, where short instructions reach them
pub struct Factors {
    state: State,
    forward: bool,
    charge_places: u8,
    energy_places: u8,
    /// The correction's offset in 256ths of the part's sense unit.
    offset_256ths: i32,
    current: CurrentFactor,
    power: PowerFactor,
    resistance: u64,
    charge: u64,
    energy: u64,
}

/// What a part can make of a rail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
enum State {
    /// As it was made.
    Made,
    /// Corrected once.
    Corrected,
    Unusable,
}

/// A part's sense unit, and what dividing by it comes to without a division.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct SenseUnit {
    pub(super) nanovolts: u32,
    /// 2^32 over it, rounded down.
    reciprocal: u32,
}

impl SenseUnit {
    pub(super) const fn new(nanovolts: u32) -> Self {
        match u32::MAX.checked_div(nanovolts) {
            Some(reciprocal) => Self {
                nanovolts,
                reciprocal,
            },
            None => Self::new(1),
        }
    }

    /// Units in so many nanovolts, rounded to the nearest, halves up.
    const fn of(&self, nanovolts: u32) -> u32 {
        let up = nanovolts.saturating_add(self.nanovolts / 2);
        // Two too few at the most.
        let mut units = (product_unsigned(up, self.reciprocal) >> 32) as u32;
        let mut rest = up.wrapping_sub(units.wrapping_mul(self.nanovolts));
        while rest >= self.nanovolts {
            rest = rest.wrapping_sub(self.nanovolts);
            units = units.wrapping_add(1);
        }
        units
    }
}

impl Factors {
    /// Of a rail, for a part with this sense and rail unit, in nanovolts.
    ///
    /// A 256th of a sense unit is unit / (resistance × 2^8) amperes, with the resistance in
    /// nanoohms: 1e9 times as many nanoamperes. Times a rail unit it is nanowatts, for nV × nV / nΩ
    /// is a nanowatt.
    pub(super) const fn new(rail: &Rail, unit: &SenseUnit, rail_unit_nv: u32) -> Self {
        let mut factors = Self {
            current: CurrentFactor::ZERO,
            power: PowerFactor::ZERO,
            resistance: rail.resistor().resistance().as_nanoohms(),
            charge: 0,
            energy: 0,
            charge_places: 0,
            energy_places: 0,
            offset_256ths: 0,
            state: State::Unusable,
            forward: match rail.load() {
                Some(load) => matches!(load.flow(), Flow::Forward),
                None => false,
            },
        };
        let resistance = factors.resistance;
        let in_range = resistance >= Rail::RESISTANCE_MIN.as_nanoohms()
            && resistance <= Rail::RESISTANCE_MAX.as_nanoohms();
        let amperes = (unit.nanovolts as u64) << 30;
        let watts = times(amperes, rail_unit_nv);
        let current = CurrentFactor::new(times(amperes, 1_000_000_000), resistance);
        let power = PowerFactor::new(watts, resistance);
        // Nanoamperes × µs are 1e-6 nC.
        let charge = long_factor(times(amperes, 1_000), resistance, 50);
        let energy = long_factor(watts, resistance.wrapping_mul(1_000_000), 82);
        if let (true, Some(current), Some(power)) = (in_range, current, power)
            && let (Some((charge, charge_places)), Some((energy, energy_places))) = (charge, energy)
        {
            (factors.current, factors.power, factors.state) = (current, power, State::Made);
            (factors.charge, factors.charge_places) = (charge, charge_places);
            (factors.energy, factors.energy_places) = (energy, energy_places);
        }
        let correction = rail.correction();
        if correction.gain.to_bits() != Gain::ONE.to_bits() || correction.offset.to_bits() != 0 {
            factors.correct(correction, unit);
        }
        factors
    }

    /// Multiplies by the gain, and notes the offset. What was corrected before cannot be used any
    /// more, and neither can what a gain of zero or less, or one close to two, makes of it.
    pub(super) const fn correct(&mut self, correction: &Correction, unit: &SenseUnit) {
        let gain = correction.gain.to_bits();
        let factor = if gain > 0 { gain as u32 } else { 0 };
        let (current, power) = (self.current.corrected(factor), self.power.corrected(factor));
        self.state = match (self.state, current, power) {
            (State::Made, Some(current), Some(power)) => {
                (self.current, self.power) = (current, power);
                State::Corrected
            }
            _ => State::Unusable,
        };
        self.charge = corrected(self.charge, factor);
        self.energy = corrected(self.energy, factor);
        // Bits are 256ths of a nanovolt.
        let bits = correction.offset.to_bits();
        let offset = unit.of(bits.unsigned_abs()) as i32; // of 31 bits: a unit is 2 nV or more
        self.offset_256ths = if bits < 0 {
            offset.wrapping_neg()
        } else {
            offset
        };
    }

    /// Whether these are the factors of this rail, correction included: gains within some 2^-25.
    pub(crate) const fn is_of(&self, rail: &Rail, info: &PartInfo) -> bool {
        rail.resistor().resistance().as_nanoohms() == self.resistance
            && self.is_corrected_by(rail.correction(), info.sense_unit)
    }

    /// Whether this correction is in them.
    pub(crate) const fn is_corrected_by(&self, correction: &Correction, unit: Voltage) -> bool {
        let unit_nv = unit.as_nanovolts() as u64;
        let taken_off = (self.offset_256ths as i64).wrapping_mul(unit_nv as i64);
        let off = taken_off.abs_diff(correction.offset.to_bits() as i64);
        // What 2^30 of 256ths make, times 2^8 resistances: gain × unit × 1e9, without a division.
        // The last 64 bits tell.
        let shown = (self.current_of(1 << 30).as_nanoamps() << 8) as u64;
        let exact = (correction.gain.to_bits() as u64).wrapping_mul(unit_nv);
        let between = shown
            .wrapping_mul(self.resistance)
            .wrapping_sub(exact.wrapping_mul(1_000_000_000)) as i64;
        off.wrapping_mul(2) <= unit_nv && between.unsigned_abs() <= self.resistance << 8
    }

    /// The resistance that they were made of, in nanoohms.
    pub(crate) const fn nanoohms(&self) -> u64 {
        self.resistance
    }

    /// Whether the part can be used with this resistor and correction.
    #[must_use]
    pub const fn is_usable(&self) -> bool {
        !matches!(self.state, State::Unusable)
    }

    /// Whether current was declared to flow from source to load alone.
    #[must_use]
    pub const fn is_forward(&self) -> bool {
        self.forward
    }

    /// Current of a sense code. Positive from source to load; rounded to the nearest nanoampere,
    /// halves up.
    #[must_use]
    #[inline(always)]
    pub const fn current(&self, range: &ChannelRange, code: i32) -> Current {
        // Codes of at most 20 bits times a few units: far from the end.
        let shown = code.wrapping_mul((range.sense_lsb as i32).wrapping_mul(256));
        self.current_of(shown.wrapping_sub(self.offset_256ths))
    }

    /// Current of a sense voltage in 256ths of the part's sense unit, from which the offset was
    /// taken.
    #[must_use]
    #[inline(always)]
    pub(crate) const fn current_of(&self, sense_256ths: i32) -> Current {
        Current::from_nanoamps(self.current.apply(sense_256ths))
    }

    /// Power of a power code: a mean of sense codes times rail codes. `rail_code` is needed where
    /// there is an offset. Positive into the load; rounded to the nearest nanowatt, halves up.
    #[must_use]
    #[inline(always)]
    pub const fn power(&self, range: &ChannelRange, code: i64, rail_code: u32) -> Power {
        // At most 2^15 for parts whose units are well chosen; in 256ths below 2^62.
        let lsb = (range.sense_lsb as u16).wrapping_mul(range.rail_lsb as u16);
        let mut shown = scaled(code, lsb) << 8;
        if self.offset_256ths != 0 {
            let units = rail_code.wrapping_mul(range.rail_lsb as u32) as i32;
            shown = shown.wrapping_sub(product(units, self.offset_256ths));
        }
        Power::from_nanowatts(self.power.apply(shown))
    }

    /// The offset that is taken off each sense code, in 256ths of the part's sense unit.
    #[must_use]
    pub const fn offset_256ths(&self) -> i32 {
        self.offset_256ths
    }

    /// Nanocoulombs for each 256th of a sense unit that lasts a microsecond: a mantissa of 62 bits,
    /// times 2^(places − 88), with a relative error of 2^-60 at the most.
    #[must_use]
    pub(crate) const fn charge(&self) -> (u64, u8) {
        (self.charge, self.charge_places)
    }

    /// Nanojoules for each product of a 256th of a sense unit and a rail unit that lasts a
    /// microsecond, likewise, times 2^(places − 120).
    #[must_use]
    pub(crate) const fn energy(&self) -> (u64, u8) {
        (self.energy, self.energy_places)
    }
}

/// Voltage of a rail code, exact.
#[must_use]
#[inline(always)]
pub const fn rail_voltage(info: &PartInfo, range: &ChannelRange, code: u32) -> Voltage {
    let units = code.wrapping_mul(range.rail_lsb as u32) as i32;
    let unit = info.rail_unit.as_nanovolts() as i32;
    Voltage::from_nanovolts(match unit {
        0..0x1_0000 => product_by_short(units, unit as u16),
        _ => product(units, unit),
    })
}

#[cfg(test)]
mod tests {
    use super::SenseUnit;

    /// Against the core library's own division.
    #[test]
    fn units_are_divided_off_to_the_nearest() {
        for nanovolts in [2, 3, 7, 100, 101, 4_096, 65_535, 1 << 20] {
            let unit = SenseUnit::new(nanovolts);
            let ends = [0, 1, nanovolts / 2, nanovolts - 1, u32::MAX - nanovolts];
            for number in (0..5_000)
                .map(|n: u32| n.wrapping_mul(0x9E37_79B1))
                .chain(ends)
            {
                let up = u64::from(number) + u64::from(nanovolts / 2);
                let exact = up.min(u64::from(u32::MAX)) / u64::from(nanovolts);
                assert_eq!(u64::from(unit.of(number)), exact, "{number} of {nanovolts}");
            }
        }
    }
}
