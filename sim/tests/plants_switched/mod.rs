//! Switched rails against exact rational arithmetic, and control loops that close over a bench.

mod bounds;
mod integral;
mod laws;
mod pieces;
mod states;

use core::time::Duration;

use crake_sim::{
    bench::{Bench, Part},
    board::SenseResistor,
    part::corncrake::{Corncrake, Output},
    plant::{
        Cell, Charger, Constant, Inrush, Load, Plant, PlantError, Recorded, Source, Switch,
        Switched,
    },
    rng::Rng,
};
use embedded_hal::{
    digital::{OutputPin, StatefulOutputPin},
    i2c::I2c,
};
use embedded_hal_async::digital::Wait;
use num_bigint::BigInt;
use num_rational::BigRational;

const CONVERSION_NS: u64 = 62_500;
const WAKE_UP_NS: u64 = 150_000;
const AMPERE: i64 = 1_000_000_000;
const VOLT: i64 = 1_000_000_000;

fn exact(value: impl Into<BigInt>) -> BigRational {
    BigRational::from_integer(value.into())
}

/// Rounded to nearest, halves towards plus infinity: the rule of the rail's break points.
fn nearest(value: &BigRational) -> BigRational {
    (value + BigRational::new(1.into(), 2.into())).floor()
}

fn constant(value: i64) -> Constant {
    Constant::new(value).expect("within limits")
}

fn volts(volts: i64) -> Source {
    Source::of(constant(volts * VOLT))
}

fn with_rail(bench: &Bench, rail: Switched) -> Part {
    let part = bench.part(Corncrake::ideal(0x32)).expect("free");
    part.rail(0, rail, SenseResistor::ideal(10_000_000))
        .expect("channel");
    write(bench, &[0x05, 0x01]);
    part
}

fn write(bench: &Bench, bytes: &[u8]) {
    bench.i2c().write(0x32, bytes).expect("acknowledged");
}

/// Starts a pace, and gives the moment at which the first conversion begins.
fn run(bench: &Bench, mode: u8) -> u64 {
    write(bench, &[0x04, mode]);
    bench.now_ns() + WAKE_UP_NS
}

fn code(bench: &Bench, pointer: u8) -> i32 {
    let mut bytes = [0; 3];
    let width = if pointer < 0x64 { 3 } else { 2 };
    bench
        .i2c()
        .write_read(0x32, &[pointer], &mut bytes[..width])
        .expect("acknowledged");
    let [high, middle, low] = bytes;
    if width == 3 {
        i32::from_be_bytes([high, middle, low, 0]) >> 8
    } else {
        i32::from(u16::from_be_bytes([high, middle]))
    }
}

/// 1 A in 10 mΩ is sense code 20 000. The load goes at a quarter of the aperture and a second of
/// 0.6 A comes at a half: 20 000/4 + 12 000/2 = 11 000. Truths asked for in between must not
/// disturb it, nor be disturbed.
#[test]
fn an_aperture_in_which_switches_change_is_the_mean_of_its_parts() {
    for asks in [false, true] {
        let bench = Bench::new(0);
        let mut first = Switch::closed(bench.clock());
        let mut second = Switch::open(bench.clock());
        let loads = vec![
            Load::of(constant(AMPERE)).behind(&first),
            Load::of(constant(600_000_000)).behind(&second),
        ];
        let source = volts(5).behind_microohms(1_000_000).expect("1 Ω");
        let part = with_rail(&bench, Switched::new(source, loads).expect("rail"));
        let began_ns = run(&bench, 0x11);
        let ask = || asks.then(|| part.truth(0).expect("channel").charge_half_na_ns / 2);
        for at_ns in [0, 10_000] {
            bench.run_until(began_ns + at_ns);
            ask();
        }
        bench.run_until(began_ns + CONVERSION_NS / 4);
        let before = ask();
        first.set_low().expect("never fails");
        assert_eq!(ask(), before);
        bench.run_until(began_ns + CONVERSION_NS / 2);
        assert_eq!(ask(), before, "nothing flows");
        second.set_high().expect("never fails");
        bench.run_until(began_ns + CONVERSION_NS);
        let flowed = i128::from(AMPERE) * i128::from(began_ns + CONVERSION_NS / 4)
            + 600_000_000 * i128::from(CONVERSION_NS / 2);
        assert_eq!(
            part.truth(0).expect("channel").charge_half_na_ns / 2,
            flowed
        );
        // The rail conversion that follows sees 5 V less 0.6 V.
        bench.run_for(Duration::from_millis(1));
        assert_eq!((code(&bench, 0x60), code(&bench, 0x64)), (11_000, 4_400));
    }
}

