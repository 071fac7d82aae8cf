//! Loads whose current follows from the voltage: against closed forms, and against Kirchhoff's and
//! Ohm's laws where there is none.

use super::*;
use crake_sim::plant::{Converter, Pulses};

const MILLISECOND: u64 = 1_000_000;
const SECOND: u64 = 1_000_000_000;

pub(super) fn rail(nv: i64, microohms: u64, loads: Vec<Load>) -> Switched {
    let source = Source::of(constant(nv)).behind_microohms(microohms);
    Switched::new(source.expect("impedance"), loads).expect("rail")
}

/// Current and voltage at the beginning of a piece.
fn at(rail: &mut Switched, ns: u64) -> (i64, i64) {
    let piece = rail.piece(ns).expect("not far back");
    (piece.start_na, piece.start_nv)
}

/// 10 V behind 1 Ω into 9 Ω: 1 A and 9 V (Ohm's law), for ever.
#[test]
fn a_resistance_draws_by_ohms_law() {
    let load = Load::resistance(9_000_000).expect("9 Ω");
    let mut rail = rail(10 * VOLT, 1_000_000, vec![load]);
    assert_eq!(at(&mut rail, 0), (AMPERE, 9 * VOLT));
    let truth = rail.truth(5 * SECOND);
    assert_eq!(
        truth.charge_half_na_ns / 2,
        5 * i128::from(AMPERE) * i128::from(SECOND)
    );
    assert_eq!(truth.energy_sixth_na_nv_ns, 6 * 45 * 10_i128.pow(27));
}

/// 12 V behind 0.5 Ω. 20 W: I = (12 - √(144 - 40)) / 1 = 1.801 961 A. With at least 10 V, 60 W
/// (whose roots are 8.45 V and 3.55 V) and 100 W (no root) are resistances: 100/60 Ω, and 1 Ω.
#[test]
fn a_constant_power_takes_the_upper_voltage_or_is_a_resistance() {
    let current = |nw: u64, least_nv: u64| {
        let load = Load::power(nw, least_nv).expect("power");
        at(&mut rail(12 * VOLT, 500_000, vec![load]), 0).0
    };
    let volt = VOLT.unsigned_abs();
    assert_eq!(current(20_000_000_000, 10 * volt), 1_801_960_973);
    assert_eq!(current(60_000_000_000, 10 * volt), 5_538_461_538);
    assert_eq!(current(100_000_000_000, 10 * volt), 8_000_000_000);
    // Down to 8 V the root holds: (12 - √24) / 1.
    assert_eq!(current(60_000_000_000, 8 * volt), 7_101_020_514);
    // Without impedance it is power over voltage.
    let load = Load::power(20_000_000_000, 10 * volt).expect("power");
    let mut stiff = rail(12 * VOLT, 0, vec![load]);
    assert_eq!(at(&mut stiff, 0), (1_666_666_667, 12 * VOLT));
}

/// Random sources with up to four loads each: what flows obeys every law at the voltage that
/// stands, and at no higher voltage would less than the source's current be enough.
#[test]
fn every_law_holds_at_once_at_the_uppermost_voltage() {
    for seed in 0..500 {
        let mut dice = Rng::new(seed).stream("laws");
        let mut within = |least: u64, most: u64| least + dice.below(most - least + 1);
        let volt = VOLT.unsigned_abs();
        let open = within(volt, 48 * volt);
        let uohm = within(1_000, 2_000_000);
        let fixed = within(0, AMPERE.unsigned_abs());
        let resistance = within(1_000_000, 100_000_000);
        let powers: Vec<(u64, u64)> = (0..within(0, 3))
            .map(|_| (within(0, 60_000_000_000), within(volt, 24 * volt)))
            .collect();
        let mut loads = vec![
            Load::of(constant(fixed as i64)),
            Load::resistance(resistance).expect("resistance"),
        ];
        loads.extend(
            powers
                .iter()
                .map(|&(nw, nv)| Load::power(nw, nv).expect("power")),
        );
        let (na, nv) = at(&mut rail(open as i64, uohm, loads), 0);
        // What the loads would draw at a voltage.
        let drawn = |nv: f64| {
            let power = |&(nw, least): &(u64, u64)| {
                let (watts, least) = (nw as f64 * 1e9, least as f64);
                if nv >= least {
                    watts / nv
                } else {
                    nv * watts / least / least
                }
            };
            fixed as f64 + nv / (resistance as f64 / 1e6) + powers.iter().map(power).sum::<f64>()
        };
        let fed = |nv: f64| (open as f64 - nv) / (uohm as f64 / 1e6);
        // A nanovolt of rounding moves the currents by as much as it does across the impedance, and
        // in the loads.
        let steep = (drawn(nv as f64 + 2.0) - drawn(nv as f64 - 2.0)).abs();
        let slack = 10.0 + 1e6 / uohm as f64 * 4.0 + steep;
        let told = format!("seed {seed}: {na} nA at {nv} nV");
        assert!((drawn(nv as f64) - na as f64).abs() <= slack, "{told}");
        assert!((fed(nv as f64) - na as f64).abs() <= slack, "{told}");
        let top = open as f64;
        let above = (1..100).map(|step| nv as f64 + (top - nv as f64) * f64::from(step) / 100.0);
        for higher in above.filter(|&higher| higher > nv as f64 + 1e3) {
            assert!(drawn(higher) > fed(higher), "{told}, and not {higher}");
        }
    }
}

