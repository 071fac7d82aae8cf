//! Set-ups change in mid-run, sums roll over, and the part runs slowly or watches one rail alone.

use crate::desk::{assert_within, board, channel_of, other_setup, rig, setup};
use crake::old::board::Board;
use crake::old::ledger::{Entry, Ledger};
use crake::old::part::Counters;
use crake::old::part::corncrake::{PACE_1, PACE_10, PACE_100, PACE_500, PACE_2000, SPEC};
use crake::old::{Channel, Frame, ShuntMonitor};
use crake_suite::datasheet::code;
use crake_suite::markdown::Document;
use crake_suite::rig::{CHANNELS, Rig};

/// Sets the part's sums, so that they are `away` (charge and energy, by channel) from where they roll over, and ROUNDS `rounds` from there.
fn preload(rig: &Rig, away: [(i64, i64); CHANNELS], rounds: i64) {
    let document = Document::old_corncrake();
    let ends = |quantity: &str| {
        let code = code(&document, quantity);
        (code.least(), code.greatest())
    };
    let (charge, energy) = (ends("charge"), ends("energy"));
    // Sums that go down are set near the lower end.
    let near = |(least, greatest): (i64, i64), away: i64| {
        if away < 0 {
            least - away
        } else {
            greatest - away
        }
    };
    for (channel, away) in away.into_iter().enumerate() {
        rig.part
            .preload(channel, near(charge, away.0), near(energy, away.1))
            .expect("a channel");
    }
    let rounds = ends("rounds").1 - rounds;
    rig.part
        .preload_rounds(u32::try_from(rounds).expect("28 bits"));
}

fn counters(frame: &Frame<'_>) -> [Counters; CHANNELS] {
    std::array::from_fn(|channel| frame.counters(channel_of(channel)))
}

/// Channel 1 rolls over in the first stretch, 2 and 3, the charge of 0 and ROUNDS in the second, whose ranges and pace are others, and the energy
/// of channel 0 in the third. The distances are the flow of `desk` in codes: amperes × ohms ÷ LSB × rounds a second.
#[test]
fn ranges_and_pace_change_among_rollovers_and_nothing_is_lost() {
    let (rig, board) = (rig(41), board());
    let mut monitor = rig.monitor(&board);
    monitor.init(&setup(PACE_2000)).map(drop).expect("init");
    let away = [
        (20_000_000, 5_000_000_000_000),
        (300_000_000, 10_000_000_000_000),
        (5_200_000, 175_000_000_000),
        (-450_000_000, -22_000_000_000_000),
    ];
    preload(&rig, away, 7_500);

    // The account begins at a boundary, with the sums as set.
    let mut ledger = Ledger::new(&board, &SPEC);
    let frame = monitor.configure(&setup(PACE_2000)).expect("a set-up");
    let (first, first_rounds) = (counters(&frame), frame.head().rounds);
    assert_eq!(ledger.update(&frame), Entry::Opened);
    let start = rig.at_latch();

    let mut last = (first, first_rounds);
    for (change, seconds) in [
        (None, 3),
        (Some(other_setup(PACE_500)), 6),
        (Some(setup(PACE_2000)), 3),
        (Some(other_setup(PACE_100)), 4),
        (Some(setup(PACE_10)), 4),
        (Some(setup(PACE_2000)), 1),
    ] {
        if let Some(change) = change {
            let frame = monitor.configure(&change).expect("a set-up");
            assert_eq!(ledger.update(&frame), Entry::Turned);
        }
        for _ in 0..seconds {
            rig.pass_ms(997);
            let frame = monitor.latch().expect("a frame");
            assert_eq!(ledger.update(&frame), Entry::Added);
            last = (counters(&frame), frame.head().rounds);
        }
    }
    for (channel, (first, last)) in first.iter().zip(last.0).enumerate() {
        assert!(
            (first.charge < 0) != (last.charge < 0) && (first.energy < 0) != (last.energy < 0),
            "channel {channel} was to roll over: {first:?} {last:?}"
        );
    }
    assert!(last.1 < first_rounds, "ROUNDS was to roll over");
    assert_eq!((ledger.epoch(), ledger.gap().greatest_us), (0, 0));
    assert_within(&ledger, &rig.at_latch().since(&start));
}

