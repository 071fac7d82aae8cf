//! Tasks in virtual time: `embedded-hal-async` over the bench, exact to the nanosecond.

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

/// A delay of another task ends in the middle of bytes, exactly; the transfer takes what its bits
/// take.
#[test]
fn tasks_run_between_the_edges_of_a_transfer() {
    let bench = Bench::new(0);
    bench.part(Corncrake::ideal(0x32)).expect("free");
    let (ends_ns, ticks) = (Cell::new(0), RefCell::new(Vec::new()));
    let (mut i2c, mut delay) = (bench.i2c(), bench.delay());
    let mut tasks = bench.tasks();
    tasks.spawn("transfer", async {
        let mut bytes = [0; 4];
        i2c.write_read(0x32, &[0x00], &mut bytes)
            .await
            .expect("identity");
        assert_eq!(bytes, [0x9E, 0x37, 0xC4, 0x02]);
        ends_ns.set(bench.now_ns());
    });
    tasks.spawn("tick", async {
        for _ in 0..30 {
            delay.delay_ns(7_001).await;
            ticks.borrow_mut().push(bench.now_ns());
        }
    });
    tasks.run().expect("both end");
    drop(tasks);
    assert_eq!(ends_ns.get(), Timing::of(Speed::Fast).transfer_ns(7, 1));
    let expected: Vec<u64> = (1..=30).map(|tick| 7_001 * tick).collect();
    assert_eq!(ticks.into_inner(), expected);
    assert_eq!(bench.now_ns(), 30 * 7_001);
}

/// The same bytes at the same times, blocking and not.
#[test]
fn a_transfer_is_the_same_for_waiting_and_for_blocking_firmware() {
    let with = |waits: bool| {
        let bench = Bench::new(0);
        bench.part(Corncrake::ideal(0x32)).expect("free");
        bench.set_logging(Logging::Full);
        let mut i2c = bench.i2c();
        let mut read = [0; 5];
        let outcomes: [Result<(), BusError>; 3] = if waits {
            bench
                .block_on(async {
                    [
                        i2c.write_read(0x32, &[0x00], &mut read).await,
                        i2c.write(0x32, &[0x07, 0x0B, 0x00]).await,
                        i2c.write(0x40, &[0x07]).await,
                    ]
                })
                .expect("no stall")
        } else {
            use embedded_hal::i2c::I2c as Blocking;
            [
                Blocking::write_read(&mut i2c, 0x32, &[0x00], &mut read),
                Blocking::write(&mut i2c, 0x32, &[0x07, 0x0B, 0x00]),
                Blocking::write(&mut i2c, 0x40, &[0x07]),
            ]
        };
        assert_eq!(
            outcomes,
            [
                Ok(()),
                Err(BusError(ErrorKind::NoAcknowledge(
                    NoAcknowledgeSource::Data
                ))),
                Err(BusError(ErrorKind::NoAcknowledge(
                    NoAcknowledgeSource::Address
                ))),
            ]
        );
        (bench.log(), read, bench.now_ns())
    };
    assert_eq!(with(true), with(false));
}

#[test]
fn transfers_of_several_tasks_follow_in_the_order_of_asking() {
    let bench = Bench::new(0);
    bench.part(Corncrake::ideal(0x32)).expect("free");
    bench.set_logging(Logging::Full);
    let mut tasks = bench.tasks();
    for task in [1, 2, 3_u8] {
        let mut i2c = bench.i2c();
        tasks.spawn("writer", async move {
            for k in 0..2 {
                i2c.write(0x32, &[0x79, 0x00, 16 * k + task])
                    .await
                    .expect("acknowledged");
            }
        });
    }
    tasks.run().expect("all end");
    let log = bench.log();
    let last: Vec<String> = log.iter().map(ToString::to_string).collect();
    let expected = [1, 2, 3, 0x11, 0x12, 0x13].map(|byte| format!("S 64 79 00 {byte:02X} P"));
    assert_eq!(last, expected);
    let bus_free = Timing::of(Speed::Fast).bus_free;
    assert!(
        log.windows(2)
            .all(|pair| pair[1].start_ns == pair[0].stop_ns + bus_free)
    );
}

