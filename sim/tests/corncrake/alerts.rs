//! Sections 3.6 and 2.5: limits, debounce, latching, masks, outputs, alert response.

use crake_sim::{
    bench::Bench,
    part::corncrake::{Corncrake, Output},
};

use crate::corncrake::fixture::{Fixture, check};

pub(crate) const SCAN_DONE: u64 = 1 << 21;
pub(crate) const RESET_SEEN: u64 = 1 << 22;
pub(crate) const LIMITS: u64 = 0x0F_FFFF;

/// A part that scans `channel` alone, in rail range 0, and has its reset flag cleared. It is idle
/// until the first [`scan`].
pub(crate) fn scanning(channel: usize, codes: &[i64]) -> Fixture {
    let fixture = Fixture::ideal();
    fixture.write(0x05, &[1 << channel]);
    fixture.write(0x06, &[0, 0]);
    fixture.write(0x0A, &[1]);
    fixture.listed(channel, codes);
    fixture
}

/// One of 100 scans a second, so that there is time for the bus after it; CONDITIONS and the
/// limits' FLAGS then.
pub(crate) fn scan(fixture: &Fixture) -> (u64, u64) {
    if fixture.part.next_event_ns().is_none() {
        fixture.run(0x12);
    }
    fixture.run_until_conversions(fixture.part.conversions() + 2);
    (
        fixture.unsigned(0x38, 3),
        fixture.unsigned(0x37, 3) & LIMITS,
    )
}

pub(crate) fn limit(fixture: &Fixture, channel: u8, kind: u8, code: i64) {
    let width = [2, 2, 3, 3, 5][usize::from(kind)];
    fixture.write(0x10 + 8 * channel + kind, &code.to_be_bytes()[8 - width..]);
}

/// Every kind of every channel: a code on the limit is not beyond it, the next one is.
#[test]
fn comparison_is_strict_for_every_kind_and_channel() {
    for channel in 0..4_u8 {
        // Sense and rail codes of two scans: on the limit, then beyond; limit; kind.
        let cases: [([i64; 4], i64); 5] = [
            ([0, 1000, 0, 1001], 1000),
            ([0, 1000, 0, 999], 1000),
            ([-50, 0, -49, 0], -50),
            ([-50, 0, -51, 0], -50),
            ([100, 20, 667, 3], 2000),
        ];
        for (kind, (codes, code)) in cases.into_iter().enumerate() {
            let fixture = scanning(channel.into(), &codes);
            limit(&fixture, channel, kind as u8, code);
            let bit = 1 << (5 * u64::from(channel) + kind as u64);
            assert_eq!(scan(&fixture), (0, 0), "channel {channel}, kind {kind}");
            assert_eq!(scan(&fixture), (bit, bit), "channel {channel}, kind {kind}");
        }
    }
}

/// Codes 1 are beyond the limit, 0 are not. CONDITION is set by the n-th in a row and cleared by
/// the first that is not beyond.
#[test]
fn debounce_counts_conversions_in_a_row() {
    let beyond = [1, 1, 0, 1, 1, 1, 0, 0, 1, 1, 1, 1, 1, 0, 1];
    let codes: Vec<i64> = beyond.iter().flat_map(|&code| [code, 0]).collect();
    for count in 1..=15_u8 {
        let fixture = scanning(2, &codes);
        // Kind 2 only; the other counts stay at 1.
        fixture.write(0x32, &[0x01, 0x10 | count, 0x11]);
        limit(&fixture, 2, 2, 0);
        let bit = 1 << 12;
        let mut latching = 0;
        for i in 0..beyond.len() {
            let run = beyond[..=i]
                .iter()
                .rev()
                .take_while(|&&code| code == 1)
                .count();
            let condition = if run >= usize::from(count) { bit } else { 0 };
            latching |= condition;
            fixture.write(0x34, &[0x70, 0x10, 0x00]);
            assert_eq!(
                scan(&fixture),
                (condition, latching),
                "count {count}, conversion {i}"
            );
        }
    }
}

