//! Controllers that read little at a time, or cannot make a repeated START.

use crate::desk::{assert_within, board, other_setup, rig, setup};
use crake::old::ledger::{Entry, Ledger};
use crake::old::part::corncrake::{PACE_100, PACE_2000, SPEC};
use crake::old::{Channel, ShuntMonitor};
use crake_sim::bus::{Event, Logging, Restart};

/// A run with a change of set-up and a restart, by one controller.
fn run(read_max: u8, restart: Restart) {
    let (rig, board) = (rig(51), board());
    let controller = || rig.bench.i2c().with_restart(restart);
    let mut ledger = Ledger::new(&board, &SPEC);
    let mut monitor = rig.monitor_on(controller(), &board).with_read_max(read_max);
    ledger.update(&monitor.init(&setup(PACE_2000)).expect("init"));
    let start = rig.at_latch();
    rig.bench.set_logging(Logging::Full);
    for _ in 0..4 {
        rig.pass_ms(997);
        let frame = monitor.latch().expect("a frame");
        assert!(frame.reading(Channel::C3).is_ok());
        assert_eq!(ledger.update(&frame), Entry::Added);
    }
    assert_eq!(
        ledger.update(&monitor.configure(&other_setup(PACE_100)).expect("a set-up")),
        Entry::Turned
    );
    rig.pass_ms(1_000);
    ledger.update(&monitor.latch().expect("a frame"));
    let joint = monitor.joint();
    let mut monitor = rig.monitor_on(controller(), &board).with_read_max(read_max);
    assert_eq!(
        ledger.update(&monitor.attach(&joint).expect("a running part")),
        Entry::Added
    );
    rig.pass_ms(3_000);
    assert_eq!(
        ledger.update(&monitor.latch().expect("a frame")),
        Entry::Added
    );
    assert_eq!(ledger.epoch(), 0);
    assert_within(&ledger, &rig.at_latch().since(&start));

    let log = rig.bench.log();
    let (mut longest, mut restarts) = (0, 0);
    for transaction in &log {
        let received = |event: &&Event| matches!(event, Event::Received { .. });
        longest = longest.max(transaction.events.iter().filter(received).count());
        restarts += usize::from(transaction.events.contains(&Event::Restart));
    }
    assert!(
        longest <= usize::from(read_max),
        "{longest} bytes read at once, {read_max} allowed"
    );
    assert_eq!(restarts > 0, restart == Restart::Repeated);
}

#[test]
fn controllers_with_short_buffers() {
    for read_max in [16, 32, 8, 111, 112, 255] {
        run(read_max, Restart::Repeated);
    }
}

#[test]
fn controllers_without_repeated_start() {
    for read_max in [255, 32, 16] {
        run(read_max, Restart::StopStart);
    }
}