/// A dropped transfer ends with STOP at once; what the part had accepted stays, the rest is
/// ignored, and the bus is free.
#[test]
fn a_dropped_transfer_breaks_off_and_frees_the_bus() {
    let timing = Timing::of(Speed::Fast);
    let bench = Bench::new(0);
    bench.part(Corncrake::ideal(0x32)).expect("free");
    bench.set_logging(Logging::Full);
    let (mut i2c, mut other, mut delay) = (bench.i2c(), bench.i2c(), bench.delay());
    bench
        .block_on(async {
            // Three bytes and some bits of the fourth.
            let limit_ns = timing.start_hold + 27 * timing.clock + 3 * timing.clock;
            let limit = delay.delay_ns(u32::try_from(limit_ns).expect("short"));
            let outcome = within(i2c.write(0x32, &RESET_SEEN_TO_A), limit).await;
            assert_eq!(outcome, None);
            assert_eq!(bench.now_ns(), limit_ns + timing.low + timing.stop_setup);
            // Nobody asked for the bus that was waited for in vain.
            let waiting = within(i2c.write(0x32, &[0x07, 0x01]), async {}).await;
            assert_eq!(waiting, None);
            let mut mask = [0xEE; 3];
            other
                .write_read(0x32, &[0x35], &mut mask)
                .await
                .expect("acknowledged");
            assert_eq!(mask, [0; 3], "too few bytes: ignored");
        })
        .expect("no stall");
    let log: Vec<String> = bench.log().iter().map(ToString::to_string).collect();
    assert_eq!(
        log,
        ["S 64 35 40 .. P", "S 64 35 Sr 65 00 00 00 P"],
        "a transfer that had not begun leaves no trace"
    );
}

/// Who gives up waiting for the bus leaves the queue, and the transfer in progress as it is.
#[test]
fn a_dropped_wait_for_the_bus_disturbs_nobody() {
    let bench = Bench::new(0);
    bench.part(Corncrake::ideal(0x32)).expect("free");
    bench.set_logging(Logging::Full);
    let [mut first, mut second, mut third] = [bench.i2c(), bench.i2c(), bench.i2c()];
    let mut limit = bench.delay();
    let mut tasks = bench.tasks();
    tasks.spawn("first", async {
        first.read(0x32, &mut [0; 8]).await.expect("acknowledged");
    });
    tasks.spawn("second", async {
        second.write(0x32, &[0x02]).await.expect("acknowledged");
    });
    tasks.spawn("third", async {
        let outcome = within(third.write(0x32, &[0x03]), limit.delay_us(50)).await;
        assert_eq!(outcome, None);
    });
    tasks.run().expect("all end");
    let log: Vec<String> = bench.log().iter().map(ToString::to_string).collect();
    // The pointer is 0x00 after a reset: IDENTITY, its check byte, and nothing.
    assert_eq!(log, ["S 65 9E 37 C4 02 02 FF FF FF P", "S 64 02 P"]);
}

#[test]
fn a_blocking_transfer_loses_the_bus_to_one_in_progress() {
    let bench = Bench::new(0);
    bench.part(Corncrake::ideal(0x32)).expect("free");
    let mut tasks = bench.tasks();
    let (mut i2c, mut blocking, mut delay) = (bench.i2c(), bench.i2c(), bench.delay());
    tasks.spawn("transfer", async move {
        i2c.read(0x32, &mut [0; 8]).await.expect("acknowledged");
    });
    tasks
        .block_on(async {
            delay.delay_us(50).await;
            let lost = embedded_hal::i2c::I2c::read(&mut blocking, 0x32, &mut [0]);
            assert_eq!(lost, Err(BusError(ErrorKind::ArbitrationLoss)));
            delay.delay_ms(1).await;
            assert!(embedded_hal::i2c::I2c::read(&mut blocking, 0x32, &mut [0]).is_ok());
        })
        .expect("no stall");
}

