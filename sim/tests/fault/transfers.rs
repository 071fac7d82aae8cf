//! Transfers that go wrong. A sample is a write of LATCH (0x03) and a read of the block from 0x80
//! on (datasheet, sections 3.2 and 5); the driver tries each transfer three times.

use core::time::Duration;

use crake::bus::Fault as Seen;
use crake_sim::bench::Bench;
use crake_sim::bus::Logging;
use crake_sim::fault::{BusLine, Fault, FaultKind};
use crake_sim::part::corncrake::Corncrake;
use embedded_hal::i2c::ErrorKind::{ArbitrationLoss, Bus, NoAcknowledge, Other};
use embedded_hal::i2c::{I2c, NoAcknowledgeSource};

use crate::fault::fixture::Fixture;

const LATCH: u8 = 0x03;
const BLOCK: u8 = 0x80;

#[test]
fn each_kind_is_ridden_through_twice_and_told_by_the_third() {
    let address = NoAcknowledge(NoAcknowledgeSource::Address);
    let data = NoAcknowledge(NoAcknowledgeSource::Data);
    let flipped = |byte, bits| FaultKind::BitsFlipped { byte, bits };
    let held = FaultKind::ClockHeld(Duration::from_millis(26));
    for (kind, register, seen, bus) in [
        (
            FaultKind::AddressNotAcknowledged,
            LATCH,
            Seen::Bus,
            Some(address),
        ),
        (
            FaultKind::AddressNotAcknowledged,
            BLOCK,
            Seen::Bus,
            Some(address),
        ),
        (FaultKind::DataNotAcknowledged, LATCH, Seen::Bus, Some(data)),
        (FaultKind::DataNotAcknowledged, BLOCK, Seen::Bus, Some(data)),
        (
            FaultKind::ArbitrationLost,
            LATCH,
            Seen::Bus,
            Some(ArbitrationLoss),
        ),
        (FaultKind::AnswerLost, BLOCK, Seen::Bus, Some(Bus)),
        (held, BLOCK, Seen::Bus, Some(Other)),
        // The part refuses the check byte of what it got.
        (flipped(0, 0x80), LATCH, Seen::Bus, Some(data)),
        // Within what the block's CRC covers, from SCANS on (section 5).
        (flipped(12, 0x01), BLOCK, Seen::CheckByte, None),
    ] {
        let mut fixture = Fixture::new();
        let fault = Fault::new(kind).register(register);
        for times in [1, 2] {
            let injected = fixture.fault(fault.times(times));
            assert_eq!(fixture.sample_ma().ok(), Some(2_000), "{kind:?} {times}");
            assert_eq!(injected.strikes().times, times, "{kind:?}");
        }
        let injected = fixture.fault(fault.times(3));
        assert_eq!(fixture.failure(), (seen, bus), "{kind:?}");
        assert_eq!(injected.strikes().times, 3);
        assert_eq!(fixture.sample_ma().ok(), Some(2_000), "{kind:?}");
    }
}

#[test]
fn a_latch_that_never_takes_place_is_told_as_stale() {
    let mut fixture = Fixture::new();
    fixture.bench.set_logging(Logging::Full);
    let fault = Fault::new(FaultKind::WriteLost).register(LATCH);
    let injected = fixture.fault(fault);
    assert_eq!(fixture.failure(), (Seen::Stale, None));
    // All of it was acknowledged: address, pointer, tag, seen, check byte.
    let shown = fixture.bench.log()[0].to_string();
    assert!(
        shown.starts_with("S 64 03 ") && !shown.contains('~'),
        "{shown}"
    );
    injected.mend();
    assert_eq!(fixture.sample_ma().ok(), Some(2_000));
}

