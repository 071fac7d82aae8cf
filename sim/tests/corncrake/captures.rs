//! Section 3.7: fast capture, and reading its codes.

use core::time::Duration;

use crate::corncrake::{
    datasheet::timing_ns,
    fixture::{CONVERSION_NS, Fixture},
};

/// A capture of these codes on channel 2 that has ended.
fn captured(codes: &[i64]) -> Fixture {
    let fixture = Fixture::ideal();
    fixture.listed(2, codes);
    fixture.run(0x32);
    fixture.bench.run_for(Duration::from_millis(100));
    assert_eq!(fixture.state(), 0x00);
    fixture
}

/// What CAPTURE shows, its check byte verified.
fn shown(fixture: &Fixture, index: u16, number: u8) -> Vec<i64> {
    let [high, low] = index.to_be_bytes();
    fixture.write(0x79, &[high, low, number]);
    let bytes = fixture.read(0x7A, 3 * usize::from(number));
    let code = |b: &[u8]| i64::from(i32::from_be_bytes([b[0], b[1], b[2], 0]) >> 8);
    bytes.chunks(3).map(code).collect()
}

fn codes() -> Vec<i64> {
    (0..2000).map(|i| (i * 37 % 4001) - 2000).collect()
}

#[test]
fn a_capture_keeps_1024_conversions_of_its_channel_and_goes_idle() {
    let fixture = Fixture::ideal();
    fixture.listed(2, &codes());
    fixture.run(0x32);
    let began_ns = fixture.bench.now_ns() + timing_ns("wake-up from idle");
    assert_eq!(timing_ns("capture conversion"), CONVERSION_NS);
    fixture.bench.run_until(began_ns + 100 * CONVERSION_NS);
    assert_eq!(fixture.unsigned(0x78, 2), 100);
    // A latch is done at once.
    fixture.latch(2, 1);
    let block = fixture.sample();
    assert_eq!((block.tag(), block.mode(), block.scans()), (2, 0x32, 0));
    assert_eq!(block.flags(), 0x8000, "no mean is finished");
    fixture.bench.run_until(began_ns + 1024 * CONVERSION_NS - 1);
    assert_eq!(fixture.part.conversions(), 1023);
    fixture.bench.run_until(began_ns + 5000 * CONVERSION_NS);
    assert_eq!(fixture.part.conversions(), 1024);
    assert_eq!((fixture.state(), fixture.read(0x04, 1)), (0, vec![0x00]));
    assert_eq!((fixture.unsigned(0x78, 2), fixture.writes()), (1024, 1));
    let [scans, charge, sense] =
        [(0x74, 4), (0x6E, 6), (0x62, 3)].map(|(pointer, width)| fixture.signed(pointer, width));
    assert_eq!((scans, charge, sense), (0, 0, 0));
}

#[test]
fn every_index_and_number_shows_its_codes_and_a_check_byte() {
    let codes = codes();
    let fixture = captured(&codes);
    for number in 1..=16 {
        for index in [0, 1, 500, 1008 + 16 - u16::from(number)] {
            let from = usize::from(index);
            let wanted = &codes[from..from + usize::from(number)];
            assert_eq!(shown(&fixture, index, number), wanted, "{index} {number}");
        }
    }
    let all: Vec<i64> = (0..1024)
        .step_by(16)
        .flat_map(|i| shown(&fixture, i, 16))
        .collect();
    assert_eq!(all, codes[..1024]);
    assert_eq!(fixture.writes(), 1, "CAPTURE_FROM does not count");
}

#[test]
fn after_the_check_byte_come_ones_and_beyond_the_last_code_zeros() {
    let fixture = captured(&[7]);
    assert_eq!(shown(&fixture, 1022, 4), [7, 7, 0, 0]);
    assert_eq!(shown(&fixture, 1023, 16)[..2], [7, 0]);
    fixture.write(0x79, &[0x00, 0x00, 0x02]);
    let bytes = fixture.raw_read(0x7A, 9);
    assert_eq!(bytes[..6], [0, 0, 7, 0, 0, 7]);
    assert_eq!(bytes[7..], [0xFF, 0xFF]);
}

#[test]
fn index_and_number_have_ends() {
    let fixture = Fixture::ideal();
    for refused in [
        [0x04, 0x00, 16],
        [0xFF, 0xFF, 1],
        [0, 0, 0],
        [0, 0, 17],
        [0, 0, 0xFF],
    ] {
        fixture.refuse(0x79, &refused);
        assert_eq!(fixture.read(0x79, 3), [0x00, 0x00, 0x10]);
    }
    for taken in [[0x03, 0xFF, 16], [0x03, 0xFF, 1], [0, 0, 1], [0, 0, 16]] {
        fixture.write(0x79, &taken);
        assert_eq!(fixture.read(0x79, 3), taken);
    }
}

#[test]
fn a_capture_shows_its_codes_while_it_goes_on() {
    let codes: Vec<i64> = (1..2000).collect();
    let fixture = Fixture::ideal();
    fixture.listed(0, &codes);
    fixture.run(0x30);
    fixture.run_until_conversions(5);
    let codes = shown(&fixture, 0, 16);
    let kept = codes.iter().filter(|&&code| code != 0).count();
    assert!((5..16).contains(&kept), "{codes:?}");
    assert!(
        codes[..kept].iter().copied().eq(1..=kept as i64),
        "{codes:?}"
    );
}

#[test]
fn a_stop_keeps_the_codes_so_far_and_the_next_start_drops_them() {
    let fixture = captured(&codes());
    fixture.run(0x32);
    assert_eq!(fixture.unsigned(0x78, 2), 0, "from the start on");
    assert_eq!(shown(&fixture, 0, 1), [0]);
    fixture.run_until_conversions(1024 + 20);
    fixture.stop();
    let count = fixture.unsigned(0x78, 2);
    assert!((20..30).contains(&count), "{count}");
    fixture.bench.run_for(Duration::from_secs(1));
    assert_eq!(fixture.unsigned(0x78, 2), count);
    let wanted = &codes()[1024..1024 + count as usize];
    assert_eq!(shown(&fixture, 0, 16), wanted[..16]);
    let last = shown(&fixture, count as u16 - 1, 2);
    assert_eq!(last, [wanted[count as usize - 1], 0]);
    // Another mode leaves them alone.
    fixture.run(0x20);
    fixture.run_conversions(12);
    assert_eq!(fixture.unsigned(0x78, 2), count);
}

#[test]
fn a_capture_needs_its_channel_enabled() {
    let fixture = Fixture::ideal();
    fixture.write(0x05, &[0x0B]);
    fixture.refuse(0x04, &[0x32]);
    fixture.run(0x33);
}

/// Section 2.2 judges a value by its description, and 3.7 the range by RANGES.
#[test]
fn a_capture_uses_the_range_of_its_channel() {
    let fixture = Fixture::ideal();
    fixture.write(0x06, &[0x04, 0x00]);
    fixture.steady(2, 1_000.0 * 200.0, 0.0);
    fixture.run(0x32);
    fixture.bench.run_for(Duration::from_millis(1));
    assert_eq!(shown(&fixture, 0, 1), [1_000]);
}
