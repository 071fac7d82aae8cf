//! Tasks in virtual time: `embedded-hal-async` over the bench, exact to the nanosecond.

mod stalls;
mod transfers;

use core::{
    cell::{Cell, RefCell},
    future::{Future, poll_fn},
    pin::pin,
    task::{Poll, Waker},
    time::Duration,
};

use crake_sim::{
    bench::{Bench, Part, StallReason},
    board::SenseResistor,
    bus::{BusError, Logging, Speed, Timing},
    part::corncrake::{Corncrake, Output},
    plant::{Constant, Pulses, Rail, Source},
};
use embedded_hal::{
    digital::PinState,
    i2c::{ErrorKind, NoAcknowledgeSource},
};
use embedded_hal_async::{delay::DelayNs, digital::Wait, i2c::I2c};

const CONVERSION_NS: u64 = 62_500;
const WAKE_UP_NS: u64 = 150_000;
const PERIOD_NS: u64 = 2_000_000;
const RESET_SEEN_TO_A: [u8; 4] = [0x35, 0x40, 0x00, 0x00];

/// A part on which channel 0 carries 1 A in the first 1 ms of every 10 ms, which sets a following
/// flag on output A while it runs.
fn alarming(bench: &Bench) -> Part {
    let part = bench.part(Corncrake::ideal(0x32)).expect("free");
    let source = Source::of(Constant::new(5_000_000_000).expect("5 V"));
    let load = Pulses::new(0, 1_000_000_000, 10_000_000, 1_000_000).expect("pulses");
    let rail = Rail::new(source, load.first_at(20_000_000)).expect("rail");
    part.rail(0, rail, SenseResistor::ideal(10_000_000))
        .expect("channel");
    let mut i2c = bench.i2c();
    for bytes in [
        &[0x12, 0x00, 0x27, 0x10][..],
        &[0x34, 0x70, 0x00, 0x00],
        &[0x35, 0x00, 0x00, 0x04],
        &[0x05, 0x01],
    ] {
        embedded_hal::i2c::I2c::write(&mut i2c, 0x32, bytes).expect("acknowledged");
    }
    part
}

/// Starts 500 scans a second; the moment of the STOP.
fn run(bench: &Bench) -> u64 {
    let mut i2c = bench.i2c();
    embedded_hal::i2c::I2c::write(&mut i2c, 0x32, &[0x04, 0x11]).expect("acknowledged");
    bench.now_ns()
}

/// The output of `future`, or None if `limit` is over first.
async fn within<T>(future: impl Future<Output = T>, limit: impl Future<Output = ()>) -> Option<T> {
    let (mut future, mut limit) = (pin!(future), pin!(limit));
    poll_fn(|context| {
        if let Poll::Ready(output) = future.as_mut().poll(context) {
            return Poll::Ready(Some(output));
        }
        limit.as_mut().poll(context).map(|()| None)
    })
    .await
}

/// The pulse at 20 ms is seen by the first scan that begins after it, and no other before the next
/// pulse.
#[test]
fn a_wait_is_over_at_the_very_edge() {
    let bench = Bench::new(0);
    let mut alert = bench.alert(&alarming(&bench), Output::A);
    let first_ns = run(&bench) + WAKE_UP_NS;
    let first_after = |ns: u64| {
        let scans = (ns - first_ns).div_ceil(PERIOD_NS);
        first_ns + scans * PERIOD_NS + CONVERSION_NS
    };
    let seen = bench.block_on(async {
        let mut seen = Vec::new();
        alert.wait_for_low().await.expect("never fails");
        seen.push(bench.now_ns());
        alert.wait_for_low().await.expect("never fails");
        seen.push(bench.now_ns());
        // An edge is one after the wait has begun: the line is low already.
        alert.wait_for_falling_edge().await.expect("never fails");
        seen.push(bench.now_ns());
        alert.wait_for_high().await.expect("never fails");
        seen.push(bench.now_ns());
        alert.wait_for_falling_edge().await.expect("never fails");
        seen.push(bench.now_ns());
        alert.wait_for_rising_edge().await.expect("never fails");
        seen.push(bench.now_ns());
        alert.wait_for_any_edge().await.expect("never fails");
        seen.push(bench.now_ns());
        seen
    });
    let pulses = [20_000_000, 30_000_000, 40_000_000, 50_000_000];
    let [one, two, three, four] = pulses.map(first_after);
    // 500 scans a second fall five times on the same place of a pulse: all pulses are met, or none.
    assert!(one < 21_000_000, "the pulse is met");
    let (risen, late) = (two + PERIOD_NS, three + PERIOD_NS);
    let expected = [one, one, two, risen, three, late, four];
    assert_eq!(seen.as_deref(), Ok(&expected[..]));
}

