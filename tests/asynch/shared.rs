//! Two parts on one bus and one line, each with a monitor of its own: the bus is shared by crates made for it.

use std::cell::RefCell;

use crake::old::alert::{Answer, Cause, Kind, Station};
use crake::old::asynch::{self, ShuntMonitor as _, alert_response};
use crake::old::ledger::{Entry, Ledger};
use crake::old::part::corncrake::{Corncrake, SPEC};
use crake::old::{Channel, Clock, Monitor, ShuntMonitor as _};
use crake_sim::bench::Bench;
use crake_sim::board::SenseResistor;
use crake_sim::old::corncrake::{self as model, Output, Part};
use crake_sim::plant::{AfterEnd, Constant, Interpolation, Rail, Recorded, Source};
use crake_suite::rig::CHANNELS;
use embassy_embedded_hal::shared_bus::asynch::i2c::I2cDevice;
use embassy_sync::{blocking_mutex::raw::NoopRawMutex, mutex::Mutex};
use embedded_hal_async::{delay::DelayNs as _, digital::Wait as _};
use embedded_hal_bus::i2c::RefCellDevice;

use crate::desk::{SETUP, WATCHES, board};

const ADDRESSES: [u8; 2] = [0x32, 0x35];
const PULSE_NS: [u64; 2] = [60_000_000, 90_000_000];

struct HostClock(crake_sim::bus::Clock);

impl Clock for HostClock {
    fn now_us(&mut self) -> u64 {
        self.0.now_ns() / 1_000
    }
}

/// Two parts; channel 0 of each passes its limit once, at its own moment.
fn fitted() -> (Bench, [Part; 2]) {
    let bench = Bench::new(11);
    let parts = [0, 1].map(|index: usize| {
        let order = model::Corncrake::drawn(ADDRESSES[index]);
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

/// One task per part; both wait on the one line, and whoever finds causes in its part tells them.
#[test]
fn two_async_monitors_share_a_bus_and_a_line() {
    let (bench, parts) = fitted();
    let line = bench.line();
    for part in &parts {
        line.wire(part, Output::A);
    }
    let board = board();
    let bus: Mutex<NoopRawMutex, _> = Mutex::new(bench.i2c());
    let told = RefCell::new(Vec::new());
    let ledgers = RefCell::new(Vec::new());
    let mut tasks = bench.tasks();
    for address in ADDRESSES {
        let (bench, mut line) = (&bench, line.clone());
        let (bus, board, told, ledgers) = (&bus, &board, &told, &ledgers);
        tasks.spawn("monitor", async move {
            let mut monitor = asynch::Monitor::new(
                I2cDevice::new(bus),
                bench.delay(),
                HostClock(bench.clock()),
                Corncrake::new(),
                address,
                board,
            );
            let mut station: Station<'_, CHANNELS, 8> = Station::new(SETUP, WATCHES);
            let mut ledger = Ledger::new(board, &SPEC);
            ledger.update(&monitor.init(&SETUP).await.expect("init"));
            ledger.update(&station.arm_async(&mut monitor).await.expect("arm"));
            while bench.now_ns() < 120_000_000 {
                line.wait_for_low().await.expect("a line");
                let entry =
                    ledger.update(&station.service_async(&mut monitor).await.expect("service"));
                assert_eq!(entry, Entry::Added);
                while let Some(event) = station.next_event() {
                    told.borrow_mut()
                        .push((address, event.cause, event.stamp.before_us));
                }
                let account = ledger.account(Channel::C0).expect("a rail");
                ledgers
                    .borrow_mut()
                    .push((address, account.charge.as_nanocoulombs()));
                // The other part's alert: its own task serves it.
                bench.delay().delay_ms(1).await;
            }
        });
    }
    tasks
        .run_for(core::time::Duration::from_millis(150))
        .expect("nobody spins");
    drop(tasks);
    let mut told = told.into_inner();
    // A service that ends before the pulse does is followed by another.
    told.dedup_by_key(|(address, ..)| *address);
    assert_eq!(told.len(), 2, "{told:?}");
    for ((address, cause, at_us), (expected, pulse_ns)) in
        told.into_iter().zip(ADDRESSES.into_iter().zip(PULSE_NS))
    {
        assert_eq!(
            (address, cause),
            (expected, Cause::Limit(Channel::C0, Kind::OverCurrent))
        );
        // Within a round, the other's block read at 400 kHz and one's own look.
        let since_us = at_us - pulse_ns / 1_000;
        assert!(since_us < 6_000, "{since_us} µs after the pulse began");
    }
    assert!(ledgers.into_inner().iter().all(|&(_, charge)| charge > 0));
    let answer = bench.block_on(async { alert_response(&mut I2cDevice::new(&bus)).await });
    assert_eq!(answer, Ok(Ok(Answer::Nobody)));
}

/// A monitor whose future is dropped in the middle of a transfer lets the other one have the bus.
#[test]
fn a_dropped_transfer_lets_the_other_monitor_go_on() {
    let (bench, _) = fitted();
    let board = board();
    let bus: Mutex<NoopRawMutex, _> = Mutex::new(bench.i2c());
    let [mut one, mut other] = ADDRESSES.map(|address| {
        asynch::Monitor::new(
            I2cDevice::new(&bus),
            bench.delay(),
            HostClock(bench.clock()),
            Corncrake::new(),
            address,
            &board,
        )
    });
    let firmware = async {
        one.init(&SETUP).await.expect("init");
        other.init(&SETUP).await.expect("init");
        for us in (50..4_000).step_by(150) {
            {
                let mut latch = core::pin::pin!(one.latch());
                let mut delay = bench.delay();
                let mut over = core::pin::pin!(delay.delay_us(us));
                core::future::poll_fn(|context| {
                    if latch.as_mut().poll(context).is_ready() {
                        return core::task::Poll::Ready(());
                    }
                    over.as_mut().poll(context)
                })
                .await;
            }
            let frame = other.latch().await.expect("the bus is free");
            assert!(frame.unbroken());
        }
        assert!(one.latch().await.expect("latch").unbroken());
    };
    bench.block_on(firmware).expect("nothing waits for ever");
}

#[test]
fn two_blocking_monitors_share_a_bus() {
    let (bench, parts) = fitted();
    let board = board();
    let bus = RefCell::new(bench.i2c());
    let monitors = ADDRESSES.map(|address| {
        Monitor::new(
            RefCellDevice::new(&bus),
            bench.delay(),
            HostClock(bench.clock()),
            Corncrake::new(),
            address,
            &board,
        )
    });
    let mut fitted =
        monitors.map(|monitor| (monitor, Station::<'_, CHANNELS, 8>::new(SETUP, WATCHES)));
    for (monitor, station) in &mut fitted {
        monitor.init(&SETUP).expect("init");
        station.arm(monitor).expect("arm");
    }
    bench.run_until(PULSE_NS[1] + 2_000_000);
    for (part, (monitor, station)) in parts.iter().zip(&mut fitted) {
        assert!(part.is_low(Output::A));
        station.service(monitor).expect("service");
        assert!(station.next_event().is_some());
        assert!(!part.is_low(Output::A));
    }
}
