//! Bounds against what datasheet and declaration leave open, worked out here by exact rationals:
//! never less, and little more.

use crate::model::{magnitude, ratio};
use crate::stub::{Stub, rail};
use crake::Channel;
use crake::board::{Board, Correction, Load, LoadSteps, Offset, Rail, SenseResistor, VoltageSteps};
use crake::part::corncrake::INFO;
use crake::totals::{Margins, Total, Totals};
use crake::units::{Charge, Current, Energy, Resistance, Tolerance, Voltage};
use num_rational::BigRational;

type Q = BigRational;

pub const HOUR: u64 = 7_200_000;

/// What the totals of a rail say after so many scans of 500 µs with these codes, in `samples` steps
/// and the finest or the widest ranges.
fn totals_of(
    rail: &Rail,
    clock_ppm: u32,
    ranges: (u8, u8),
    scans: u64,
    (sense, volts): (i32, u16),
) -> (Total<Charge>, Total<Energy>) {
    let board = Board::new(&INFO, &[*rail]).with_clock(Tolerance::from_ppm(clock_ppm));
    let margins = Margins::new(&INFO, &board, &[*rail]);
    let mut totals = Totals::with_bounds(&margins);
    let mut stub = Stub::new(board);
    stub.configure(0, [Some(ranges)]);
    totals.update(&stub);
    let mut left = scans;
    while left != 0 {
        let part = left.min(HOUR * 8);
        stub.run(part, part * 500, [sense], [volts]);
        totals.update(&stub);
        left -= part;
    }
    assert_eq!((totals.epoch(), totals.counted_us()), (0, scans * 500));
    let charge = totals.charge(Channel::C0).expect("a rail");
    (charge, totals.energy(Channel::C0).expect("a rail"))
}

/// Bounds of both in nC and nJ, in the widest ranges.
fn bounds_of(rail: &Rail, scans: u64, codes: (i32, u16)) -> [Q; 2] {
    let (charge, energy) = totals_of(rail, 0, (0, 2), scans, codes);
    [
        ratio(charge.bound.as_nanocoulombs(), 1),
        ratio(energy.bound.as_nanojoules(), 1),
    ]
}

/// At least as much, and at most so many permille more, and what rounding up of each product adds:
/// 0.16 µC and 69 µJ at 10 mΩ.
fn assert_near(what: &str, got: &Q, expected: &Q, permille: i64) {
    let rounding = if what == "charge" { 1_000 } else { 400_000 };
    let most = expected * ratio(1_000 + permille, 1_000) + ratio(rounding, 1);
    assert!(
        *got >= expected - ratio(40, 1) && *got <= most,
        "{what}: {got}, expected {expected}"
    );
}

pub fn rail_with(milliohms: u64, load: Load) -> Rail {
    rail(milliohms * 1_000_000).with_load(load)
}

pub const SMOOTH: Load = Load::smooth(Current::from_amps(4));

/// Each jump is dated wrongly by half a scan period of the slowest oscillator, 1.5 % off (section
/// 6): 360 000 an hour × 100 mA × 250 µs.
#[test]
fn jumps_of_the_load() {
    let steps = LoadSteps {
        per_hour: 360_000,
        step: Current::from_milliamps(100),
    };
    let jumping = rail_with(10, SMOOTH.with_steps(steps)).with_voltage(V4, V5);
    let calm = rail_with(10, SMOOTH).with_voltage(V4, V5);
    let (more, less) = (
        bounds_of(&jumping, HOUR, (1_000, 5_000)),
        bounds_of(&calm, HOUR, (1_000, 5_000)),
    );
    let expected =
        ratio(360_000 * 100_000_000_i64, 1) * ratio(250, 1_000_000) * ratio(1_015, 1_000);
    // At 5 V and what may be shown of it: 0.15 % and 10 mV, and what noise adds.
    assert_near("charge", &(&more[0] - &less[0]), &expected, 1);
    assert_near(
        "energy",
        &(&more[1] - &less[1]),
        &(expected * ratio(5, 1)),
        15,
    );
}

pub const V4: Voltage = Voltage::from_volts(4);
pub const V5: Voltage = Voltage::from_volts(5);

