//! One list of scenarios, played by the blocking monitor and by its async twin on two benches of the same seed: same results, same bytes at the same moments.

use crake::old::alert::{Cause, Kind, Outputs, Proof, Station, Watches};
use crake::old::asynch::{ShuntMonitor as _, alert_response as alert_response_async};
use crake::old::part::Joint;
use crake::old::part::corncrake::PACE_10;
use crake::old::{Channel, Error, Frame, Mode, Setup, ShuntMonitor as _};
use crake_sim::bench::Bench;
use crake_sim::bus::{BusError, Logging, Transaction};
use crake_sim::old::corncrake::Output;
use crake_suite::rig::{CHANNELS, Rig, RigMonitor, RigMonitorAsync};
use embedded_hal::digital::InputPin as _;
use embedded_hal_async::digital::Wait as _;

use crate::desk::{Books, OTHER_WATCHES, SETUP, WATCHES, board, other, rig};

/// What firmware does.
#[derive(Clone, Copy, Debug)]
enum Act {
    Init(Setup<CHANNELS>),
    /// A new monitor joins, with the serial of the one before, this much off.
    Attach(u16),
    Latch,
    Configure(Setup<CHANNELS>),
    Arm,
    Rearm(Setup<CHANNELS>, Watches<'static>),
    Service,
    /// The pieces of a service.
    Look,
    Report,
    Prove,
    Fetch,
    AlertResponse,
    DeclarePowered(bool),
    PassMs(u32),
    /// The part's supply goes or comes, unknown to the firmware.
    Supply(bool),
}

use Act::*;

const PULSE: Act = PassMs(25);
const BURST: Setup<CHANNELS> = Setup {
    mode: Mode::Burst(Channel::C1),
    ..SETUP
};
const SLOW: Setup<CHANNELS> = Setup {
    mode: Mode::Paced(PACE_10),
    ..SETUP
};

/// Names, the controller's greatest read, and what is done.
fn scenarios() -> Vec<(&'static str, u8, Vec<Act>)> {
    let steady = vec![Init(SETUP), PassMs(3), Latch, PassMs(40), Latch, Latch];
    let mut changes = steady.clone();
    changes.extend([Configure(other()), PassMs(10), Latch, Configure(SLOW)]);
    changes.extend([PassMs(500), Latch]);
    let alerts = vec![
        Init(SETUP),
        Arm,
        PULSE,
        Service,
        Service,
        Rearm(other(), OTHER_WATCHES),
        PassMs(1),
        Latch,
    ];
    let split = vec![
        Init(SETUP),
        Arm,
        PULSE,
        Look,
        PassMs(7),
        Look,
        PassMs(1),
        Report,
        Supply(false),
        Look,
    ];
    let proved = vec![
        Init(SETUP),
        Arm,
        Prove,
        PULSE,
        Prove,
        Service,
        Supply(false),
        Prove,
    ];
    let answered = vec![
        Init(SETUP),
        Arm,
        PULSE,
        AlertResponse,
        AlertResponse,
        Service,
    ];
    let burst = vec![
        Init(SETUP),
        Latch,
        Configure(BURST),
        Fetch,
        Configure(SETUP),
        Latch,
    ];
    let mut joined = steady.clone();
    joined.extend([
        Arm,
        PULSE,
        Attach(0),
        Service,
        Configure(other()),
        Attach(1),
        Latch,
    ]);
    let gone = vec![
        Init(SETUP),
        Supply(false),
        Latch,
        Service,
        Arm,
        Configure(SETUP),
        Init(SETUP),
        DeclarePowered(false),
        Latch,
        Service,
        Init(SETUP),
        Supply(true),
        PassMs(2),
        DeclarePowered(true),
        Latch,
        Init(SETUP),
        Latch,
    ];
    let refused = vec![
        Configure(Setup {
            averaging: 11,
            ..SETUP
        }),
        Init(SETUP),
        Rearm(SETUP.with(Channel::C0, None), WATCHES),
        Latch,
        Fetch,
    ];
    vec![
        ("steady", u8::MAX, steady.clone()),
        ("in pieces of 32", 32, steady),
        ("changes", u8::MAX, changes),
        ("alerts", u8::MAX, alerts.clone()),
        ("alerts in pieces of 7", 7, alerts),
        ("alerts in pieces of a service", u8::MAX, split),
        ("proof test", u8::MAX, proved),
        ("alert response", u8::MAX, answered),
        ("burst", u8::MAX, burst),
        ("joined", u8::MAX, joined),
        ("gone", u8::MAX, gone),
        ("refused", u8::MAX, refused),
    ]
}

/// What came of a scenario: one line for each act, and the traffic.
#[derive(Debug, PartialEq)]
struct Outcome {
    lines: Vec<String>,
    traffic: Vec<Transaction>,
    end_ns: u64,
}

/// All that a frame says.
fn told(result: Result<Frame<'_>, Error<BusError>>, rig: &Rig, books: &mut Books<'_>) -> String {
    match result {
        Ok(frame) => {
            let channels: Vec<_> = Channel::first(4)
                .map(|channel| (frame.counters(channel), frame.reading(channel)))
                .collect();
            let (stamp, condition) = (frame.stamp(), frame.condition());
            let (unbroken, head) = (frame.unbroken(), frame.head());
            let entry = books.enter(rig, &frame);
            let account = books.ledger.account(Channel::C1);
            format!(
                "{condition:?} {unbroken} {stamp:?} {head:?} {channels:?} {entry:?} {account:?}"
            )
        }
        Err(error) => format!("{error:?}"),
    }
}

/// An act played by one of the two shells: the calls are the same but for their names and `.await`.
macro_rules! play {
    ($act:expr, $stage:ident, $new:ident, [$arm:ident $rearm:ident $service:ident $look:ident $prove:ident], $response:ident, $delay:path, ($($wait:tt)*)) => {{
        let Stage { rig, monitor, station, books, joint } = &mut *$stage;
        match $act {
            Init(setup) => told(monitor.init(&setup)$($wait)*, rig, books),
            Attach(off) => {
                let joint = Joint { serial: joint.serial.wrapping_add(off) };
                *monitor = $new(rig);
                told(monitor.attach(&joint)$($wait)*, rig, books)
            }
            Latch => told(monitor.latch()$($wait)*, rig, books),
            Configure(setup) => told(monitor.configure(&setup)$($wait)*, rig, books),
            Arm => told(station.$arm(monitor)$($wait)*, rig, books),
            Rearm(setup, watches) => {
                told(station.$rearm(monitor, setup, watches)$($wait)*, rig, books)
            }
            Service => told(station.$service(monitor)$($wait)*, rig, books),
            Look => format!("{:?}", station.$look(monitor)$($wait)*),
            Report => {
                let frame = monitor.latch()$($wait)*;
                if let Ok(frame) = &frame {
                    station.report(frame);
                }
                told(frame, rig, books)
            }
            Prove => format!("{:?}", $prove(rig, station, monitor)$($wait)*),
            Fetch => {
                let mut codes = [0; 1024];
                let count = monitor.fetch(&mut codes)$($wait)*;
                format!("{count:?} {codes:?}")
            }
            AlertResponse => format!("{:?}", $response(&mut rig.bench.i2c())$($wait)*),
            DeclarePowered(powered) => {
                monitor.declare_powered(powered);
                String::new()
            }
            PassMs(ms) => {
                $delay(&mut rig.bench.delay(), ms)$($wait)*;
                String::new()
            }
            Supply(true) => {
                rig.part.power_up();
                String::new()
            }
            Supply(false) => {
                rig.part.power_loss();
                String::new()
            }
        }
    }};
}

/// Whether the host sees an output's line low.
fn sees(rig: &Rig) -> impl FnMut(Outputs) -> bool {
    |output| {
        rig.part.is_low(if output == Outputs::A {
            Output::A
        } else {
            Output::B
        })
    }
}

fn prove(
    rig: &Rig,
    station: &mut Station<'_, CHANNELS, 8>,
    monitor: &mut RigMonitor<'_, CHANNELS>,
) -> Result<Proof, Error<BusError>> {
    let mut wait_us = |us| embedded_hal::delay::DelayNs::delay_us(&mut rig.bench.delay(), us);
    crake::old::alert::prove(station, monitor, &mut sees(rig), &mut wait_us)
}

async fn prove_async(
    rig: &Rig,
    station: &mut Station<'_, CHANNELS, 8>,
    monitor: &mut RigMonitorAsync<'_, CHANNELS>,
) -> Result<Proof, Error<BusError>> {
    crake::old::asynch::prove(station, monitor, &mut sees(rig), &mut rig.bench.delay()).await
}

struct Stage<'b, M> {
    rig: Rig,
    monitor: M,
    station: Station<'static, CHANNELS, 8>,
    books: Books<'b>,
    joint: Joint,
}

