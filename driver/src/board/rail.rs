use super::{Correction, Load, SenseResistor};
use crate::units::{Current, Resistance, Voltage};

/// What the engineer knows of one rail: its sense resistor, its load, its correction.
///
/// A description: a [`Board`](super::Board) is worked out from it, and bounds are. Firmware that
/// only reads links none of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Rail {
    resistor: SenseResistor,
    correction: Correction,
    load: Option<Load>,
    /// Least and greatest voltage of the rail, as declared.
    voltage: Option<(Voltage, Voltage)>,
    /// Resistor in each sense lead.
    filter: Resistance,
    /// What temperature does to the sense resistor, own heat at the load's greatest current
    /// included.
    thermal_ppb: u32,
}

impl Rail {
    /// Least sense resistor.
    pub const RESISTANCE_MIN: Resistance = Resistance::from_microohms(100);
    /// Greatest sense resistor.
    pub const RESISTANCE_MAX: Resistance = Resistance::from_ohms(10);

    /// A rail without correction, of whose load nothing is declared: its bounds leave out what the
    /// load does between conversions, and how it heats the sense resistor.
    #[must_use]
    pub const fn new(resistor: SenseResistor) -> Self {
        Self {
            resistor,
            correction: Correction::NONE,
            load: None,
            voltage: None,
            filter: Resistance::ZERO,
            thermal_ppb: resistor.thermal_ppb(Current::ZERO),
        }
    }

    /// The same rail with a correction by calibration.
    #[must_use]
    pub const fn corrected(mut self, correction: Correction) -> Self {
        self.correction = correction;
        self
    }

    /// The same rail with a declared load.
    #[must_use]
    pub const fn with_load(mut self, load: Load) -> Self {
        self.load = Some(load);
        self.thermal_ppb = self.resistor.thermal_ppb(load.greatest());
        self
    }

    /// The same rail, whose voltage always lies between `least` and `greatest`.
    ///
    /// Readings are samples; a declared span tells what the voltage can be between them, and
    /// tightens the bound of energy. Without it the whole range is taken.
    #[must_use]
    pub const fn with_voltage(mut self, least: Voltage, greatest: Voltage) -> Self {
        self.voltage = Some((least, greatest));
        self
    }

    /// The same rail with a resistor of this size in each of the two sense leads, as input filters
    /// have.
    ///
    /// The part's input bias flows through both, at worst in opposite directions: bounds count it
    /// through twice this and the sense resistor. An offset calibration takes it out.
    #[must_use]
    pub const fn with_input_filter(mut self, each: Resistance) -> Self {
        self.filter = each;
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

    /// Through what the part's input bias flows, in nanoohms: sense resistor and input filter.
    pub(crate) const fn bias_path_nanoohms(&self) -> u64 {
        let filter = self.filter.as_nanoohms().saturating_mul(2);
        self.resistor
            .resistance()
            .as_nanoohms()
            .saturating_add(filter)
    }

    /// Greatest relative change of its sense resistor by temperature in parts per thousand million;
    /// own heat is in it where a load was declared.
    pub(crate) const fn thermal_ppb(&self) -> u32 {
        self.thermal_ppb
    }

    /// Its correction by calibration.
    #[must_use]
    pub const fn correction(&self) -> &Correction {
        &self.correction
    }
}
