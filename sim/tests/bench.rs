//! The bench as firmware and tests see it: `embedded-hal`'s traits over virtual time.

use core::time::Duration;

use crake_sim::{
    bench::Bench,
    bus::{Logging, Restart, Speed, Timing},
    part::corncrake::Corncrake,
};
use embedded_hal::{
    delay::DelayNs,
    i2c::{Error, ErrorKind, I2c, NoAcknowledgeSource, Operation},
};

const IDENTITY: [u8; 4] = [0x9E, 0x37, 0xC4, 0x02];
/// Check byte of the worked example that reads IDENTITY.
const IDENTITY_CHECK: u8 = 0x02;

#[test]
fn time_moves_by_delays_runs_and_transfers_alone() {
    let bench = Bench::new(0);
    bench.part(Corncrake::ideal(0x32)).expect("a free address");
    let mut delay = bench.delay();
    delay.delay_ns(7);
    delay.delay_us(3);
    delay.delay_ms(2);
    bench.run_for(Duration::from_nanos(11));
    assert_eq!(bench.now_ns(), 2_003_018);
    bench.run_until(5);
    assert_eq!(bench.clock().now_ns(), 2_003_018);

    for speed in [Speed::Standard, Speed::Fast, Speed::FastPlus] {
        bench.run_for(Duration::from_millis(1));
        bench.set_bus_speed(speed);
        let began_ns = bench.now_ns();
        bench
            .i2c()
            .write_read(0x32, &[0x00], &mut [0; 4])
            .expect("identity");
        assert_eq!(
            bench.now_ns() - began_ns,
            Timing::of(speed).transfer_ns(7, 1)
        );
    }
    // The next START waits until the bus is free.
    let began_ns = bench.now_ns();
    bench.i2c().write(0x32, &[0x00]).expect("pointer");
    let timing = Timing::of(Speed::FastPlus);
    assert_eq!(
        bench.now_ns() - began_ns,
        timing.bus_free + timing.transfer_ns(2, 0)
    );
}

#[test]
fn the_clock_has_an_end_and_the_bus_still_works_there() {
    let bench = Bench::new(0);
    bench.part(Corncrake::ideal(0x32)).expect("a free address");
    bench.run_for(Duration::MAX);
    bench.run_for(Duration::MAX);
    assert_eq!(bench.now_ns(), u64::MAX / 2);
    let mut identity = [0; 4];
    bench
        .i2c()
        .write_read(0x32, &[0x00], &mut identity)
        .expect("identity");
    assert_eq!(identity, IDENTITY);
}

/// Section 2.2 and 2.3: the same bytes, check byte included, whether a repeated START or a STOP
/// separates pointer and read.
/// UM10204, 3.1.5: a byte is eight bits and an acknowledge bit, nine clocks. A bit at a time, the
/// clock stands where each piece ends.
#[test]
fn each_piece_of_a_transfer_takes_its_time() {
    let bench = Bench::new(0);
    let timing = Timing::of(Speed::Fast);
    let mut wire = bench.wire();
    let mut took = |act: &mut dyn FnMut(&mut crake_sim::bench::Wire)| {
        let began_ns = bench.now_ns();
        act(&mut wire);
        bench.now_ns() - began_ns
    };
    assert_eq!(took(&mut |wire| wire.start()), timing.start_hold);
    // Nobody is there.
    assert_eq!(
        took(&mut |wire| assert!(!wire.send(0x64))),
        9 * timing.clock
    );
    let byte = took(&mut |wire| assert_eq!(wire.receive(true), 0xFF));
    assert_eq!(byte, 9 * timing.clock);
    assert_eq!(
        took(&mut |wire| wire.stop()),
        timing.low + timing.stop_setup
    );
}

#[test]
fn all_four_ways_to_read_give_the_same_bytes() {
    let bench = Bench::new(0);
    bench.part(Corncrake::ideal(0x33)).expect("a free address");
    bench.part(Corncrake::ideal(0x32)).expect("a free address");
    let with_check = [0x9E, 0x37, 0xC4, 0x02, IDENTITY_CHECK];
    for restart in [Restart::Repeated, Restart::StopStart] {
        let mut i2c = bench.i2c().with_restart(restart);
        let mut bytes = [0; 5];
        i2c.write_read(0x32, &[0x00], &mut bytes)
            .expect("write_read");
        assert_eq!(bytes, with_check);
        let mut bytes = [0; 5];
        i2c.write(0x32, &[0x00]).expect("write");
        i2c.read(0x32, &mut bytes).expect("read");
        assert_eq!(bytes, with_check);
        let (mut front, mut back) = ([0; 2], [0; 3]);
        i2c.transaction(
            0x32,
            &mut [
                Operation::Write(&[0x00]),
                Operation::Read(&mut front),
                Operation::Read(&mut back),
            ],
        )
        .expect("transaction");
        assert_eq!([&front[..], &back[..]].concat(), with_check);
    }
}

#[test]
fn what_is_not_acknowledged_is_told_apart() {
    let bench = Bench::new(0);
    let part = bench.part(Corncrake::ideal(0x32)).expect("a free address");
    let mut i2c = bench.i2c();
    let kind = |error: crake_sim::bus::BusError| error.kind();
    let absent = Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address));
    assert_eq!(i2c.write(0x40, &[0]).map_err(kind), absent);
    assert_eq!(i2c.read(0x0C, &mut [0]).map_err(kind), absent, "no alert");
    assert_eq!(
        i2c.write(0x32, &[0x00, 0x00]).map_err(kind),
        Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data))
    );
    part.power_loss();
    assert_eq!(i2c.read(0x32, &mut [0]).map_err(kind), absent);
}

#[test]
fn traffic_is_counted_always_and_kept_on_request() {
    let bench = Bench::new(0);
    bench.part(Corncrake::ideal(0x32)).expect("a free address");
    let mut i2c = bench.i2c();
    i2c.write_read(0x32, &[0x00], &mut [0; 4])
        .expect("identity");
    assert!(bench.log().is_empty());
    bench.set_logging(Logging::Full);
    i2c.write_read(0x32, &[0x00], &mut [0; 4])
        .expect("identity");
    assert!(i2c.write(0x32, &[0x07, 0x0B]).is_err());
    let log: Vec<String> = bench.log().iter().map(ToString::to_string).collect();
    assert_eq!(log, ["S 64 00 Sr 65 9E 37 C4 02 P", "S 64 07 0B~ P"]);
    assert!(bench.log().is_empty());
    let stats = bench.bus_stats();
    let timing = Timing::of(Speed::Fast);
    assert_eq!((stats.transactions, stats.bytes), (3, 17));
    assert_eq!(
        stats.busy_ns,
        2 * timing.transfer_ns(7, 1) + timing.transfer_ns(3, 0)
    );
}

#[test]
fn streams_of_the_bench_follow_its_seed() {
    let draw = |seed, name| Bench::new(seed).rng(name).next_u64();
    assert_eq!(draw(1, "board"), draw(1, "board"));
    assert_ne!(draw(1, "board"), draw(1, "faults"));
    assert_ne!(draw(1, "board"), draw(2, "board"));
    assert_eq!(Bench::new(3).seed(), 3);
}
