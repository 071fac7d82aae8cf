//! Two parts on one bus and one line, each with a monitor of its own: the bus is shared by crates
//! made for it.

use std::cell::RefCell;
use std::time::Duration;

use crake::alert::asynch::alert_response as alert_response_async;
use crake::alert::{
    AlertFlag, AlertQueue, Answer, Kind, Limit, Limits, Outputs, Threshold, alert_response,
};
use crake::asynch::ShuntMonitor as _;
use crake::part::corncrake::{Address, Corncrake};
use crake::totals::{Totals, Update};
use crake::units::Current;
use crake::{Channel, Monitor, Sample, ShuntMonitor as _, asynch};
use crake_sim::bench::{Bench, Part};
use crake_sim::board::SenseResistor;
use crake_sim::part::corncrake::{self as model, Output};
use crake_sim::plant::{AfterEnd, Constant, Interpolation, Rail, Recorded, Source};
use embassy_embedded_hal::shared_bus::asynch::i2c::I2cDevice;
use embassy_sync::{blocking_mutex::raw::NoopRawMutex, mutex::Mutex};
use embedded_hal_async::{delay::DelayNs as _, digital::Wait as _};
use embedded_hal_bus::i2c::RefCellDevice;

use crate::fixture::{BOARD, CHANNELS, HostClock, fast};

const STRAPS: [Address; 2] = [Address::Strap0, Address::Strap3];
/// Section 2.1.
const ADDRESSES: [u8; 2] = [0x32, 0x35];
const PULSE_NS: [u64; 2] = [60_000_000, 90_000_000];

const AMPERES: Threshold = Threshold::OverCurrent(Current::from_amps(2));
static LIMITS: Limits<'static> = Limits::new(&[Limit::new(Channel::C0, AMPERES).to(Outputs::A)]);

/// Two parts; channel 0 of each passes its limit once, for 1 ms, at its own moment.
fn fitted() -> (Bench, [Part<model::Model>; 2]) {
    let bench = Bench::new(11);
    let parts = [0, 1].map(|index: usize| {
        let order = model::Corncrake::new(ADDRESSES[index]);
        let part = bench.part(order).expect("a free address");
        let at = PULSE_NS[index];
        let pulse = [
            (0, 1_000_000_000),
            (at, 5_000_000_000),
            (at + 1_000_000, 1_000_000_000),
        ];
        let pulse = Recorded::new(pulse.to_vec(), Interpolation::Hold, AfterEnd::Hold);
        let source = Source::of(Constant::new(5_000_000_000).expect("a source"));
        let rail = Rail::new(source, pulse.expect("a load")).expect("a rail");
        part.rail(0, rail, SenseResistor::ideal(10_000_000))
            .expect("a channel");
        part
    });
    (bench, parts)
}

/// One task per part; both wait on the one line, and whoever finds flags in its part tells them.
#[test]
fn two_async_monitors_share_a_bus_and_a_line() {
    let (bench, parts) = fitted();
    let line = bench.line();
    for part in &parts {
        line.wire(part, Output::A);
    }
    let bus: Mutex<NoopRawMutex, _> = Mutex::new(bench.i2c());
    let told = RefCell::new(Vec::new());
    let mut tasks = bench.tasks();
    for (address, strap) in ADDRESSES.into_iter().zip(STRAPS) {
        let (bench, mut line) = (&bench, line.clone());
        let (bus, told) = (&bus, &told);
        tasks.spawn("monitor", async move {
            let (i2c, delay) = (I2cDevice::new(bus), bench.delay());
            let mut monitor = asynch::Monitor::new(i2c, delay, Corncrake::new(strap), &BOARD)
                .with_clock(HostClock(bench.clock()));
            let mut queue = AlertQueue::<8>::new();
            let mut totals = Totals::<CHANNELS>::new(&BOARD);
            monitor.init(&fast()).await.expect("init");
            queue
                .asynch()
                .set_limits(&mut monitor, &LIMITS)
                .await
                .expect("limits");
            totals.update(monitor.sample().await.expect("a sample"));
            while bench.now_ns() < 120_000_000 {
                line.wait_for_low().await.expect("a line");
                let mut served = queue.asynch();
                let sample = served.service(&mut monitor).await.expect("service");
                assert_eq!(totals.update(sample), Update::Continued);
                while let Some(event) = queue.next_event() {
                    let at_us = event.timestamp().expect("a clock").before_us;
                    told.borrow_mut().push((address, event.flag(), at_us));
                }
                // The other part's alert: its own task serves it.
                bench.delay().delay_ms(1).await;
            }
        });
    }
    tasks
        .run_for(Duration::from_millis(150))
        .expect("nobody spins");
    drop(tasks);
    let told = told.into_inner();
    assert_eq!(told.len(), 2, "{told:?}");
    let expected = ADDRESSES.into_iter().zip(PULSE_NS);
    for ((address, flag, at_us), (expected, pulse_ns)) in told.into_iter().zip(expected) {
        assert_eq!(address, expected);
        assert_eq!(flag, AlertFlag::Limit(Channel::C0, Kind::OverCurrent));
        // Within a scan, the other's block read at 400 kHz and one's own look.
        let since_us = at_us - pulse_ns / 1_000;
        assert!(since_us < 6_000, "{since_us} µs after the pulse began");
    }
    let answer = bench.block_on(async { alert_response_async(&mut I2cDevice::new(&bus)).await });
    assert_eq!(answer, Ok(Ok(Answer::Nobody)));
}