/// 5 V through 0.4 Ω of source and 0.6 Ω in series into 1 mF at t = 2 ms: 5 A × exp(-t/1 ms). The
/// exponential is the standard library's.
#[test]
fn a_capacitor_is_charged_along_the_exponential() {
    let load = || {
        let load = Load::capacitor(1_000_000_000, 600_000, 0).expect("capacitor");
        load.between(2 * MILLISECOND, u64::MAX)
    };
    let mut rail = rail(5 * VOLT, 400_000, vec![load()]);
    assert_eq!(at(&mut rail, 0), (0, 5 * VOLT));
    let mut worst = 0.0_f64;
    for step in 0..1_000_u64 {
        let since = step * 10_000 + 5_000;
        let ns = 2 * MILLISECOND + since;
        let seen = rail.window(ns - 500, ns + 500).current_na;
        let exact = 5e9 * (-(since as f64) / 1e6).exp();
        worst = worst.max((seen - exact).abs());
    }
    assert!(worst < 5e9 * 0.0002, "off by {worst} nA");
    // Charged: 5 V × 1 mF and not a nanocoulomb more; the energy at the load's side is half of CV²
    // in the capacitor, and of the same that is lost the share of the series resistance, 0.6.
    let truth = rail.truth(SECOND);
    let coulombs = truth.charge_half_na_ns as f64 / 2e18;
    assert!((coulombs - 5e-3).abs() < 1e-9, "{coulombs}");
    let joules = truth.energy_sixth_na_nv_ns as f64 / 6e27;
    assert!((joules / (12.5e-3 * 1.6) - 1.0).abs() < 0.0002, "{joules}");
    // At rest it draws nothing, in long pieces.
    let piece = rail.piece(10 * SECOND).expect("a piece");
    assert_eq!((piece.start_na, piece.end_na), (0, 0));
    assert!(piece.to_ns - piece.from_ns > SECOND);
}

