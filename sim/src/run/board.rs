//! One scenario, seen twice: as the engineer describes the board to the driver, and as the bench builds it.

use crake::old::board::{Board, BoardError, Edges, Load, Rail, Shunt};
use crake::old::part::corncrake::SPEC;
use crake::old::units::{Current, Resistance, Tolerance, Voltage};
use crake::old::{Mode, Ranges, Setup};

use crate::board::SenseResistor;
use crate::rng::Rng;
use crate::scenario::{self, Errors, Flow, RailPlan, Scenario};

/// Temperature for which nominal resistances hold, in thousandths of a degree Celsius.
const REFERENCE_MC: i32 = 25_000;

/// The board as declared to the driver. A channel without a rail gets a resistor that nothing flows through.
pub(super) fn declared<const N: usize>(scenario: &Scenario) -> Result<Board<N>, BoardError> {
    let (least, greatest) = scenario.board.declared_mc;
    let span_mk = least
        .abs_diff(REFERENCE_MC)
        .max(greatest.abs_diff(REFERENCE_MC));
    let unused = Rail::new(
        Shunt::new(Resistance::from_milliohms(10), Tolerance::ZERO),
        Load::smooth(Current::ZERO),
    );
    let rails = std::array::from_fn(|channel| {
        let plan = scenario
            .rails
            .iter()
            .find(|rail| usize::from(rail.channel) == channel);
        plan.map_or(unused, |plan| rail(plan, span_mk))
    });
    let clock = Tolerance::from_ppm(scenario.host.clock_limit_ppb.div_ceil(1_000));
    Ok(Board::new(&SPEC, rails)?.with_clock(clock))
}

fn rail(plan: &RailPlan, span_mk: u32) -> Rail {
    let sense = &plan.sense;
    let shunt = Shunt::new(
        Resistance::from_nanoohms(sense.resistance_nohm),
        Tolerance::from_ppm(sense.tolerance_ppm),
    )
    .with_temperature(coefficient_ppm(sense), span_mk)
    .with_self_heating(sense.thermal_resistance_mk_per_w);
    let declared = &plan.declared;
    let load = Load::smooth(Current::from_nanoamps(declared.greatest_na)).with_edges(Edges {
        per_1000_s: declared.steps_per_hour.div_ceil(36).saturating_mul(10),
        step: Current::from_nanoamps(declared.step_na),
    });
    let load = match declared.mean {
        Some((mean_na, over_s)) => load.with_mean(Current::from_nanoamps(mean_na), over_s),
        None => load,
    };
    let load = if declared.flow == Flow::Both {
        load.both_ways()
    } else {
        load
    };
    let rail = Rail::new(shunt, load);
    match declared.voltage_nv {
        Some((least, greatest)) => rail.with_voltage(
            Voltage::from_nanovolts(least),
            Voltage::from_nanovolts(greatest),
        ),
        None => rail,
    }
}

/// The resistor that the bench puts in: an individual within its limits, or exactly what is printed on it.
pub(super) fn resistor(plan: &RailPlan, scenario: &Scenario, rng: &mut Rng) -> SenseResistor {
    let ideal = SenseResistor::ideal(plan.sense.resistance_nohm);
    match scenario.part.errors {
        Errors::None => ideal,
        Errors::Individual => ideal
            .tolerance_ppm(plan.sense.tolerance_ppm)
            .coefficient_ppm_per_k(coefficient_ppm(&plan.sense))
            .thermal_resistance_mk_per_w(plan.sense.thermal_resistance_mk_per_w)
            .reference_m_celsius(REFERENCE_MC)
            .ambient_m_celsius(scenario.board.ambient_mc)
            .individual_from(rng),
    }
}

/// Rounded up, so that what is declared is never less than what is drawn from.
fn coefficient_ppm(sense: &scenario::Sense) -> u32 {
    sense.temperature_coefficient_ppb_per_k.div_ceil(1_000)
}

/// The set-up that the firmware asks for.
pub(super) fn setup<const N: usize>(scenario: &Scenario) -> Setup<N> {
    let channels = std::array::from_fn(|channel| {
        let plan = scenario
            .rails
            .iter()
            .find(|rail| usize::from(rail.channel) == channel)?;
        ranges(&plan.sense)
    });
    let mode = SPEC
        .pace(scenario.part.scans_per_second)
        .map_or(Mode::Idle, Mode::Paced);
    Setup {
        channels,
        mode,
        averaging: scenario.part.averaging,
    }
}

pub(super) fn ranges(sense: &scenario::Sense) -> Option<Ranges> {
    Some(Ranges {
        sense: SPEC.sense_range_for(Voltage::from_nanovolts(sense.sense_full_scale_nv))?,
        bus: SPEC.bus_range_for(Voltage::from_nanovolts(sense.rail_full_scale_nv))?,
    })
}
