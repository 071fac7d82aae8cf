//! Sections 3.6 and 2.5: limits, debounce, hold, masks, outputs, alert response.

use crake_sim::{
    bench::Bench,
    old::corncrake::{Corncrake, Output},
};

use crate::old_corncrake::desk::{Desk, check};

const ROUND_DONE: u64 = 1 << 21;
const RESET_SEEN: u64 = 1 << 22;
const LIMITS: u64 = 0x0F_FFFF;

/// A part that converts `channel` alone, in bus range 0, and has its reset cause cleared. Rounds
/// are single-shots.
fn watching(channel: usize, codes: &[i64]) -> (Desk, Rounds) {
    let desk = Desk::ideal();
    desk.write(0x05, &[1 << channel]);
    desk.write(0x06, &[0, 0]);
    desk.write(0x37, &[0x40, 0, 0]);
    desk.listed(channel, codes);
    (desk, Rounds { tag: 0 })
}

struct Rounds {
    tag: u8,
}

impl Rounds {
    /// One round; LEVELS and the limits' CAUSES after it.
    fn next(&mut self, desk: &Desk) -> (u64, u64) {
        desk.run(0x20, self.tag.wrapping_add(1), self.tag);
        self.tag = self.tag.wrapping_add(1);
        desk.run_conversions(12);
        (desk.unsigned(0x38, 3), desk.unsigned(0x37, 3) & LIMITS)
    }
}

fn limit(desk: &Desk, channel: u8, kind: u8, code: i64) {
    let width = [2, 2, 3, 3, 5][usize::from(kind)];
    desk.write(0x10 + 8 * channel + kind, &code.to_be_bytes()[8 - width..]);
}

/// Every kind of every channel: a code on the limit is not beyond it, the next one is.
#[test]
fn comparison_is_strict_for_every_kind_and_channel() {
    for channel in 0..4_u8 {
        // Sense and bus codes of two rounds: on the limit, then beyond; limit; kind.
        let cases: [([i64; 4], i64); 5] = [
            ([0, 1000, 0, 1001], 1000),
            ([0, 1000, 0, 999], 1000),
            ([-50, 0, -49, 0], -50),
            ([-50, 0, -51, 0], -50),
            ([100, 20, 667, 3], 2000),
        ];
        for (kind, (codes, code)) in cases.into_iter().enumerate() {
            let (desk, mut rounds) = watching(channel.into(), &codes);
            limit(&desk, channel, kind as u8, code);
            let bit = 1 << (5 * u64::from(channel) + kind as u64);
            assert_eq!(rounds.next(&desk), (0, 0), "channel {channel}, kind {kind}");
            assert_eq!(
                rounds.next(&desk),
                (bit, bit),
                "channel {channel}, kind {kind}"
            );
        }
    }
}

/// Codes 1 are beyond the limit, 0 are not. LEVEL is set by the n-th in a row and cleared by the
/// first that is not beyond.
#[test]
fn debounce_counts_conversions_in_a_row() {
    let beyond = [1, 1, 0, 1, 1, 1, 0, 0, 1, 1, 1, 1, 1, 0, 1];
    let codes: Vec<i64> = beyond.iter().flat_map(|&code| [code, 0]).collect();
    for count in 1..=15_u8 {
        let (desk, mut rounds) = watching(2, &codes);
        limit(&desk, 2, 2, 0);
        // Kind 2 only; the other counts stay at 1.
        desk.write(0x32, &[0x01, 0x10 | count, 0x11]);
        let bit = 1 << 12;
        let mut held = 0;
        for i in 0..beyond.len() {
            let run = beyond[..=i]
                .iter()
                .rev()
                .take_while(|&&code| code == 1)
                .count();
            let level = if run >= usize::from(count) { bit } else { 0 };
            held |= level;
            desk.write(0x34, &[0x70, 0x10, 0x00]);
            assert_eq!(
                rounds.next(&desk),
                (level, held),
                "count {count}, conversion {i}"
            );
        }
    }
}

#[test]
fn fifteen_in_a_row_are_reached_and_counted_no_further() {
    let (desk, mut rounds) = watching(0, &[1, 1]);
    limit(&desk, 0, 2, 0);
    desk.write(0x30, &[0x01, 0x1F, 0x11]);
    let levels: Vec<bool> = (0..300).map(|_| rounds.next(&desk).0 != 0).collect();
    assert!(levels[..14].iter().all(|&level| !level) && levels[14..].iter().all(|&level| level));
}