/// Tasks may wake one another by any means; no time passes for it.
#[test]
fn a_task_that_another_wakes_runs_at_the_same_moment() {
    let bench = Bench::new(0);
    let (sent, waker) = (Cell::new(false), Cell::new(None::<Waker>));
    let received_ns = Cell::new(0);
    let mut delay = bench.delay();
    let mut tasks = bench.tasks();
    tasks.spawn("receiver", async {
        poll_fn(|context| {
            if sent.get() {
                return Poll::Ready(());
            }
            waker.set(Some(context.waker().clone()));
            Poll::Pending
        })
        .await;
        received_ns.set(bench.now_ns());
    });
    tasks.spawn("sender", async {
        delay.delay_us(3).await;
        sent.set(true);
        if let Some(waker) = waker.take() {
            waker.wake();
        }
        delay.delay_us(3).await;
    });
    tasks.run().expect("both end");
    assert_eq!((received_ns.get(), bench.now_ns()), (3_000, 6_000));
}

/// A level counts even if it came and went while another task held the processor; edges too.
#[test]
fn a_level_that_came_and_went_ends_the_wait_for_it() {
    let bench = Bench::new(0);
    let mut alert = bench.alert(&alarming(&bench), Output::A);
    let level = alert.clone();
    run(&bench);
    let mut blocking = bench.delay();
    let seen_ns = Cell::new(0);
    let mut tasks = bench.tasks();
    tasks.spawn("alarm", async {
        alert.wait_for_low().await.expect("never fails");
        seen_ns.set(bench.now_ns());
    });
    tasks.spawn("hog", async {
        embedded_hal::delay::DelayNs::delay_ms(&mut blocking, 25);
    });
    tasks.run().expect("both end");
    drop(tasks);
    assert_eq!(seen_ns.get(), bench.now_ns());
    assert_eq!(level.level(), PinState::High);
}

#[test]
fn the_same_seed_gives_the_same_run_of_tasks() {
    let log = |seed: u64| {
        let bench = Bench::new(seed);
        let part = bench.part(Corncrake::new(0x32)).expect("free");
        let events = RefCell::new(Vec::new());
        let note = |who: &'static str| events.borrow_mut().push((bench.now_ns(), who));
        bench.set_logging(Logging::Full);
        let (mut alert, mut i2c, mut delay) =
            (bench.alert(&part, Output::A), bench.i2c(), bench.delay());
        let (mut reader, mut rng) = (bench.i2c(), bench.rng("delays"));
        let mut tasks = bench.tasks();
        // Round done is cleared as it comes; another task reads at chance moments.
        tasks.spawn("alarm", async {
            for setup in [&[0x35, 0x20, 0x00, 0x00][..], &[0x04, 0x10]] {
                i2c.write(0x32, setup).await.expect("acknowledged");
            }
            loop {
                alert.wait_for_low().await.expect("never fails");
                note("low");
                i2c.write(0x32, &[0x37, 0x20, 0x00, 0x00])
                    .await
                    .expect("acknowledged");
                note("cleared");
            }
        });
        tasks.spawn("reader", async {
            loop {
                delay.delay_ns(rng.below(900_000) as u32).await;
                let mut scans = [0; 4];
                reader
                    .write_read(0x32, &[0x74], &mut scans)
                    .await
                    .expect("acknowledged");
                note("read");
            }
        });
        tasks.run_for(Duration::from_millis(50)).expect("no spin");
        drop(tasks);
        (events.into_inner(), bench.log())
    };
    let (first, again) = (log(11), log(11));
    assert_eq!(first, again);
    assert!(first.0.len() > 200, "{} events", first.0.len());
    assert_ne!(first.0, log(12).0);
}
