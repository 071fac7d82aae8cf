//! One scenario, seen twice: as the engineer describes the board to the driver, and as the bench
//! builds it.

use crake::Channel;
use crake::board::{self, Board, Load, LoadSteps, Rail, VoltageSteps, rail_voltage};
use crake::config::{Config, FullScale, Scan, ScanRate};
use crake::info::PartInfo;
use crake::part::pmbus;
use crake::units::{Current, Resistance, Tolerance, Voltage};

use crate::board::SenseResistor;
use crate::rng::Rng;
use crate::scenario::{Errors, Flow, RailPlan, Scenario, Sense};

/// Temperature for which nominal resistances hold, in thousandths of a degree Celsius.
const REFERENCE_MC: i32 = 25_000;

/// The rails of a part as declared to the driver. A channel without one gets a resistor that
/// nothing flows through.
pub(super) fn rails<const N: usize>(scenario: &Scenario, place: usize) -> [Rail; N] {
    let (least, greatest) = scenario.board.declared_mc;
    let span_mk = least
        .abs_diff(REFERENCE_MC)
        .max(greatest.abs_diff(REFERENCE_MC));
    let unused = match scenario.parts[place].kind.measures_amperes {
        true => pmbus::RAIL,
        false => Rail::new(board::SenseResistor::new(
            Resistance::from_milliohms(10),
            Tolerance::ZERO,
        )),
    };
    std::array::from_fn(|channel| {
        let plan = planned(scenario, place, channel);
        plan.map_or(unused, |plan| rail(plan, span_mk))
    })
}

/// The rails of a part, by its place, as declared, and what is to be measured.
pub(crate) fn described<const N: usize>(
    scenario: &Scenario,
    place: usize,
) -> ([Rail; N], Config<N>) {
    (rails(scenario, place), config(scenario, place))
}

/// The board of these rails.
pub(super) fn board<const N: usize>(
    info: &PartInfo,
    scenario: &Scenario,
    rails: &[Rail; N],
) -> Board<N> {
    let clock = Tolerance::from_ppm(scenario.host.clock_limit_ppb.div_ceil(1_000));
    Board::new(info, rails).with_clock(clock)
}

fn rail(plan: &RailPlan, span_mk: u32) -> Rail {
    let (sense, declared) = (&plan.sense, &plan.declared);
    let resistor = board::SenseResistor::new(
        Resistance::from_nanoohms(sense.resistance_nohm),
        Tolerance::from_ppm(sense.tolerance_ppm),
    )
    .with_temperature(coefficient_ppm(sense), span_mk)
    .with_self_heating(sense.thermal_resistance_mk_per_w);
    let mut load =
        Load::smooth(Current::from_nanoamps(declared.greatest_na)).with_steps(LoadSteps {
            per_hour: declared.steps_per_hour,
            step: Current::from_nanoamps(declared.step_na),
        });
    if let Some((per_hour, step_nv)) = declared.voltage_steps {
        let step = Voltage::from_nanovolts(step_nv);
        load = load.with_voltage_steps(VoltageSteps { per_hour, step });
    }
    if let Some((mean_na, over_s)) = declared.mean {
        load = load.with_mean(Current::from_nanoamps(mean_na), over_s);
    }
    if declared.flow == Flow::Both {
        load = load.both_ways();
    }
    let rail = Rail::new(resistor).with_load(load);
    match declared.voltage_nv {
        Some((least, greatest)) => rail.with_voltage(
            Voltage::from_nanovolts(least),
            Voltage::from_nanovolts(greatest),
        ),
        None => rail,
    }
}

/// The resistor that the bench puts in: an individual within its limits, or exactly what is printed
/// on it.
pub(super) fn resistor(plan: &RailPlan, scenario: &Scenario, rng: &mut Rng) -> SenseResistor {
    let ideal = SenseResistor::ideal(plan.sense.resistance_nohm);
    match scenario.parts[plan.part].errors {
        Errors::None => ideal,
        Errors::Individual => ideal
            .tolerance_ppm(plan.sense.tolerance_ppm)
            .coefficient_ppm_per_k(coefficient_ppm(&plan.sense))
            .thermal_resistance_mk_per_w(plan.sense.thermal_resistance_mk_per_w)
            .ambient_m_celsius(scenario.board.ambient_mc)
            .individual_from(rng),
    }
}

/// Rounded up, so that what is declared is never less than what an individual has.
fn coefficient_ppm(sense: &Sense) -> u32 {
    sense.temperature_coefficient_ppb_per_k.div_ceil(1_000)
}

