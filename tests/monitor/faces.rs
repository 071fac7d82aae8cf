//! One list of scenarios, played by the blocking monitor and by its async twin on two benches: same
//! results, same bytes at the same moments.

use std::time::Duration;

use crake::alert::{AlertFlags, AlertQueue, Limit, Limits, Outputs, Threshold};
use crake::asynch::ShuntMonitor as _;
use crake::config::{Config, Mode, ScanRate};
use crake::part::ResumeToken;
use crake::part::corncrake::{Address, Corncrake};
use crake::units::{Current, Voltage};
use crake::{Channel, Error, ShuntMonitor as _, TimedSample, asynch};
use crake_sim::bus::{BusError, Logging, Transaction};
use crake_sim::part::corncrake::Output;
use crake_sim::plant::{self, Pulses, Source};

use crate::fixture::{BOARD, CHANNELS, FINE_SENSE, Fixture, HostClock, fast};

/// What firmware does.
#[derive(Clone, Copy, Debug)]
enum Act {
    Init(Config<CHANNELS>),
    Configure(Config<CHANNELS>),
    /// A new monitor goes on, with the token of the one before, this much off.
    Resume(u32),
    Sample,
    SetLimits(&'static Limits<'static>),
    Service,
    /// The pieces of a service.
    ReadAlerts,
    Settle,
    SetMasks,
    Prove,
    StartCapture,
    FetchCapture,
    SetPowered(bool),
    PassMs(u32),
    /// The part's supply goes or comes, unknown to the firmware.
    Supply(bool),
}

use Act::{
    Configure, FetchCapture, Init, PassMs, Prove, ReadAlerts, Resume, Sample, Service, SetLimits,
    SetMasks, SetPowered, Settle, StartCapture, Supply,
};

const PULSE: Threshold = Threshold::OverCurrent(Current::from_amps(2));
static LIMITS: Limits<'static> = Limits::new(&[
    Limit::new(Channel::C0, PULSE).to(Outputs::A),
    Limit::new(Channel::C1, Threshold::UnderVoltage(Voltage::from_volts(4)))
        .following()
        .to(Outputs::B),
]);
static OTHER_LIMITS: Limits<'static> =
    Limits::new(&[Limit::new(Channel::C0, PULSE).debounce(2).to(Outputs::B)]);

fn other() -> Config<CHANNELS> {
    fast().averaging(2).with(Channel::C1, FINE_SENSE)
}

fn slow() -> Config<CHANNELS> {
    fast().with_mode(Mode::Continuous(ScanRate::per_second(10)))
}