impl<'b, M> Stage<'b, M> {
    fn new(rig: Rig, monitor: M, board: &'b crake::old::board::Board<CHANNELS>) -> Self {
        rig.bench.set_logging(Logging::Full);
        Self {
            rig,
            monitor,
            station: Station::new(SETUP, WATCHES),
            books: Books::new(board),
            joint: Joint { serial: 0 },
        }
    }

    fn after(&mut self, act: Act, what: &str) -> String {
        let events: Vec<_> = std::iter::from_fn(|| self.station.next_event()).collect();
        let (a, gap) = (self.rig.part.is_low(Output::A), self.books.ledger.gap());
        format!("{act:?}: {what} {events:?} {a} {gap:?}")
    }

    fn outcome(self, lines: Vec<String>) -> Outcome {
        Outcome {
            lines,
            traffic: self.rig.bench.log(),
            end_ns: self.rig.bench.now_ns(),
        }
    }
}

fn blocking(read_max: u8, acts: &[Act]) -> Outcome {
    use crake::old::alert::alert_response;
    let (board, rig) = (board(), rig(3));
    let new = |rig: &Rig| rig.monitor(&board).with_read_max(read_max);
    let monitor = new(&rig);
    let mut stage = Stage::new(rig, monitor, &board);
    let mut lines = Vec::new();
    for &act in acts {
        let on = &mut stage;
        let what = play!(
            act,
            on,
            new,
            [arm rearm service look prove],
            alert_response,
            embedded_hal::delay::DelayNs::delay_ms,
            ()
        );
        stage.joint = stage.monitor.joint();
        lines.push(stage.after(act, &what));
    }
    stage.outcome(lines)
}