/// A capacitor that is taken off keeps its charge, and gives it back to a load that is greater than
/// its source can feed.
#[test]
fn a_capacitor_keeps_its_charge_and_gives_it_back() {
    let bench = Bench::new(0);
    let mut plug = Switch::closed(bench.clock());
    let capacitor = Load::capacitor(1_000_000_000, 1_000_000, 5 * VOLT).expect("capacitor");
    let pulse = Pulses::new(0, AMPERE, SECOND, 10 * MILLISECOND).expect("pulse");
    let loads = vec![
        Load::of(pulse.first_at(100 * MILLISECOND)),
        capacitor.behind(&plug),
    ];
    let mut rail = rail(5 * VOLT, 1_000_000, loads);
    assert_eq!(at(&mut rail, 0), (0, 5 * VOLT), "charged already");
    // 1 A pulls the node down by 1 V; source and capacitor share it, half each at first.
    bench.run_until(100 * MILLISECOND);
    let (na, nv) = at(&mut rail, 100 * MILLISECOND);
    assert_eq!((na, nv), (AMPERE / 2, 4_500_000_000));
    // Taken off after 1 ms: the source feeds the pulse alone.
    bench.run_until(101 * MILLISECOND);
    let given = 101 * i128::from(AMPERE) * 1_000_000
        - 100 * i128::from(AMPERE) * 1_000_000
        - rail.truth(101 * MILLISECOND).charge_half_na_ns / 2;
    plug.set_low().expect("never fails");
    assert_eq!(at(&mut rail, 101 * MILLISECOND), (AMPERE, 4 * VOLT));
    // Put back when the pulse is over: what was given flows back, and no more.
    bench.run_until(200 * MILLISECOND);
    plug.set_high().expect("never fails");
    let before = rail.truth(200 * MILLISECOND).charge_half_na_ns / 2;
    let after = rail.truth(SECOND).charge_half_na_ns / 2;
    assert!(given > i128::from(AMPERE) * 300_000, "{given}");
    // To a nanoampere, over all of the 0.8 s.
    let apart = (after - before - given).abs();
    assert!(apart < 800_000_000, "{} for {given}", after - before);
}

/// A cell that feeds a constant power: its current rises as it empties, and its charge is the
/// integral of P/V along the table. 1 mAh from 4 V to 3 V at 10 mW, with V straight over the
/// charge: the energy it gave is the table's area, (V0² - V1²)/2 × capacity per volt.
#[test]
fn a_cell_feeds_a_constant_power() {
    let cell = Cell::new(1_000, 1_000_000, &[(0, 3 * VOLT), (1_000_000, 4 * VOLT)]);
    let load = Load::power(10_000_000, VOLT.unsigned_abs()).expect("power");
    let mut rail = Switched::new(Source::cell(cell.expect("cell")), vec![load]).expect("rail");
    assert_eq!(at(&mut rail, 0), (2_500_000, 4 * VOLT));
    // Half of it, 1.8 C, is at 3.5 V; it gave 1.8 C × 3.75 V = 6.75 J, in 675 s.
    let half = rail.cell_left_half_na_ns(675 * SECOND).expect("a cell");
    let left = half as f64 / 2e18;
    assert!((left - 1.8).abs() < 1.8e-5, "{left} C left");
    let joules = rail.truth(675 * SECOND).energy_sixth_na_nv_ns as f64 / 6e27;
    assert!((joules - 6.75).abs() < 6.75e-6, "{joules}");
}

/// A converter from 12 V to 5 V, 90 %, 10 mW idle; its output's load comes and goes on a switch.
#[test]
fn a_converter_takes_in_what_it_puts_out_over_its_efficiency() {
    let bench = Bench::new(0);
    let mut switch = Switch::open(bench.clock());
    let output = || {
        let load = Load::of(constant(2 * AMPERE)).behind(&switch);
        rail(5 * VOLT, 100_000, vec![load])
    };
    let converter = Converter {
        efficiency_ppm: 900_000,
        idle_nw: 10_000_000,
        least_input_nv: 6_000_000_000,
    };
    let load = Load::converter(converter, output()).expect("converter");
    let mut input = rail(12 * VOLT, 0, vec![load]);
    let mut output = output();
    // 10 mW at 12 V.
    assert_eq!(at(&mut input, 0), (833_333, 12 * VOLT));
    bench.run_until(SECOND);
    let idle = input.truth(SECOND).energy_sixth_na_nv_ns;
    switch.set_high().expect("never fails");
    // At its terminals it puts out 5 V × 2 A, its own impedance's loss included.
    bench.run_until(3 * SECOND);
    assert_eq!(at(&mut input, 3 * SECOND).0, 926_759_259);
    let joules = (input.truth(3 * SECOND).energy_sixth_na_nv_ns - idle) as f64 / 6e27;
    assert!(
        (joules - 2.0 * (10.0 / 0.9 + 0.01)).abs() < 1e-8,
        "{joules}"
    );
    assert_eq!(
        output.truth(3 * SECOND).charge_half_na_ns / 2,
        4 * 10_i128.pow(18)
    );
    switch.set_low().expect("never fails");
    assert_eq!(at(&mut input, 3 * SECOND).0, 833_333);
}

