//! 50 µV across the sense resistor, measured within 1 % in the fine range after zero calibration (datasheet, section 7).
//!
//! That such a part should resolve 50 µV to 1 % is common practice, no source.

use core::time::Duration;

use crake::old::board::{Board, Load, Rail, Shunt};
use crake::old::calibration::{Collection, zero};
use crake::old::ledger::Ledger;
use crake::old::part::corncrake::{BUS_6_V, Corncrake, PACE_2000, SENSE_26_MV, SPEC};
use crake::old::units::{Current, Resistance, Tolerance};
use crake::old::{Channel, Mode, Monitor, Ranges, Setup, ShuntMonitor};
use crake_sim::bench::Bench;
use crake_sim::board::SenseResistor;
use crake_sim::old::corncrake as model;
use crake_sim::plant::{self, Constant, Recorded, Source};

const SECOND_NS: u64 = 1_000_000_000;

/// Nothing flows for three seconds, then 50 µA, which make 50 µV across exactly 1 Ω.
fn rail() -> plant::Rail {
    let load = Recorded::steps(0, &[(3 * SECOND_NS, 50_000)]).expect("a step");
    let source = Source::of(Constant::new(3_300_000_000).expect("3.3 V"));
    plant::Rail::new(source, load).expect("a rail")
}

/// What the driver says of 50 µA after a zero calibration of 2.1 s, from a mean over 1.05 s; in nA.
fn measured(seed: u64) -> f64 {
    let bench = Bench::new(seed);
    let part = bench
        .part(model::Corncrake::drawn(0x32))
        .expect("a free address");
    part.rail(0, rail(), SenseResistor::ideal(1_000_000_000))
        .expect("a channel");

    let shunt = Shunt::new(Resistance::from_ohms(1), Tolerance::ZERO);
    let board = Board::new(
        &SPEC,
        [Rail::new(shunt, Load::smooth(Current::from_microamps(100)))],
    )
    .expect("a board");
    let ranges = Ranges {
        sense: SENSE_26_MV,
        bus: BUS_6_V,
    };
    let setup = Setup::all(ranges, Mode::Paced(PACE_2000));
    let clock = bench.clock();
    let mut monitor = Monitor::new(
        bench.i2c(),
        bench.delay(),
        clock,
        Corncrake::new(),
        0x32,
        &board,
    );

    monitor.init(&setup).expect("a part");
    let mut collection = Collection::new(Channel::C0);
    for _ in 0..8 {
        collection
            .add(&monitor.latch().expect("a frame"))
            .expect("a steady zero");
        bench.run_for(Duration::from_millis(300));
    }
    collection
        .add(&monitor.latch().expect("a frame"))
        .expect("a steady zero");
    let correction = zero(&collection).expect("a plausible zero");
    let corrected = board
        .corrected(&SPEC, Channel::C0, correction)
        .expect("a correction");

    bench.run_until(3 * SECOND_NS + SECOND_NS / 100);
    monitor.set_board(&corrected);
    let mut ledger = Ledger::new(&corrected, &SPEC);
    ledger.update(&monitor.latch().expect("a frame"));
    bench.run_for(Duration::from_millis(1_050));
    ledger.update(&monitor.latch().expect("a frame"));
    let account = ledger.account(Channel::C0).expect("a rail");
    account.charge.as_nanocoulombs() as f64 / (account.duration_us as f64 / 1e6)
}

#[test]
fn a_hundred_individuals_measure_fifty_microvolts_within_one_percent() {
    let mut worst = (0.0_f64, 0);
    for seed in 1..=100 {
        let error = measured(seed) / 50_000.0 - 1.0;
        assert!(error.abs() <= 0.01, "seed {seed}: {:+.3} %", 100.0 * error);
        if error.abs() > worst.0 {
            worst = (error.abs(), seed);
        }
    }
    // Individuals differ: a test in which all of them were perfect would show nothing.
    assert!(worst.0 > 0.001, "{worst:?}");
    println!(
        "worst of a hundred: {:.3} % (seed {})",
        100.0 * worst.0,
        worst.1
    );
}
