use fixed::types::{I2F30, I24F8};

use super::{BoardError, Load, Shunt};
use crate::old::Channel;
use crate::old::part::{RangeSpec, SenseRange, Spec};
use crate::old::scale::Scale;
use crate::old::wide::divided;
use crate::units::{Current, Power, Resistance, Tolerance, Voltage};

/// One rail: its sense resistor, its load, and how codes become quantities there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Rail {
    shunt: Shunt,
    load: Load,
    /// Least and greatest bus voltage, as declared.
    voltage: Option<(Voltage, Voltage)>,
    pub(super) correction: Correction,
    /// Sense units to nanoamperes.
    current: Scale,
    /// Products of sense and bus units to nanowatts.
    power: Scale,
    /// The zero's current, already in nanoamperes.
    zero: Current,
    /// What temperature does to the sense resistor at the greatest current.
    thermal_ppb: u32,
}

/// Correction of one rail by calibration: what is taken off, what it is then multiplied by, and what remains unknown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Correction {
    /// Sense voltage that the part shows with no current.
    pub zero: Zero,
    /// True current over shown current, after the zero.
    pub gain: Gain,
    /// How well the zero is known, in either direction; `None`: not calibrated, the part's own offset limit holds.
    pub zero_bound: Option<Voltage>,
    /// How well the gain is known, in either direction, parts per million; `None`: not calibrated, part's and resistor's limits hold.
    pub gain_bound: Option<Tolerance>,
    /// Sense range in which the gain was measured: the part's gain is another in each. Where another range is in force, or this is `None` (not known), bounds
    /// take in the part's gain limits in both ranges. The zero is the same in all.
    pub gain_range: Option<SenseRange>,
}

/// A sense voltage in nanovolts with eight binary places: ±8.388 mV in steps of 1/256 nV.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Zero(I24F8);

/// A factor between −2 and 2 with thirty binary places, close to 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Gain(I2F30);

impl Correction {
    /// No correction, nothing known beyond what makers state.
    pub const NONE: Self = Self {
        zero: Zero::NONE,
        gain: Gain::ONE,
        zero_bound: None,
        gain_bound: None,
        gain_range: None,
    };
}

impl Zero {
    /// Nothing is taken off.
    pub const NONE: Self = Self(I24F8::ZERO);

    /// From 256ths of a nanovolt.
    #[must_use]
    pub const fn from_bits(nv_256ths: i32) -> Self {
        Self(I24F8::from_bits(nv_256ths))
    }

    /// In 256ths of a nanovolt.
    #[must_use]
    pub const fn to_bits(self) -> i32 {
        self.0.to_bits()
    }

    /// Rounded to the nearest nanovolt.
    #[must_use]
    pub const fn voltage(self) -> Voltage {
        Voltage::from_nanovolts(self.0.saturating_round().to_bits() as i64 >> 8)
    }
}

impl Gain {
    /// Nothing is changed.
    pub const ONE: Self = Self(I2F30::ONE);

    /// From units of 2^-30.
    #[must_use]
    pub const fn from_bits(bits: i32) -> Self {
        Self(I2F30::from_bits(bits))
    }

    /// In units of 2^-30.
    #[must_use]
    pub const fn to_bits(self) -> i32 {
        self.0.to_bits()
    }
}

impl Rail {
    /// Least sense resistor.
    pub const RESISTANCE_MIN: Resistance = Resistance::from_microohms(100);
    /// Greatest sense resistor.
    pub const RESISTANCE_MAX: Resistance = Resistance::from_ohms(10);

    /// A rail without correction. It converts once it is part of a [`Board`](super::Board).
    #[must_use]
    pub const fn new(shunt: Shunt, load: Load) -> Self {
        Self {
            shunt,
            load,
            voltage: None,
            correction: Correction::NONE,
            current: Scale::ZERO,
            power: Scale::ZERO,
            zero: Current::ZERO,
            thermal_ppb: shunt.thermal_ppb(load.greatest(), None),
        }
    }

    /// The same rail, whose bus voltage always lies between `least` and `greatest`.
    ///
    /// Readings are samples; a declared span tells what the bus can be between them, and tightens the bound of energy. Without it the whole bus range is taken.
    #[must_use]
    pub const fn with_voltage(mut self, least: Voltage, greatest: Voltage) -> Self {
        self.voltage = Some((least, greatest));
        self
    }

    /// Least and greatest bus voltage in nV, as declared, else the range's ends with what may lie beyond them unnoticed.
    pub(crate) fn voltage_span_nv(&self, spec: &Spec, bus: &RangeSpec) -> (u64, u64) {
        let nanovolts = |voltage: Voltage| voltage.as_nanovolts().unsigned_abs();
        match self.voltage {
            Some((least, greatest)) => (nanovolts(least), nanovolts(greatest)),
            None => {
                let beyond = nanovolts(bus.offset.saturating_add(bus.noise));
                let full = bus.full_scale_nv(spec.bus_unit_nv);
                (0, full.saturating_add(beyond))
            }
        }
    }

