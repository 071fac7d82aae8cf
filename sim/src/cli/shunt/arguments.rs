use std::path::PathBuf;

use clap::ValueEnum;
use crake::units::{Current, Resistance, Tolerance, Voltage};

use crate::cli::part::PartName;
use crate::scenario::{Flow, RailPlan, Scenario, decimal};
use crate::shunt::{Demands, Filter, Resistors, Series, Stretch};

#[derive(Debug, clap::Args)]
#[command(after_help = EXAMPLE)]
pub(in crate::cli) struct Shunt {
    /// Greatest voltage of the rail, in volts.
    #[arg(long, value_name = "VOLTS", value_parser = volts, allow_negative_numbers = true,
        required_unless_present = "scenario")]
    voltage: Option<Voltage>,
    /// Greatest current, in amperes.
    #[arg(long, value_name = "AMPERES", value_parser = amps, allow_negative_numbers = true,
        required_unless_present = "scenario")]
    greatest: Option<Current>,
    /// Least current of interest, in amperes.
    #[arg(long, value_name = "AMPERES", value_parser = amps, allow_negative_numbers = true,
        required_unless_present = "decades", conflicts_with = "decades")]
    least: Option<Current>,
    /// The same as so many decades below the greatest: 2 is a hundredth of it.
    #[arg(long, value_name = "N", value_parser = decades, allow_negative_numbers = true)]
    decades: Option<f64>,
    /// Worst-case error of the current that is allowed at the least, in percent of it.
    #[arg(long, value_name = "PERCENT", value_parser = percent, allow_negative_numbers = true)]
    error: u64,
    /// Voltage that may be lost across the resistor at the greatest current, in volts; without it,
    /// what the part can measure.
    #[arg(long, value_name = "VOLTS", value_parser = volts, allow_negative_numbers = true)]
    burden: Option<Voltage>,
    /// Current flows both ways.
    #[arg(long)]
    both_ways: bool,
    /// Least and greatest temperature around the resistor, in degrees Celsius [default: -40 85].
    #[arg(long, num_args = 2, value_names = ["LEAST", "GREATEST"], value_parser = celsius,
        allow_negative_numbers = true)]
    ambient: Vec<i32>,
    /// Series of preferred numbers (IEC 60063) in which the resistors are made.
    #[arg(long, value_enum, default_value = "e24")]
    series: SeriesName,
    /// Tolerance of the resistors, in percent [default: 1].
    #[arg(long, value_name = "PERCENT", value_parser = share, allow_negative_numbers = true)]
    tolerance: Option<u32>,
    /// Their temperature coefficient, in parts per million per kelvin [default: 50].
    #[arg(long, value_name = "PPM/K", value_parser = clap::value_parser!(u32).range(..=10_000))]
    coefficient: Option<u32>,
    /// How much a watt in one heats it, in kelvin [default: 20].
    #[arg(long, value_name = "K/W", value_parser = kelvin, allow_negative_numbers = true)]
    thermal_resistance: Option<u32>,
    /// Readings are means of 2^K scans [default: 0].
    #[arg(long, value_name = "K", value_parser = clap::value_parser!(u8).range(..=31))]
    averaging: Option<u8>,
    /// The firmware calibrates the offset, with no load, over 4000 scans or more.
    #[arg(long)]
    calibrated: bool,
    /// Resistor in each of the two sense leads, in ohms, of an input filter.
    #[arg(long, value_name = "OHMS", value_parser = ohms, allow_negative_numbers = true,
        requires = "filter_capacitance")]
    filter_resistance: Option<Resistance>,
    /// Its capacitor across both leads, in farads.
    #[arg(long, value_name = "FARADS", value_parser = farads, allow_negative_numbers = true,
        requires = "filter_resistance")]
    filter_capacitance: Option<u64>,
    /// Currents at which to show error budgets, in amperes, between commas; without it, the least,
    /// the greatest, and one halfway between.
    #[arg(long, value_name = "AMPERES", value_parser = amps, value_delimiter = ',',
        allow_negative_numbers = true)]
    pub(super) at: Vec<Current>,
    /// Take the rails of this scenario, and their part: voltage, currents, temperature, resistors,
    /// averaging, rate and clock, as far as no flag says otherwise.
    #[arg(long, value_name = "FILE")]
    pub(super) scenario: Option<PathBuf>,
    /// Only this rail of it.
    #[arg(long, value_name = "NAME", requires = "scenario")]
    pub(super) rail: Option<String>,
    /// The part that measures.
    #[arg(
        long,
        value_enum,
        default_value = "corncrake",
        conflicts_with = "scenario"
    )]
    pub(super) part: PartName,
    /// Print one JSON object instead of tables.
    #[arg(long)]
    pub(super) json: bool,
    /// Also write to DIR: shunt.txt, shunt.json and shunt.html, a page to look at; board.rs, board
    /// and configuration for firmware; and, for a Corncrake, scenario.toml, which crake-sim run
    /// tries.
    #[arg(long, value_name = "DIR")]
    pub(super) out: Option<PathBuf>,
    /// Write over files of an earlier choice in DIR.
    #[arg(long, requires = "out")]
    pub(super) overwrite: bool,
}