/// Likewise of the source's voltage, at the greatest current: 36 000 × 0.5 V × 4 A × 250 µs.
#[test]
fn jumps_of_the_source() {
    let steps = VoltageSteps {
        per_hour: 36_000,
        step: Voltage::from_millivolts(500),
    };
    let jumping = rail_with(10, SMOOTH.with_voltage_steps(steps)).with_voltage(V4, V5);
    let calm = rail_with(10, SMOOTH).with_voltage(V4, V5);
    let (more, less) = (
        bounds_of(&jumping, HOUR, (1_000, 5_000)),
        bounds_of(&calm, HOUR, (1_000, 5_000)),
    );
    let expected = ratio(36_000 * 2_000_000_000_i64, 1) * ratio(250, 1_000_000);
    assert_eq!(more[0], less[0]);
    assert_near(
        "energy",
        &(&more[1] - &less[1]),
        &(expected * ratio(1_015, 1_000)),
        1,
    );
}

/// Each end is uncertain by a scan and half its bracket of 100 µs: the flow in it, and the length
/// that the mean is multiplied by. One jump more, and the wake-up time at either end, besides.
#[test]
fn ends_of_a_stretch() {
    let of = |amps| {
        bounds_of(
            &rail_with(10, Load::smooth(Current::from_amps(amps))),
            HOUR,
            (0, 0),
        )
    };
    let (more, less) = (of(6), of(1));
    let least = ratio(5_000_000_000_i64, 1) * ratio(2 * (2 * 500 + 100), 1_000_000);
    let grown = &more[0] - &less[0];
    let most = &least + ratio(5_000_000_000_i64, 1) * ratio(500 + 300, 1_000_000);
    assert!(grown >= least && grown <= most + ratio(1_000, 1), "{grown}");
}

/// Section 7: ten microvolts and 20 nA, noise of 2 500 nV r.m.s. and rounding to 500 nV, over 0.2 %
/// less; nothing is shown.
#[test]
fn offset_and_noise() {
    let load = Load::smooth(Current::from_nanoamps(1));
    for scans in [1 << 4, 1 << 20] {
        let got = bounds_of(&rail_with(10, load), scans, (0, 0));
        let root = ratio((scans as i64).isqrt(), 1);
        let noise_nv = ratio(6 * 2_500 + 2 * 500, 1) * &root;
        let offset_nv = (ratio(10_000, 1) + ratio(20, 100)) * ratio(scans, 1);
        let expected = (noise_nv + offset_nv) / ratio(998, 1_000);
        // nV ÷ 10 mΩ are 100 nA; times 500 µs.
        let expected = expected * ratio(100 * 500, 1_000_000);
        let permille = if scans < 100 { 200 } else { 1 };
        assert_near("charge", &got[0], &expected, permille);
        // At 65.535 V, 10 mV and 9 mV of noise and two codes, over 0.15 % less.
        let volts = ratio(65_535 + 10 + 11, 1_000) / ratio(9_985, 10_000);
        assert_near("energy", &got[1], &(expected * volts), permille + 5);
    }
}

/// Section 7: noise of the rail voltage counts at the greatest current: 6 × 1.5 mV and 2 codes.
#[test]
fn noise_of_the_voltage() {
    let of = |amps| {
        bounds_of(
            &rail_with(10, Load::smooth(Current::from_amps(amps))),
            1 << 20,
            (0, 0),
        )
    };
    let (more, less) = (of(6), of(1));
    let charge = &more[0] - &less[0];
    let noise_nv = ratio(6 * 1_500 + 2 * 1_000, 1) * ratio(1 << 10, 1) * ratio(1_000, 1);
    // 5 A × nV × 500 µs.
    let noise = noise_nv * ratio(5 * 500, 1_000_000) / ratio(9_985, 10_000);
    let ends = charge * ratio(65_556, 1_000) / ratio(9_985, 10_000);
    assert_near("energy", &(&more[1] - &less[1]), &(noise + ends), 5);
}

