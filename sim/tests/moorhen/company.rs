//! Parts of different kinds on one bench: the bus, one alert line, stepping, truth.

use core::time::Duration;

use crake_sim::{
    bench::Bench,
    board::SenseResistor,
    part::{
        corncrake::{self, Corncrake},
        moorhen::{self, Moorhen},
        pmbus,
    },
    plant::{Constant, Rail, Source},
};
use embedded_hal::{digital::PinState, i2c::I2c};

fn rail(current_na: i64) -> Rail {
    let source = Source::of(Constant::new(5_000_000_000).expect("a voltage"));
    Rail::new(source, Constant::new(current_na).expect("a current")).expect("a rail")
}

fn ohm() -> SenseResistor {
    SenseResistor::ideal(1_000_000_000)
}

#[test]
fn one_line_for_outputs_of_different_parts() {
    let bench = Bench::new(1);
    let crake = bench.part(Corncrake::ideal(0x32)).expect("a free address");
    let hen = bench.part(Moorhen::ideal(0x31)).expect("a free address");
    let line = bench.line();
    line.wire(&crake, corncrake::Output::B);
    line.wire(&hen, moorhen::Output::Alert);
    // The line of an output is found again, whichever part asks.
    let found = [
        bench.alert(&hen, moorhen::Output::Alert),
        bench.alert(&crake, corncrake::Output::B),
    ];
    assert!(found.iter().all(|of| of.to_string() == line.to_string()));
    assert_eq!(
        line.to_string(),
        "0x32 output B (no flag reaches it) + 0x31 output Alert (no flag reaches it)"
    );
    let mut i2c = bench.i2c();
    let mut write = |address, bytes: &[u8]| i2c.write(address, bytes).expect("acknowledged");

    hen.rail(1, rail(1_000_000), ohm()).expect("channel");
    // Moorhen: both channels, sense of channel 1 above 20 codes of 36 µV; 1 mV is 28 of them.
    write(0x31, &[0x1C, 0x00, 0x03]);
    write(0x31, &[0x89, 0x14, 0x00]);
    write(0x31, &[0x72, 0x20, 0x00]);
    write(0x31, &[0x1F, 0xB4, 0x00]);
    assert_eq!(line.level(), PinState::High);
    bench.run_for(Duration::from_millis(1));
    assert_eq!(line.level(), PinState::Low);
    assert!(hen.is_low(moorhen::Output::Alert) && !crake.is_low(corncrake::Output::B));
    // Corncrake: reset seen reaches output B. Either pulls.
    write(0x32, &[0x36, 0x40, 0x00, 0x00]);
    write(0x31, &[0x71, 0x20, 0x00]);
    assert!(!hen.is_low(moorhen::Output::Alert));
    assert_eq!(line.level(), PinState::Low);
    write(0x32, &[0x0A, 0x01]);
    assert_eq!(line.level(), PinState::High);
}

#[test]
fn steps_go_through_parts_of_all_kinds_in_the_order_of_time() {
    let bench = Bench::new(1);
    bench.part(Corncrake::ideal(0x32)).expect("a free address");
    bench.part(Moorhen::ideal(0x17)).expect("a free address");
    let mut i2c = bench.i2c();
    let mut write = |address, bytes: &[u8]| i2c.write(address, bytes).expect("acknowledged");
    write(0x17, &[0x1C, 0x00, 0x03]);
    write(0x17, &[0x1F, 0xB4, 0x00]);
    // A single-shot of the Corncrake too: eight conversions of 62.5 µs after 150 µs.
    write(0x32, &[0x04, 0x20]);
    let steps: Vec<_> = core::iter::from_fn(|| bench.step()).collect();
    let count = |address| steps.iter().filter(|step| step.address == address).count();
    assert_eq!((count(0x17), count(0x32)), (4, 8));
    assert!(steps.is_sorted_by_key(|step| step.converted.at_ns));
    let shown = format!("{bench:?}");
    let crake = "Part(0x32, mode 0x00, A high, B high, 8 conversions)";
    let hen = "Part(0x17, idle, alert high, 4 conversions)";
    assert!(shown.ends_with(&format!("[{crake}, {hen}])")), "{shown}");
}

/// UM10204, 3.1.6: who sends acknowledges nothing.
#[test]
fn a_part_that_is_being_read_takes_no_byte() {
    let bench = Bench::new(1);
    bench.part(Corncrake::ideal(0x32)).expect("a free address");
    bench.part(Moorhen::ideal(0x17)).expect("a free address");
    let device = pmbus::Device::ideal(pmbus::Description::gallinule(), 0x58);
    bench
        .part(device.expect("a sound description"))
        .expect("a free address");
    let wire = bench.wire();
    for address in [0x32, 0x17, 0x58] {
        wire.start();
        let acknowledged = [address << 1 | 1, 0x00].map(|byte| wire.send(byte));
        wire.stop();
        assert_eq!(acknowledged, [true, false], "{address:#04x}");
    }
}

#[test]
fn truth_is_exact_even_when_it_is_asked_for_within_an_aperture() {
    let bench = Bench::new(1);
    let hen = bench.part(Moorhen::ideal(0x17)).expect("a free address");
    hen.rail(0, rail(3_600_000), ohm()).expect("channel");
    let mut i2c = bench.i2c();
    for bytes in [[0x1C, 0x00, 0x03], [0x1F, 0xB4, 0x00]] {
        i2c.write(0x17, &bytes).expect("acknowledged");
    }
    // Through the conversions in steps of 7 µs, of which no aperture is a multiple.
    for _ in 0..200 {
        bench.run_for(Duration::from_micros(7));
        let truth = hen.truth(0).expect("a channel");
        let ns = i128::from(bench.now_ns());
        assert_eq!(truth.charge_half_na_ns, 2 * 3_600_000 * ns);
        // 5 V at 3.6 mA, in sixths of nA·nV·ns.
        let energy = 6 * 3_600_000 * 5_000_000_000 * ns;
        assert_eq!(truth.energy_sixth_na_nv_ns, energy);
    }
    let mut word = [0; 2];
    i2c.write_read(0x17, &[0x42], &mut word)
        .expect("acknowledged");
    // 3.6 mV in 36 µV.
    assert_eq!(u16::from_le_bytes(word), 100);
    assert_eq!(hen.truth(1), Ok(Default::default()));
}
