//! Bounds against limits worked out here from the datasheet's tables, part by part, and against individuals at those limits.

use crate::stub::{Handle, board, coarse, ranges};
use crake::old::board::{Board, Correction, Edges, Gain, Load, Rail, Shunt, Zero};
use crake::old::ledger::{Account, Ledger};
use crake::old::part::corncrake::{self, SPEC};
use crake::old::units::{Current, Resistance, Tolerance, Voltage};
use crake::old::{Channel, Mode, Setup, ShuntMonitor};

/// What flows, and through what. SI units.
#[derive(Clone, Copy, Debug)]
struct Point {
    ohms: f64,
    amps: f64,
    volts: f64,
    greatest: f64,
    hours: f64,
    fine: bool,
}

const TOLERANCE_PPM: u32 = 10_000;
const CLOCK_PPM: u32 = 10_000;
/// 50 ppm/K over 60 K.
const THERMAL: f64 = 3.0e-3;
/// 100 edges a second of a hundredth of the greatest current.
const EDGES_PER_S: f64 = 100.0;

impl Point {
    fn board(&self) -> Board<1> {
        let shunt = Shunt::new(
            Resistance::from_nanoohms((self.ohms * 1e9).round() as u64),
            Tolerance::from_ppm(TOLERANCE_PPM),
        );
        let load =
            Load::smooth(Current::from_nanoamps((self.greatest * 1e9) as i64)).with_edges(Edges {
                per_1000_s: (EDGES_PER_S * 1e3) as u32,
                step: Current::from_nanoamps((self.greatest * 1e7) as i64),
            });
        board([Rail::new(shunt.with_temperature(50, 60_000), load)])
            .with_clock(Tolerance::from_ppm(CLOCK_PPM))
    }

    fn setup(&self) -> Setup<1> {
        let sense = if self.fine {
            corncrake::SENSE_26_MV
        } else {
            corncrake::SENSE_65_MV
        };
        Setup::all(
            ranges(sense, corncrake::BUS_6_V),
            Mode::Paced(corncrake::PACE_2000),
        )
    }

    fn sense_lsb(&self) -> f64 {
        if self.fine { 200e-9 } else { 500e-9 }
    }

    /// The account of a part that shows exactly these, whatever is true.
    fn account(
        &self,
        board: &Board<1>,
        shown_amps: f64,
        shown_watts: f64,
        seconds: f64,
    ) -> Account {
        let handle = Handle::new();
        let mut monitor = handle.monitor(board);
        let mut ledger = Ledger::new(board, &SPEC);
        ledger.update(&monitor.init(&self.setup()).expect("init"));
        let steps = (seconds / 25_000.0).ceil();
        let rounds = (seconds / steps * 2_000.0) as u64;
        for _ in 0..steps as u32 {
            handle.run(
                rounds,
                rounds * 500 - 610,
                [0; 4],
                [(self.volts / 100e-6) as u16; 4],
            );
            handle.change(|world| {
                let code = shown_amps * self.ohms / self.sense_lsb();
                world.charge[0] += (code * rounds as f64) as i128;
                let code = shown_watts * self.ohms / self.sense_lsb() / 100e-6;
                world.energy[0] += (code * rounds as f64) as i128;
            });
            ledger.update(&monitor.latch().expect("latch"));
        }
        assert_eq!(ledger.epoch(), 0);
        ledger.account(Channel::C0).expect("a rail")
    }
}

const POINTS: [Point; 4] = [
    Point {
        ohms: 0.01,
        amps: 2.0,
        volts: 5.0,
        greatest: 4.0,
        hours: 1.0,
        fine: false,
    },
    Point {
        ohms: 0.5,
        amps: 40e-6,
        volts: 3.3,
        greatest: 0.05,
        hours: 24.0,
        fine: true,
    },
    Point {
        ohms: 0.001,
        amps: 60.0,
        volts: 1.1,
        greatest: 65.0,
        hours: 100.0,
        fine: false,
    },
    Point {
        ohms: 10.0,
        amps: 1e-3,
        volts: 6.5,
        greatest: 2.6e-3,
        hours: 0.02,
        fine: true,
    },
];