const EXAMPLE: &str = "\
Example: a 12 V rail that draws 50 mA to 5 A, to be read within 5 % at 50 mA,
with at most 60 mV of burden, from means of 16 scans:
  crake-sim shunt --voltage 12 --least 0.05 --greatest 5 --error 5 --burden 0.06 --averaging 4
Or each rail of a scenario, two decades down from its greatest current:
  crake-sim shunt --scenario examples/survey-skiff.toml --decades 2 --error 10
docs/accuracy.md says where each error comes from.";

#[derive(Clone, Copy, Debug, ValueEnum)]
enum SeriesName {
    E12,
    E24,
    E96,
}

impl Shunt {
    /// Of the flags, over what a scenario's rail says.
    pub(super) fn demands(
        &self,
        part: PartName,
        planned: Option<(&Scenario, &RailPlan)>,
    ) -> Result<Demands, String> {
        let (scenario, plan) = planned.unzip();
        let declared = plan.map(|plan| &plan.declared);
        let voltage = self.voltage.or_else(|| {
            let (_, greatest_nv) = declared?.voltage_nv?;
            Some(Voltage::from_nanovolts(greatest_nv))
        });
        let greatest = self.greatest.or_else(|| {
            let greatest_na = declared?.greatest_na;
            Some(Current::from_nanoamps(greatest_na))
        });
        let (Some(voltage), Some(greatest)) = (voltage, greatest) else {
            let name = plan.map_or("", |plan| &plan.name);
            return Err(format!(
                "rail {name:?}: its [rail.load_declared] has no voltage_v; add it, or give --voltage"
            ));
        };
        let least = self.least.unwrap_or_else(|| {
            let share = 10_f64.powf(-self.decades.unwrap_or_default());
            Current::from_nanoamps((greatest.as_nanoamps() as f64 * share).round() as i64)
        });
        let mut demands = Demands::new(part.info(), voltage, (least, greatest), self.error);
        demands.both_ways =
            self.both_ways || declared.is_some_and(|declared| declared.flow == Flow::Both);
        let mean = declared.and_then(|declared| declared.mean);
        demands.mean = mean.map(|(mean_na, over_s)| (Current::from_nanoamps(mean_na), over_s));
        demands.burden = self.burden;
        demands.series = match self.series {
            SeriesName::E12 => Series::E12,
            SeriesName::E24 => Series::E24,
            SeriesName::E96 => Series::E96,
        };
        demands.calibrated = self.calibrated;
        if let Some(scenario) = scenario {
            demands.ambient_mc = scenario.board.declared_mc;
            let part = &scenario.parts[plan.map_or(0, |plan| plan.part)];
            demands.averaging = part.averaging;
            demands.stretch = Stretch {
                duration_us: scenario.duration_ns / 1_000,
                scan_period_us: (part.look_ns(scenario.host.read_every_ns) / 1_000) as u32,
                clock: Tolerance::from_ppm(scenario.host.clock_limit_ppb.div_ceil(1_000)),
            };
        }
        if let [least, greatest] = self.ambient[..] {
            demands.ambient_mc = (least, greatest);
        }
        demands.averaging = self.averaging.unwrap_or(demands.averaging);
        demands.resistors = self.resistors(plan);
        let filter = self.filter_resistance.zip(self.filter_capacitance);
        demands.filter = filter.map(|(each, capacitance_pf)| Filter {
            each,
            capacitance_pf,
        });
        Ok(demands)
    }