#[test]
fn a_following_cause_equals_its_level_until_cleared() {
    let (desk, mut rounds) = watching(1, &[9, 0, 9, 0, 0, 0, 9, 0]);
    limit(&desk, 1, 2, 5);
    let bit = 1 << 7;
    assert_eq!(rounds.next(&desk), (bit, bit));
    desk.write(0x37, &[0, 0, bit as u8]);
    assert_eq!(
        (desk.unsigned(0x38, 3), desk.unsigned(0x37, 3) & LIMITS),
        (bit, 0),
        "cleared under a standing level"
    );
    assert_eq!(rounds.next(&desk), (bit, bit), "until the next conversion");
    assert_eq!(rounds.next(&desk), (0, 0), "followed down");
    assert_eq!(rounds.next(&desk), (bit, bit));
}

#[test]
fn a_held_cause_stays_until_cleared_and_comes_back_while_the_level_stands() {
    let (desk, mut rounds) = watching(1, &[9, 0, 9, 0, 0, 0, 0, 0]);
    limit(&desk, 1, 2, 5);
    desk.write(0x34, &[0x70, 0, 0x80]);
    let bit = 1 << 7;
    assert_eq!(rounds.next(&desk), (bit, bit));
    desk.write(0x37, &[0xFF, 0xFF, 0xFF]);
    assert_eq!(desk.unsigned(0x37, 3), 0);
    assert_eq!(rounds.next(&desk), (bit, bit), "the level stands");
    assert_eq!(rounds.next(&desk), (0, bit), "held without its level");
    desk.write(0x37, &[0, 0, 0x7F]);
    assert_eq!(
        desk.unsigned(0x37, 3) & LIMITS,
        bit,
        "ones of other bits clear nothing"
    );
    // Now it follows, and its level is gone.
    desk.write(0x34, &[0x70, 0, 0]);
    assert_eq!(desk.unsigned(0x37, 3) & LIMITS, 0);
}

#[test]
fn writing_a_limit_or_the_debounce_begins_anew() {
    let codes = [9, 9];
    let (desk, mut rounds) = watching(0, &codes);
    limit(&desk, 0, 2, 5);
    limit(&desk, 0, 0, 5);
    desk.write(0x30, &[0x01, 0x12, 0x12]);
    desk.write(0x34, &[0x70, 0, 0x04]);
    assert_eq!(rounds.next(&desk), (0, 0));
    assert_eq!(rounds.next(&desk), (0b101, 0b101));
    // The limit on current: its level goes, the held cause stays; voltage is untouched.
    limit(&desk, 0, 2, 5);
    assert_eq!(
        (desk.unsigned(0x38, 3), desk.unsigned(0x37, 3) & LIMITS),
        (0b001, 0b101)
    );
    assert_eq!(rounds.next(&desk).0, 0b001, "one of two");
    assert_eq!(rounds.next(&desk).0, 0b101);
    // Debounce: both levels go, and the following cause with them.
    desk.write(0x30, &[0x01, 0x12, 0x12]);
    assert_eq!(
        (desk.unsigned(0x38, 3), desk.unsigned(0x37, 3) & LIMITS),
        (0, 0b100)
    );
    assert_eq!(rounds.next(&desk).0, 0);
    assert_eq!(rounds.next(&desk).0, 0b101);
    // Another channel's debounce touches nothing.
    desk.write(0x31, &[0x01, 0x12, 0x12]);
    assert_eq!(desk.unsigned(0x38, 3), 0b101);
}

#[test]
fn a_channel_switched_off_loses_counts_and_levels_when_run_takes_over() {
    let (desk, mut rounds) = watching(0, &[9, 9]);
    limit(&desk, 0, 2, 5);
    limit(&desk, 0, 0, 5);
    desk.write(0x34, &[0x70, 0, 0x04]);
    rounds.next(&desk);
    desk.write(0x05, &[0x02]);
    assert_eq!(desk.unsigned(0x38, 3), 0b101, "not before RUN");
    assert_eq!(rounds.next(&desk), (0, 0b100), "held stays, following goes");
}

#[test]
fn nothing_is_compared_in_a_burst() {
    let (desk, _) = watching(0, &[9]);
    limit(&desk, 0, 2, 5);
    desk.run(0x30, 1, 0);
    desk.run_conversions(2000);
    assert_eq!((desk.unsigned(0x38, 3), desk.unsigned(0x37, 3)), (0, 0));
}

#[test]
fn round_done_is_set_at_the_end_of_each_round() {
    let (desk, _) = watching(0, &[0]);
    desk.write(0x07, &[0x0A]);
    desk.run(0x11, 1, 0);
    desk.run_conversions(5);
    for _ in 0..3 {
        assert_eq!(desk.unsigned(0x37, 3), ROUND_DONE);
        desk.write(0x37, &[0x20, 0, 0]);
        assert_eq!(desk.unsigned(0x37, 3), 0);
        desk.run_conversions(32);
    }
}