/// Greatest voltage within the range of 6.5536 V: what is known of the bus between readings. With offset and noise of section 7.
const RANGE_V: f64 = 6.5535 + 1e-3 + 150e-6;

/// Goal: each named part is the limit that the tables give, by an independent computation in floating point: never less, and at most 5 % more.
#[test]
fn each_part_is_its_limit() {
    for point in POINTS {
        let seconds = point.hours * 3600.0;
        let account = point.account(
            &point.board(),
            point.amps,
            point.amps * point.volts,
            seconds,
        );
        let seconds = account.duration_us as f64 * 1e-6;
        let rounds = seconds * 2_000.0;
        let (charge, energy) = (point.amps * seconds, point.amps * point.volts * seconds);
        // Section 7, rounding uniform over an LSB; section 6.
        let (noise, offset, bias) = (if point.fine { 1.2e-6 } else { 2.5e-6 }, 10e-6, 20e-9);
        let rounding = |lsb: f64| 6.0 * lsb / 12_f64.sqrt();
        let noise =
            (6.0 * noise + rounding(point.sense_lsb())) / rounds.sqrt() / point.ohms * seconds;
        let bus_noise = (6.0 * 150e-6 + rounding(100e-6)) / rounds.sqrt();
        let offset = (offset / point.ohms + bias) * seconds;
        // A segment may lie at one end of the wander and a part of it at the other.
        let wander = 2.0 * 100e-6;
        let clock = f64::from(CLOCK_PPM) * 1e-6;
        let tolerance = f64::from(TOLERANCE_PPM) * 1e-6;
        // Each end: one round, and half of what is done about the bracket, counted twice; see `Stretch`.
        let ends = point.greatest * (2.0 * 2.0 * 500e-6 + 2.0 * (200e-6 + 150e-6));
        let load = (EDGES_PER_S * seconds + 1.0) * point.greatest * 0.01 * 500e-6 / 2.0;
        let rest = 1.0 - 2e-3 - tolerance - THERMAL - clock - wander;
        let turned = (charge + offset + noise + ends + load) / rest;
        let expected = [
            2e-3 * charge / rest,
            offset / rest,
            noise / rest,
            tolerance * charge / rest,
            THERMAL * turned / rest,
            (clock * charge + wander * turned) / rest + ends,
            load,
        ];
        let bound = account.charge_bound;
        let got = [
            bound.gain,
            bound.offset,
            bound.noise,
            bound.shunt,
            bound.thermal,
            bound.clock,
            bound.load,
        ]
        .map(|part| part.as_nanocoulombs() as f64 * 1e-9);
        close(point, got, expected);

        let rest = rest - 1.5e-3;
        let weight = turned.max((turned * point.greatest * seconds).sqrt());
        let (offset, noise) = (
            offset * RANGE_V + turned * 1e-3,
            noise * RANGE_V + weight * bus_noise,
        );
        let turned = (energy + offset + noise + (ends + load) * RANGE_V) / rest;
        let expected = [
            3.5e-3 * energy / rest,
            offset / rest,
            noise / rest,
            tolerance * energy / rest,
            THERMAL * turned / rest,
            (clock * energy + wander * turned) / rest + ends * RANGE_V,
            load * RANGE_V,
        ];
        let bound = account.energy_bound;
        let got = [
            bound.gain,
            bound.offset,
            bound.noise,
            bound.shunt,
            bound.thermal,
            bound.clock,
            bound.load,
        ]
        .map(|part| part.as_nanojoules() as f64 * 1e-9);
        close(point, got, expected);
    }
}

fn close(point: Point, got: [f64; 7], expected: [f64; 7]) {
    let names = [
        "gain", "offset", "noise", "shunt", "thermal", "clock", "load",
    ];
    for ((name, got), expected) in names.iter().zip(got).zip(expected) {
        let ratio = (got + 3e-9) / expected;
        assert!(
            (1.0 - 1e-6..1.05).contains(&ratio),
            "{point:?}: {name} {got} for {expected}"
        );
    }
}