/// What the firmware asks for.
pub(super) fn config<const N: usize>(scenario: &Scenario, place: usize) -> Config<N> {
    let part = &scenario.parts[place];
    let full_scales = std::array::from_fn(|channel| {
        let plan = planned(scenario, place, channel);
        plan.map_or(FullScale::new(Voltage::ZERO, Voltage::ZERO), |plan| {
            FullScale::new(
                Voltage::from_nanovolts(plan.sense.sense_full_scale_nv),
                Voltage::from_nanovolts(plan.sense.rail_full_scale_nv),
            )
        })
    });
    let config = match part.scans_per_second {
        0 => Config::single_shot(full_scales),
        scans => Config::continuous(full_scales, ScanRate::per_second(scans)),
    };
    let config = config.averaging(part.averaging);
    let unused = Channel::first(N as u8)
        .filter(|channel| planned(scenario, place, channel.index()).is_none());
    unused.fold(config, |config, channel| config.without(channel))
}

/// Codes of single conversions of a part as the driver takes them, for whoever looks into it.
pub(crate) struct Conversions {
    info: &'static PartInfo,
    board: Board<4>,
    scan: Scan<4>,
}

impl Conversions {
    /// Of the part at this place.
    pub(crate) fn new(scenario: &Scenario, place: usize) -> Self {
        let info = scenario.parts[place].kind.info;
        let (rails, config) = described::<4>(scenario, place);
        let mut scan = Scan::NONE;
        // What cannot be is refused by the run itself, with the name of the rail.
        let _ = config.resolve(info, &mut scan);
        Self {
            info,
            board: board(info, scenario, &rails),
            scan,
        }
    }

    /// Voltage and current of a channel.
    pub(crate) fn of(&self, channel: usize, rail: i32, sense: i32) -> Option<(Voltage, Current)> {
        let channel = Channel::new(u8::try_from(channel).ok()?);
        let range = self.scan.range(channel)?;
        let current = self.board.factors(channel)?.current(range, sense);
        Some((rail_voltage(self.info, range, rail.unsigned_abs()), current))
    }
}

fn planned(scenario: &Scenario, place: usize, channel: usize) -> Option<&RailPlan> {
    let mut rails = scenario.rails_of(place);
    rails.find(|rail| usize::from(rail.channel) == channel)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scenario(rest: &str) -> Scenario {
        let text = format!(
            "title = \"t\"\nduration_s = 1\n{rest}\n[[rail]]\nname = \"A\"\nchannel = 2\n\
             sense = {{ resistance_ohm = 0.01, tolerance_percent = 0.5, \
             temperature_coefficient_ppm_per_k = 99.9999, thermal_resistance_k_per_w = 30 }}\n\
             source.voltage_v = 5\nload.current_a = 1\n\
             load_declared = {{ steps_per_hour = 7, step_a = 0.5, flow = \"both\", \
             greatest_a = 2, voltage_v = [4, 6] }}\n"
        );
        Scenario::parse(&text, "case.toml").expect("a scenario")
    }

    /// What is printed on the resistor, rounded up to ppm, over the farther end of the declared
    /// temperatures from 25 °C; the load as declared. A channel without a rail has 10 mΩ.
    #[test]
    fn a_rail_is_declared_as_the_scenario_has_it() {
        for (declared, span_mk) in [
            ("[-10, 45]", 35_000),
            ("[0, 60]", 35_000),
            ("[26, 27]", 2_000),
        ] {
            let scenario = scenario(&format!(
                "board.declared_c = {declared}\nboard.ambient_c = 26"
            ));
            let sense = board::SenseResistor::new(
                Resistance::from_milliohms(10),
                Tolerance::from_ppm(5_000),
            )
            .with_temperature(100, span_mk)
            .with_self_heating(30_000);
            let steps = LoadSteps {
                per_hour: 7,
                step: Current::from_milliamps(500),
            };
            let load = Load::smooth(Current::from_amps(2))
                .with_steps(steps)
                .both_ways();
            let rail = Rail::new(sense).with_load(load);
            let rail = rail.with_voltage(Voltage::from_volts(4), Voltage::from_volts(6));
            let unused = board::SenseResistor::new(Resistance::from_milliohms(10), Tolerance::ZERO);
            let unused = Rail::new(unused);
            assert_eq!(
                rails::<4>(&scenario, 0),
                [unused, unused, rail, unused],
                "{declared}"
            );
        }
    }

    /// The host's clock as it is declared, rounded up to ppm.
    #[test]
    fn the_clock_is_declared_no_better_than_it_is() {
        for (limit, ppm) in [("20", 20), ("20.001", 21)] {
            let scenario = scenario(&format!("host.clock_limit_ppm = {limit}"));
            let info = scenario.parts[0].kind.info;
            let rails = rails::<4>(&scenario, 0);
            let clock = board(info, &scenario, &rails).clock();
            assert_eq!(clock, Tolerance::from_ppm(ppm), "{limit}");
        }
    }
}