#[test]
fn always_at_a_register_and_nowhere_else() {
    let mut fixture = Fixture::new();
    let fault = Fault::new(FaultKind::AddressNotAcknowledged).register(BLOCK);
    let injected = fixture.fault(fault);
    for failed in 1..5 {
        let error = fixture.sample_ma().expect_err("nobody answers");
        assert_eq!(error.register, BLOCK);
        assert_eq!(injected.strikes().times, 3 * failed);
    }
    // IDENTITY (section 3.1).
    let mut identity = [0; 4];
    let mut bus = fixture.bench.i2c();
    bus.write_read(0x32, &[0x00], &mut identity)
        .expect("it answers");
    assert_eq!(identity, [0x9E, 0x37, 0xC4, 0x02]);
}

/// Wire bytes of three reads of IDENTITY: the second has its first byte inverted.
#[test]
fn the_transfer_with_a_number_is_struck_and_no_other() {
    let fixture = Fixture::new();
    let flipped = FaultKind::BitsFlipped {
        byte: 0,
        bits: 0xFF,
    };
    let fault = Fault::new(flipped)
        .part(0x32)
        .register(0x00)
        .after(1)
        .times(1);
    let injected = fixture.fault(fault);
    fixture.fault(Fault::new(FaultKind::AddressNotAcknowledged).part(0x33));
    let mut bus = fixture.bench.i2c();
    let mut first = || {
        let mut identity = [0; 4];
        bus.write(0x32, &[0x00])
            .expect("it has no such byte, and passes");
        bus.write_read(0x32, &[0x00], &mut identity)
            .expect("it answers");
        identity[0]
    };
    assert_eq!([first(), first(), first()], [0x9E, 0x61, 0x9E]);
    let strikes = injected.strikes();
    assert_eq!((strikes.times, strikes.first_ns), (1, strikes.last_ns));
}

/// What a transfer has not cannot go wrong: no write in a read, no register's byte in a read
/// without one.
#[test]
fn a_transfer_that_a_fault_is_not_about_passes() {
    let fixture = Fixture::new();
    let lost = fixture.fault(Fault::new(FaultKind::WriteLost));
    let refused = fixture.fault(Fault::new(FaultKind::DataNotAcknowledged));
    let mut bus = fixture.bench.i2c();
    bus.read(0x32, &mut [0; 4]).expect("it answers");
    assert_eq!(refused.strikes().times, 0);
    refused.mend();
    let mut identity = [0; 4];
    bus.write_read(0x32, &[0x00], &mut identity)
        .expect("it answers");
    bus.write(0x32, &[0x00]).expect("it answers");
    assert_eq!((identity[0], lost.strikes().times), (0x9E, 0));
}

/// Two faults that are each due once: the first strikes, and the other has its turn at the next.
#[test]
fn one_transfer_is_struck_by_one_fault() {
    let fixture = Fixture::new();
    let first = fixture.fault(Fault::new(FaultKind::ArbitrationLost).times(1));
    let other = fixture.fault(Fault::new(FaultKind::AnswerLost).times(1));
    let mut bus = fixture.bench.i2c();
    let mut outcome = || {
        let read = bus.write_read(0x32, &[0x00], &mut [0; 4]);
        read.map_err(|error| error.0)
    };
    assert_eq!(outcome(), Err(ArbitrationLoss));
    assert_eq!((first.strikes().times, other.strikes().times), (1, 0));
    assert_eq!([outcome(), outcome()], [Err(Bus), Ok(())]);
}

#[test]
fn a_span_strikes_what_begins_within_it() {
    let mut fixture = Fixture::new();
    let (from, until) = (fixture.in_ms(100), fixture.in_ms(200));
    let fault = Fault::new(FaultKind::ArbitrationLost);
    let injected = fixture.fault(fault.from(from).until(until));
    let mut outcomes = Vec::new();
    for _ in 0..6 {
        outcomes.push(fixture.sample_ma().is_ok());
        fixture.pass_ms(50);
    }
    // At 0, 50, then a little more than 100, 150, 200 and 250 ms.
    assert_eq!(outcomes, [true, true, false, false, true, true]);
    let strikes = injected.strikes();
    assert_eq!(strikes.times, 6);
    let within = |ns: Option<u64>| {
        let at = Duration::from_nanos(ns.expect("it has struck"));
        (from..until).contains(&at)
    };
    assert!(
        within(strikes.first_ns) && within(strikes.last_ns),
        "{strikes:?}"
    );
}

