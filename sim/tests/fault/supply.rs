//! A part that is reset or without supply, and alert lines that do not show what outputs do.

use crake::bus::Fault as Seen;
use crake_sim::bench::BenchError;
use crake_sim::fault::{Fault, FaultKind};
use crake_sim::part::corncrake::{Corncrake, Output};
use embedded_hal::digital::PinState::{self, High, Low};
use embedded_hal::i2c::ErrorKind::NoAcknowledge;
use embedded_hal::i2c::{I2c, NoAcknowledgeSource};

use crate::fault::fixture::Fixture;

#[test]
fn a_reset_at_a_moment_is_told_by_the_next_sample() {
    let mut fixture = Fixture::new();
    let moment = fixture.in_ms(50);
    let injected = fixture.fault(Fault::new(FaultKind::Reset).from(moment));
    assert!(fixture.sample_ma().is_ok());
    assert_eq!(injected.strikes().times, 0);
    fixture.pass_ms(60);
    let at_ns = moment.as_nanos() as u64;
    let strikes = injected.strikes();
    assert_eq!((strikes.times, strikes.first_ns), (1, Some(at_ns)));
    assert_eq!(fixture.failure(), (Seen::Reset, None));
}

/// Right before the fourth LATCH: the part does not answer for 1 ms (datasheet, section 6).
#[test]
fn a_reset_at_a_transfer_strikes_there() {
    let mut fixture = Fixture::new();
    let injected = fixture.fault(Fault::new(FaultKind::Reset).register(0x03).after(3));
    for _ in 0..3 {
        assert!(fixture.sample_ma().is_ok());
        fixture.pass_ms(1);
    }
    assert_eq!(injected.strikes().times, 0);
    let nobody = NoAcknowledge(NoAcknowledgeSource::Address);
    assert_eq!(fixture.failure(), (Seen::Bus, Some(nobody)));
    fixture.pass_ms(2);
    assert_eq!(fixture.failure(), (Seen::Reset, None));
    assert_eq!(injected.strikes().times, 1);
}

#[test]
fn without_supply_nobody_answers_and_then_it_was_a_reset() {
    let mut fixture = Fixture::new();
    let (from, until) = (fixture.in_ms(10), fixture.in_ms(30));
    let injected = fixture.fault(Fault::new(FaultKind::NoSupply).from(from).until(until));
    assert!(fixture.sample_ma().is_ok());
    let nobody = NoAcknowledge(NoAcknowledgeSource::Address);
    fixture.pass_ms(11);
    assert_eq!(fixture.failure(), (Seen::Bus, Some(nobody)));
    assert_eq!(injected.strikes().last_ns, None, "it lasts");
    fixture.pass_ms(25);
    assert_eq!(fixture.failure(), (Seen::Reset, None));
    let strikes = injected.strikes();
    let moment = |at: core::time::Duration| Some(at.as_nanos() as u64);
    assert_eq!(
        (strikes.times, strikes.first_ns, strikes.last_ns),
        (1, moment(from), moment(until))
    );
}

/// What the part does until then it has done: as many conversions as one that is sound has made at
/// that moment.
#[test]
fn a_part_lives_until_the_moment_at_which_its_supply_goes() {
    let (sound, fixture) = (Fixture::new(), Fixture::new());
    let moment = fixture.in_ms(20);
    fixture.fault(Fault::new(FaultKind::NoSupply).from(moment));
    sound.pass_ms(20);
    fixture.pass_ms(50);
    assert!(sound.part.conversions() > 0);
    assert_eq!(fixture.part.conversions(), sound.part.conversions());
}

/// "Reset seen" is a flag; its bit in MASK_A lets it pull output A (datasheet, section 3.4).
#[test]
fn a_line_that_is_stuck_has_its_edges_where_it_sticks_and_comes_free() {
    for (level, masked) in [(Low, false), (High, true)] {
        let fixture = Fixture::new();
        let line = fixture.bench.alert(&fixture.part, Output::A);
        if masked {
            fixture.part.brown_out();
            fixture.pass_ms(2);
            let mut bus = fixture.bench.i2c();
            bus.write(0x32, &[0x35, 0x40, 0x00, 0x00])
                .expect("it answers");
        }
        let sound = !level;
        assert_eq!(line.level(), sound);
        line.set_recording(true);
        let (from, until) = (fixture.in_ms(10), fixture.in_ms(20));
        let stuck = FaultKind::LineStuck { output: "A", level };
        fixture.fault(Fault::new(stuck).from(from).until(until));
        fixture.pass_ms(30);
        let edges: Vec<(u64, PinState)> = line
            .edges()
            .iter()
            .map(|edge| (edge.at_ns, edge.to))
            .collect();
        let at = |moment: core::time::Duration| moment.as_nanos() as u64;
        assert_eq!(edges, [(at(from), level), (at(until), sound)]);
    }
}

/// A task that waits for a line alone, of an idle part: what frees it is the fault.
#[test]
fn a_task_is_woken_by_a_line_that_sticks() {
    use embedded_hal_async::digital::Wait;

    let fixture = Fixture::new();
    let mut line = fixture.bench.alert(&fixture.part, Output::B);
    let moment = fixture.in_ms(700);
    let level = Low;
    fixture.fault(Fault::new(FaultKind::LineStuck { output: "B", level }).from(moment));
    fixture.part.brown_out();
    let woken = fixture.bench.block_on(async { line.wait_for_low().await });
    assert!(woken.is_ok(), "{woken:?}");
    assert_eq!(u128::from(fixture.bench.now_ns()), moment.as_nanos());
}

#[test]
fn what_is_not_there_cannot_be_at_fault() {
    let fixture = Fixture::new();
    let refused = |fault: Fault| fixture.bench.fault(fault).map(drop).expect_err("refused");
    let reset = Fault::new(FaultKind::Reset);
    assert_eq!(refused(reset.part(0x33)), BenchError::NoPart(0x33));
    let open = |channel| Fault::new(FaultKind::SenseOpen { channel });
    assert_eq!(refused(open(1)), BenchError::NoRail(1));
    assert_eq!(refused(open(4)), BenchError::NoSuchChannel(4));
    let stuck = Fault::new(FaultKind::LineStuck {
        output: "A",
        level: Low,
    });
    assert_eq!(refused(stuck), BenchError::NoLine("A"));
    fixture.bench.part(Corncrake::new(0x33)).expect("a part");
    assert_eq!(refused(reset), BenchError::WhichPart);
    assert!(fixture.bench.fault(reset.part(0x33)).is_ok());
}