/// A frame that comes too late for a rollover to be told from none is not taken on trust.
#[test]
fn a_rollover_that_cannot_be_told_ends_the_epoch() {
    let (rig, board) = (rig(42), board());
    let mut ledger = Ledger::new(&board, &SPEC);
    let mut monitor = rig.monitor(&board);
    ledger.update(&monitor.init(&setup(PACE_2000)).expect("init"));
    let start = rig.at_latch();
    rig.pass_ms(1_000);
    ledger.update(&monitor.latch().expect("a frame"));
    let flowed = rig.at_latch().since(&start);
    let by_us = ledger.next_read_by_us().expect("it counts");
    // Section 4: sums wrap after 33 554 s at full scale, at the fastest pace; the oscillator may be 1.5 % fast.
    let by_s = by_us as f64 / 1e6;
    assert!((32_500.0..33_555.0).contains(&by_s), "{by_s} s");
    rig.bench.run_until((by_us + 1_000) * 1_000);
    let entry = ledger.update(&monitor.latch().expect("a frame"));
    assert!(
        matches!(
            entry,
            Entry::Broken {
                reason: crake::old::ledger::Break::TooLate,
                reopened: true
            }
        ),
        "{entry:?}"
    );
    assert_within(&ledger, &flowed);
}

#[test]
fn one_round_a_second_is_enough() {
    let (rig, board) = (rig(43), board());
    let mut ledger = Ledger::new(&board, &SPEC);
    let mut monitor = rig.monitor(&board);
    ledger.update(&monitor.init(&setup(PACE_1)).expect("init"));
    let start = rig.at_latch();
    for _ in 0..20 {
        rig.pass_ms(7_300);
        assert_eq!(
            ledger.update(&monitor.latch().expect("a frame")),
            Entry::Added
        );
    }
    assert_eq!(ledger.epoch(), 0);
    assert_within(&ledger, &rig.at_latch().since(&start));
}

#[test]
fn one_channel_alone_is_accounted_for_and_the_others_are_not() {
    let (rig, board) = (rig(44), board());
    let mut only = setup(PACE_2000);
    for (channel, ranges) in only.channels.iter_mut().enumerate() {
        if channel != 2 {
            *ranges = None;
        }
    }
    let mut ledger = Ledger::new(&board, &SPEC);
    let mut monitor = rig.monitor(&board);
    ledger.update(&monitor.init(&only).expect("init"));
    let start = rig.at_latch();
    for _ in 0..10 {
        rig.pass_ms(1_003);
        ledger.update(&monitor.latch().expect("a frame"));
    }
    let flowed = rig.at_latch().since(&start);
    let account = |channel| ledger.account(channel).expect("a rail");
    flowed.assert_within(2, &account(Channel::C2));
    assert_eq!(account(Channel::C0).duration_us, 0);
    assert_eq!(account(Channel::C0).charge, crake::old::units::Charge::ZERO);

    // A board with a single rail, on channel 0.
    let single = Board::new(&SPEC, [board.rails()[0]]).expect("a board");
    let mut ledger = Ledger::new(&single, &SPEC);
    let mut monitor = rig.monitor(&single);
    let setup = crake::old::Setup {
        channels: [setup(PACE_500).channels[0]],
        mode: setup(PACE_500).mode,
        averaging: 10,
    };
    ledger.update(&monitor.init(&setup).expect("init"));
    let start = rig.at_latch();
    rig.pass_ms(5_000);
    let frame = monitor.latch().expect("a frame");
    ledger.update(&frame);
    assert!(frame.reading(Channel::C0).is_ok());
    assert!(frame.reading(Channel::C1).is_err());
    let account = ledger.account(Channel::C0).expect("a rail");
    rig.at_latch().since(&start).assert_within(0, &account);
}
