//! What docs/low-power.md says of the part's current, of how long one transfer keeps the bus, and
//! of how long one call keeps the firmware: against the bench, and against the driver's promise.

use std::time::Duration;

use crake::alert::{AlertQueue, Limit, Limits, Outputs, Threshold};
use crake::board::{Board, Rail, SenseResistor};
use crake::config::{Config, FullScale, Scan, ScanRate};
use crake::info::Source as Compared;
use crake::part::Part as _;
use crake::part::corncrake::{Address, Corncrake, INFO};
use crake::plan::{Duty, Host, Spent};
use crake::totals::longest_interval_us;
use crake::units::{Current, Resistance, Tolerance, Voltage};
use crake::{Call, Channel, Monitor, ShuntMonitor};
use crake_sim::bench::{Bench, Delay, I2c, Part};
use crake_sim::bus::{Logging, Speed};
use crake_sim::part::corncrake as model;
use crake_sim::plant::{self, Constant, Source};
use crake_suite::markdown::Document;

const SPEEDS: [(Speed, u32, &str); 3] = [
    (Speed::Standard, 100_000, "100 kHz"),
    (Speed::Fast, 400_000, "400 kHz"),
    (Speed::FastPlus, 1_000_000, "1 MHz"),
];
const CHANNELS: usize = 4;
static BOARD: Board<CHANNELS> = Corncrake::board(
    &[Rail::new(SenseResistor::new(
        Resistance::from_milliohms(100),
        Tolerance::ZERO,
    )); CHANNELS],
);
const FULL_SCALE: FullScale = FullScale::new(Voltage::from_millivolts(65), Voltage::from_volts(6));

/// All channels.
fn config(scans: u32) -> Config<CHANNELS> {
    Config::continuous([FULL_SCALE; CHANNELS], ScanRate::per_second(scans))
}

const fn over_current(channel: Channel) -> Limit {
    Limit::new(
        channel,
        Threshold::OverCurrent(Current::from_milliamps(500)),
    )
    .to(Outputs::A)
}
static LIMITS: Limits<'_> = Limits::new(&[
    over_current(Channel::C0),
    over_current(Channel::C1),
    over_current(Channel::C2),
    over_current(Channel::C3),
]);

fn document() -> Document {
    Document::read("docs/low-power.md")
}

fn milliseconds(cell: &str) -> f64 {
    let number = cell.strip_suffix(" ms").expect("milliseconds");
    number.parse().expect("a number")
}

struct Fixture {
    bench: Bench,
    part: Part<model::Model>,
    monitor: Monitor<'static, I2c, Delay, Corncrake, CHANNELS>,
}

impl Fixture {
    /// Four rails of 600 mA and 5 V: every limit is passed.
    fn new(speed: Speed) -> Self {
        let bench = Bench::new(1);
        bench.set_bus_speed(speed);
        let part = bench
            .part(model::Corncrake::ideal(0x32))
            .expect("an address");
        for channel in 0..CHANNELS {
            let source = Source::of(Constant::new(5_000_000_000).expect("a voltage"));
            let load = Constant::new(600_000_000).expect("a load");
            let rail = plant::Rail::new(source, load).expect("a rail");
            let resistor = crake_sim::board::SenseResistor::ideal(100_000_000);
            part.rail(channel, rail, resistor).expect("a channel");
        }
        let (i2c, delay) = (bench.i2c(), bench.delay());
        let monitor = Monitor::new(i2c, delay, Corncrake::new(Address::Strap0), &BOARD);
        Self {
            bench,
            part,
            monitor,
        }
    }

    fn pass_ms(&self, ms: u64) {
        self.bench.run_for(Duration::from_millis(ms));
    }

    /// Every call but those of a fast capture.
    fn all_but_a_capture(&mut self) {
        let mut queue = AlertQueue::<8>::new();
        let monitor = &mut self.monitor;
        monitor.init(&config(2_000)).expect("init");
        queue.set_limits(monitor, &LIMITS).expect("limits");
        self.bench.run_for(Duration::from_millis(2));
        queue.service(monitor).expect("a service");
        let token = monitor.token();
        monitor.resume(&config(2_000), token).expect("resumed");
        let averaged = config(2_000).averaging(2);
        monitor.configure(&averaged).expect("configured");
        monitor.sample().expect("a sample");
    }
}

