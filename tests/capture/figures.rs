use core::time::Duration;

use crake::board::{Correction, Gain, Offset};
use crake::capture::Tally;
use crake::part::corncrake::INFO;
use crake::units::{Charge, Current};
use crake::{Channel, FastCapture, ShuntMonitor};
use num_bigint::BigInt;
use num_rational::BigRational;

use crate::fixture::{COARSE, CONVERSION_NS, FINE, Fixture, KEPT, Ramp, config, pulses, ratio};

const NANOOHMS: u64 = 47_000_000;
/// 0.25 % more, in 2^-30.
const GAIN: i32 = (1 << 30) + (1 << 30) / 400;
/// 3.1 µV taken off, and that.
const CORRECTION: Correction = Correction {
    offset: Offset::from_bits(3_100 * 256),
    gain: Gain::from_bits(GAIN),
    ..Correction::NONE
};

/// Exact mean, mean square and variance of what codes stand for, in nanoamperes.
struct Exact {
    currents: Vec<BigRational>,
    mean: BigRational,
    mean_square: BigRational,
    variance: BigRational,
}

impl Exact {
    /// Codes of so many nanovolts; the offset is taken off in 256ths of 100 nV, to the nearest.
    fn new(codes: &[i32], lsb_nv: i128, corrected: bool) -> Self {
        let (offset_nv, gain) = if corrected {
            (ratio(3_100, 1), ratio(GAIN.into(), 1 << 30))
        } else {
            (ratio(0, 1), ratio(1, 1))
        };
        let grid = ratio(100, 256);
        let offset_nv = (offset_nv / &grid).round() * grid;
        let per_nv = gain * ratio(1_000_000_000, i128::from(NANOOHMS));
        let currents: Vec<BigRational> = codes
            .iter()
            .map(|code| (ratio(i128::from(*code) * lsb_nv, 1) - &offset_nv) * &per_nv)
            .collect();
        let count = ratio(codes.len() as i128, 1);
        let mean: BigRational = currents.iter().sum::<BigRational>() / &count;
        let mean_square = currents.iter().map(|na| na * na).sum::<BigRational>() / &count;
        let variance = &mean_square - &mean * &mean;
        Self {
            currents,
            mean,
            mean_square,
            variance,
        }
    }
}

/// So many 256ths of 100 nV across the resistor, half a nanoampere and a bit, in nanoamperes.
fn tolerance(number: i128) -> BigRational {
    let off_nv = ratio(number * 100, 256);
    off_nv * ratio(401, 400) * ratio(1_000_000_000, i128::from(NANOOHMS)) + ratio(51, 100)
}

fn na(current: Current) -> BigRational {
    BigRational::from_integer(BigInt::from(current.as_nanoamps()))
}

/// Whether a root lies within `off` of that of a number.
fn is_root(shown: Current, of: &BigRational, off: &BigRational) -> bool {
    let (low, high) = (na(shown) - off, na(shown) + off);
    let low = low.max(ratio(0, 1));
    &low * &low <= *of && *of <= &high * &high
}

fn check(tally: &Tally, capture: &FastCapture<'_>, exact: &Exact) {
    let of = &exact.currents;
    let within = |shown, truth: &BigRational, off: &BigRational| {
        let error: BigRational = na(shown) - truth;
        error.clone().max(-error) <= *off
    };
    let (least, greatest) = (of.iter().min(), of.iter().max());
    let [least, greatest] = [least, greatest].map(|of| of.expect("some"));
    assert!(within(tally.least(capture), least, &tolerance(0)));
    assert!(within(tally.greatest(capture), greatest, &tolerance(0)));
    assert!(within(tally.mean(capture), &exact.mean, &tolerance(1)));
    // A code has at most 1280 of 256ths, and there are 1024 of them.
    assert!(is_root(
        tally.deviation(capture),
        &exact.variance,
        &tolerance(3)
    ));
    assert!(is_root(
        tally.rms(capture),
        &exact.mean_square,
        &tolerance(5)
    ));

    assert_eq!(tally.count() as usize, of.len());
    let duration = Duration::from_nanos(of.len() as u64 * CONVERSION_NS);
    assert_eq!(tally.duration(&INFO), duration);
    // nA × 62 500 ns is 6.25e-14 C.
    let charge = na(tally.mean(capture)) * ratio(of.len() as i128 * 62_500, 1_000_000_000);
    let charge = i128::try_from(charge.trunc().to_integer()).expect("in range");
    assert_eq!(tally.charge(capture), Charge::from_nanocoulombs(charge));
}