#[test]
fn each_output_shows_the_causes_of_its_mask() {
    let (desk, mut rounds) = watching(3, &[9, 0, 0, 0, 9, 0]);
    limit(&desk, 3, 2, 5);
    let outputs = |desk: &Desk| {
        let lows = (desk.part.is_low(Output::A), desk.part.is_low(Output::B));
        assert_eq!(
            desk.read(0x39, 1)[0],
            u8::from(lows.0) | u8::from(lows.1) << 1
        );
        lows
    };
    desk.write(0x36, &[0x02, 0, 0]);
    assert_eq!(outputs(&desk), (false, false));
    rounds.next(&desk);
    assert_eq!(outputs(&desk), (false, true));
    rounds.next(&desk);
    assert_eq!(
        outputs(&desk),
        (false, false),
        "the cause follows its level"
    );
    desk.write(0x35, &[0x02, 0, 0]);
    rounds.next(&desk);
    assert_eq!(outputs(&desk), (true, true));
    desk.write(0x36, &[0, 0, 0]);
    assert_eq!(outputs(&desk), (true, false));
    desk.write(0x37, &[0x02, 0, 0]);
    assert_eq!(outputs(&desk), (false, false));
}

/// Reads the alert response address: the bytes, or None if nobody answered.
fn alert_response(desk: &Desk, count: usize) -> Option<Vec<u8>> {
    desk.wire.start();
    let answered = desk.wire.send(0x19);
    let bytes = answered.then(|| (1..=count).map(|i| desk.wire.receive(i < count)).collect());
    desk.wire.stop();
    bytes
}

#[test]
fn a_part_that_answered_lets_go_of_both_outputs_until_a_cause_is_set_again() {
    let (desk, mut rounds) = watching(0, &[9, 9]);
    assert_eq!(alert_response(&desk, 2), None);
    limit(&desk, 0, 2, 5);
    desk.write(0x34, &[0x70, 0, 0x04]);
    desk.write(0x35, &[0, 0, 0x04]);
    desk.write(0x36, &[0, 0, 0x04]);
    rounds.next(&desk);
    assert!(desk.part.is_low(Output::A) && desk.part.is_low(Output::B));
    assert_eq!(
        alert_response(&desk, 3),
        Some(vec![0x64, check(&[0x19, 0x64]), 0xFF])
    );
    assert!(!desk.part.is_low(Output::A) && !desk.part.is_low(Output::B));
    assert_eq!(
        desk.unsigned(0x37, 3) & LIMITS,
        0x04,
        "the cause itself stays"
    );
    assert_eq!(alert_response(&desk, 1), None);
    // A cause that reaches no output changes nothing.
    desk.write(0x05, &[0x02]);
    rounds.next(&desk);
    assert_eq!(desk.unsigned(0x37, 3), ROUND_DONE | 0x04);
    assert!(!desk.part.is_low(Output::A));
    desk.write(0x05, &[0x01]);
    rounds.next(&desk);
    assert!(
        desk.part.is_low(Output::A) && desk.part.is_low(Output::B),
        "set again"
    );
}

#[test]
fn an_answer_broken_off_lets_go_of_nothing() {
    let (desk, _) = watching(0, &[0]);
    desk.part.brown_out();
    desk.run_conversions(20);
    desk.write(0x35, &[0x40, 0, 0]);
    desk.wire.start();
    assert!(desk.wire.send(0x19));
    desk.wire.stop();
    assert!(desk.part.is_low(Output::A));
    assert_eq!(alert_response(&desk, 1), Some(vec![0x64]));
    assert!(!desk.part.is_low(Output::A));
}

#[test]
fn the_lowest_address_wins_the_arbitration_and_the_others_stay_low() {
    let bench = Bench::new(0);
    let desks: Vec<Desk> = [0x35, 0x33, 0x34]
        .into_iter()
        .map(|address| Desk::with(&bench, Corncrake::ideal(address)))
        .collect();
    for desk in &desks {
        assert_eq!(desk.unsigned(0x37, 3), RESET_SEEN);
        desk.write(0x36, &[0x40, 0, 0]);
    }
    for address in [0x33_u8, 0x34, 0x35] {
        let reply = address << 1;
        assert_eq!(
            alert_response(&desks[0], 3),
            Some(vec![reply, check(&[0x19, reply]), 0xFF])
        );
        for desk in &desks {
            assert_eq!(
                desk.part.is_low(Output::B),
                desk.part.address() > address,
                "{address:#04x}"
            );
        }
    }
    assert_eq!(alert_response(&desks[0], 1), None);
}