/// 5 V that feed 0 A to 2 A in a second give 5 J, which take 5 J / 0.9 at the input.
#[test]
fn a_converter_follows_a_slope() {
    let slope = Recorded::ramp((0, 0), (SECOND, 2 * AMPERE)).expect("ramp");
    let output = rail(5 * VOLT, 100_000, vec![Load::of(slope)]);
    let converter = Converter {
        efficiency_ppm: 900_000,
        idle_nw: 0,
        least_input_nv: 6_000_000_000,
    };
    let load = Load::converter(converter, output).expect("converter");
    let mut input = rail(12 * VOLT, 0, vec![load]);
    let joules = input.truth(SECOND).energy_sixth_na_nv_ns as f64 / 6e27;
    assert!((joules - 5.0 / 0.9).abs() < 1e-6, "{joules}");
}

/// What flows back into a converter's output is lost: it takes in its idle power alone. A load
/// whose switch opens as it closes never does.
#[test]
fn a_converter_feeds_nothing_back() {
    let output = rail(5 * VOLT, 100_000, vec![Load::of(constant(-AMPERE))]);
    let converter = Converter {
        efficiency_ppm: 900_000,
        idle_nw: 12_000_000,
        least_input_nv: 6_000_000_000,
    };
    let load = Load::converter(converter, output).expect("converter");
    let never = Load::resistance(1_000_000).expect("1 Ω").between(0, 0);
    let mut input = rail(12 * VOLT, 0, vec![load, never]);
    assert_eq!(at(&mut input, 0).0, 1_000_000);
    assert_eq!(at(&mut input, SECOND).0, 1_000_000);
}

/// Where a rail is asked, and how often, changes nothing: neither its own truth nor what it takes
/// from the rail that feeds it.
#[test]
fn asking_changes_nothing() {
    let build = || {
        let pulses = Pulses::new(0, AMPERE, 7 * MILLISECOND, 2 * MILLISECOND).expect("pulses");
        let buffer = Load::capacitor(100_000_000, 50_000, 0).expect("capacitor");
        let output = rail(5 * VOLT, 200_000, vec![Load::of(pulses), buffer]);
        let converter = Converter {
            efficiency_ppm: 850_000,
            idle_nw: 1_000_000,
            least_input_nv: 6_000_000_000,
        };
        let late = Load::power(3_000_000_000, 6_000_000_000).expect("power");
        let cell = Cell::new(500_000, 500_000, &[(0, 9 * VOLT), (1_000_000, 12 * VOLT)]);
        let source = Source::cell(cell.expect("cell")).behind_microohms(300_000);
        let loads = vec![
            Load::converter(converter, output).expect("converter"),
            late.between(12 * MILLISECOND, 31 * MILLISECOND),
        ];
        Switched::new(source.expect("impedance"), loads).expect("rail")
    };
    let (mut asked, mut left_alone) = (build(), build());
    let mut dice = Rng::new(7).stream("questions");
    let mut now_ns = 0;
    while now_ns < 50 * MILLISECOND {
        now_ns += 1 + dice.below(150_000);
        let back_ns = now_ns - dice.below(now_ns.min(60_000));
        asked.truth(back_ns);
        asked.window(back_ns, now_ns + 1);
    }
    let end_ns = 51 * MILLISECOND;
    assert_eq!(asked.truth(end_ns), left_alone.truth(end_ns));
    assert_eq!(asked.extremes(end_ns), left_alone.extremes(end_ns));
    // At least what the output took is in it: two sevenths of 1 A at 5 V and 85 %, and 3 W.
    let joules = asked.truth(end_ns).energy_sixth_na_nv_ns as f64 / 6e27;
    let least = 0.051 * 10.0 / 7.0 / 0.85 + 0.019 * 3.0;
    assert!(
        (least..1.1 * least).contains(&joules),
        "{joules} for {least}"
    );
}

