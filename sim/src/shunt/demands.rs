use core::fmt;

use crake::board::{Load, Mean, Rail, SenseResistor};
use crake::config::ChannelRange;
use crake::info::PartInfo;
use crake::units::{Current, Resistance, Tolerance, Voltage};

use super::budget::{Setting, volts};
use super::{Filter, Series};

/// What is asked of a rail's measurement, and what is known beforehand.
#[derive(Clone, Debug)]
pub struct Demands {
    /// The part that measures.
    pub part: &'static PartInfo,
    /// Greatest voltage of the rail.
    pub voltage: Voltage,
    /// Least current of interest.
    pub least: Current,
    /// Greatest current.
    pub greatest: Current,
    /// Whether current flows both ways.
    pub both_ways: bool,
    /// Where it does: greatest mean of its magnitude, and the least stretch in seconds for which
    /// that holds.
    pub mean: Option<(Current, u32)>,
    /// Error allowed at the least current, in the worst case; parts per million of it.
    pub error_ppm: u64,
    /// Voltage that may be lost across the sense resistor at the greatest current.
    pub burden: Option<Voltage>,
    /// Least and greatest temperature around it, in thousandths of a degree Celsius.
    pub ambient_mc: (i32, i32),
    /// In which values it is made.
    pub series: Series,
    /// What its maker states.
    pub resistors: Resistors,
    /// k of readings that are means of 2^k scans.
    pub averaging: u8,
    /// Whether the firmware calibrates the offset.
    pub calibrated: bool,
    /// What stands in the sense leads.
    pub filter: Option<Filter>,
    /// Over what energy is added up.
    pub stretch: Stretch,
}

/// What the maker of a kind of resistors states of each.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Resistors {
    /// Greatest departure from nominal at 25 °C, in parts per million.
    pub tolerance_ppm: u32,
    /// Greatest temperature coefficient, in parts per million per kelvin.
    pub coefficient_ppm_per_k: u32,
    /// Its own heating, in thousandths of a kelvin per watt.
    pub thermal_mk_per_w: u32,
}

/// A stretch of time over which energy is added up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stretch {
    /// Its length in microseconds.
    pub duration_us: u64,
    /// From one scan to the next, in microseconds: the part's own, or how often a host reads that
    /// adds up by itself.
    pub scan_period_us: u32,
    /// How far the host's clock may be off.
    pub clock: Tolerance,
}

/// A demand that no sense resistor can meet, or that contradicts another.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Impossible(pub String);

impl fmt::Display for Impossible {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for Impossible {}

/// Temperature for which nominal resistances hold, in thousandths of a degree Celsius.
const REFERENCE_MC: i32 = 25_000;

impl Demands {
    /// Of a rail up to this voltage, of currents from the least to the greatest, with this error in
    /// parts per million allowed at the least. All else is to be set after: current from source to
    /// load, any burden, −40 to 85 °C, E24, [resistors](Resistors::default) of 1 %, readings of
    /// single scans, no calibration, no filter, an hour of energy at the part's greatest rate.
    #[must_use]
    pub fn new(
        part: &'static PartInfo,
        voltage: Voltage,
        (least, greatest): (Current, Current),
        error_ppm: u64,
    ) -> Self {
        Self {
            part,
            voltage,
            least,
            greatest,
            both_ways: false,
            mean: None,
            error_ppm,
            burden: None,
            ambient_mc: (-40_000, 85_000),
            series: Series::E24,
            resistors: Resistors::default(),
            averaging: 0,
            calibrated: false,
            filter: None,
            stretch: Stretch {
                duration_us: 3_600_000_000,
                scan_period_us: part.scan_periods_us.first().copied().unwrap_or(100_000),
                clock: Tolerance::from_ppm(50),
            },
        }
    }

    /// How far the surroundings may be from the temperature for which nominal resistances hold, in
    /// thousandths of a kelvin.
    #[must_use]
    pub fn span_mk(&self) -> u32 {
        let (least, greatest) = self.ambient_mc;
        least
            .abs_diff(REFERENCE_MC)
            .max(greatest.abs_diff(REFERENCE_MC))
    }