#[test]
fn a_deadlock_names_what_each_task_waits_for() {
    let bench = Bench::new(0);
    let one = bench.part(Corncrake::ideal(0x32)).expect("free");
    let other = bench.part(Corncrake::ideal(0x33)).expect("free");
    bench.run_until(12_345);
    let (mut single, mut shared) = (bench.alert(&one, Output::B), bench.line());
    shared.wire(&one, Output::A);
    shared.wire(&other, Output::B);
    let mut i2c = bench.i2c();
    let mut tasks = bench.tasks();
    tasks.spawn("alarms", async move {
        // Output A has a mask, but the part is idle and will set no flag.
        i2c.write(0x32, &[0x35, 0x00, 0x00, 0x04])
            .await
            .expect("acknowledged");
        let _ = shared.wait_for_low().await;
    });
    tasks.spawn("done", async {});
    tasks.spawn("elsewhere", std::future::pending());
    let stall = tasks
        .block_on(async { single.wait_for_rising_edge().await })
        .expect_err("a deadlock");
    assert_eq!(stall.reason, StallReason::Deadlock);
    let golden = "deadlock at 127345 ns: \
                  main waits for a rising edge of 0x32 output B (no flag reaches it); \
                  alarms waits for a low level of 0x32 output A (nothing is converted) \
                  + 0x33 output B (no flag reaches it); \
                  elsewhere waits for something that is not on the bench";
    assert_eq!(stall.to_string(), golden);
    assert_eq!(
        bench.now_ns(),
        12_345 + Timing::of(Speed::Fast).transfer_ns(5, 0)
    );
    // The task that was left goes on when the bench does.
    bench.alert(&one, Output::A).stick(PinState::Low);
    let stall = tasks.run().expect_err("one is left");
    assert_eq!(
        stall
            .tasks
            .iter()
            .map(|task| &task.name[..])
            .collect::<Vec<_>>(),
        ["elsewhere"]
    );
}

/// A part that converts for ever cannot change a line that no flag reaches: that needs no patience.
#[test]
fn a_line_that_nothing_can_change_is_a_deadlock_at_once() {
    let bench = Bench::new(0);
    let part = alarming(&bench);
    let mut other = bench.alert(&part, Output::B);
    run(&bench);
    let began_ns = bench.now_ns();
    let stall = bench
        .block_on(async { other.wait_for_low().await })
        .expect_err("a deadlock");
    assert_eq!(
        (stall.reason, stall.at_ns),
        (StallReason::Deadlock, began_ns)
    );
    other.stick(PinState::High);
    let stall = bench
        .block_on(async { other.wait_for_low().await })
        .expect_err("a deadlock");
    assert_eq!(
        stall.to_string(),
        format!(
            "deadlock at {began_ns} ns: main waits for a low level of 0x32 output B (no flag \
             reaches it), stuck High"
        )
    );
}

/// A part that converts for ever and never sees a limit crossed ends the wait after the patience,
/// not before.
#[test]
fn patience_is_counted_from_the_last_moment_that_anybody_had_something_to_do() {
    let bench = Bench::new(0);
    let part = alarming(&bench);
    let (mut alert, busy) = (bench.alert(&part, Output::A), bench.alert(&part, Output::B));
    // Over-power never comes. Output B follows over-current and changes all the time, and nobody
    // waits for it.
    let mut i2c = bench.i2c();
    for bytes in [[0x35, 0x00, 0x00, 0x10], [0x36, 0x00, 0x00, 0x04]] {
        embedded_hal::i2c::I2c::write(&mut i2c, 0x32, &bytes).expect("acknowledged");
    }
    busy.set_recording(true);
    run(&bench);
    let mut delay = bench.delay();
    let mut tasks = bench.tasks();
    tasks.set_patience(Duration::from_secs(2));
    tasks.spawn("early", async move { delay.delay_ms(700).await });
    let began_ns = bench.now_ns();
    let stall = tasks
        .block_on(async { alert.wait_for_low().await })
        .expect_err("quiet");
    assert_eq!(stall.reason, StallReason::Patience(Duration::from_secs(2)));
    let message = stall.to_string();
    assert!(message.starts_with("nothing to do for 2s at "), "{message}");
    assert!(
        message.ends_with(" ns: main waits for a low level of 0x32 output A"),
        "{message}"
    );
    assert!(busy.edges().len() > 400, "the other line is alive");
    let waited_ns = bench.now_ns() - began_ns;
    assert!((2_700_000_000 - PERIOD_NS..=2_700_000_000).contains(&waited_ns));
}

#[test]
fn tasks_that_only_wake_each_other_are_told_from_work() {
    let bench = Bench::new(0);
    let spin = poll_fn(|context| -> Poll<()> {
        context.waker().wake_by_ref();
        Poll::Pending
    });
    let stall = bench.block_on(spin).expect_err("spinning");
    let message =
        "tasks spin and no time passes at 0 ns: main waits for something that is not on the bench";
    assert_eq!(stall.to_string(), message);
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