/// Goal: an individual with every error at its limit, all in the same direction, lies within the bound; and the bound is not far from it.
#[test]
fn the_worst_individual_lies_within_the_bound() {
    for point in POINTS {
        for sign in [-1.0, 1.0] {
            let seconds = point.hours * 3600.0;
            let by = |limit: f64| 1.0 + sign * limit;
            // Measured by a clock that is off as well: time is what the host says.
            let sense = point.amps * by(TOLERANCE_PPM as f64 * 1e-6) * by(THERMAL) * by(2e-3)
                + sign * (10e-6 / point.ohms + 20e-9);
            let bus = point.volts * by(1.5e-3) + sign * 1e-3;
            let account = point.account(&point.board(), sense, sense * bus, seconds);
            let seconds = account.duration_us as f64 * 1e-6 / by(CLOCK_PPM as f64 * 1e-6);
            let off = account.charge.as_nanocoulombs() as f64 * 1e-9 - point.amps * seconds;
            let bound = account.charge_bound.total().as_nanocoulombs() as f64 * 1e-9;
            assert!(off.abs() <= bound, "{point:?}: charge {off} beyond {bound}");
            let off =
                account.energy.as_nanojoules() as f64 * 1e-9 - point.amps * point.volts * seconds;
            let bound = account.energy_bound.total().as_nanojoules() as f64 * 1e-9;
            assert!(off.abs() <= bound, "{point:?}: energy {off} beyond {bound}");
        }
    }
}

/// Goal: second order counts. With nothing but gain, shunt and clock at their lower limits for a long time, the charge is short by 1 − (1 − g)(1 − s)(1 − c),
/// and the bound, made from what was measured, still reaches.
#[test]
fn products_of_errors_are_in_the_bound() {
    let point = Point {
        ohms: 0.01,
        amps: 6.0,
        volts: 5.0,
        greatest: 6.5,
        hours: 200.0,
        fine: false,
    };
    let shunt = Shunt::new(Resistance::from_milliohms(10), Tolerance::ZERO);
    let board = board([Rail::new(shunt, Load::smooth(Current::ZERO))]);
    let board = board.with_clock(Tolerance::from_percent(5));
    let (gain, clock) = (1.0 - 2e-3, 1.0 - 5e-2);
    let account = point.account(
        &board,
        point.amps * gain,
        point.amps * point.volts * gain,
        point.hours * 3600.0,
    );
    let truth = point.amps * account.duration_us as f64 * 1e-6 / clock;
    let bound = account.charge_bound;
    let known = (bound.gain.as_nanocoulombs() + bound.clock.as_nanocoulombs()) as f64 * 1e-9;
    let wander = 2e-4 * truth;
    let off = truth - account.charge.as_nanocoulombs() as f64 * 1e-9;
    assert!(off <= known - wander, "{off} beyond {known} less {wander}");
}

/// Goal: what is wider than 64 bits has a bound that is, too: 1 % of 42 kW for four years is 5.4e19 nJ.
#[test]
fn bounds_of_kilowatts_for_years() {
    let shunt = Shunt::new(Resistance::from_microohms(100), Tolerance::from_percent(1));
    let board = board([Rail::new(shunt, Load::smooth(Current::from_amps(650)))]);
    let handle = Handle::new();
    let mut monitor = handle.monitor(&board);
    let mut ledger = Ledger::new(&board, &SPEC);
    ledger.update(&monitor.init(&coarse()).expect("init"));
    let rounds = 66_000_000;
    for _ in 0..4 * 956 {
        handle.run(rounds, rounds * 500, [130_000; 4], [65_000; 4]);
        ledger.update(&monitor.latch().expect("latch"));
    }
    let account = ledger.account(Channel::C0).expect("a rail");
    let percent = account.energy.as_nanojoules() / 100;
    assert!(percent > i128::from(u64::MAX));
    let shunt = account.energy_bound.shunt.as_nanojoules();
    assert!(
        (percent..percent + percent / 50).contains(&shunt),
        "{shunt} for {percent}"
    );
}