#[test]
fn laws_that_cannot_be_are_refused() {
    let err = |load: Result<Load, PlantError>| load.err();
    assert_eq!(
        err(Load::resistance(999)),
        Some(PlantError::Resistance(999))
    );
    // 1 mΩ, 1 GΩ, 1 kW.
    assert!(Load::resistance(1_000).is_ok() && Load::resistance(1_000_000_000_000_000).is_ok());
    let gigohm_and_more = 1_000_000_000_000_001;
    assert_eq!(
        err(Load::resistance(gigohm_and_more)),
        Some(PlantError::Resistance(gigohm_and_more))
    );
    assert_eq!(
        err(Load::capacitor(1_000_000, 999, 0)),
        Some(PlantError::Resistance(999))
    );
    assert!(Load::power(1_000_000_000_000, 1_000).is_ok());
    let watts = 1_000_000_000_001;
    assert_eq!(
        err(Load::power(watts, 1_000)),
        Some(PlantError::Power(watts))
    );
    assert_eq!(
        err(Load::power(1, 999)),
        Some(PlantError::LeastVoltage(999))
    );
    // A thousand volts.
    assert!(Load::power(1, 1_000_000_000_000).is_ok());
    let volts_and_more = 1_000_000_000_001;
    assert_eq!(
        err(Load::power(1, volts_and_more)),
        Some(PlantError::LeastVoltage(volts_and_more))
    );
    // 1 nF behind 999 Ω has a time constant of 999 ns.
    assert_eq!(
        err(Load::capacitor(1_000, 999_000_000, 0)),
        Some(PlantError::Capacitor)
    );
    assert!(Load::capacitor(1_000, 1_000_000_000, 0).is_ok());
    let beyond = 1_000_000_000_000_001;
    assert_eq!(
        err(Load::capacitor(beyond, 1_000, 0)),
        Some(PlantError::Capacitor)
    );
    let converter = |efficiency_ppm| {
        let converter = Converter {
            efficiency_ppm,
            idle_nw: 0,
            least_input_nv: 1_000,
        };
        Load::converter(converter, rail(VOLT, 0, vec![Load::of(constant(0))])).err()
    };
    assert_eq!(
        converter(1_000_001),
        Some(PlantError::Efficiency(1_000_001))
    );
    assert_eq!(converter(9_999), Some(PlantError::Efficiency(9_999)));
    assert_eq!(converter(1_000_000), None);
    // 100 V into a capacitor behind 10 mΩ: 10 kA.
    let inrush = Load::capacitor(1_000_000_000, 10_000, 0).expect("capacitor");
    let refused = Switched::new(volts(100), vec![inrush]).err();
    assert!(matches!(refused, Some(PlantError::Current(na)) if na > 9_999 * AMPERE));
    // 5 V back through 1 mΩ is 5 kA into a resistance, and through 10 mΩ 500 A into a source that
    // takes 600 A already.
    let charged = |uohm| Load::capacitor(1_000_000_000, uohm, 5 * VOLT).expect("capacitor");
    let resistance = || Load::resistance(1_000).expect("1 mΩ");
    let source = || volts(0).behind_microohms(1_000_000_000).expect("1 kΩ");
    let into_it = Switched::new(source(), vec![charged(1_000), resistance()]).err();
    assert!(matches!(into_it, Some(PlantError::Current(na)) if na.abs() > 4_999 * AMPERE));
    assert!(Switched::new(source(), vec![resistance()]).is_ok());
    let taken = |amperes: i64| {
        let loads = vec![charged(10_000), Load::of(constant(-amperes * AMPERE))];
        Switched::new(volts(0), loads).err()
    };
    let beyond = taken(600);
    assert!(matches!(beyond, Some(PlantError::Current(na)) if na < -1_099 * AMPERE));
    assert_eq!(taken(400), None);
}

/// Two capacitors, at 0 V and 5 V, share charge through their series resistors whatever the source
/// is behind: 5 V over 200 mΩ are 25 A, within what the rail says that it may carry.
#[test]
fn what_capacitors_share_is_within_the_bounds() {
    let empty = Load::capacitor(1_000_000_000, 100_000, 0).expect("a capacitor");
    let full = Load::capacitor(1_000_000_000, 100_000, 5 * VOLT).expect("a capacitor");
    let rail = rail(5 * VOLT, 10_000_000, vec![empty, full]);
    let bounds = rail.bounds();
    assert!(bounds.greatest >= 25 * AMPERE, "{bounds:?}");
}