    /// Works out the factors.
    ///
    /// Current per sense unit: unit ÷ R × gain. Power per product of units: sense unit × bus unit ÷ R × gain.
    pub(super) const fn prepare(
        &mut self,
        spec: &Spec,
        channel: Channel,
    ) -> Result<(), BoardError> {
        let nanoohms = self.shunt.resistance().as_nanoohms();
        if nanoohms < Self::RESISTANCE_MIN.as_nanoohms()
            || nanoohms > Self::RESISTANCE_MAX.as_nanoohms()
        {
            return Err(BoardError::Resistance(channel));
        }
        let gain = self.correction.gain.to_bits();
        if gain <= 0 {
            return Err(BoardError::Correction(channel));
        }
        // Each factor is below 2^32, so the products are below 2^128.
        let denominator = (nanoohms as u128).wrapping_mul(1 << 30);
        let amps = (spec.sense_unit_nv as u128)
            .wrapping_mul(1_000_000_000)
            .wrapping_mul(gain as u128);
        let watts = (spec.sense_unit_nv as u128)
            .wrapping_mul(spec.bus_unit_nv as u128)
            .wrapping_mul(gain as u128);
        let (Ok(current), Ok(power)) = (
            Scale::new(amps, denominator, 26),
            Scale::new(watts, denominator, 42),
        ) else {
            return Err(BoardError::Correction(channel));
        };
        self.current = current;
        self.power = power;
        // 256ths of a nanovolt ÷ nΩ = A/256; rounded to the nearest nA, halves away from zero. Below 2^31 × 2^30 × 2^31.
        let zero = self.correction.zero.to_bits() as i128;
        let numerator = zero.wrapping_mul(1_000_000_000).wrapping_mul(gain as i128);
        let divisor = (denominator as i128).wrapping_mul(256);
        let half = if numerator < 0 {
            (divisor >> 1).wrapping_neg()
        } else {
            divisor >> 1
        };
        let Some(zero_na) = numerator.wrapping_add(half).checked_div(divisor) else {
            return Err(BoardError::Correction(channel));
        };
        self.zero = Current::from_nanoamps(zero_na as i64);
        Ok(())
    }

    /// Its sense resistor.
    #[must_use]
    pub const fn shunt(&self) -> &Shunt {
        &self.shunt
    }

    /// Greatest relative change of the sense resistor by temperature, own heat included, in parts per thousand million.
    pub(crate) const fn thermal_ppb(&self) -> u32 {
        self.thermal_ppb
    }

    /// Its load, as declared.
    #[must_use]
    pub const fn load(&self) -> &Load {
        &self.load
    }

    /// Its correction by calibration.
    #[must_use]
    pub const fn correction(&self) -> &Correction {
        &self.correction
    }

    /// Current of a number of [sense units](Spec::sense_unit_nv), corrected; within 1 nA of exact arithmetic where there is a zero, within half a nA otherwise.
    #[must_use]
    #[inline(always)] // a call costs a fifth of it
    pub const fn current(&self, sense_units: i32) -> Current {
        let shown = Current::from_nanoamps(self.current.apply(sense_units));
        match shown.checked_sub(self.zero) {
            Some(current) => current,
            None => beyond(shown),
        }
    }

    /// Power of a number of products of [sense](Spec::sense_unit_nv) and [bus units](Spec::bus_unit_nv), corrected by the zero's current at `voltage`.
    #[must_use]
    pub const fn power(&self, products: i64, voltage: Voltage) -> Power {
        let shown = Power::from_nanowatts(self.power.apply_wide(products));
        if self.zero.as_nanoamps() == 0 {
            return shown;
        }
        shown.saturating_sub(power_of(self.zero, voltage))
    }
}

/// Product of a current and a voltage, rounded towards zero; apart, so that what it takes of the stack is taken of no board without a zero.
#[inline(never)]
const fn power_of(current: Current, voltage: Voltage) -> Power {
    let (amps, volts) = (current.as_nanoamps(), voltage.as_nanovolts());
    let Some(microvolts) = divided(volts.unsigned_abs() as u128, 1_000) else {
        return Power::ZERO;
    };
    // nA × µV = 1e-15 W; both below 2^63, so the product fits. Rounded towards zero: below a nanowatt.
    let product = (amps.unsigned_abs() as u128).wrapping_mul(microvolts);
    let Some(nanowatts) = divided(product, 1_000_000) else {
        return Power::ZERO;
    };
    let nanowatts = nanowatts as i64;
    Power::from_nanowatts(if (amps < 0) != (volts < 0) {
        nanowatts.wrapping_neg()
    } else {
        nanowatts
    })
}

/// The end of the range on the side of `shown`; apart, since no real current comes near it.
#[cold]
#[inline(never)]
const fn beyond(shown: Current) -> Current {
    if shown.is_negative() {
        Current::MIN
    } else {
        Current::MAX
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Zero {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "Zero({=i32}/256 nV)", self.to_bits());
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Gain {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "Gain({=i32}/2^30)", self.to_bits());
    }
}