/// A monitor whose future is dropped in the middle of a transfer lets the other one have the bus.
#[test]
fn a_dropped_transfer_lets_the_other_monitor_go_on() {
    let (bench, _) = fitted();
    let bus: Mutex<NoopRawMutex, _> = Mutex::new(bench.i2c());
    let [mut one, mut other] = STRAPS.map(|strap| {
        let (i2c, delay) = (I2cDevice::new(&bus), bench.delay());
        asynch::Monitor::new(i2c, delay, Corncrake::new(strap), &BOARD)
    });
    let firmware = async {
        one.init(&fast()).await.expect("init");
        other.init(&fast()).await.expect("init");
        let mut dropped = 0;
        for us in (50..4_000).step_by(150) {
            {
                let mut sample = core::pin::pin!(one.sample());
                let mut delay = bench.delay();
                let mut over = core::pin::pin!(delay.delay_us(us));
                core::future::poll_fn(|context| {
                    if sample.as_mut().poll(context).is_ready() {
                        return core::task::Poll::Ready(());
                    }
                    let is_over = over.as_mut().poll(context);
                    dropped += u32::from(is_over.is_ready());
                    is_over
                })
                .await;
            }
            let sample = other.sample().await.expect("the bus is free");
            assert!(sample.reading(Channel::C0).is_ok());
        }
        assert!(dropped > 10, "{dropped}");
        let sample = one.sample().await.expect("nothing was lost");
        assert!(sample.reading(Channel::C0).is_ok());
    };
    bench.block_on(firmware).expect("nothing waits for ever");
}

/// Alert response on a line that two parts pull: the lower address answers first, and lets go.
#[test]
fn two_blocking_monitors_share_a_bus() {
    let (bench, parts) = fitted();
    let bus = RefCell::new(bench.i2c());
    let mut fitted = STRAPS.map(|strap| {
        let (i2c, delay) = (RefCellDevice::new(&bus), bench.delay());
        let monitor = Monitor::new(i2c, delay, Corncrake::new(strap), &BOARD)
            .with_clock(HostClock(bench.clock()));
        (monitor, AlertQueue::<8>::new())
    });
    for (monitor, queue) in &mut fitted {
        monitor.init(&fast()).expect("init");
        queue.set_limits(monitor, &LIMITS).expect("limits");
    }
    bench.run_until(PULSE_NS[1] + 2_000_000);
    assert!(parts.iter().all(|part| part.is_low(Output::A)));
    for (address, (monitor, queue)) in ADDRESSES.into_iter().zip(&mut fitted) {
        let answer = alert_response(&mut RefCellDevice::new(&bus)).expect("the bus");
        assert_eq!(answer, Answer::From(address));
        queue.service(monitor).expect("service");
        let event = queue.next_event().expect("an event");
        assert_eq!(
            event.flag(),
            AlertFlag::Limit(Channel::C0, Kind::OverCurrent)
        );
    }
    let answer = alert_response(&mut RefCellDevice::new(&bus)).expect("the bus");
    assert_eq!(answer, Answer::Nobody);
    assert!(!parts.iter().any(|part| part.is_low(Output::A)));
}
