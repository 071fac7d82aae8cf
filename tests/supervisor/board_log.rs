//! The log that the example firmware writes, as `characterise` reads it.

use std::fs;
use std::path::Path;
use std::time::Duration;

use crake::alert::{AlertQueue, Limits};
use crake::board::{Rail, SenseResistor};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{Address, Corncrake};
use crake::units::{Resistance, Tolerance, Voltage};
use crake::{Monitor, ShuntMonitor};
use crake_sim::bench::Bench;
use crake_sim::characterise::{Options, characterise};
use crake_sim::log::{Log, Mapping};
use crake_sim::part::corncrake as model;
use crake_sim::plant::{self, Constant, Pulses, Source};

/// What `characterise` suggests for the firmware because of the example's log; a test compares.
#[rustfmt::skip]
mod suggested;

#[path = "../../examples/board_log.rs"]
#[allow(dead_code)] // Its main is the example's.
mod example;

fn characterised(
    name: &str,
    text: &str,
    mapping: &Mapping,
) -> crake_sim::characterise::Characterisation {
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(name);
    fs::write(&path, text).unwrap();
    let options = Options {
        limits: Vec::new(),
        capacity_ah: None,
        margin: 0.1,
        gap_ns: i64::MAX,
        name: String::new(),
    };
    let mut log = Log::open(&path, mapping).unwrap();
    characterise(&mut log, &options).unwrap()
}

/// 10 s at 5 ms and the time of a transfer; 2 A for 50 ms of each second, so 5 % of the time, and
/// 0.157 A in the mean. Lines are torn as a port tears them: characters are lost, two lines run
/// into one, the last one ends half-way.
#[test]
fn a_boards_log_goes_one_way_with_the_benchs() {
    let mut text = String::new();
    example::log(&mut text, Duration::from_secs(10)).unwrap();
    let whole = characterised("board.csv", &text, &Mapping::default());
    let rail = &whole.rails[0];
    assert_eq!((rail.name.as_str(), whole.torn_lines), ("MODEM", 0));
    assert!((whole.rows as usize) > 1000 && whole.rows as usize == text.lines().count() - 1);
    let [low, high] = &rail.levels[..] else {
        panic!("{:?}", rail.levels);
    };
    assert!((low.mean_current_a - 0.06).abs() < 0.002, "{low:?}");
    assert!((high.mean_current_a - 2.0).abs() < 0.02, "{high:?}");
    assert!((high.time_share - 0.05).abs() < 0.005, "{high:?}");
    // The eleventh begins as the log ends.
    assert_eq!(rail.peaks.count, 11);

    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    let lost = lines[100].replacen('.', "", 1);
    lines[100] = lost;
    let digit = lines[200].rfind("00").unwrap();
    lines[200].remove(digit);
    let run_on = lines.remove(301);
    lines[300] += &run_on;
    let torn = lines.join("\n");
    let torn = &torn[..torn.len() - 9];
    let mapping = Mapping {
        pass_over_torn: true,
        ..Mapping::default()
    };
    let told = characterised("torn.csv", torn, &mapping);
    assert_eq!((told.torn_lines, told.first_torn_line), (4, Some(101)));
    // Two lines were in one of them.
    assert_eq!(told.rows, whole.rows - 5);
    let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join("torn.csv");
    let mut log = Log::open(&path, &Mapping::default()).unwrap();
    let error = log.each(|_, _| {}).unwrap_err();
    assert_eq!(error.line, Some(101));
}

/// The constants are those of the log, and a board that is set up by them is silent at what was
/// logged, and speaks at a load of half as much again.
#[test]
fn what_is_suggested_for_the_firmware_compiles_and_runs() {
    let mut text = String::new();
    example::log(&mut text, Duration::from_secs(10)).unwrap();
    let told = characterised("suggested.csv", &text, &Mapping::default());
    let committed = include_str!("board_log/suggested.rs");
    assert!(
        told.rust_snippet == committed,
        "tests/supervisor/board_log/suggested.rs:\n{}",
        told.rust_snippet
    );

    static LIMITS: Limits = Limits::new(&suggested::LIMITS);
    let (least, greatest) = suggested::MODEM_VOLTAGE;
    let resistor = SenseResistor::new(Resistance::from_milliohms(20), Tolerance::from_percent(1));
    let rail = Rail::new(resistor)
        .with_load(suggested::MODEM_LOAD)
        .with_voltage(least, greatest);
    let board = Corncrake::board(&[rail]);
    for (high_na, speaks) in [(2_000_000_000, false), (3_000_000_000, true)] {
        let bench = Bench::new(3);
        let part = bench.part(model::Corncrake::new(0x32)).unwrap();
        let load = Pulses::new(60_000_000, high_na, 1_000_000_000, 50_000_000).unwrap();
        let source = Source::of(Constant::new(3_800_000_000).unwrap());
        let ideal = crake_sim::board::SenseResistor::ideal(20_000_000);
        part.rail(0, plant::Rail::new(source, load).unwrap(), ideal)
            .unwrap();
        let part = Corncrake::new(Address::Strap0);
        let mut monitor = Monitor::new(bench.i2c(), bench.delay(), part, &board);
        let full_scale = FullScale::new(Voltage::from_millivolts(65), Voltage::from_volts(5));
        let config = Config::continuous([full_scale], ScanRate::per_second(2_000));
        monitor.init(&config).unwrap();
        let mut alerts: AlertQueue<'static, 4> = AlertQueue::new();
        alerts.set_limits(&mut monitor, &LIMITS).unwrap();
        bench.run_for(Duration::from_secs(5));
        alerts.service(&mut monitor).unwrap();
        assert_eq!(alerts.next_event().is_some(), speaks, "{high_na} nA");
    }
}