/// The same read, with the clock held for 10 ms behind its first address byte, takes 10 ms longer;
/// nobody has to notice.
#[test]
fn a_held_clock_takes_its_time() {
    let mut fixture = Fixture::new();
    let read_ns = |fixture: &Fixture| {
        let begun_ns = fixture.bench.now_ns();
        let mut bus = fixture.bench.i2c();
        bus.write_read(0x32, &[0x00], &mut [0; 4])
            .expect("it answers");
        fixture.bench.now_ns() - begun_ns
    };
    fixture.pass_ms(1);
    let quick_ns = read_ns(&fixture);
    let held = FaultKind::ClockHeld(Duration::from_millis(10));
    let injected = fixture.fault(Fault::new(held));
    fixture.pass_ms(1);
    assert_eq!(read_ns(&fixture), quick_ns + 10_000_000);
    // Held for ever: 25 ms (SMBus 3.2, T_TIMEOUT), and the transfer is over.
    injected.mend();
    fixture.fault(Fault::new(FaultKind::ClockHeld(Duration::MAX)));
    fixture.bench.set_logging(Logging::Full);
    let before_ns = fixture.bench.now_ns();
    assert_eq!(fixture.failure(), (Seen::Bus, Some(Other)));
    let took_ns = fixture.bench.now_ns() - before_ns;
    assert!((75_000_000..80_000_000).contains(&took_ns), "{took_ns} ns");
    // Nobody acknowledged what the clock was held behind.
    let wire = fixture.bench.log().last().map(ToString::to_string);
    assert_eq!(wire.as_deref(), Some("S 64~ P"));
}

/// The part has taken OVER_VOLTAGE_0, 0xFFFF after a reset (section 3), and the host is told that
/// the write failed. After a reset a write may go without a check byte.
#[test]
fn an_answer_that_is_lost_was_a_transfer_that_took_place() {
    let bench = Bench::new(1);
    bench.part(Corncrake::new(0x32)).expect("a part");
    let mut bus = bench.i2c();
    let mut limit = || {
        let mut bytes = [0; 2];
        bus.write_read(0x32, &[0x10], &mut bytes)
            .expect("it answers");
        bytes
    };
    assert_eq!(limit(), [0xFF, 0xFF]);
    let lost = Fault::new(FaultKind::AnswerLost).times(1);
    bench.fault(lost).expect("a fault");
    let outcome = bench.i2c().write(0x32, &[0x10, 0x12, 0x34]);
    assert_eq!(outcome.map_err(|error| error.0), Err(Bus));
    assert_eq!(limit(), [0x12, 0x34]);
}

/// Async firmware meets the same faults.
#[test]
fn an_async_controller_is_struck_as_well() {
    use embedded_hal_async::i2c::I2c;

    let fixture = Fixture::new();
    fixture.fault(Fault::new(FaultKind::ArbitrationLost).times(1));
    fixture.fault(
        Fault::new(FaultKind::BitsFlipped {
            byte: 3,
            bits: 0x01,
        })
        .after(1)
        .times(1),
    );
    let mut bus = fixture.bench.i2c();
    let bytes = fixture.bench.block_on(async {
        let mut bytes = [0; 4];
        let lost = I2c::write_read(&mut bus, 0x32, &[0x00], &mut bytes).await;
        assert_eq!(lost.map_err(|error| error.0), Err(ArbitrationLoss));
        let read = I2c::write_read(&mut bus, 0x32, &[0x00], &mut bytes).await;
        read.map(|()| bytes)
    });
    let bytes = bytes.expect("it ends").expect("it answers");
    assert_eq!(bytes, [0x9E, 0x37, 0xC4, 0x03]);
}

