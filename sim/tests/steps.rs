//! The bench conversion by conversion, and its handles as a debugger shows them.

use core::time::Duration;

use crake_sim::{
    bench::{Bench, Step},
    board::SenseResistor,
    bus::{Speed, Timing},
    part::corncrake::{Converted, Corncrake, Input, Output},
    plant::{Constant, Rail, Source},
};
use embedded_hal::i2c::I2c;

const CONVERSION_NS: u64 = 62_500;
const WAKE_UP_NS: u64 = 150_000;

fn write(bench: &Bench, address: u8, bytes: &[u8]) -> u64 {
    bench.i2c().write(address, bytes).expect("acknowledged");
    bench.now_ns()
}

/// Channel c carries c + 1 A at 5 V through 10 mΩ: sense code 20 000 (c + 1), rail code 5 000.
fn part(bench: &Bench, order: Corncrake) {
    let part = bench.part(order).expect("free");
    for channel in 0..4 {
        let source = Source::of(Constant::new(5_000_000_000).expect("5 V"));
        let amperes = channel as i64 + 1;
        let load = Constant::new(amperes * 1_000_000_000).expect("load");
        let rail = Rail::new(source, load).expect("rail");
        part.rail(channel, rail, SenseResistor::ideal(10_000_000))
            .expect("channel");
    }
}

/// Sections 1 and 6: sense, then rail, of each enabled channel, back to back; the next scan a
/// period later.
#[test]
fn steps_are_the_conversions_of_the_scans_in_order() {
    let bench = Bench::new(0);
    assert_eq!(bench.step(), None, "no part at all");
    part(&bench, Corncrake::ideal(0x32));
    assert_eq!((bench.step(), bench.now_ns()), (None, 0), "idle");
    write(&bench, 0x32, &[0x05, 0x0A]);
    let first_ns = write(&bench, 0x32, &[0x04, 0x11]) + WAKE_UP_NS;
    for scan in 0..3 {
        for (slot, (channel, input, code)) in [
            (1, Input::Sense, 40_000),
            (1, Input::Rail, 5_000),
            (3, Input::Sense, 80_000),
            (3, Input::Rail, 5_000),
        ]
        .into_iter()
        .enumerate()
        {
            let converted = Converted {
                channel,
                input,
                code,
                clipped: false,
                at_ns: first_ns + scan * 2_000_000 + (slot as u64 + 1) * CONVERSION_NS,
            };
            let step = Step {
                address: 0x32,
                converted,
            };
            assert_eq!(bench.step(), Some(step));
            assert_eq!(bench.now_ns(), converted.at_ns);
        }
    }
    // From the middle of an aperture, to its end.
    bench.run_for(Duration::from_nanos(2_000_000 - 4 * CONVERSION_NS + 10));
    let step = bench.step().expect("a conversion");
    assert_eq!(step.converted.at_ns, first_ns + 6_000_000 + CONVERSION_NS);
    assert_eq!(
        step.to_string(),
        format!("0x32 channel 1 sense 40000 at {} ns", bench.now_ns())
    );
}

/// A single-shot ends after its scans, a capture after 1024 conversions; then nothing comes.
#[test]
fn steps_end_with_the_work() {
    let bench = Bench::new(0);
    part(&bench, Corncrake::ideal(0x32));
    write(&bench, 0x32, &[0x04, 0x20]);
    assert_eq!(core::iter::from_fn(|| bench.step()).count(), 8);
    let began_ns = write(&bench, 0x32, &[0x04, 0x32]);
    let capture: Vec<Step> = core::iter::from_fn(|| bench.step()).collect();
    assert_eq!(capture.len(), 1024);
    let last = capture.last().expect("conversions").converted;
    assert_eq!(
        (last.channel, last.input, last.code),
        (2, Input::Sense, 60_000)
    );
    assert_eq!(last.at_ns, began_ns + WAKE_UP_NS + 1024 * CONVERSION_NS);
    assert_eq!(bench.now_ns(), last.at_ns);
    // 4 A are 40 mV, beyond the 26.2144 mV of the fine range.
    write(&bench, 0x32, &[0x06, 0x62, 0x22]);
    write(&bench, 0x32, &[0x04, 0x33]);
    let step = bench.step().expect("a capture").to_string();
    assert!(
        step.starts_with("0x32 channel 3 sense 131071, clipped at "),
        "{step}"
    );
}

/// Conversions that end together are told apart, and forgotten once time has gone on.
#[test]
fn parts_that_end_together_are_told_one_by_one() {
    let bench = Bench::new(0);
    part(&bench, Corncrake::ideal(0x33));
    part(&bench, Corncrake::ideal(0x32));
    let one_ns = write(&bench, 0x33, &[0x04, 0x10]);
    // The second RUN ends its transfer whole conversions later.
    let transfer_ns = Timing::of(Speed::Fast).transfer_ns(3, 0);
    bench.run_until(one_ns + 4 * CONVERSION_NS - transfer_ns);
    let other_ns = write(&bench, 0x32, &[0x04, 0x10]);
    assert_eq!(other_ns, one_ns + 4 * CONVERSION_NS);
    bench.run_until(other_ns + WAKE_UP_NS);
    let told = |bench: &Bench| {
        let step = bench.step().expect("a conversion");
        (step.address, step.converted.channel, step.converted.at_ns)
    };
    let at_ns = bench.now_ns() + CONVERSION_NS;
    assert_eq!(told(&bench), (0x33, 2, at_ns));
    assert_eq!(told(&bench), (0x32, 0, at_ns));
    let at_ns = at_ns + CONVERSION_NS;
    assert_eq!(told(&bench), (0x33, 2, at_ns));
    bench.run_for(Duration::from_nanos(1));
    assert_eq!(told(&bench), (0x33, 3, at_ns + CONVERSION_NS));
}

#[test]
fn handles_say_what_they_are() {
    let bench = Bench::new(7);
    part(&bench, Corncrake::ideal(0x32));
    let two = bench.part(Corncrake::ideal(0x33)).expect("free");
    two.power_loss();
    write(&bench, 0x32, &[0x36, 0x40, 0x00, 0x00]);
    write(&bench, 0x32, &[0x04, 0x12]);
    bench.run_until(1_000_000);
    let shown = "Bench(seed 7, at 1000000 ns, [Part(0x32, mode 0x12, A high, B low, 8 conversions), \
                 Part(0x33, without supply)])";
    assert_eq!(format!("{bench:?}"), shown);
    let line = bench.alert(&two, Output::A);
    assert_eq!(
        format!("{line:?}"),
        "Line(0x33 output A (no flag reaches it) is High)"
    );
    assert_eq!(
        format!("{:?}", bench.line()),
        "Line(a line that is wired to nothing is High)"
    );
    assert_eq!(
        format!("{:?}", bench.i2c()),
        "I2c(Repeated restart, at 1000000 ns)"
    );
    assert_eq!(format!("{:?}", bench.delay()), "Delay(at 1000000 ns)");
    assert_eq!(format!("{:?}", bench.wire()), "Wire(at 1000000 ns)");
}
