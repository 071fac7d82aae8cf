//! The part is away for a while: reset by a dip of its supply, or without supply on purpose.

use crate::desk::{assert_within, board, rig, setup};
use crake::old::ledger::{Break, Entry, Ledger};
use crake::old::part::corncrake::{PACE_500, PACE_2000, SPEC};
use crake::old::{Channel, Condition, NoReading, ShuntMonitor};
use crake_suite::rig::Flowed;

/// The gap as told holds the time from the end of one stretch to the beginning of the next, `outages` times; both clocks are exact here, rounded down to 1 µs.
/// It is told to within the brackets of two latches and the rounds that were in progress.
fn assert_gap(ledger: &Ledger<'_, 4>, outages: u32, gap_s: f64) {
    let gap = ledger.gap();
    let (least, greatest) = (gap.least_us as f64 / 1e6, gap.greatest_us as f64 / 1e6);
    assert!(
        least - 2e-6 <= gap_s && gap_s <= greatest + 2e-6,
        "{gap_s} s outside {gap:?}"
    );
    assert!(
        greatest - least < 2e-3 * f64::from(outages),
        "{gap:?} says little"
    );
}

#[test]
fn a_brown_out_in_the_middle_ends_the_epoch_and_nothing_else() {
    let (rig, board) = (rig(31), board());
    let mut ledger = Ledger::new(&board, &SPEC);
    let mut monitor = rig.monitor(&board);
    ledger.update(&monitor.init(&setup(PACE_2000)).expect("init"));
    let mut start = rig.at_latch();
    let (mut flowed, mut gap_s) = (Flowed::default(), 0.0);
    for outage in 1..=3 {
        for _ in 0..4 {
            rig.pass_ms(997);
            assert_eq!(
                ledger.update(&monitor.latch().expect("a frame")),
                Entry::Added
            );
        }
        let end = rig.at_latch();
        flowed = end.since(&start).and(&flowed);
        rig.pass_ms(333);
        rig.part.brown_out();
        rig.pass_ms(500);

        let frame = monitor.latch().expect("a frame that says so");
        assert_eq!(frame.condition(), Condition::Reset);
        assert_eq!(frame.reading(Channel::C0), Err(NoReading::NotRunning));
        let broken = Entry::Broken {
            reason: Break::Reset,
            reopened: false,
        };
        assert_eq!(ledger.update(&frame), broken);
        assert_eq!(ledger.epoch(), outage);
        assert_eq!(ledger.next_read_by_us(), None);

        let frame = monitor.init(&setup(PACE_2000)).expect("init");
        assert_eq!(ledger.update(&frame), Entry::Opened);
        start = rig.at_latch();
        gap_s += start.since(&end).time;
        assert_gap(&ledger, outage, gap_s);
        // What was accounted for before stands.
        assert_within(&ledger, &flowed);
    }
    rig.pass_ms(2_000);
    ledger.update(&monitor.latch().expect("a frame"));
    assert_within(&ledger, &rig.at_latch().since(&start).and(&flowed));
    assert!(gap_s > 2.4);
}

/// A dip so short that the next latch finds the part running under no set-up at all: still told, never taken for a rollover.
#[test]
fn a_reset_right_before_a_latch_is_seen_by_that_latch() {
    let (rig, board) = (rig(32), board());
    let mut ledger = Ledger::new(&board, &SPEC);
    let mut monitor = rig.monitor(&board);
    ledger.update(&monitor.init(&setup(PACE_500)).expect("init"));
    rig.pass_ms(2_000);
    rig.part.brown_out();
    // Not addressable for 1 ms; the monitor repeats in vain and says that the bus failed.
    let error = monitor.latch().map(drop).expect_err("nobody answers");
    assert!(error.is_worth_repeating(), "{error:?}");
    rig.pass_ms(2);
    assert_eq!(
        monitor.latch().expect("a frame").condition(),
        Condition::Reset
    );
}

#[test]
fn an_unpowered_part_is_a_state_and_rejoins_as_a_new_epoch() {
    let (rig, board) = (rig(33), board());
    let mut ledger = Ledger::new(&board, &SPEC);
    let mut monitor = rig.monitor(&board);
    ledger.update(&monitor.init(&setup(PACE_2000)).expect("init"));
    let start = rig.at_latch();
    rig.pass_ms(4_000);
    ledger.update(&monitor.latch().expect("a frame"));
    let end = rig.at_latch();
    let flowed = end.since(&start);

    monitor.declare_powered(false);
    rig.part.power_loss();
    let before = rig.bench.bus_stats();
    let broken = Entry::Broken {
        reason: Break::Unpowered,
        reopened: false,
    };
    for entry in [broken, Entry::Idle, Entry::Idle] {
        rig.pass_ms(1_000);
        let frame = monitor.latch().expect("a state, not an error");
        assert_eq!(frame.condition(), Condition::Unpowered);
        assert_eq!(frame.reading(Channel::C3), Err(NoReading::NotRunning));
        assert_eq!(ledger.update(&frame), entry);
    }
    assert!(monitor.init(&setup(PACE_2000)).is_err());
    assert_eq!(rig.bench.bus_stats(), before, "not a byte on the bus");
    assert_within(&ledger, &flowed);

    rig.part.power_up();
    rig.pass_ms(2);
    monitor.declare_powered(true);
    // It has to be set up: a frame says that it comes from a reset.
    assert_eq!(
        monitor.latch().expect("a frame").condition(),
        Condition::Reset
    );
    let frame = monitor.init(&setup(PACE_2000)).expect("init");
    assert_eq!(ledger.update(&frame), Entry::Opened);
    let again = rig.at_latch();
    assert_eq!(ledger.epoch(), 1);
    assert_gap(&ledger, 1, again.since(&end).time);
    rig.pass_ms(4_000);
    assert_eq!(
        ledger.update(&monitor.latch().expect("a frame")),
        Entry::Added
    );
    assert_within(&ledger, &rig.at_latch().since(&again).and(&flowed));
}