/// Of three bytes behind the register's one is flipped, and no other.
#[test]
fn a_byte_with_a_number_is_flipped_and_no_other() {
    // MASK_A has 24 bits.
    let fixture = Fixture::new();
    let mut bus = fixture.bench.i2c();
    let (mut before, mut after) = ([0; 4], [0; 4]);
    bus.write(0x32, &[0x35, 0x00, 0x00, 0x04])
        .expect("it is there");
    bus.write_read(0x32, &[0x35], &mut before)
        .expect("it answers");
    let flipped = FaultKind::BitsFlipped {
        byte: 2,
        bits: 0x0C,
    };
    fixture.fault(Fault::new(flipped).part(0x32).register(0x35).times(1));
    bus.write(0x32, &[0x35, 0x00, 0x00, 0x04])
        .expect("it is there");
    bus.write_read(0x32, &[0x35], &mut after)
        .expect("it answers");
    assert_eq!(
        (before[..3].to_vec(), after[..3].to_vec()),
        (vec![0, 0, 4], vec![0, 0, 8])
    );
    // Of a transfer that reads it is one of those that come, and none of those that go.
    fixture.fault(Fault::new(flipped).part(0x32).register(0x35).times(1));
    bus.write_read(0x32, &[0x35, 0x00, 0x00, 0x04], &mut before)
        .expect("it answers");
    bus.write_read(0x32, &[0x35], &mut after)
        .expect("it answers");
    assert_eq!(
        (before[..3].to_vec(), after[..3].to_vec()),
        (vec![0, 0, 8], vec![0, 0, 4])
    );
}

/// By hand, in fast mode: START 0.6 µs, 22.5 µs a byte, 1.9 µs to STOP; 25 ms are T_TIMEOUT of
/// SMBus 3.2. A controller that cannot move the clock tries for that long within its first byte,
/// one that loses the arbitration knows at once.
#[test]
fn a_transfer_that_fails_takes_its_time() {
    let timeout_ns = 25_000_000;
    let held = |ns| FaultKind::ClockHeld(Duration::from_nanos(ns));
    let stuck = |line| FaultKind::NoPullUp { line };
    // Seven bytes and a repeated START, which takes 2.5 µs.
    let whole_ns = 600 + 7 * 22_500 + 2_500 + 1_900;
    for (kind, outcome, took_ns, wire) in [
        (
            FaultKind::ArbitrationLost,
            Err(ArbitrationLoss),
            600 + 20_000 + 1_900,
            "S .. P",
        ),
        (
            stuck(BusLine::Data),
            Err(ArbitrationLoss),
            600 + 20_000 + 1_900,
            "S .. P",
        ),
        (
            stuck(BusLine::Clock),
            Err(Other),
            600 + 20_000 + timeout_ns + 1_900,
            "S .. P",
        ),
        (
            held(timeout_ns),
            Ok(()),
            whole_ns + timeout_ns,
            "S 64 00 Sr 65 9E 37 C4 02 P",
        ),
        (
            held(timeout_ns + 1),
            Err(Other),
            600 + 22_500 + timeout_ns + 1_900,
            "S 64~ P",
        ),
    ] {
        let bench = Bench::new(1);
        bench.part(Corncrake::ideal(0x32)).expect("a part");
        bench.set_logging(Logging::Full);
        bench.fault(Fault::new(kind)).expect("a fault");
        let read = bench.i2c().write_read(0x32, &[0x00], &mut [0; 4]);
        assert_eq!(read.map_err(|error| error.0), outcome, "{kind:?}");
        assert_eq!(bench.now_ns(), took_ns, "{kind:?}");
        assert_eq!(bench.log()[0].to_string(), wire, "{kind:?}");
    }
}
