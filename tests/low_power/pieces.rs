//! How long one transfer keeps the bus, and how long one call keeps the firmware: what `docs/low-power.md` says, against the bench's bus and the driver's promise.

use std::{fs, path::Path};

use crake::old::alert::{Outputs, Station, Watch, Watches};
use crake::old::part::corncrake::{BUS_6_V, PACE_2000, SENSE_65_MV, SPEC};
use crake::old::units::{Current, Resistance, Tolerance};
use crake::old::{Channel, Mode, Ranges, Setup, ShuntMonitor, Task};
use crake_sim::bus::{Logging, Speed};
use crake_sim::plant::Constant;
use crake_suite::markdown::Document;
use crake_suite::rig::{CHANNELS, Rig, RigMonitor};

const SPEEDS: [(Speed, u32, &str); 3] = [
    (Speed::Standard, 100_000, "100 kHz"),
    (Speed::Fast, 400_000, "400 kHz"),
    (Speed::FastPlus, 1_000_000, "1 MHz"),
];
const SETUP: Setup<CHANNELS> = Setup::all(
    Ranges {
        sense: SENSE_65_MV,
        bus: BUS_6_V,
    },
    Mode::Paced(PACE_2000),
);
/// Passed for ever, so that each look finds it.
static LIMITS: [Watch; 1] = [Watch::new(
    Channel::C0,
    crake::old::alert::Limit::OverCurrent(Current::from_milliamps(1)),
)
.to(Outputs::A)];

fn document() -> Document {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/low-power.md");
    Document::parse(&fs::read_to_string(path).expect("docs/low-power.md"))
}

fn milliseconds(cell: &str) -> f64 {
    let number = cell.strip_suffix(" ms").expect("milliseconds");
    number.parse().expect("a number")
}

/// A board on a bus of this speed, and what `act` did on it.
fn on_a_bench(speed: Speed, act: impl FnOnce(&Rig, RigMonitor<'_, CHANNELS>)) {
    let rig = Rig::drawn(1);
    rig.bench.set_bus_speed(speed);
    for channel in 0..CHANNELS {
        let load = Constant::new(100_000_000).expect("a load");
        rig.rail(channel, (5_000_000_000, 0), load, 100_000_000);
    }
    let shunt = crake::old::board::Shunt::new(Resistance::from_milliohms(100), Tolerance::ZERO);
    let load = crake::old::board::Load::smooth(Current::from_milliamps(600));
    let rail = crake::old::board::Rail::new(shunt, load);
    let board = crake::old::board::Board::new(&SPEC, [rail; CHANNELS]).expect("a board");
    act(&rig, rig.monitor(&board));
}

/// Every call but `fetch`.
fn all_but_a_burst(monitor: &mut RigMonitor<'_, CHANNELS>) {
    let mut station: Station<'_, CHANNELS, 8> = Station::new(SETUP, Watches::limits(&LIMITS));
    monitor.init(&SETUP).expect("init");
    station.arm(monitor).expect("arm");
    monitor.latch().expect("latch");
    let joint = monitor.joint();
    monitor.attach(&joint).expect("attach");
    station.service(monitor).expect("service");
    let averaged = SETUP.averaging(2);
    monitor.configure(&averaged).expect("configure");
}

/// Bytes of the longest transfer in the log, and the longest time from a START to its STOP in milliseconds.
fn longest(rig: &Rig) -> (usize, f64) {
    let log = rig.bench.log();
    let ms = log
        .iter()
        .map(|entry| (entry.stop_ns - entry.start_ns) as f64 / 1e6);
    let bytes = |entry: &crake_sim::bus::Transaction| {
        let text = entry.to_string();
        text.split(' ')
            .filter(|word| word.len() == 2 && *word != "Sr")
            .count()
    };
    (
        log.iter().map(bytes).max().expect("transfers"),
        ms.fold(0.0, f64::max),
    )
}

#[test]
fn no_transfer_keeps_the_bus_longer_than_the_guide_says() {
    let document = document();
    let table = document.table("The bus", &["one transfer of", "bytes"]);
    type Way = fn(&Rig, RigMonitor<'_, CHANNELS>);
    let ways: [(&str, Way); 5] = [
        ("any call but `fetch`", |rig, mut monitor| {
            rig.bench.set_logging(Logging::Full);
            all_but_a_burst(&mut monitor);
        }),
        ("the same, `with_read_max(32)`", |rig, monitor| {
            rig.bench.set_logging(Logging::Full);
            all_but_a_burst(&mut monitor.with_read_max(32));
        }),
        ("the same, `with_read_max(8)`", |rig, monitor| {
            rig.bench.set_logging(Logging::Full);
            all_but_a_burst(&mut monitor.with_read_max(8));
        }),
        ("`look`", |rig, mut monitor| {
            let mut station: Station<'_, CHANNELS, 8> =
                Station::new(SETUP, Watches::limits(&LIMITS));
            monitor.init(&SETUP).expect("init");
            station.arm(&mut monitor).expect("arm");
            rig.pass_ms(2);
            rig.bench.set_logging(Logging::Full);
            assert_eq!(station.look(&mut monitor), Ok(true));
        }),
        ("`fetch`", |rig, mut monitor| {
            monitor.init(&SETUP).expect("init");
            let burst = Setup {
                mode: Mode::Burst(Channel::C0),
                ..SETUP
            };
            monitor.configure(&burst).expect("configure");
            rig.bench.set_logging(Logging::Full);
            assert_eq!(monitor.fetch(&mut [0; 1024]), Ok(1024));
        }),
    ];
    assert_eq!(table.rows().count(), ways.len());
    for (name, way) in ways {
        for (speed, _, column) in SPEEDS {
            on_a_bench(speed, |rig, monitor| {
                way(rig, monitor);
                let (bytes, took_ms) = longest(rig);
                eprintln!("W {name} {column} {bytes} {took_ms}");
                assert_eq!(table.cell(name, "bytes"), bytes.to_string(), "{name}");
                let said_ms = milliseconds(table.cell(name, column));
                assert!(
                    took_ms <= said_ms && said_ms <= took_ms * 1.05,
                    "{name} at {column}: {took_ms} ms, {said_ms} ms said"
                );
            });
        }
    }
}

/// The driver's promise, which `longest.rs` measures, as the guide gives it: rounded up to tenths of a millisecond.
#[test]
fn the_longest_calls_are_as_the_guide_says() {
    let document = document();
    let table = document.table("Serving in pieces", &["call"]);
    let calls = [
        ("`look`", Task::Look),
        ("`latch`", Task::Latch),
        ("`service`", Task::Service),
        ("`configure`", Task::Configure),
        ("`arm`", Task::Arm),
        ("`init`", Task::Init),
        ("`attach`", Task::Attach),
        ("`fetch`", Task::Fetch),
    ];
    assert_eq!(table.rows().count(), calls.len());
    for (name, task) in calls {
        for (speed, bus_hz, column) in SPEEDS {
            on_a_bench(speed, |_, monitor| {
                let longest_ms = monitor.longest_us(task, bus_hz) as f64 / 1e3;
                eprintln!("C {name} {column} {longest_ms}");
                let said_ms = milliseconds(table.cell(name, column));
                assert!(
                    (longest_ms..longest_ms + 0.1).contains(&said_ms),
                    "{name} at {column}: {longest_ms} ms, {said_ms} ms said"
                );
            });
        }
    }
}
