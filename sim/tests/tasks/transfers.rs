//! Transfers of several tasks on one bus.

use super::*;

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

/// Dropped right behind a byte, nothing is broken off; and what was wrong with the transfer ends
/// with it.
#[test]
fn a_transfer_dropped_between_two_bytes_has_no_broken_one() {
    use crake_sim::fault::{Fault, FaultKind};

    let timing = Timing::of(Speed::Fast);
    let bench = Bench::new(0);
    bench.part(Corncrake::ideal(0x32)).expect("free");
    bench.set_logging(Logging::Full);
    let lost = Fault::new(FaultKind::WriteLost).times(1);
    bench.fault(lost).expect("a fault");
    let (mut i2c, mut delay) = (bench.i2c(), bench.delay());
    bench
        .block_on(async {
            let limit_ns = timing.start_hold + 27 * timing.clock;
            let limit = delay.delay_ns(u32::try_from(limit_ns).expect("short"));
            assert_eq!(within(i2c.write(0x32, &RESET_SEEN_TO_A), limit).await, None);
        })
        .expect("no stall");
    let wire = bench.wire();
    wire.start();
    assert!([0x64, 0x07, 0x05].into_iter().all(|byte| wire.send(byte)));
    wire.stop();
    let mut averaging = [0];
    let read = embedded_hal::i2c::I2c::write_read(&mut bench.i2c(), 0x32, &[0x07], &mut averaging);
    assert_eq!((read, averaging), (Ok(()), [0x05]));
    assert_eq!(bench.log()[0].to_string(), "S 64 35 40 P");
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
