use super::{Correction, Load, SenseResistor};
use crate::config::ChannelRange;
use crate::convert::{CurrentFactor, PowerFactor};
use crate::units::{Current, Power, Resistance, Voltage};

/// One rail: its sense resistor, what is known of its load, and how codes become quantities there.
///
/// This is the one place where a code becomes a quantity: readings, limits, captures and totals all
/// come here, or to the [ratio](Self::sense_numerator) that the factors are made of.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Rail {
    current: CurrentFactor,
    power: PowerFactor,
    /// The correction's offset in 256ths of the part's sense unit.
    offset_256ths: i32,
    rail_unit_nv: u32,
    usable: bool,
    resistor: SenseResistor,
    correction: Correction,
    load: Option<Load>,
    /// Least and greatest voltage of the rail, as declared.
    voltage: Option<(Voltage, Voltage)>,
}

impl Rail {
    /// Least sense resistor.
    pub const RESISTANCE_MIN: Resistance = Resistance::from_microohms(100);
    /// Greatest sense resistor.
    pub const RESISTANCE_MAX: Resistance = Resistance::from_ohms(10);

    /// A rail without correction, of whose load nothing is declared.
    ///
    /// It converts once it is part of a [`Board`](super::Board).
    #[must_use]
    pub const fn new(resistor: SenseResistor) -> Self {
        Self {
            current: CurrentFactor::ZERO,
            power: PowerFactor::ZERO,
            offset_256ths: 0,
            rail_unit_nv: 0,
            usable: false,
            resistor,
            correction: Correction::NONE,
            load: None,
            voltage: None,
        }
    }

    /// The same rail with a declared load.
    #[must_use]
    pub const fn with_load(mut self, load: Load) -> Self {
        self.load = Some(load);
        self
    }

    /// The same rail, whose voltage always lies between `least` and `greatest`.
    ///
    /// Readings are samples; a declared span tells what the voltage can be between them, and tightens
    /// the bound of energy. Without it the whole range is taken.
    #[must_use]
    pub const fn with_voltage(mut self, least: Voltage, greatest: Voltage) -> Self {
        self.voltage = Some((least, greatest));
        self
    }

    /// Its sense resistor.
    #[must_use]
    pub const fn resistor(&self) -> &SenseResistor {
        &self.resistor
    }

    /// Its load; `None` where nothing was declared.
    #[must_use]
    pub const fn load(&self) -> Option<&Load> {
        self.load.as_ref()
    }

    /// Least and greatest voltage, as declared.
    #[must_use]
    pub const fn voltage_span(&self) -> Option<(Voltage, Voltage)> {
        self.voltage
    }

    /// Its correction by calibration.
    #[must_use]
    pub const fn correction(&self) -> &Correction {
        &self.correction
    }

    /// Whether the part can be used with its resistor and correction.
    #[must_use]
    pub const fn is_usable(&self) -> bool {
        self.usable
    }

    /// Current of a sense code. Positive from source to load; rounded to the nearest nanoampere.
    #[must_use]
    #[inline(always)]
    pub const fn current(&self, range: &ChannelRange, code: i32) -> Current {
        // Codes of at most 20 bits times a few units: far from the end.
        let shown = code.wrapping_mul((range.sense_lsb as i32).wrapping_mul(256));
        Current::from_nanoamps(self.current.apply(shown.wrapping_sub(self.offset_256ths)))
    }

    /// Voltage of a rail code, exact.
    #[must_use]
    #[inline(always)]
    pub const fn voltage(&self, range: &ChannelRange, code: u32) -> Voltage {
        let units = code.wrapping_mul(range.rail_lsb as u32);
        Voltage::from_nanovolts((units as u64).wrapping_mul(self.rail_unit_nv as u64) as i64)
    }

    /// Power of a power code: a mean of sense codes times rail codes. `rail_code` is needed where
    /// there is an offset. Positive into the load; rounded to the nearest nanowatt.
    #[must_use]
    #[inline(always)]
    pub const fn power(&self, range: &ChannelRange, code: i64, rail_code: u32) -> Power {
        let lsb = (range.sense_lsb as i64).wrapping_mul((range.rail_lsb as i64).wrapping_mul(256));
        let mut product = code.wrapping_mul(lsb);
        if self.offset_256ths != 0 {
            let units = rail_code.wrapping_mul(range.rail_lsb as u32);
            product = product.wrapping_sub((units as i64).wrapping_mul(self.offset_256ths as i64));
        }
        Power::from_nanowatts(self.power.apply(product))
    }

    /// The offset that is taken off each sense code, in 256ths of the part's sense unit.
    #[must_use]
    pub const fn offset_256ths(&self) -> i32 {
        self.offset_256ths
    }

    /// What a 256th of a sense unit (of so many nanovolts) stands for is exactly
    /// `unit × gain / (resistance × 2^38)` amperes, with the gain in 2^-30 and the resistance in
    /// nanoohms: this is the numerator.
    #[must_use]
    pub const fn sense_numerator(&self, sense_unit_nv: u32) -> u64 {
        let gain = self.correction.gain.to_bits();
        let gain = if gain > 0 { gain as u64 } else { 0 };
        gain.wrapping_mul(sense_unit_nv as u64) // 31 by 32 bits
    }

    pub(super) const fn correct(&mut self, correction: Correction) {
        self.correction = correction;
    }

    /// Works out the factors: 1e9 × numerator / (resistance × 2^38) nanoamperes for each 256th, and
    /// the same times a rail unit, where nV × nV / nΩ is a nanowatt.
    pub(super) const fn work_out(&mut self, sense_unit_nv: u32, rail_unit_nv: u32) {
        let resistance = self.resistor.resistance().as_nanoohms();
        let in_range = resistance >= Self::RESISTANCE_MIN.as_nanoohms()
            && resistance <= Self::RESISTANCE_MAX.as_nanoohms();
        let numerator = self.sense_numerator(sense_unit_nv) as u128;
        let denominator = (resistance as u128).wrapping_mul(1 << 38); // 34 by 39 bits at the most
        let current = CurrentFactor::new(numerator.wrapping_mul(1_000_000_000), denominator);
        let power = PowerFactor::new(numerator.wrapping_mul(rail_unit_nv as u128), denominator);
        self.usable = false;
        self.rail_unit_nv = rail_unit_nv;
        if let (true, Some(current), Some(power)) = (in_range && numerator > 0, current, power) {
            (self.current, self.power, self.usable) = (current, power, true);
        }
        // Bits are 256ths of a nanovolt: rounded to the nearest 256th of a unit, halves away from zero.
        let bits = self.correction.offset.to_bits() as i64;
        let half = sense_unit_nv as i64 / 2;
        let away = if bits < 0 {
            bits.wrapping_sub(half)
        } else {
            bits.wrapping_add(half)
        };
        self.offset_256ths = match away.checked_div(sense_unit_nv as i64) {
            Some(offset) => offset as i32,
            None => 0,
        };
    }
}