/// The whole loop: a limit is crossed, the line falls, firmware opens the switch, the next
/// conversion shows it.
#[test]
fn a_load_that_firmware_sheds_is_gone() {
    let bench = Bench::new(0);
    let mut pump = Switch::closed(bench.clock());
    let loads = vec![
        Load::of(constant(100_000_000)),
        Load::of(constant(2 * AMPERE)).behind(&pump),
    ];
    let part = with_rail(&bench, Switched::new(volts(5), loads).expect("rail"));
    let mut alert = bench.alert(&part, Output::A);
    write(&bench, &[0x12, 0x00, 0x4E, 0x20]); // 1 A
    write(&bench, &[0x34, 0x70, 0x00, 0x00]);
    write(&bench, &[0x35, 0x00, 0x00, 0x04]);
    let began_ns = run(&bench, 0x11);
    bench
        .block_on(async {
            alert.wait_for_low().await.expect("never fails");
            pump.set_low().expect("never fails");
            assert_eq!(bench.now_ns(), began_ns + CONVERSION_NS);
            alert.wait_for_high().await.expect("never fails");
            assert_eq!(bench.now_ns(), began_ns + 2_000_000 + CONVERSION_NS);
        })
        .expect("no stall");
    assert_eq!(code(&bench, 0x60), 2_000);
    let flowed = 100_000_000 * i128::from(bench.now_ns())
        + 2 * i128::from(AMPERE) * i128::from(began_ns + CONVERSION_NS);
    assert_eq!(
        part.truth(0).expect("channel").charge_half_na_ns / 2,
        flowed
    );
}

#[test]
fn an_inrush_comes_with_each_closing_and_not_before_time_0() {
    let bench = Bench::new(0);
    let mut radio = Switch::closed(bench.clock());
    let inrush = Inrush {
        peak_na: 4 * AMPERE,
        length_ns: 1_000,
    };
    let load = Load::of(constant(AMPERE))
        .behind(&radio)
        .with_inrush(inrush);
    let mut rail = Switched::new(volts(5), vec![load]).expect("rail");
    bench.run_until(10_000);
    let half = |charge: i64| 2 * i128::from(charge);
    assert_eq!(rail.truth(10_000).charge_half_na_ns, half(10_000 * AMPERE));
    radio.set_high().expect("never fails");
    assert_eq!(
        rail.extremes(10_000).current_na_max,
        AMPERE,
        "it was closed"
    );
    radio.set_low().expect("never fails");
    bench.run_until(20_000);
    radio.set_high().expect("never fails");
    // From 4 A straight to nothing in 1 µs is 2 A for 1 µs; half of it is 3 A for 0.5 µs.
    assert_eq!(
        rail.truth(20_500).charge_half_na_ns,
        half((10_500 + 3 * 500) * AMPERE)
    );
    bench.run_until(21_000);
    assert_eq!(
        rail.truth(21_000).charge_half_na_ns,
        half((11_000 + 2_000) * AMPERE)
    );
    assert_eq!(rail.extremes(21_000).current_na_max, 5 * AMPERE);
    // Opened in the middle of the next one, the rest of it is not.
    radio.set_low().expect("never fails");
    bench.run_until(30_000);
    radio.set_high().expect("never fails");
    bench.run_until(30_500);
    radio.set_low().expect("never fails");
    bench.run_until(40_000);
    assert_eq!(
        rail.truth(40_000).charge_half_na_ns,
        half((13_000 + 500 + 1_500) * AMPERE)
    );
    // Closed for longer it ends by itself.
    radio.set_high().expect("never fails");
    bench.run_until(60_000);
    assert_eq!(
        rail.truth(60_000).charge_half_na_ns,
        half((15_000 + 20_000 + 2_000) * AMPERE)
    );
}