/// Goal: the table of supply currents is what the part draws, and what section 8 of the datasheet
/// gives by the formula under it.
#[test]
fn the_part_draws_what_the_guide_says() {
    let document = document();
    let table = document.table("The part", &["scans a second"]);
    let mut rows = 0;
    for row in table.rows() {
        let Ok(scans) = row[0].parse() else {
            assert_eq!(row[0], "idle");
            continue;
        };
        let mut fixture = Fixture::new(Speed::FastPlus);
        fixture.monitor.init(&config(scans)).expect("init");
        fixture.pass_ms(5_000);
        let before = fixture.part.supply_charge_na_ns();
        fixture.pass_ms(10_000);
        let drawn = (fixture.part.supply_charge_na_ns() - before) as f64 / 1e13;
        let said: f64 = row[1].strip_suffix(" µA").expect("µA").parse().expect("µA");
        // 9 µA resting, 310 µA converting (section 8); 0.125 ms a channel (section 6).
        let formula = 9.0 + 301.0 * 0.125e-3 * 4.0 * f64::from(scans);
        for (what, ua) in [("drawn", drawn), ("by the formula", formula)] {
            let off = (ua - said).abs();
            assert!(off <= said * 0.01, "{scans} a second: {ua} µA {what}");
        }
        rows += 1;
    }
    assert_eq!(rows, 5);
}

/// Goal: what the tables say of currents, times and rollovers is what the driver plans with, to the
/// last digit shown.
#[test]
fn the_tables_are_what_the_driver_plans_with() {
    let document = document();
    let table = document.table("The part", &["scans a second"]);
    let clock = Host::TYPICAL.clock;
    let mut rows = 0;
    for row in table.rows() {
        let Ok(scans) = row[0].parse() else { continue };
        let mut scan = Scan::NONE;
        config(scans).resolve(&INFO, &mut scan).expect("it can be");
        let duty = Duty::new(&INFO, &scan, 0);
        let typical = duty.supply(&Corncrake::SUPPLY_TYPICAL).as_nanoamps() as f64 / 1e3;
        shown(&row[1], "µA", typical);
        let seen_us = duty.seen_within_us(1, Compared::Part);
        shown(&row[2], "ms", seen_us as f64 / 1e3);
        let sums = duty.rollovers(Channel::C0).expect("it counts");
        let hours = |us: u64| us as f64 / 3.6e9;
        shown(&row[3], "h", hours(sums.charge_us.min(sums.energy_us)));
        let safe_us = longest_interval_us(&INFO, &scan, clock).expect("it counts");
        shown(&row[4], "h", hours(safe_us));
        rows += 1;
    }
    assert_eq!(rows, 5);

    let table = document.table("The host", &["a sample every"]);
    let fixture = Fixture::new(Speed::Fast);
    let monitor = &fixture.monitor;
    let sample = monitor
        .traffic(Call::Sample, &config(2_000))
        .expect("it can be");
    let mut scan = Scan::NONE;
    config(2_000).resolve(&INFO, &mut scan).expect("it can be");
    for row in table.rows() {
        let seconds = row[0].strip_suffix(" s").expect("seconds");
        let seconds: f64 = seconds.parse().expect("a number");
        let duty = Duty::new(&INFO, &scan, (seconds * 1e6) as u64);
        let supply = &Corncrake::SUPPLY_TYPICAL;
        let spent = Spent::new(&duty, supply, &sample, 400_000, &Host::TYPICAL);
        shown(&row[1], "µA", spent.pull_ups.as_nanoamps() as f64 / 1e3);
        shown(&row[2], "µA", spent.host.as_nanoamps() as f64 / 1e3);
    }
    assert_eq!(table.rows().count(), 4);
}

/// Within half of the last digit that a cell shows, and of a nanoampere.
fn shown(cell: &str, unit: &str, value: f64) {
    let number = cell.strip_suffix(unit).expect(unit).trim();
    let decimals = number
        .split_once('.')
        .map_or(0, |(_, decimals)| decimals.len());
    let off = (number.parse::<f64>().expect("a number") - value).abs();
    let most = 0.500_001 * 10_f64.powi(-(decimals as i32));
    assert!(off <= most, "{cell}: {value}");
}