    fn resistors(&self, plan: Option<&RailPlan>) -> Resistors {
        let kinds = plan.map_or(Resistors::default(), |plan| Resistors {
            tolerance_ppm: plan.sense.tolerance_ppm,
            coefficient_ppm_per_k: plan.sense.temperature_coefficient_ppb_per_k.div_ceil(1_000),
            thermal_mk_per_w: plan.sense.thermal_resistance_mk_per_w,
        });
        Resistors {
            tolerance_ppm: self.tolerance.unwrap_or(kinds.tolerance_ppm),
            coefficient_ppm_per_k: self.coefficient.unwrap_or(kinds.coefficient_ppm_per_k),
            thermal_mk_per_w: self.thermal_resistance.unwrap_or(kinds.thermal_mk_per_w),
        }
    }
}

fn volts(text: &str) -> Result<Voltage, String> {
    positive(text, 9, 1_000).map(Voltage::from_nanovolts)
}

fn amps(text: &str) -> Result<Current, String> {
    positive(text, 9, 1_000).map(Current::from_nanoamps)
}

fn ohms(text: &str) -> Result<Resistance, String> {
    positive(text, 9, 1_000_000).map(|nohm| Resistance::from_nanoohms(nohm.unsigned_abs()))
}

/// In picofarads.
fn farads(text: &str) -> Result<u64, String> {
    positive(text, 12, 1).map(i64::unsigned_abs)
}

/// In parts per million.
fn percent(text: &str) -> Result<u64, String> {
    positive(text, 4, 100).map(i64::unsigned_abs)
}

fn share(text: &str) -> Result<u32, String> {
    within(text, 4, 0, 100_000, "between 0 and 10 %")
}

fn kelvin(text: &str) -> Result<u32, String> {
    within(text, 3, 0, 1_000_000, "between 0 and 1000 K/W")
}

fn celsius(text: &str) -> Result<i32, String> {
    within(
        text,
        3,
        -40_000,
        85_000,
        "between -40 and 85 °C, as the part does",
    )
}

fn decades(text: &str) -> Result<f64, String> {
    let thousandths: u32 = within(text, 3, 1, 6_000, "above 0, and be 6 at the most")?;
    Ok(f64::from(thousandths) / 1e3)
}

/// So many units of 10^-`places`, above 0 and at most `greatest`.
fn positive(text: &str, places: u32, greatest: i64) -> Result<i64, String> {
    let number = decimal::parse(text, places).map_err(|error| error.to_string())?;
    let greatest_units = i128::from(greatest) * 10_i128.pow(places);
    match i64::try_from(number) {
        Ok(number) if number > 0 && i128::from(number) <= greatest_units => Ok(number),
        _ => Err(format!(
            "it must lie above 0, and be {greatest} at the most"
        )),
    }
}

fn within<N: TryFrom<i128>>(
    text: &str,
    places: u32,
    least: i128,
    greatest: i128,
    rule: &str,
) -> Result<N, String> {
    let number = decimal::parse(text, places).map_err(|error| error.to_string())?;
    let inside = (least..=greatest).contains(&number).then_some(number);
    inside
        .and_then(|number| N::try_from(number).ok())
        .ok_or_else(|| format!("it must lie {rule}"))
}