/// Goal: products of errors are in the bound. With gain and clock at their lower limits for a long
/// time, the charge is short by 1 − (1 − 0.002)(1 − 0.05).
#[test]
fn products_of_errors() {
    let load = Load::smooth(Current::from_nanoamps(1));
    let (charge, _) = totals_of(
        &rail_with(10, load),
        50_000,
        (0, 0),
        100 * HOUR,
        (100_000, 0),
    );
    let shown = ratio(charge.value.as_nanocoulombs(), 1);
    let truth = &shown / ratio(998, 1_000) / ratio(950, 1_000);
    let off = &truth - &shown;
    // Offset: 10 µV of 50 mV, and the wander: 200 ppm.
    let others = &truth * ratio(2_000 + 400, 10_000_000);
    let bound = ratio(charge.bound.as_nanocoulombs(), 1);
    assert!(bound >= off, "{bound} for {off}");
    assert!(bound <= (off + others) * ratio(101, 100), "{bound}");
}

/// Goal: the wander counts twice. For 99 of 100 scans the oscillator is fast by its limit and
/// nothing flows; for one it is slow by its limit, and all of the charge flows then.
#[test]
fn a_load_in_step_with_the_wander() {
    let load = Load::smooth(Current::from_nanoamps(1));
    let rail = rail_with(10, load);
    let board = Board::new(&INFO, &[rail]).with_clock(Tolerance::ZERO);
    let margins = Margins::new(&INFO, &board, &[rail]);
    let mut totals = Totals::with_bounds(&margins);
    let mut stub = Stub::new(board);
    totals.update(&stub);
    let (off, on) = (59_400_000_u64, 600_000_u64);
    // Period 500 µs ÷ (1 ± 10^-4), in whole microseconds of the whole stretch.
    let slow_us = on * 500 * 10_000 / 9_999;
    stub.run(off, off * 500 * 10_000 / 10_001, [0], [0]);
    stub.run(on, slow_us, [100_000], [0]);
    totals.update(&stub);
    let charge = totals.charge(Channel::C0).expect("a rail");
    // 100000 × 500 nV ÷ 10 mΩ = 5 A.
    let short = i128::from(slow_us) * 5_000 - charge.value.as_nanocoulombs();
    assert!(short > i128::from(slow_us) * 5_000 * 19 / 100_000);
    // Offset and the gain's 0.2 % are in the bound, too: 10 µV for 30 000 s, 30 C.
    let others = 30_000_600_000_i128 + 3_000_000_000;
    let bound = charge.bound.as_nanocoulombs();
    assert!(bound >= others + short, "{bound} for {short}");
    assert!(bound <= (others + short) * 101 / 100, "{bound}");
}

/// Goal: codes are samples. A rail that is high whenever nobody looks multiplies an offset that was
/// taken off, and the bound says so; with a declared span it is known better.
#[test]
fn the_voltage_between_samples() {
    let correction = Correction {
        offset: Offset::from_bits(10_000 << 8),
        offset_bound: Some(Voltage::from_nanovolts(150)),
        ..Correction::NONE
    };
    let rail = rail_with(500, Load::smooth(Current::from_microamps(1))).corrected(correction);
    let board = Board::new(&INFO, &[rail]);
    let at = |rail: Rail, shown: u16, real: u16| {
        let margins = Margins::new(&INFO, &board, &[rail]);
        let mut totals = Totals::with_bounds(&margins);
        let mut stub = Stub::new(board);
        stub.configure(0, [Some((1, 0))]);
        totals.update(&stub);
        // Nothing flows; the part's offset of 10 µV, 50 codes, times what is there.
        stub.run(HOUR, HOUR * 500, [50], [real]);
        stub.codes[0].rail = shown.into();
        totals.update(&stub);
        let energy = totals.energy(Channel::C0).expect("a rail");
        (energy.value.as_nanojoules(), energy.bound.as_nanojoules())
    };
    let (value, bound) = at(rail, 0, 65_000);
    assert!(
        value.abs() <= bound && value.abs() > bound * 9 / 10,
        "{value} of {bound}"
    );
    let spanned = rail.with_voltage(Voltage::from_volts(5), Voltage::from_millivolts(5_100));
    let (value, tight) = at(spanned, 50_000, 51_000);
    assert!(value.abs() <= tight, "{value} of {tight}");
    // 0.1 V of 6.5 V, and the offset's own 0.2 µV of 10.
    assert!(tight < bound / 15, "{tight} of {bound}");
}