/// Bytes of the longest transfer in the log, and the longest time from a START to its STOP in
/// milliseconds.
fn longest(bench: &Bench) -> (usize, f64) {
    let log = bench.log();
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
    type Way = fn(&mut Fixture);
    let ways: [(&str, Way); 5] = [
        ("any call but `fetch_capture`", |fixture| {
            fixture.bench.set_logging(Logging::Full);
            fixture.all_but_a_capture();
        }),
        ("the same, `set_read_max(32)`", |fixture| {
            fixture.bench.set_logging(Logging::Full);
            fixture.monitor.set_read_max(32);
            fixture.all_but_a_capture();
        }),
        ("the same, `set_read_max(8)`", |fixture| {
            fixture.bench.set_logging(Logging::Full);
            fixture.monitor.set_read_max(8);
            fixture.all_but_a_capture();
        }),
        ("`read_alerts`", |fixture| {
            let mut queue = AlertQueue::<8>::new();
            let monitor = &mut fixture.monitor;
            monitor.init(&config(2_000)).expect("init");
            queue.set_limits(monitor, &LIMITS).expect("limits");
            fixture.bench.run_for(Duration::from_millis(2));
            fixture.bench.set_logging(Logging::Full);
            let seen = queue.read_alerts(monitor).expect("a look");
            assert!(!seen.is_empty());
        }),
        ("`fetch_capture`", |fixture| {
            let monitor = &mut fixture.monitor;
            monitor.init(&config(2_000)).expect("init");
            monitor.start_capture(Channel::C0).expect("a capture");
            fixture.bench.set_logging(Logging::Full);
            let mut codes = [0; 1_024];
            let capture = monitor.fetch_capture(0, &mut codes).expect("codes");
            assert_eq!(capture.codes().len(), 1_024);
        }),
    ];
    assert_eq!(table.rows().count(), ways.len());
    for (name, way) in ways {
        for (speed, _, column) in SPEEDS {
            let mut fixture = Fixture::new(speed);
            way(&mut fixture);
            let (bytes, took_ms) = longest(&fixture.bench);
            assert_eq!(table.cell(name, "bytes"), bytes.to_string(), "{name}");
            let said_ms = milliseconds(table.cell(name, column));
            assert!(
                took_ms <= said_ms && said_ms <= took_ms * 1.05,
                "{name} at {column}: {took_ms} ms, {said_ms} ms said"
            );
        }
    }
}

/// Goal: a sample that comes whole at the first try takes what the guide says.
#[test]
fn a_sample_takes_what_the_guide_says() {
    let document = document();
    let table = document.table("The bus", &["bus clock"]);
    assert_eq!(table.rows().count(), SPEEDS.len());
    for (speed, _, column) in SPEEDS {
        let mut fixture = Fixture::new(speed);
        fixture.monitor.init(&config(2_000)).expect("init");
        fixture.pass_ms(20);
        let (begun_ns, before) = (fixture.bench.now_ns(), fixture.bench.bus_stats());
        fixture.monitor.sample().expect("a sample");
        let took_ms = (fixture.bench.now_ns() - begun_ns) as f64 / 1e6;
        let after = fixture.bench.bus_stats();
        let busy_ms = (after.busy_ns - before.busy_ns) as f64 / 1e6;
        assert_eq!(after.transactions - before.transactions, 2, "{column}");
        for (what, ms) in [("on the bus", busy_ms), ("in all", took_ms)] {
            let said_ms = milliseconds(table.cell(column, what));
            assert!(
                (ms - said_ms).abs() <= 0.05,
                "{what} at {column}: {ms} ms, {said_ms} ms said"
            );
        }
    }
}

/// The driver's promise, which `tests/monitor/worst_case.rs` measures, as the guide gives it:
/// rounded up to tenths of a millisecond.
#[test]
fn the_longest_calls_are_as_the_guide_says() {
    let document = document();
    let table = document.table("Serving in pieces", &["call"]);
    let mut codes = [0; 1_024];
    let rows = [
        "`read_alerts`",
        "`sample`",
        "`settle`",
        "`service`",
        "`configure`",
        "`set_limits`, four limits",
        "`init`",
        "`resume`",
        "`fetch_capture`, 1024 codes",
    ];
    assert_eq!(table.rows().count(), rows.len());
    let fixture = Fixture::new(Speed::Fast);
    for name in rows {
        for (_, bus_hz, column) in SPEEDS {
            let us = |call| fixture.monitor.worst_case_us(call, &config(2_000), bus_hz);
            let us = match name {
                "`read_alerts`" => us(Call::ReadAlerts),
                "`sample`" => us(Call::Sample),
                // A look and the masks.
                "`settle`" => us(Call::ReadAlerts)
                    .zip(us(Call::SetMasks))
                    .map(|(look, masks)| look + masks),
                "`service`" => us(Call::Service),
                "`configure`" => us(Call::Configure),
                "`set_limits`, four limits" => us(Call::SetLimits(&LIMITS)),
                "`init`" => us(Call::Init),
                "`resume`" => us(Call::Resume),
                _ => us(Call::FetchCapture(&mut codes)),
            };
            let longest_ms = us.expect("it can be") as f64 / 1e3;
            let said_ms = milliseconds(table.cell(name, column));
            assert!(
                (longest_ms..longest_ms + 0.1).contains(&said_ms),
                "{name} at {column}: {longest_ms} ms, {said_ms} ms said"
            );
        }
    }
}
