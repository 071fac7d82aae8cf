//! A conversion beyond full scale is never passed off as a value, however short, and totals become limits on the side that is known.

use crake::old::board::{Board, Edges, Load, Rail, Shunt};
use crake::old::ledger::{Account, Ledger};
use crake::old::part::corncrake::{BUS_6_V, BUS_16_V, PACE_2000, SENSE_26_MV, SPEC};
use crake::old::units::{Current, Resistance, Tolerance};
use crake::old::{Channel, Mode, NoReading, Ranges, Reading, Setup, ShuntMonitor, Side};
use crake_sim::plant::{Constant, Profile, Recorded};
use crake_suite::datasheet::{Range, rail_ranges, sense_ranges};
use crake_suite::markdown::Document;
use crake_suite::rig::{ADDRESS, Rig};
use embedded_hal::i2c::I2c;

const CHANNEL: Channel = Channel::new(0);
const NANO_OHMS: u64 = 10_000_000;
const AMPERE: i64 = 1_000_000_000;
const VOLT: i64 = 1_000_000_000;

/// Up to 5 A through 10 mΩ, of which the fine range shows 2.62144 A.
fn board(both_ways: bool) -> Board<1> {
    let edges = Edges {
        per_1000_s: 1_000,
        step: Current::from_amps(5),
    };
    let load = Load::smooth(Current::from_amps(5)).with_edges(edges);
    let shunt = Shunt::new(Resistance::from_milliohms(10), Tolerance::ZERO);
    let rail = Rail::new(shunt, if both_ways { load.both_ways() } else { load });
    Board::new(&SPEC, [rail]).expect("a board")
}

/// In the fine sense range and a bus range of 6.5536 V or 16.384 V.
fn setup(wide_bus: bool) -> Setup<1> {
    let bus = if wide_bus { BUS_16_V } else { BUS_6_V };
    let ranges = Ranges {
        sense: SENSE_26_MV,
        bus,
    };
    Setup::all(ranges, Mode::Paced(PACE_2000))
}

/// Greatest current and voltage that codes can say in these ranges: the greatest code times the LSB (datasheet, 3.4 and 4).
fn ends(bus: u8) -> (i64, i64) {
    let document = Document::old_corncrake();
    let greatest = |ranges: Vec<Range>, code: u8| {
        let range = ranges.iter().find(|range| range.code == code);
        let range = range.expect("a range");
        i64::try_from(range.full_scale_nv - range.lsb_nv).expect("below 72 V")
    };
    let sense_nv = greatest(sense_ranges(&document), 1);
    (
        sense_nv * 1_000_000_000 / NANO_OHMS as i64,
        greatest(rail_ranges(&document), bus),
    )
}

/// Runs a load for `ms` with a frame every 100 ms: readings, and the account at the end beside the truth.
struct Outcome {
    readings: Vec<Result<Reading, NoReading>>,
    account: Account,
    charge: f64,
    energy: f64,
}

fn run(board: &Board<1>, setup: &Setup<1>, volts: i64, load: impl Profile + 'static) -> Outcome {
    let rig = Rig::drawn(11);
    rig.rail(0, (volts, 20_000), load, NANO_OHMS);
    let mut monitor = rig.monitor(board);
    let mut ledger = Ledger::new(board, &SPEC);
    ledger.update(&monitor.init(setup).expect("init"));
    let start = rig.at_latch();
    let mut readings = Vec::new();
    for _ in 0..6 {
        rig.pass_ms(100);
        let frame = monitor.latch().expect("a frame");
        ledger.update(&frame);
        readings.push(frame.reading(CHANNEL));
    }
    let flowed = rig.at_latch().since(&start);
    Outcome {
        readings,
        account: ledger.account(CHANNEL).expect("a rail"),
        charge: flowed.charge[0],
        energy: flowed.energy[0],
    }
}

fn clipped(reading: &Result<Reading, NoReading>) -> (Reading, Side, Side) {
    match *reading {
        Err(NoReading::Clipped {
            channel,
            reading,
            current,
            voltage,
        }) => {
            assert_eq!(channel, CHANNEL);
            (reading, current, voltage)
        }
        other => panic!("{other:?} instead of a clipped reading"),
    }
}

/// Coulombs and joules of an account, and their bounds.
fn numbers(account: &Account) -> ([f64; 2], [f64; 2]) {
    let charge = [account.charge, account.charge_bound.total()];
    let energy = [account.energy, account.energy_bound.total()];
    (
        charge.map(|charge| charge.as_nanocoulombs() as f64 / 1e9),
        energy.map(|energy| energy.as_nanojoules() as f64 / 1e9),
    )
}

#[test]
fn a_forward_current_beyond_full_scale_is_at_least_what_is_shown() {
    let load = Constant::new(4 * AMPERE).expect("a load");
    let outcome = run(&board(false), &setup(false), 5 * VOLT, load);
    for reading in &outcome.readings {
        let (reading, current, voltage) = clipped(reading);
        assert_eq!(reading.current.as_nanoamps(), ends(0).0);
        assert_eq!((current, voltage), (Side::AtLeast, Side::Near));
    }
    let account = outcome.account;
    assert_eq!(
        (account.charge_side, account.energy_side),
        (Side::AtLeast, Side::AtLeast)
    );
    let ([charge, charge_bound], [energy, energy_bound]) = numbers(&account);
    assert!(outcome.charge >= charge - charge_bound && outcome.energy >= energy - energy_bound);
    // 4 A against 2.62 A: without the side the account would be false.
    assert!(outcome.charge > charge + charge_bound && outcome.energy > energy + energy_bound);
}

