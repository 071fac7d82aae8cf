//! What a rail could ever carry: each load at its greatest, all together.

use super::*;
use crake_sim::plant::{Converter, Pulses};

fn volts_to(from: i64, to: i64, microohms: u64) -> Source {
    let slope = Recorded::ramp((0, from * VOLT), (1_000, to * VOLT)).expect("ramp");
    Source::of(slope)
        .behind_microohms(microohms)
        .expect("impedance")
}

/// Asserts least and greatest in nanoamperes: of what follows the voltage a nanoampere more at the
/// most.
fn assert_bounds(source: Source, loads: Vec<Load>, least: i64, greatest: i64) {
    let followers = 1;
    let bounds = Switched::new(source, loads).expect("rail").bounds();
    let told = format!("{bounds:?} for {least} to {greatest}");
    assert!(
        (least - followers..=least).contains(&bounds.least),
        "{told}"
    );
    assert!(
        (greatest..=greatest + followers).contains(&bounds.greatest),
        "{told}"
    );
}

fn capacitor(series_ohms: u64, nv: i64) -> Load {
    Load::capacitor(1_000_000_000, series_ohms * 1_000_000, nv).expect("capacitor")
}

/// What is switched may be on or off, with its inrush.
#[test]
fn a_switched_load_is_on_or_off() {
    let bench = Bench::new(0);
    let switch = Switch::open(bench.clock());
    let with = |amperes: i64, peak: i64| {
        let inrush = Inrush {
            peak_na: peak * AMPERE,
            length_ns: 1_000,
        };
        let load = Load::of(constant(amperes * AMPERE)).behind(&switch);
        let loads = vec![load.with_inrush(inrush)];
        let bounds = Switched::new(volts(5), loads).expect("rail").bounds();
        (bounds.least, bounds.greatest)
    };
    assert_eq!(with(2, 3), (0, 5 * AMPERE));
    assert_eq!(with(-2, -3), (-5 * AMPERE, 0));
    assert_eq!(with(2, -3), (-3 * AMPERE, 2 * AMPERE));
}

/// 9 Ω behind 1 Ω from 10 V at the most: 1 A; and from 12 V, where 2 A flow back through 1 Ω,
/// 1.2 A.
#[test]
fn a_resistance_draws_most_at_the_greatest_voltage() {
    let resistance = || Load::resistance(9_000_000).expect("9 Ω");
    assert_bounds(volts_to(2, 10, 1_000_000), vec![resistance()], 0, AMPERE);
    let both_ways = Pulses::new(-2 * AMPERE, 3 * AMPERE, 1_000, 500).expect("pulses");
    let loads = vec![resistance(), Load::of(both_ways)];
    let greatest = 4_200_000_000;
    assert_bounds(volts_to(2, 10, 1_000_000), loads, -2 * AMPERE, greatest);
}

/// A power draws most at its least voltage, and so does a converter: (2 A × 5 V / 0.9 + 10 mW)
/// / 6 V, and where nothing but -1 A flows at its output 10 mW / 6 V.
#[test]
fn a_power_draws_most_at_its_least_voltage() {
    let power = Load::power(20_000_000_000, 10 * VOLT.unsigned_abs()).expect("power");
    assert_bounds(volts_to(2, 24, 0), vec![power], 0, 2 * AMPERE);
    for (amperes, greatest) in [(2, 1_853_518_518), (-1, 1_666_666)] {
        let output = Switched::new(volts(5), vec![Load::of(constant(amperes * AMPERE))]);
        let converter = Converter {
            efficiency_ppm: 900_000,
            idle_nw: 10_000_000,
            least_input_nv: 6_000_000_000,
        };
        let load = Load::converter(converter, output.expect("rail")).expect("converter");
        assert_bounds(volts_to(2, 24, 0), vec![load], 0, greatest);
    }
}

/// A capacitor gives back to its source what the source's fall makes, and to other loads what they
/// draw, but no more than its swing through its own resistance.
#[test]
fn a_capacitor_gives_back_to_source_and_loads() {
    // 1 Ω and 4 Ω: 10 V from empty are 2 A; back from 10 V to 2 V 1.6 A.
    let loads = vec![capacitor(1, 0)];
    assert_bounds(
        volts_to(2, 10, 4_000_000),
        loads,
        -1_600_000_000,
        2 * AMPERE,
    );
    // 5 V into a source of 0 V: 1 A. Into it they would be 5 V through its own 4 Ω.
    let loads = vec![capacitor(4, 5 * VOLT)];
    assert_bounds(volts_to(0, 0, 1_000_000), loads, -AMPERE, 1_250_000_000);
    // Beside 3 A at 10 V: 10 V through 4 Ω back, and through 5 Ω in.
    let loads = vec![capacitor(4, 10 * VOLT), Load::of(constant(3 * AMPERE))];
    assert_bounds(volts_to(10, 10, 1_000_000), loads, AMPERE / 2, 5 * AMPERE);
    // 12 A make -2 V of them: 12 V through 4 Ω, and through 5 Ω.
    let loads = vec![capacitor(4, 10 * VOLT), Load::of(constant(12 * AMPERE))];
    assert_bounds(
        volts_to(10, 10, 1_000_000),
        loads,
        9 * AMPERE,
        14_400_000_000,
    );
    // Beside 1 A that it could feed alone.
    let loads = vec![capacitor(4, 10 * VOLT), Load::of(constant(AMPERE))];
    assert_bounds(volts_to(10, 10, 1_000_000), loads, 0, 3 * AMPERE);
}