/// Goal: readings are samples. A bus that is high whenever nobody looks multiplies offset and zero, and the bound says so.
#[test]
fn the_bus_between_readings_is_in_the_bound() {
    let zero_bound = Some(Voltage::from_nanovolts(150));
    let zero = Correction {
        zero: Zero::from_bits(10_000 << 8),
        gain: Gain::ONE,
        zero_bound,
        gain_bound: None,
        gain_range: None,
    };
    for correction in [Correction::NONE, zero] {
        let shunt = Shunt::new(Resistance::from_milliohms(500), Tolerance::ZERO);
        let board = board([Rail::new(shunt, Load::smooth(Current::from_microamps(1)))]);
        let board = board
            .corrected(&SPEC, Channel::C0, correction)
            .expect("small");
        let point = Point {
            ohms: 0.5,
            amps: 0.0,
            volts: 0.0,
            greatest: 1e-6,
            hours: 5.0,
            fine: true,
        };
        // Nothing flows; the part's offset of 10 µV times 5 V in all rounds but the latched ones.
        let account = point.account(&board, 20e-6, 20e-6 * 5.0, point.hours * 3600.0);
        let bound = account.energy_bound.total();
        assert!(
            account.energy.abs() <= bound,
            "{} beyond {bound}",
            account.energy
        );
    }
}

/// Goal: while no mean is complete there are no bus readings, and neither the zero's energy nor the bound suffers.
#[test]
fn rounds_before_the_first_mean_have_their_zero_taken_off() {
    let shunt = Shunt::new(Resistance::from_milliohms(500), Tolerance::ZERO);
    let correction = Correction {
        zero: Zero::from_bits(10_000 << 8),
        ..Correction::NONE
    };
    let board = board([Rail::new(shunt, Load::smooth(Current::from_microamps(1)))])
        .corrected(&SPEC, Channel::C0, correction)
        .expect("small");
    let handle = Handle::new();
    let mut monitor = handle.monitor(&board);
    let mut ledger = Ledger::new(&board, &SPEC);
    let setup = Setup::all(
        ranges(corncrake::SENSE_65_MV, corncrake::BUS_6_V),
        Mode::Paced(corncrake::PACE_2000),
    );
    ledger.update(&monitor.init(&setup.averaging(10)).expect("init"));
    for complete in [0, 0, 0x4000] {
        handle.change(|world| world.flags = world.flags & !0x4000 | complete);
        // 20 codes of 500 nV are the zero of 10 µV; nothing flows, at 5 V.
        handle.run(400, 200_000, [20; 4], [50_000; 4]);
        ledger.update(&monitor.latch().expect("latch"));
        let account = ledger.account(Channel::C0).expect("a rail");
        assert_eq!(account.charge.as_nanocoulombs(), 0);
        assert!(account.energy.abs() <= account.energy_bound.total());
    }
    assert_eq!(
        ledger
            .account(Channel::C0)
            .expect("a rail")
            .energy
            .as_nanojoules(),
        0
    );
}

/// Goal: the wander counts twice. For 99 of 100 rounds the oscillator is fast by its limit and nothing flows; for one it is slow by its limit, and all of the charge flows then.
/// The mean over the segment is off by nearly twice the limit, all of which belongs to the clocks.
#[test]
fn a_load_in_step_with_the_wander_stays_in_the_bound() {
    let board = board([Rail::new(
        Shunt::new(Resistance::from_milliohms(10), Tolerance::ZERO),
        Load::smooth(Current::ZERO),
    )])
    .with_clock(Tolerance::ZERO);
    let handle = Handle::new();
    let mut monitor = handle.monitor(&board);
    let mut ledger = Ledger::new(&board, &SPEC);
    ledger.update(&monitor.init(&coarse()).expect("init"));
    let (off, on) = (59_400_000_u64, 600_000_u64);
    // Period 500 µs ÷ (1 ± 10^-4), in whole microseconds of the whole stretch.
    let slow_us = on * 500 * 10_000 / 9_999;
    handle.run(off, off * 500 * 10_000 / 10_001, [0; 4], [0; 4]);
    handle.run(on, slow_us, [100_000; 4], [0; 4]);
    ledger.update(&monitor.latch().expect("latch"));
    let account = ledger.account(Channel::C0).expect("a rail");
    // 100000 × 500 nV ÷ 10 mΩ = 5 A.
    let truth = i128::from(slow_us) * 5_000;
    let short = truth - account.charge.as_nanocoulombs();
    assert!(short > truth * 19 / 100_000, "{short} of {truth}");
    assert!(
        short <= account.charge_bound.clock.as_nanocoulombs(),
        "{short}, {:?}",
        account.charge_bound
    );
}