/// Goal: what is wider than 64 bits has a bound that is, too: 1 % of 42 kW for four years is 5.4e19
/// nJ.
#[test]
fn kilowatts_for_years() {
    let resistor = SenseResistor::new(Resistance::from_microohms(100), Tolerance::from_percent(1));
    let rail = Rail::new(resistor).with_load(Load::smooth(Current::from_amps(650)));
    let (_, energy) = totals_of(&rail, 0, (0, 2), 8_760 * 4 * HOUR, (130_000, 65_000));
    let (value, bound) = (energy.value.as_nanojoules(), energy.bound.as_nanojoules());
    assert!(bound > i128::from(u64::MAX));
    // 1 % of tolerance, 0.35 % of gains, 0.02 % of wander, offsets of 10 µV and 10 mV.
    let expected = value * 137 / 10_000 + value / 6_500 * 2;
    assert!(
        (expected..expected * 103 / 100).contains(&bound),
        "{bound} for {expected}"
    );
}

/// Goal: without a declared load a bound covers the instrument alone, and says so.
#[test]
fn without_a_declared_load() {
    let plain = rail(10_000_000);
    let (charge, energy) = totals_of(&plain, 0, (0, 0), HOUR, (1_000, 5_000));
    assert!(!charge.covers_load && !energy.covers_load);
    // 10 µV ÷ 10 mΩ for an hour are 3.6 C; 0.2 % of 180 C; the wander at full scale, 0.0002 × 7.4
    // A.
    let bound = charge.bound.as_nanocoulombs();
    assert!((9_200_000_000..9_600_000_000).contains(&bound), "{bound}");
    let (declared, _) = totals_of(&plain.with_load(SMOOTH), 0, (0, 0), HOUR, (1_000, 5_000));
    assert!(declared.covers_load);
}

/// Goal: where nothing is known, the bound is the greatest quantity: margins of other rails than
/// the board's, a current beyond what is counted in, limits that add up to everything.
#[test]
fn what_is_unknown() {
    let real = rail_with(10, SMOOTH);
    let board = Board::new(&INFO, &[real]);
    let offset = Correction {
        offset: Offset::from_bits(1 << 16),
        ..Correction::NONE
    };
    let resistor = SenseResistor::new(Resistance::from_milliohms(10), Tolerance::from_percent(100));
    for declared in [
        rail_with(11, SMOOTH),
        real.corrected(offset),
        rail_with(10, Load::smooth(Current::from_amps(50))),
        Rail::new(resistor),
    ] {
        let margins = Margins::new(&INFO, &board, &[declared]);
        let charge = unbounded(&format!("{declared:?}"), &board, &margins);
        let off = magnitude(ratio(charge.value.as_nanocoulombs(), 1) - ratio(50_000_000, 1));
        assert!(off <= ratio(1, 1));
    }
}

/// The charge of a second, of which nothing is known, after the stretch has ended as well.
pub fn unbounded(what: &str, board: &Board<1>, margins: &Margins<'_, 1>) -> Total<Charge> {
    let mut totals = Totals::with_bounds(margins);
    let mut stub = Stub::new(*board);
    totals.update(&stub);
    stub.run(2_000, 1_000_000, [1_000], [5_000]);
    totals.update(&stub);
    let (charge, energy) = (totals.charge(Channel::C0), totals.energy(Channel::C0));
    let (charge, energy) = (charge.expect("a rail"), energy.expect("a rail"));
    assert!(!charge.covers_load && !energy.covers_load, "{what}");
    assert_eq!(charge.bound.as_nanocoulombs(), i128::MAX, "{what}");
    assert_eq!(energy.bound.as_nanojoules(), i128::MAX, "{what}");
    totals.unpowered();
    let charge = totals.charge(Channel::C0).expect("a rail");
    assert_eq!(charge.bound.as_nanocoulombs(), i128::MAX, "{what}");
    charge
}