#[test]
fn fifteen_in_a_row_are_reached_and_counted_no_further() {
    let fixture = scanning(0, &[1, 1]);
    fixture.write(0x30, &[0x01, 0x1F, 0x11]);
    limit(&fixture, 0, 2, 0);
    let conditions: Vec<bool> = (0..300).map(|_| scan(&fixture).0 != 0).collect();
    assert!(
        conditions[..14].iter().all(|&condition| !condition)
            && conditions[14..].iter().all(|&condition| condition)
    );
}

#[test]
fn a_following_flag_equals_its_condition_until_cleared() {
    let fixture = scanning(1, &[9, 0, 9, 0, 0, 0, 9, 0]);
    limit(&fixture, 1, 2, 5);
    let bit = 1 << 7;
    assert_eq!(scan(&fixture), (bit, bit));
    fixture.write(0x37, &[0, 0, bit as u8]);
    assert_eq!(
        (
            fixture.unsigned(0x38, 3),
            fixture.unsigned(0x37, 3) & LIMITS
        ),
        (bit, 0),
        "cleared under a standing condition"
    );
    assert_eq!(scan(&fixture), (bit, bit), "until the next conversion");
    assert_eq!(scan(&fixture), (0, 0), "followed down");
    assert_eq!(scan(&fixture), (bit, bit));
}

#[test]
fn a_latching_flag_stays_until_cleared_and_comes_back_while_the_condition_stands() {
    let fixture = scanning(1, &[9, 0, 9, 0, 0, 0, 0, 0]);
    limit(&fixture, 1, 2, 5);
    fixture.write(0x34, &[0x70, 0, 0x80]);
    let bit = 1 << 7;
    assert_eq!(scan(&fixture), (bit, bit));
    fixture.write(0x37, &[0xFF, 0xFF, 0xFF]);
    assert_eq!(fixture.unsigned(0x37, 3), 0);
    assert_eq!(scan(&fixture), (bit, bit), "the condition stands");
    assert_eq!(scan(&fixture), (0, bit), "latching without its condition");
    fixture.write(0x37, &[0, 0, 0x7F]);
    assert_eq!(
        fixture.unsigned(0x37, 3) & LIMITS,
        bit,
        "ones of other bits clear nothing"
    );
    // Now it follows, and its condition is gone.
    fixture.write(0x34, &[0x70, 0, 0]);
    assert_eq!(fixture.unsigned(0x37, 3) & LIMITS, 0);
}

#[test]
fn nothing_is_compared_in_a_capture() {
    let fixture = scanning(0, &[9]);
    limit(&fixture, 0, 2, 5);
    fixture.write(0x37, &[0xFF, 0xFF, 0xFF]);
    fixture.run(0x30);
    fixture.run_conversions(2000);
    assert_eq!(
        (fixture.unsigned(0x38, 3), fixture.unsigned(0x37, 3)),
        (0, 0)
    );
}

#[test]
fn scan_done_is_set_at_the_end_of_each_scan() {
    let fixture = scanning(0, &[0]);
    fixture.write(0x07, &[0x0A]);
    fixture.run(0x12);
    for _ in 0..3 {
        fixture.run_until_conversions(fixture.part.conversions() + 1);
        assert_eq!(fixture.unsigned(0x37, 3), 0, "inside the scan");
        fixture.run_until_conversions(fixture.part.conversions() + 1);
        assert_eq!(fixture.unsigned(0x37, 3), SCAN_DONE);
        fixture.write(0x37, &[0x20, 0, 0]);
        assert_eq!(fixture.unsigned(0x37, 3), 0);
    }
}

#[test]
fn each_output_shows_the_flags_of_its_mask() {
    let fixture = scanning(3, &[9, 0, 0, 0, 9, 0]);
    limit(&fixture, 3, 2, 5);
    let outputs = |fixture: &Fixture| {
        let lows = (
            fixture.part.is_low(Output::A),
            fixture.part.is_low(Output::B),
        );
        assert_eq!(
            fixture.read(0x39, 1)[0],
            u8::from(lows.0) | u8::from(lows.1) << 1
        );
        lows
    };
    fixture.write(0x36, &[0x02, 0, 0]);
    assert_eq!(outputs(&fixture), (false, false));
    scan(&fixture);
    assert_eq!(outputs(&fixture), (false, true));
    scan(&fixture);
    assert_eq!(
        outputs(&fixture),
        (false, false),
        "the flag follows its condition"
    );
    fixture.write(0x35, &[0x02, 0, 0]);
    scan(&fixture);
    assert_eq!(outputs(&fixture), (true, true));
    fixture.write(0x36, &[0, 0, 0]);
    assert_eq!(outputs(&fixture), (true, false));
    fixture.write(0x37, &[0x02, 0, 0]);
    assert_eq!(outputs(&fixture), (false, false));
}