#[test]
fn on_a_rail_with_current_both_ways_nothing_is_known() {
    for amperes in [4, -4] {
        let load = Constant::new(amperes * AMPERE).expect("a load");
        let outcome = run(&board(true), &setup(false), 5 * VOLT, load);
        let (reading, current, voltage) = clipped(&outcome.readings[3]);
        // Two's complement goes one code further down.
        let end = if amperes > 0 {
            ends(0).0
        } else {
            -ends(0).0 - 200 * 1_000_000_000 / NANO_OHMS as i64
        };
        assert_eq!(reading.current.as_nanoamps(), end);
        assert_eq!((current, voltage), (Side::Unknown, Side::Near));
        let account = outcome.account;
        assert_eq!(
            (account.charge_side, account.energy_side),
            (Side::Unknown, Side::Unknown)
        );
    }
}

/// 5 ms of 4 A in the second of six stretches of 100 ms; 0.5 A else.
fn burst() -> Recorded {
    Recorded::steps(
        AMPERE / 2,
        &[(150_000_000, 4 * AMPERE), (155_000_000, AMPERE / 2)],
    )
    .expect("a load")
}

#[test]
fn a_clip_that_is_over_before_the_frame_is_told_by_that_frame_alone() {
    let outcome = run(&board(false), &setup(false), 5 * VOLT, burst());
    for (number, reading) in outcome.readings.iter().enumerate() {
        if number == 1 {
            let (reading, current, _) = clipped(reading);
            assert_eq!(current, Side::AtLeast);
            // The codes latched are those of the calm after it.
            let calm = reading.current.as_nanoamps() as f64 / 1e9;
            assert!((calm - 0.5).abs() < 0.01, "{calm} A");
        } else {
            assert!(reading.is_ok(), "frame {number}: {reading:?}");
        }
    }
    // The total has lost what lay beyond, and says so for ever.
    let account = outcome.account;
    assert_eq!(account.charge_side, Side::AtLeast);
    let ([charge, bound], _) = numbers(&account);
    assert!(outcome.charge >= charge - bound);
    assert!(
        (outcome.charge - charge - 0.0069).abs() < 0.003,
        "5 ms of 1.38 A"
    );
}

#[test]
fn a_voltage_beyond_full_scale_leaves_charge_alone() {
    let load = || Constant::new(AMPERE).expect("a load");
    let outcome = run(&board(false), &setup(false), 7 * VOLT, load());
    let (reading, current, voltage) = clipped(&outcome.readings[2]);
    assert_eq!(reading.voltage.as_nanovolts(), ends(0).1);
    assert_eq!((current, voltage), (Side::Near, Side::AtLeast));
    let account = outcome.account;
    assert_eq!(
        (account.charge_side, account.energy_side),
        (Side::Near, Side::AtLeast)
    );
    let ([charge, charge_bound], [energy, energy_bound]) = numbers(&account);
    assert!((outcome.charge - charge).abs() <= charge_bound);
    assert!(outcome.energy > energy + energy_bound);

    // The same rail in the range that fits it.
    let outcome = run(&board(false), &setup(true), 7 * VOLT, load());
    assert!(outcome.readings.iter().all(Result::is_ok));
    assert_eq!(outcome.account.energy_side, Side::Near);
    let (_, [energy, bound]) = numbers(&outcome.account);
    assert!((outcome.energy - energy).abs() <= bound);
}

/// A block is replaced by another before the host has had it, as when firmware dies between latch and read: its flags are in the next one.
#[test]
fn a_clip_in_a_block_that_was_never_read_is_not_lost() {
    let (board, setup) = (board(false), setup(false));
    let rig = Rig::drawn(11);
    rig.rail(0, (5 * VOLT, 20_000), burst(), NANO_OHMS);
    let mut monitor = rig.monitor(&board);
    monitor.init(&setup).expect("init");
    rig.pass_ms(100);
    let frame = monitor.latch().expect("a frame");
    assert!(frame.reading(CHANNEL).is_ok());
    rig.pass_ms(100);
    // LATCH with a tag of its own and a `seen` that is not the block's (datasheet, 3.2), check byte by another crate.
    let mut latch = vec![0x03, 0xEE, 0xEF];
    let covered: Vec<u8> = std::iter::once(ADDRESS << 1)
        .chain(latch.iter().copied())
        .collect();
    latch.push(crc::Crc::<u8>::new(&crc::CRC_8_SMBUS).checksum(&covered));
    rig.bench.i2c().write(ADDRESS, &latch).expect("a latch");
    rig.pass_ms(100);
    let frame = monitor.latch().expect("a frame");
    assert_eq!(clipped(&frame.reading(CHANNEL)).1, Side::AtLeast);
    rig.pass_ms(100);
    assert!(monitor.latch().expect("a frame").reading(CHANNEL).is_ok());
}