    /// The rail with a sense resistor of this size, as it is described to the driver.
    #[must_use]
    pub fn rail(&self, resistance: Resistance) -> Rail {
        let span_mk = self.span_mk();
        let kinds = &self.resistors;
        let resistor = SenseResistor::new(resistance, Tolerance::from_ppm(kinds.tolerance_ppm))
            .with_temperature(kinds.coefficient_ppm_per_k, span_mk)
            .with_self_heating(kinds.thermal_mk_per_w);
        let load = Load::smooth(self.greatest);
        let load = match (self.both_ways, self.mean) {
            (false, _) => load,
            (true, None) => load.both_ways(),
            (true, Some((mean, over_s))) => load.both_ways().with_mean(mean, over_s),
        };
        let rail = Rail::new(resistor)
            .with_load(load)
            .with_voltage(Voltage::ZERO, self.voltage);
        match self.filter {
            Some(filter) => rail.with_input_filter(filter.each),
            None => rail,
        }
    }

    /// A reading, as firmware gets it.
    #[must_use]
    pub fn reading(&self) -> Mean {
        Mean::Reading {
            averaging_log2: self.averaging,
        }
    }

    /// Worst-case error of a single reading of the rail voltage in a rail range.
    fn voltage_error(&self, place: usize) -> Voltage {
        let rail = self.rail(Rail::RESISTANCE_MIN);
        let place = u8::try_from(place).unwrap_or(u8::MAX);
        let setting = Setting {
            info: self.part,
            rail: &rail,
            range: ChannelRange {
                sense: 0,
                rail: place,
                sense_lsb: 0,
                rail_lsb: 0,
            },
            voltage: self.voltage,
            greatest: self.greatest,
        };
        let at = setting.point(self.greatest, Mean::Reading { averaging_log2: 0 });
        let budget = rail.voltage_budget(self.part, &at);
        budget.map_or(Voltage::MAX, |budget| budget.total())
    }

    /// What is wrong with the demands before there is a resistor.
    pub(super) fn check(&self) -> Result<(), Impossible> {
        let refuse = |text: String| Err(Impossible(text));
        let part = self.part;
        if self.least >= self.greatest {
            let (least, greatest) = (self.least, self.greatest);
            return refuse(format!(
                "the least current, {least}, must lie below the greatest, {greatest}"
            ));
        }
        if self.ambient_mc.0 > self.ambient_mc.1 {
            return refuse("the least ambient temperature lies above the greatest".to_owned());
        }
        if self.averaging > part.averaging_log2_max {
            return refuse(format!(
                "means of 2^{} scans: {} goes to 2^{}",
                self.averaging, part.name, part.averaging_log2_max
            ));
        }
        if self.calibrated && part.scan_periods_us.is_empty() {
            return refuse(format!(
                "an offset calibration needs scans that follow each other, and {} has none",
                part.name
            ));
        }
        let ranges = part.sense_ranges.iter();
        if self.both_ways && ranges.clone().all(|range| range.code_min >= 0) {
            return refuse(format!("{} measures one direction alone", part.name));
        }
        let widest = part.rail_ranges.iter().enumerate();
        if let Some((place, range)) = widest.max_by_key(|(_, range)| range.full_scale_uv) {
            let reach = f64::from(range.full_scale_uv) / 1e6;
            let shown = self.voltage.saturating_add(self.voltage_error(place));
            if volts(shown) > reach {
                let (voltage, name) = (self.voltage, part.name);
                return refuse(format!(
                    "a rail voltage of {voltage} may read as {shown}, and {name} goes to {reach} V"
                ));
            }
        }
        let gains = part.sense_errors.iter().map(|one| one.gain_ppm);
        let gain = f64::from(gains.min().unwrap_or_default()) / 1e4;
        let tolerance = f64::from(self.resistors.tolerance_ppm) / 1e4;
        let span = self.rail(Rail::RESISTANCE_MIN);
        let span = f64::from(span.resistor().thermal_ppb(Current::ZERO)) / 1e7;
        let (asked, floor) = (self.error_ppm as f64 / 1e4, gain + tolerance + span);
        if asked <= floor {
            return refuse(format!(
                "an error of {asked} % cannot be met by any resistor: gain ({gain} %), tolerance \
                 ({tolerance} %) and ambient temperature ({span} %) may take {floor:.2} % whatever \
                 its size; allow more, or take resistors of a better tolerance and coefficient"
            ));
        }
        Ok(())
    }
}

impl Default for Resistors {
    /// ±1 %, 50 ppm/K, 20 K/W, as in scenario files.
    fn default() -> Self {
        Self {
            tolerance_ppm: 10_000,
            coefficient_ppm_per_k: 50,
            thermal_mk_per_w: 20_000,
        }
    }
}