fn asynchronous(read_max: u8, acts: &[Act]) -> Outcome {
    let (board, rig) = (board(), rig(3));
    let new = |rig: &Rig| rig.monitor_async(&board).with_read_max(read_max);
    let monitor = new(&rig);
    let bench = rig.bench.clone();
    let mut stage = Stage::new(rig, monitor, &board);
    let mut lines = Vec::new();
    let acting = async {
        for &act in acts {
            let on = &mut stage;
            let what = play!(
                act,
                on,
                new,
                [arm_async rearm_async service_async look_async prove_async],
                alert_response_async,
                embedded_hal_async::delay::DelayNs::delay_ms,
                (.await)
            );
            stage.joint = crake::old::asynch::ShuntMonitor::joint(&stage.monitor);
            lines.push(stage.after(act, &what));
        }
    };
    bench.block_on(acting).expect("nothing waits for ever");
    stage.outcome(lines)
}

#[test]
fn blocking_and_async_say_and_send_the_same() {
    let (mut bytes, mut failures) = (0, 0);
    for (name, read_max, acts) in scenarios() {
        let (one, other) = (blocking(read_max, &acts), asynchronous(read_max, &acts));
        for (one, other) in one.lines.iter().zip(&other.lines) {
            assert_eq!(one, other, "{name}");
        }
        for (one, other) in one.traffic.iter().zip(&other.traffic) {
            assert_eq!(one, other, "{name}: {one}, {other}");
        }
        assert_eq!(one, other, "{name}");
        assert_eq!(one.lines.len(), acts.len());
        bytes += one
            .traffic
            .iter()
            .map(|transaction| transaction.events.len())
            .sum::<usize>();
        failures += one
            .lines
            .iter()
            .filter(|line| line.contains(" Error {"))
            .count();
    }
    // The list has in it what it says: much traffic, failures of the bus, refusals.
    assert!(
        bytes > 5_000 && failures >= 8,
        "{bytes} bytes, {failures} failures"
    );
}

/// A different seed gives other bytes: the comparison above sees them.
#[test]
fn another_part_gives_other_bytes() {
    let traffic = |seed| {
        let (board, rig) = (board(), rig(seed));
        rig.bench.set_logging(Logging::Full);
        let mut monitor = rig.monitor(&board);
        monitor.init(&SETUP).expect("init");
        rig.pass_ms(3);
        monitor.latch().expect("latch");
        rig.bench.log()
    };
    assert_eq!(traffic(3), traffic(3));
    assert_ne!(traffic(3), traffic(4));
}

/// Firmware that waits on the line's level: wakes at the alert, not before, and serves it.
#[test]
fn the_line_wakes_the_task_that_serves_it() {
    let (board, rig) = (board(), rig(5));
    let bench: Bench = rig.bench.clone();
    let mut line = bench.alert(&rig.part, Output::A);
    let mut monitor = rig.monitor_async(&board);
    let mut station: Station<'_, CHANNELS, 8> = Station::new(SETUP, WATCHES);
    let firmware = async {
        monitor.init(&SETUP).await.expect("init");
        station.arm_async(&mut monitor).await.expect("arm");
        line.wait_for_low().await.expect("a line");
        let woken_ns = bench.now_ns();
        // The current is still beyond its limit: cleared, the cause is set again, until it is over.
        while line.is_low().expect("a line") {
            station.service_async(&mut monitor).await.expect("service");
        }
        woken_ns
    };
    let woken_ns = bench.block_on(firmware).expect("nothing waits for ever");
    // A round and a conversion at the slowest oscillator (datasheet, section 6).
    let latest_ns = crate::desk::BEYOND_NS + 600_000;
    assert!(
        (crate::desk::BEYOND_NS..latest_ns).contains(&woken_ns),
        "{woken_ns}"
    );
    let event = station.next_event().expect("an event");
    assert_eq!(event.cause, Cause::Limit(Channel::C0, Kind::OverCurrent));
}
