//! Futures that are dropped, where `tests/faults` does not go: in a proof test, and before they
//! began.

use std::future::{Future, poll_fn};
use std::pin::pin;
use std::task::Poll;

use crake::alert::{AlertFlag, AlertQueue, Kind, Limit, Limits, Outputs, Threshold};
use crake::asynch::{Monitor, ShuntMonitor};
use crake::bus::Fault;
use crake::part::corncrake::{Address, Corncrake};
use crake::units::Current;
use crake::{Channel, Sample, WithClock};
use crake_sim::bench::{Bench, Delay, I2c};
use crake_sim::part::corncrake::Output;
use embedded_hal::i2c::I2c as _;

use crate::fixture::{ADDRESS, BOARD, CHANNELS, Fixture, HostClock, fast};

type Async = Monitor<'static, I2c, Delay, Corncrake, CHANNELS, WithClock<HostClock>>;

fn monitor(fixture: &Fixture) -> Async {
    let (i2c, delay) = (fixture.bench.i2c(), fixture.bench.delay());
    Monitor::new(i2c, delay, Corncrake::new(Address::Strap0), &BOARD)
        .with_clock(HostClock(fixture.bench.clock()))
}

/// Runs a future until it is over, or dropped because so many polls did not finish it: then `None`.
fn run<T>(bench: &Bench, most: u32, future: impl Future<Output = T>) -> Option<T> {
    let run = async {
        let mut future = pin!(future);
        let mut polls = 0;
        poll_fn(|context| {
            polls += 1;
            match future.as_mut().poll(context) {
                Poll::Ready(output) => Poll::Ready(Some(output)),
                Poll::Pending if polls == most => Poll::Ready(None),
                Poll::Pending => Poll::Pending,
            }
        })
        .await
    };
    bench.block_on(run).expect("nothing waits for ever")
}

static LIMITS: Limits<'static> =
    Limits::new(&[
        Limit::new(Channel::C0, Threshold::OverCurrent(Current::from_amps(2))).to(Outputs::A),
    ]);

/// The masks of both outputs (section 3), read behind the driver's back.
fn masks(fixture: &Fixture) -> [[u8; 3]; 2] {
    [0x35, 0x36].map(|pointer| {
        let mut mask = [0; 3];
        let read = fixture
            .bench
            .i2c()
            .write_read(ADDRESS, &[pointer], &mut mask);
        read.expect("a free bus");
        mask
    })
}

/// Goal: wherever the test is given up, the next service puts the masks back, and tells what had
/// stood and nothing that the test brought about.
#[test]
fn a_dropped_proof_test_is_over_with_the_next_service() {
    let (mut dropped, mut astray) = (0, 0);
    for (most, stands) in (1..).zip([false, true].into_iter().cycle()) {
        let fixture = Fixture::new();
        let bench = fixture.bench.clone();
        let mut monitor = monitor(&fixture);
        let mut queue = AlertQueue::<8>::new();
        let begin = async {
            monitor.init(&fast()).await.expect("init");
            let set = queue.asynch().set_limits(&mut monitor, &LIMITS).await;
            set.expect("limits");
        };
        bench.block_on(begin).expect("nothing waits for ever");
        let before = masks(&fixture);
        if stands {
            // Beyond the limit, and back.
            fixture.rail(0, 4_000_000_000, 3_000_000_000);
            fixture.pass_us(2_000);
            fixture.rail(0, 1_000_000_000, 3_000_000_000);
            fixture.pass_us(2_000);
        }
        let part = fixture.part.clone();
        let is_low = |output| {
            part.is_low(if output == Outputs::A {
                Output::A
            } else {
                Output::B
            })
        };
        let mut delay = bench.delay();
        let test = async {
            let mut queue = queue.asynch();
            queue.proof_test(&mut monitor, &mut delay, is_low).await
        };
        let proof = run(&bench, most, test);
        astray += u32::from(masks(&fixture) != before);
        let serve = async {
            let served = queue.asynch().service(&mut monitor).await;
            served.map(drop).expect("a good bus");
        };
        bench.block_on(serve).expect("nothing waits for ever");
        let told: Vec<_> = std::iter::from_fn(|| queue.next_event())
            .map(|event| event.flag())
            .collect();
        let over = AlertFlag::Limit(Channel::C0, Kind::OverCurrent);
        assert_eq!(told, vec![over; usize::from(stands)], "{most} polls");
        assert_eq!(masks(&fixture), before, "{most} polls");
        fixture.pass_us(2_000);
        let low = [Output::A, Output::B].map(|output| part.is_low(output));
        assert_eq!(low, [false; 2], "{most} polls");
        if let Some(proof) = proof {
            assert!(proof.expect("a good bus").passed());
            break;
        }
        dropped += 1;
    }
    assert!(dropped > 200 && astray > 150, "{dropped} {astray}");
}

/// Goal: tags are used up while nothing reaches the part, and yet the block that lies there is
/// never taken for a new one: after 254 of them the part is not configured.
#[test]
fn any_number_of_samples_that_never_began_lets_no_stale_block_pass() {
    for dropped in [1, 252, 253, 254] {
        let fixture = Fixture::new();
        let bench = fixture.bench.clone();
        let mut monitor = monitor(&fixture);
        let begin = async {
            monitor.init(&fast()).await.expect("init");
            monitor.sample().await.map(drop).expect("a sample");
        };
        bench.block_on(begin).expect("nothing waits for ever");
        for _ in 0..dropped {
            fixture.pass_us(100);
            let sample = async { monitor.sample().await.map(drop) };
            assert!(run(&bench, 1, sample).is_none(), "it is dropped");
        }
        let transfers = fixture.bench.bus_stats().transactions;
        let sample = async {
            let sample = monitor.sample().await.map_err(|error| error.fault())?;
            Ok(sample.scans())
        };
        let mut scans = bench.block_on(sample).expect("nothing waits for ever");
        if dropped >= 254 {
            assert_eq!(scans, Err(Fault::NotConfigured));
            assert_eq!(fixture.bench.bus_stats().transactions, transfers);
            let again = async {
                monitor.init(&fast()).await.expect("init");
                Ok(monitor.sample().await.expect("a sample").scans())
            };
            scans = bench.block_on(again).expect("nothing waits for ever");
        }
        // The read of a block at 400 kHz takes 2.7 ms, which is six scans at most.
        let live = u32::from_be_bytes(live_scans(&fixture));
        let age = live.wrapping_sub(scans.expect("it goes on"));
        assert!(age <= 6, "{dropped} dropped: a block {age} scans old");
    }
}

/// The part's own count (SCANS, section 3).
fn live_scans(fixture: &Fixture) -> [u8; 4] {
    let mut live = [0; 4];
    let read = fixture.bench.i2c().write_read(ADDRESS, &[0x74], &mut live);
    read.expect("a free bus");
    live
}