#[test]
fn figures_of_a_capture() {
    let fixture = Fixture::new(NANOOHMS);
    fixture.fit(1, Ramp);
    fixture.fit(2, pulses());
    let board = fixture.board();
    let corrected = board
        .corrected(Channel::C1, &CORRECTION)
        .corrected(Channel::C2, &CORRECTION);
    for (channel, sense, lsb_nv) in [(1, COARSE, 500), (2, FINE, 200), (2, COARSE, 500)] {
        for is_corrected in [false, true] {
            let mut monitor = fixture.monitor();
            if is_corrected {
                monitor.set_board(&corrected).expect("a board that can be");
            }
            monitor.init(&config(sense, 500)).expect("a part");
            monitor
                .start_capture(Channel::new(channel))
                .expect("a capture");
            let mut codes = [0; KEPT];
            let capture = monitor.fetch_capture(0, &mut codes).expect("codes");
            let exact = Exact::new(capture.codes(), lsb_nv, is_corrected);
            for (shown, truth) in capture.currents().zip(&exact.currents) {
                assert_eq!(na(shown), truth.round(), "to the nearest nanoampere");
            }
            let mut tally = Tally::new();
            assert!(tally.add(&capture));
            assert!(!tally.is_clipped(&capture));
            check(&tally, &capture, &exact);

            // The same from pieces.
            let mut pieces = Tally::new();
            let mut room = [0; 100];
            for first in (0..KEPT as u16).step_by(room.len()) {
                let piece = monitor.fetch_capture(first, &mut room).expect("codes");
                assert!(pieces.add(&piece));
            }
            assert_eq!(pieces, tally);
        }
    }
}

/// 1 mA and 20 mA for three tenths of the time, from 1 mA to 20 mA: means as arithmetic has them.
#[test]
fn pulses_are_what_they_are() {
    let fixture = Fixture::new(NANOOHMS);
    fixture.fit(3, pulses());
    let mut monitor = fixture.monitor();
    monitor.init(&config(FINE, 500)).expect("a part");
    monitor.start_capture(Channel::C3).expect("a capture");
    let mut codes = [0; KEPT];
    let capture = monitor.fetch_capture(0, &mut codes).expect("codes");
    let mut tally = Tally::new();
    assert!(tally.add(&capture));
    let within = |shown: Current, microamps: i64, off: i64| {
        let error = (shown.as_microamps() - microamps).abs();
        assert!(error <= off, "{shown} where {microamps} µA should be");
    };
    within(tally.least(&capture), 1_000, 5);
    within(tally.greatest(&capture), 20_000, 5);
    // 1 + 0.3 × 19 mA, and at the edges of a millisecond in 64 not quite.
    within(tally.mean(&capture), 6_700, 100);
    // √(1 + 0.3 × 399) mA, less by what apertures across an edge smooth.
    within(tally.rms(&capture), 10_986, 400);
    within(tally.deviation(&capture), 8_707, 400);
}

/// 30 mA across 1 Ω are beyond the fine range, 26.2142 mV (section 3.4).
#[test]
fn clipping_is_told() {
    let fixture = Fixture::new(1_000_000_000);
    fixture.fit(0, pulses());
    let steep = crake_sim::plant::Recorded::ramp((0, -30_000_000), (200_000_000, 30_000_000));
    let source = crake_sim::plant::Constant::new(3_000_000_000).expect("3 V");
    let source = crake_sim::plant::Source::of(source);
    let rail = crake_sim::plant::Rail::new(source, steep.expect("a ramp")).expect("a rail");
    fixture.fit(1, rail);
    let mut monitor = fixture.monitor();
    monitor.init(&config(FINE, 500)).expect("a part");
    monitor.start_capture(Channel::C1).expect("a capture");
    let mut codes = [0; KEPT];
    let capture = monitor.fetch_capture(0, &mut codes).expect("codes");
    let cut = capture
        .codes()
        .iter()
        .filter(|code| **code == -131_072)
        .count();
    assert!((100..KEPT).contains(&cut), "{cut}");
    let mut tally = Tally::new();
    assert!(tally.add(&capture));
    assert!(tally.is_clipped(&capture));
}

#[test]
fn nothing_is_zero_and_too_much_is_told() {
    let fixture = Fixture::new(1_000_000_000);
    let full = crake_sim::plant::Constant::new(65_000_000).expect("65 mA");
    let source = crake_sim::plant::Constant::new(3_000_000_000).expect("3 V");
    let source = crake_sim::plant::Source::of(source);
    fixture.fit(
        0,
        crake_sim::plant::Rail::new(source, full).expect("a rail"),
    );
    let mut monitor = fixture.monitor();
    monitor.init(&config(COARSE, 500)).expect("a part");
    monitor.start_capture(Channel::C0).expect("a capture");
    let mut codes = [0; KEPT];
    let capture = monitor.fetch_capture(0, &mut codes).expect("codes");
    let mut tally = Tally::new();
    assert_eq!((tally.count(), tally.mean(&capture)), (0, Current::ZERO));
    assert_eq!(tally.rms(&capture), Current::ZERO);
    assert!(!tally.is_clipped(&capture));
    for _ in 0..4 {
        assert!(tally.add(&capture));
    }
    let full = tally;
    assert!(!tally.add(&capture));
    assert_eq!(tally, full);
    assert_eq!(tally.mean(&capture), Current::from_milliamps(65));
    assert_eq!(tally.rms(&capture), Current::from_milliamps(65));
    assert_eq!(tally.deviation(&capture), Current::ZERO);
    // 65 mA × 4096 × 62.5 µs = 16.64 mC.
    assert_eq!(tally.charge(&capture), Charge::from_microcoulombs(16_640));
}
