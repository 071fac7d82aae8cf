//! What is found, as numbers in SI units: what tables are printed from, and the JSON object.

use crake::units::Current;
use schemars::JsonSchema;
use serde::Serialize;

use super::budget::{amps, volts};
use super::filter::Corner;
use super::{Broken, Candidate, Choice, Demands, ErrorBudget, Heat, Impossible};

/// What is printed as JSON.
#[derive(JsonSchema, Serialize)]
pub struct Choices<'c> {
    /// Rail by rail.
    pub rails: &'c [RailChoice],
}

/// The choice for one rail.
#[derive(Clone, Debug, JsonSchema, Serialize)]
pub struct RailChoice {
    /// What the rail is called.
    pub rail: String,
    /// The part that measures it.
    pub part: &'static str,
    /// What was asked.
    pub demands: Asked,
    /// Those worth a look, ascending.
    pub candidates: Vec<Figures>,
    /// Resistance of the one to take, in ohms.
    pub chosen_ohm: f64,
    /// What to ask of its ranges: sense and rail voltage, in volts.
    pub full_scale_v: [f64; 2],
    /// Error budgets of the chosen one.
    pub budgets: Vec<ErrorBudget>,
    /// The input filter against the converter's aperture.
    pub filter: Option<Corner>,
}

/// The demands.
#[derive(Clone, Debug, JsonSchema, Serialize)]
pub struct Asked {
    /// Greatest rail voltage.
    pub voltage_v: f64,
    /// Least current of interest.
    pub least_a: f64,
    /// Greatest current.
    pub greatest_a: f64,
    /// Whether current flows both ways.
    pub both_ways: bool,
    /// Where it does: the greatest mean of its magnitude; null where none was declared.
    pub mean_a: Option<f64>,
    /// Error allowed at the least current, as a share of it.
    pub error: f64,
    /// Burden allowed; null where none was asked.
    pub burden_v: Option<f64>,
    /// Least and greatest ambient temperature.
    pub ambient_c: [f64; 2],
    /// Series of preferred numbers.
    pub series: &'static str,
    /// Of the resistors, as a share.
    pub tolerance: f64,
    /// Their temperature coefficient, as a share per kelvin.
    pub temperature_coefficient_per_k: f64,
    /// Their own heating.
    pub thermal_resistance_k_per_w: f64,
    /// k of readings that are means of 2^k scans.
    pub averaging: u8,
    /// Whether the offset is calibrated.
    pub offset_calibrated: bool,
    /// Over how long energy is added up.
    pub energy_over_s: f64,
}

/// One candidate.
#[derive(Clone, Debug, JsonSchema, Serialize)]
pub struct Figures {
    /// Nominal resistance.
    pub resistance_ohm: f64,
    /// Current of its range's full scale; null where no range reaches the greatest current.
    pub full_scale_a: Option<f64>,
    /// One sense code.
    pub code_a: Option<f64>,
    /// One sense code times one rail code.
    pub code_w: Option<f64>,
    /// Decades from one code to full scale.
    pub dynamic_range_decades: Option<f64>,
    /// Least current that is read within the error allowed.
    pub good_from_a: Option<f64>,
    /// Worst-case error at the least current, as a share of it.
    pub error_at_least: Option<f64>,
    /// At the greatest.
    pub error_at_greatest: Option<f64>,
    /// What the greatest current makes of it.
    pub heat: Heat,
    /// Demands that it breaks.
    pub breaks: Vec<Broken>,
    /// Currents and worst-case errors as shares, ascending, for a chart.
    pub curve: Vec<[f64; 2]>,
}

impl RailChoice {
    /// Of one rail; error budgets at these currents.
    ///
    /// # Errors
    /// Demands that contradict each other, or that nothing meets, with what would help.
    pub fn new(rail: String, demands: &Demands, at: &[Current]) -> Result<Self, Impossible> {
        let choice = Choice::of(demands)?;
        let chosen = choice
            .chosen()
            .ok_or_else(|| choice.nothing_fits(demands))?;
        let budgets = at.iter();
        let budgets = budgets.filter_map(|current| chosen.budget(demands, *current));
        let shown = choice.worth_a_look();
        Ok(Self {
            rail,
            part: demands.part.name,
            demands: Asked::of(demands),
            candidates: shown
                .into_iter()
                .map(|one| Figures::of(one, demands))
                .collect(),
            chosen_ohm: chosen.ohms(),
            full_scale_v: [chosen.full_scale.sense(), chosen.full_scale.rail()].map(volts),
            budgets: budgets.collect(),
            filter: demands.filter.map(|filter| filter.corner(demands.part)),
        })
    }
}

impl Asked {
    fn of(demands: &Demands) -> Self {
        let kinds = &demands.resistors;
        let (coldest, warmest) = demands.ambient_mc;
        Self {
            voltage_v: volts(demands.voltage),
            least_a: amps(demands.least),
            greatest_a: amps(demands.greatest),
            both_ways: demands.both_ways,
            mean_a: demands.mean.map(|(mean, _)| amps(mean)),
            error: demands.error_ppm as f64 / 1e6,
            burden_v: demands.burden.map(volts),
            ambient_c: [coldest, warmest].map(|mc| f64::from(mc) / 1e3),
            series: demands.series.name(),
            tolerance: f64::from(kinds.tolerance_ppm) / 1e6,
            temperature_coefficient_per_k: f64::from(kinds.coefficient_ppm_per_k) / 1e6,
            thermal_resistance_k_per_w: f64::from(kinds.thermal_mk_per_w) / 1e3,
            averaging: demands.averaging,
            offset_calibrated: demands.calibrated,
            energy_over_s: demands.stretch.duration_us as f64 / 1e6,
        }
    }
}

impl Figures {
    fn of(one: &Candidate, demands: &Demands) -> Self {
        let (full_scale_a, code_a) = (one.full_scale_a(demands), one.code_a(demands));
        let error = |current| one.error_at(demands, current);
        Self {
            resistance_ohm: one.ohms(),
            full_scale_a,
            code_a,
            code_w: one.code_w(demands),
            dynamic_range_decades: full_scale_a
                .zip(code_a)
                .map(|(all, one)| (all / one).log10()),
            good_from_a: one.good_from(demands).map(amps),
            error_at_least: error(demands.least),
            error_at_greatest: error(demands.greatest),
            heat: one.heat,
            breaks: one.broken.clone(),
            curve: between(demands.least, demands.greatest, CURVE)
                .into_iter()
                .filter_map(|current| Some([amps(current), error(current)?]))
                .collect(),
        }
    }
}

/// Points of a curve.
const CURVE: usize = 31;

/// So many currents from the least to the greatest, each as much greater than the one before.
#[must_use]
pub fn between(least: Current, greatest: Current, number: usize) -> Vec<Current> {
    let (least, greatest) = (least.as_nanoamps(), greatest.as_nanoamps());
    let ratio = greatest as f64 / least as f64;
    let last = number.saturating_sub(1);
    let at = |index: usize| match index {
        0 => least,
        _ if index == last => greatest,
        _ => (least as f64 * ratio.powf(index as f64 / last as f64)).round() as i64,
    };
    (0..number)
        .map(|index| Current::from_nanoamps(at(index)))
        .collect()
}
