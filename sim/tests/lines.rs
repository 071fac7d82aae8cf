//! Alert lines against the datasheet's timing (sections 2.5, 3.6 and 6), edge by edge.

use core::time::Duration;

use crake_sim::{
    bench::{Bench, Edge, Line, Part},
    board::SenseResistor,
    bus::{Speed, Timing},
    part::corncrake::{Corncrake, Output},
    plant::{Constant, Pulses, Rail, Source},
};
use embedded_hal::{
    digital::{InputPin, PinState},
    i2c::I2c,
};

const CONVERSION_NS: u64 = 62_500;
const WAKE_UP_NS: u64 = 150_000;
/// RUN's mode byte of 500 scans a second, and their period.
const SCANS_500: u8 = 0x11;
const PERIOD_NS: u64 = 2_000_000;
/// Following flags of all kinds, and the three flags that always latch.
const FOLLOW: [u8; 3] = [0x70, 0x00, 0x00];
const HOLD: u8 = 0x34;
const MASK_A: u8 = 0x35;
const MASK_B: u8 = 0x36;
const RESET_SEEN: [u8; 3] = [0x40, 0x00, 0x00];
const FALL: PinState = PinState::Low;
const RISE: PinState = PinState::High;

fn write(bench: &Bench, address: u8, pointer: u8, data: &[u8]) -> u64 {
    let bytes = [&[pointer][..], data].concat();
    bench.i2c().write(address, &bytes).expect("acknowledged");
    // The clock stands at the edge of STOP.
    bench.now_ns()
}

/// The flag bits `bits` as a register of three bytes.
fn flags(bits: u32) -> [u8; 3] {
    let [_, high, middle, low] = bits.to_be_bytes();
    [high, middle, low]
}

/// A part whose every channel carries `load_na` at 5 V, through 10 mΩ.
fn part(bench: &Bench, address: u8, load_na: i64) -> Part {
    let part = bench.part(Corncrake::ideal(address)).expect("free");
    for channel in 0..4 {
        let source = Source::of(Constant::new(5_000_000_000).expect("5 V"));
        let rail = Rail::new(source, Constant::new(load_na).expect("load")).expect("rail");
        part.rail(channel, rail, SenseResistor::ideal(10_000_000))
            .expect("channel");
    }
    part
}

fn recorded(line: &Line) -> Vec<(u64, PinState)> {
    let pair = |edge: Edge| (edge.at_ns, edge.to);
    line.edges().into_iter().map(pair).collect()
}

/// Goal: the line falls at the end of the conversion that completes the debounce, for every kind,
/// channel and count. Method: 1 A at 5 V is sense code 20 000 and rail code 5 000 in 1 mV; limits
/// that it lies beyond from the first conversion on. Voltages and power are compared when the
/// scan's rail conversion ends, currents when sense does.
#[test]
fn a_line_falls_at_the_end_of_the_conversion_that_completes_the_debounce() {
    let kinds: [(u8, &[u8], u64); 5] = [
        (0x10, &[0x13, 0x87], 2),
        (0x11, &[0x13, 0x89], 2),
        (0x12, &[0x00, 0x4E, 0x1F], 1),
        (0x13, &[0x00, 0x4E, 0x21], 1),
        (0x14, &[0x00, 0x05, 0xF5, 0xE0, 0xFF], 2),
    ];
    for (kind, (limit, value, conversions)) in kinds.into_iter().enumerate() {
        for channel in 0..4_u8 {
            for count in [1, 4, 15] {
                let bench = Bench::new(0);
                let part = part(&bench, 0x32, 1_000_000_000);
                let line = bench.alert(&part, Output::B);
                line.set_recording(true);
                // The debounce first: it puts limits back to where they were after the reset.
                let debounce = 0x01_1111 & !(0xF << (4 * kind)) | count << (4 * kind);
                write(&bench, 0x32, 0x30 + channel, &flags(debounce));
                write(&bench, 0x32, limit + 8 * channel, value);
                write(
                    &bench,
                    0x32,
                    MASK_B,
                    &flags(1 << (5 * u32::from(channel) + kind as u32)),
                );
                let run_ns = write(&bench, 0x32, 0x04, &[SCANS_500]);
                bench.run_for(Duration::from_millis(40));
                let falls_ns = run_ns
                    + WAKE_UP_NS
                    + u64::from(count - 1) * PERIOD_NS
                    + (2 * u64::from(channel) + conversions) * CONVERSION_NS;
                let edges = recorded(&line);
                assert_eq!(
                    edges,
                    [(falls_ns, FALL)],
                    "kind {kind} channel {channel} × {count}"
                );
            }
        }
    }
}