/// Reads the alert response address: the bytes, or None if nobody answered.
fn alert_response(fixture: &Fixture, count: usize) -> Option<Vec<u8>> {
    fixture.wire.start();
    let answered = fixture.wire.send(0x19);
    let bytes = answered.then(|| {
        (1..=count)
            .map(|i| fixture.wire.receive(i < count))
            .collect()
    });
    fixture.wire.stop();
    bytes
}

#[test]
fn a_part_that_answered_lets_go_of_both_outputs_until_a_flag_is_set_again() {
    let fixture = scanning(0, &[9, 9]);
    assert_eq!(alert_response(&fixture, 2), None);
    limit(&fixture, 0, 2, 5);
    fixture.write(0x34, &[0x70, 0, 0x04]);
    fixture.write(0x35, &[0, 0, 0x04]);
    fixture.write(0x36, &[0, 0, 0x04]);
    scan(&fixture);
    assert!(fixture.part.is_low(Output::A) && fixture.part.is_low(Output::B));
    assert_eq!(
        alert_response(&fixture, 3),
        Some(vec![0x64, check(&[0x19, 0x64]), 0xFF])
    );
    assert!(!fixture.part.is_low(Output::A) && !fixture.part.is_low(Output::B));
    assert_eq!(
        fixture.unsigned(0x37, 3) & LIMITS,
        0x04,
        "the flag itself stays"
    );
    assert_eq!(alert_response(&fixture, 1), None);
    // A flag that reaches no output changes nothing.
    fixture.stop();
    fixture.write(0x05, &[0x02]);
    scan(&fixture);
    assert_eq!(fixture.unsigned(0x37, 3), SCAN_DONE | 0x04);
    assert!(!fixture.part.is_low(Output::A));
    fixture.stop();
    fixture.write(0x05, &[0x01]);
    scan(&fixture);
    assert!(
        fixture.part.is_low(Output::A) && fixture.part.is_low(Output::B),
        "set again"
    );
}

#[test]
fn an_answer_broken_off_lets_go_of_nothing() {
    let fixture = scanning(0, &[0]);
    fixture.part.brown_out();
    fixture.run_conversions(20);
    fixture.write(0x35, &[0x40, 0, 0]);
    fixture.wire.start();
    assert!(fixture.wire.send(0x19));
    fixture.wire.stop();
    assert!(fixture.part.is_low(Output::A));
    assert_eq!(alert_response(&fixture, 1), Some(vec![0x64]));
    assert!(!fixture.part.is_low(Output::A));
}

#[test]
fn the_lowest_address_wins_the_arbitration_and_the_others_stay_low() {
    let bench = Bench::new(0);
    let fixtures: Vec<Fixture> = [0x35, 0x33, 0x34]
        .into_iter()
        .map(|address| Fixture::with(&bench, Corncrake::ideal(address)))
        .collect();
    for fixture in &fixtures {
        assert_eq!(fixture.unsigned(0x37, 3), RESET_SEEN);
        fixture.write(0x36, &[0x40, 0, 0]);
    }
    for address in [0x33_u8, 0x34, 0x35] {
        let reply = address << 1;
        assert_eq!(
            alert_response(&fixtures[0], 3),
            Some(vec![reply, check(&[0x19, reply]), 0xFF])
        );
        for fixture in &fixtures {
            assert_eq!(
                fixture.part.is_low(Output::B),
                fixture.part.address() > address,
                "{address:#04x}"
            );
        }
    }
    assert_eq!(alert_response(&fixtures[0], 1), None);
}