/// Names, the controller's greatest read, and what is done.
fn scenarios() -> Vec<(&'static str, u8, Vec<Act>)> {
    let steady = vec![Init(fast()), PassMs(3), Sample, PassMs(40), Sample, Sample];
    let mut changes = steady.clone();
    changes.extend([Configure(other()), PassMs(10), Sample, Configure(slow())]);
    changes.extend([
        PassMs(500),
        Sample,
        Configure(fast().with_mode(Mode::SingleShot)),
    ]);
    changes.extend([Sample, PassMs(1), Sample]);
    let alerts = vec![
        Init(fast()),
        SetLimits(&LIMITS),
        PassMs(25),
        Service,
        Service,
        SetLimits(&OTHER_LIMITS),
        PassMs(20),
        Service,
    ];
    let pieces = vec![
        Init(fast()),
        SetLimits(&LIMITS),
        PassMs(25),
        ReadAlerts,
        PassMs(7),
        ReadAlerts,
        Sample,
        Settle,
        SetMasks,
        Prove,
        Supply(false),
        ReadAlerts,
        Prove,
    ];
    let capture = vec![
        Init(fast()),
        Sample,
        StartCapture,
        Sample,
        FetchCapture,
        Configure(fast()),
        FetchCapture,
        Sample,
    ];
    let mut resumed = steady.clone();
    resumed.extend([SetLimits(&LIMITS), PassMs(25), Resume(0), Service]);
    resumed.extend([SetLimits(&LIMITS), Service, Resume(1), Sample]);
    let gone = vec![
        Init(fast()),
        Supply(false),
        Sample,
        Service,
        SetLimits(&LIMITS),
        Configure(fast()),
        Init(fast()),
        SetPowered(false),
        Sample,
        Init(fast()),
        Supply(true),
        PassMs(2),
        SetPowered(true),
        Sample,
        Init(fast()),
        Sample,
        Supply(false),
        Supply(true),
        PassMs(2),
        Sample,
        Sample,
    ];
    let refused = vec![
        Configure(fast()),
        Init(fast().averaging(11)),
        Init(fast().without(Channel::C0)),
        SetLimits(&LIMITS),
        Service,
        FetchCapture,
        Sample,
    ];
    vec![
        ("steady", u8::MAX, steady.clone()),
        ("in pieces of 32", 32, steady),
        ("changes", u8::MAX, changes),
        ("alerts", u8::MAX, alerts.clone()),
        ("alerts in pieces of 7", 7, alerts),
        ("pieces of a service", u8::MAX, pieces),
        ("capture", u8::MAX, capture),
        ("resumed", u8::MAX, resumed),
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

/// All that a sample says.
fn told(result: Result<&impl TimedSample<CHANNELS>, Error<BusError>>) -> String {
    match result {
        Ok(sample) => {
            let channels: Vec<_> = Channel::first(4)
                .map(|channel| (sample.sums(channel), sample.reading(channel)))
                .collect();
            let (stamp, scans) = (sample.timestamp(), sample.scans());
            format!("{stamp:?} {scans} {} {channels:?}", sample.configuration())
        }
        Err(error) => format!("{error:?}"),
    }
}

/// An act played by one of the two: calls are the same but for `.await`, and the queue's twin.
macro_rules! play {
    ($act:expr, $stage:ident, [$($twin:tt)*], $new:expr, $delay:path, ($($wait:tt)*)) => {{
        let Stage { fixture, monitor, queue, token } = &mut *$stage;
        #[allow(unused_mut)] // the async twin is one
        let (mut queue, new) = (queue$($twin)*, $new);
        match $act {
            Init(config) => format!("{:?}", monitor.init(&config)$($wait)*),
            Configure(config) => format!("{:?}", monitor.configure(&config)$($wait)*),
            Resume(off) => {
                *monitor = new(fixture);
                let token = ResumeToken { writes: token.writes + off, configuration: 0 };
                told(monitor.resume(&fast(), token)$($wait)*)
            }
            Sample => told(monitor.sample()$($wait)*),
            SetLimits(limits) => format!("{:?}", queue.set_limits(monitor, limits)$($wait)*),
            Service => told(queue.service(monitor)$($wait)*),
            ReadAlerts => format!("{:?}", queue.read_alerts(monitor)$($wait)*),
            Settle => format!("{:?}", queue.settle(monitor)$($wait)*),
            SetMasks => {
                let masks = [AlertFlags::LIMITS, AlertFlags::empty()];
                format!("{:?}", monitor.set_masks(&masks)$($wait)*)
            }
            Prove => {
                let part = fixture.part.clone();
                let is_low = |output| {
                    part.is_low(if output == Outputs::A { Output::A } else { Output::B })
                };
                let mut delay = fixture.bench.delay();
                format!("{:?}", queue.proof_test(monitor, &mut delay, is_low)$($wait)*)
            }
            StartCapture => format!("{:?}", monitor.start_capture(Channel::C1)$($wait)*),
            FetchCapture => {
                let mut room = [0; 40];
                let fetched = monitor.fetch_capture(3, &mut room)$($wait)*;
                format!("{:?}", fetched.map(|capture| capture.codes().to_vec()))
            }
            SetPowered(powered) => {
                monitor.set_powered(powered);
                String::new()
            }
            PassMs(ms) => {
                $delay(&mut fixture.bench.delay(), ms)$($wait)*;
                String::new()
            }
            Supply(true) => {
                fixture.part.power_up();
                String::new()
            }
            Supply(false) => {
                fixture.part.power_loss();
                String::new()
            }
        }
    }};
}

struct Stage<M> {
    fixture: Fixture,
    monitor: M,
    queue: AlertQueue<'static, 8>,
    token: ResumeToken,
}

impl<M> Stage<M> {
    /// Channel 0 has pulses of 4 A.
    fn new(new: impl FnOnce(&Fixture) -> M) -> Self {
        let fixture = Fixture::new();
        fixture.bench.set_logging(Logging::Full);
        let pulses = Pulses::new(0, 4_000_000_000, 20_000_000, 3_000_000).expect("pulses");
        let source = Source::of(plant::Constant::new(5_000_000_000).expect("a source"));
        let rail = plant::Rail::new(source, pulses).expect("a rail");
        let resistor = crake_sim::board::SenseResistor::ideal(10_000_000);
        fixture.part.rail(0, rail, resistor).expect("a channel");
        Self {
            monitor: new(&fixture),
            fixture,
            queue: AlertQueue::new(),
            token: ResumeToken {
                writes: 0,
                configuration: 0,
            },
        }
    }

    fn after(&mut self, act: Act, what: &str) -> String {
        let events: Vec<_> = std::iter::from_fn(|| self.queue.next_event()).collect();
        let low = [Output::A, Output::B].map(|output| self.fixture.part.is_low(output));
        format!("{act:?}: {what} {events:?} {low:?}")
    }

    fn outcome(self, lines: Vec<String>) -> Outcome {
        Outcome {
            lines,
            traffic: self.fixture.bench.log(),
            end_ns: self.fixture.bench.now_ns(),
        }
    }
}

fn blocking(read_max: u8, acts: &[Act]) -> Outcome {
    let new = |fixture: &Fixture| {
        let mut monitor = fixture.monitor_on(fixture.bench.i2c());
        monitor.set_read_max(read_max);
        monitor
    };
    let mut stage = Stage::new(new);
    let mut lines = Vec::new();
    for &act in acts {
        let on = &mut stage;
        let what = play!(act, on, [], new, embedded_hal::delay::DelayNs::delay_ms, ());
        stage.token = stage.monitor.token();
        lines.push(stage.after(act, &what));
    }
    stage.outcome(lines)
}

fn asynchronous(read_max: u8, acts: &[Act]) -> Outcome {
    let new = |fixture: &Fixture| {
        let (i2c, delay) = (fixture.bench.i2c(), fixture.bench.delay());
        let part = Corncrake::new(Address::Strap0);
        let clock = HostClock(fixture.bench.clock());
        let mut monitor = asynch::Monitor::new(i2c, delay, part, &BOARD).with_clock(clock);
        monitor.set_read_max(read_max);
        monitor
    };
    let mut stage = Stage::new(new);
    let bench = stage.fixture.bench.clone();
    let mut lines = Vec::new();
    let acting = async {
        for &act in acts {
            let on = &mut stage;
            let what = play!(
                act,
                on,
                [.asynch()],
                new,
                embedded_hal_async::delay::DelayNs::delay_ms,
                (.await)
            );
            stage.token = stage.monitor.token();
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
        let events = one
            .traffic
            .iter()
            .map(|transaction| transaction.events.len());
        bytes += events.sum::<usize>();
        failures += one
            .lines
            .iter()
            .filter(|line| line.contains("Error {"))
            .count();
    }
    // The list has in it what it says: much traffic, failures of the bus, refusals.
    assert!(
        bytes > 5_000 && failures >= 20,
        "{bytes} bytes, {failures} failures"
    );
}

/// Firmware that waits on the line's level wakes at the alert, not before, and serves it.
#[test]
fn the_line_wakes_the_task_that_serves_it() {
    use embedded_hal::digital::InputPin as _;
    use embedded_hal_async::digital::Wait as _;

    let stage = Stage::new(|_| ());
    let bench = stage.fixture.bench.clone();
    let mut line = bench.alert(&stage.fixture.part, Output::A);
    let part = Corncrake::new(Address::Strap0);
    let mut monitor = asynch::Monitor::new(bench.i2c(), bench.delay(), part, &BOARD)
        .with_clock(HostClock(bench.clock()));
    let mut queue = AlertQueue::<8>::new();
    bench.run_for(Duration::from_millis(5));
    let firmware = async {
        monitor.init(&fast()).await.expect("init");
        queue
            .asynch()
            .set_limits(&mut monitor, &LIMITS)
            .await
            .expect("limits");
        line.wait_for_low().await.expect("a line");
        let woken_ns = bench.now_ns();
        queue.asynch().service(&mut monitor).await.expect("service");
        (woken_ns, line.is_high().expect("a line"))
    };
    let (woken_ns, is_high) = bench.block_on(firmware).expect("nothing waits for ever");
    // The second pulse begins at 20 ms; a scan and a conversion (section 6).
    let latest_ns = 20_000_000 + 600_000;
    assert!((20_000_000..latest_ns).contains(&woken_ns), "{woken_ns}");
    // The condition lasts, and is taken off its output meanwhile.
    assert!(is_high);
    assert!(queue.next_event().is_some());
}