/// Over-current follows its condition: a load of 3 ms in every 10 ms is met by one scan in five.
/// The pulses change while the part rests.
#[test]
fn a_following_line_rises_with_the_first_conversion_within_the_limit() {
    [false, true].into_iter().for_each(follows);
}

/// With the flag's mask written before the first pulse, or within it.
fn follows(late: bool) {
    let bench = Bench::new(0);
    let part = bench.part(Corncrake::ideal(0x32)).expect("free");
    let source = Source::of(Constant::new(5_000_000_000).expect("5 V"));
    let load = Pulses::new(0, 1_000_000_000, 10_000_000, 3_000_000).expect("pulses");
    let rail = Rail::new(source, load.first_at(1_500_000)).expect("rail");
    part.rail(0, rail, SenseResistor::ideal(10_000_000))
        .expect("channel");
    let mut line = bench.alert(&part, Output::A);
    line.set_recording(true);
    write(&bench, 0x32, 0x12, &[0x00, 0x27, 0x10]);
    write(&bench, 0x32, HOLD, &FOLLOW);
    let mask = |bits| write(&bench, 0x32, MASK_A, &flags(bits));
    mask(u32::from(!late) << 2);
    let run_ns = write(&bench, 0x32, 0x04, &[SCANS_500]);
    let first_ns = run_ns + WAKE_UP_NS + CONVERSION_NS;
    assert!(first_ns < 1_000_000, "the first scan is before the pulse");
    let mut falls_ns = first_ns + PERIOD_NS;
    if late {
        bench.run_until(3_000_000);
        falls_ns = mask(1 << 2);
    }
    bench.run_until(20_000_000);
    let scan = |number: u64| first_ns + number * PERIOD_NS;
    // Rounds begin at about 0.5 ms and every 2 ms; the pulses are 1.5 to 4.5 and 11.5 to 14.5 ms.
    let expected = [
        (falls_ns, FALL),
        (scan(2), RISE),
        (scan(6), FALL),
        (scan(7), RISE),
    ];
    assert_eq!(recorded(&line), expected);
    assert_eq!(line.is_high(), Ok(true));
    assert!(recorded(&line).is_empty(), "edges are handed over once");
}

/// A mask written or a flag cleared changes the line at the STOP (or repeated START) of the write.
#[test]
fn writes_change_a_line_at_their_stop() {
    let bench = Bench::new(0);
    let part = part(&bench, 0x32, 0);
    let line = bench.alert(&part, Output::A);
    line.set_recording(true);
    bench.run_until(1_000);
    let masked_ns = write(&bench, 0x32, MASK_A, &RESET_SEEN);
    bench.run_for(Duration::from_millis(1));
    let cleared_ns = write(&bench, 0x32, 0x0A, &[0x01]); // the flag goes with the register
    bench.run_for(Duration::from_millis(1));
    part.brown_out();
    bench.run_for(Duration::from_millis(2));
    // A write that a repeated START ends: address, pointer and three bytes have gone.
    let timing = Timing::of(Speed::Fast);
    let began_ns = bench.now_ns();
    bench
        .i2c()
        .write_read(0x32, &[MASK_A, 0x40, 0x00, 0x00], &mut [0; 3])
        .expect("acknowledged");
    let restart_ns =
        began_ns + timing.start_hold + 5 * 9 * timing.clock + timing.low + timing.restart_setup;
    let expected = [(masked_ns, FALL), (cleared_ns, RISE), (restart_ns, FALL)];
    assert_eq!(recorded(&line), expected);
    let lost_ns = bench.now_ns();
    part.power_loss();
    bench.run_for(Duration::from_millis(2));
    assert_eq!(recorded(&line), [(lost_ns, RISE)]);
}

/// Section 2.5: the lowest address goes through, and that part lets go when its last bit has; the
/// line stays low for the other part until it has answered too.
#[test]
fn a_line_of_several_parts_rises_when_the_last_of_them_has_answered() {
    let bench = Bench::new(0);
    bench.set_bus_speed(Speed::FastPlus);
    let parts = [0x35, 0x33].map(|address| part(&bench, address, 0));
    let mut shared = bench.line();
    shared.wire(&parts[0], Output::B);
    shared.wire(&parts[1], Output::A);
    let alone = parts.each_ref().map(|part| {
        let line = bench.line();
        line.wire(part, Output::A);
        line.wire(part, Output::B);
        line
    });
    for line in alone.iter().chain([&shared]) {
        line.set_recording(true);
    }
    let high_ns = write(&bench, 0x35, MASK_B, &RESET_SEEN);
    let low_ns = write(&bench, 0x33, MASK_A, &RESET_SEEN);
    assert_eq!(shared.is_low(), Ok(true));
    let timing = Timing::of(Speed::FastPlus);
    // The next START comes after the bus-free time; START, an address byte with its acknowledge,
    // eight bits.
    let answered_ns = || {
        let start_ns = bench.now_ns() + timing.bus_free;
        start_ns + timing.start_hold + 17 * timing.clock
    };
    let mut answer = [0];
    let first_ns = answered_ns();
    bench.i2c().read(0x0C, &mut answer).expect("an answer");
    assert_eq!(answer, [0x33 << 1]);
    assert_eq!(shared.is_low(), Ok(true));
    let second_ns = answered_ns();
    bench.i2c().read(0x0C, &mut answer).expect("an answer");
    assert_eq!(answer, [0x35 << 1]);
    assert_eq!(shared.is_high(), Ok(true));
    assert_eq!(recorded(&shared), [(high_ns, FALL), (second_ns, RISE)]);
    assert_eq!(recorded(&alone[0]), [(high_ns, FALL), (second_ns, RISE)]);
    assert_eq!(recorded(&alone[1]), [(low_ns, FALL), (first_ns, RISE)]);
    assert!(bench.i2c().read(0x0C, &mut answer).is_err(), "nobody left");
}

#[test]
fn a_stuck_line_shows_its_fault_until_it_is_mended() {
    let bench = Bench::new(0);
    let part = part(&bench, 0x32, 0);
    let mut line = bench.alert(&part, Output::A);
    line.set_recording(true);
    line.stick(PinState::Low);
    assert_eq!(line.is_low(), Ok(true));
    bench.run_until(10);
    line.mend();
    bench.run_until(20);
    line.stick(PinState::High);
    let masked_ns = write(&bench, 0x32, MASK_A, &RESET_SEEN);
    assert_eq!(line.is_high(), Ok(true));
    bench.run_for(Duration::from_nanos(5));
    line.mend();
    assert_eq!(line.is_low(), Ok(true));
    let expected = [(0, FALL), (10, RISE), (masked_ns + 5, FALL)];
    assert_eq!(recorded(&line), expected);
}

#[test]
fn outputs_that_are_swapped_show_each_others_flags() {
    let bench = Bench::new(0);
    let part = part(&bench, 0x32, 0);
    let (mut a, mut b) = (bench.line(), bench.line());
    a.wire(&part, Output::B);
    b.wire(&part, Output::A);
    write(&bench, 0x32, MASK_A, &RESET_SEEN);
    assert_eq!((a.is_high(), b.is_low()), (Ok(true), Ok(true)));
    // The line of an output is the first that it was wired to, and the same each time.
    let line = bench.alert(&part, Output::B);
    line.stick(PinState::Low);
    assert_eq!(
        (a.is_low(), bench.alert(&part, Output::B).level()),
        (Ok(true), FALL)
    );
}

/// Ten seconds of scans, watched or not, gives the same part; only what was recorded is kept.
#[test]
fn watching_a_line_changes_nothing_else() {
    let run = |record: bool| {
        let bench = Bench::new(7);
        let part = bench.part(Corncrake::new(0x32)).expect("free");
        let line = bench.alert(&part, Output::A);
        line.set_recording(record);
        write(&bench, 0x32, MASK_A, &flags(1 << 21));
        write(&bench, 0x32, 0x04, &[SCANS_500]);
        bench.run_for(Duration::from_secs(10));
        let mut block = [0; 112];
        write(&bench, 0x32, 0x03, &[0x02, 0x01]);
        bench.run_for(Duration::from_millis(3));
        bench
            .i2c()
            .write_read(0x32, &[0x80], &mut block)
            .expect("acknowledged");
        (block, line.edges().len(), bench.now_ns())
    };
    let (watched, unwatched) = (run(true), run(false));
    assert_eq!((watched.0, watched.2), (unwatched.0, unwatched.2));
    assert_eq!((watched.1, unwatched.1), (1, 0));
}
