//! A ledger of totals alone against one with bounds, and frames that neither was given.

use crate::stub::{Handle, board, coarse, rail};
use crake::old::board::{Correction, Zero};
use crake::old::ledger::{Break, CheckpointError, Entry, Ledger};
use crake::old::part::corncrake::SPEC;
use crake::old::units::Current;
use crake::old::{Channel, ShuntMonitor};

/// Goal: whatever is kept besides, totals are the same to the last bit: open, after a boundary, after a clipped code, after a correction of the board, and after a restart.
#[test]
fn what_is_kept_besides_changes_no_total() {
    let plain = board([rail(10_000_000, Current::from_amps(7)); 2]);
    let correction = Correction {
        zero: Zero::from_bits(-7_777),
        ..Correction::NONE
    };
    let corrected = plain
        .corrected(&SPEC, Channel::C1, correction)
        .expect("small");
    let handle = Handle::new();
    let mut monitor = handle.monitor(&plain);
    let mut with_bounds = Ledger::new(&plain, &SPEC);
    let mut alone = Ledger::of_totals(&plain, &SPEC);
    let frame = monitor.init(&coarse()).expect("init");
    assert_eq!(with_bounds.update(&frame), alone.update(&frame));
    for turn in 0..40_u64 {
        let bus = [12_000 + turn as u16; 4];
        handle.run(
            2_000 + turn,
            1_000_000 + 499 * turn,
            [777 - 40 * turn as i32; 4],
            bus,
        );
        if turn == 11 {
            handle.change(|world| world.flags |= 2);
        }
        let frame = match turn % 7 {
            5 => monitor.configure(&coarse()).expect("configure"),
            _ => monitor.latch().expect("latch"),
        };
        assert_eq!(with_bounds.update(&frame), alone.update(&frame));
        if turn == 20 {
            with_bounds.set_board(&corrected);
            alone.set_board(&corrected);
        }
        if turn == 30 {
            let mut bytes = [0; Ledger::<2, ()>::TOTALS_LEN];
            let len = alone.save(&monitor.joint(), &mut bytes).expect("room");
            assert_eq!(len, bytes.len());
            assert!(len < Ledger::<2>::CHECKPOINT_LEN);
            let error = Ledger::load(&corrected, &SPEC, &bytes).err();
            assert_eq!(error, Some(CheckpointError::Version(2)));
            (alone, _) = Ledger::load_totals(&corrected, &SPEC, &bytes).expect("whole");
            let frame = monitor.attach(&monitor.joint()).expect("attach");
            assert_eq!(with_bounds.update(&frame), Entry::Added);
            assert_eq!(alone.update(&frame), Entry::Added);
        }
        for channel in Channel::first(2) {
            let account = with_bounds.account(channel).expect("a rail");
            let total = alone.total(channel).expect("a rail");
            assert_eq!(with_bounds.total(channel), Some(total));
            assert_eq!(
                (total.charge, total.energy, total.duration_us),
                (account.charge, account.energy, account.duration_us)
            );
            assert_eq!(
                (total.charge_side, total.energy_side),
                (account.charge_side, account.energy_side)
            );
        }
        assert_eq!(with_bounds.next_read_by_us(), alone.next_read_by_us());
        assert_eq!(with_bounds.gap(), alone.gap());
    }
    assert_eq!(alone.total(Channel::new(2)), None);
}

/// Goal: a part that was set up anew, alike and with a count that fits the clock, is another account, also where the frame that told of it was lost.
#[test]
fn a_set_up_of_which_the_ledger_was_not_told_ends_the_epoch() {
    let board = board([rail(10_000_000, Current::from_amps(7))]);
    let handle = Handle::new();
    let mut monitor = handle.monitor(&board);
    let mut ledger = Ledger::new(&board, &SPEC);
    ledger.update(&monitor.init(&coarse()).expect("init"));
    handle.run(2_000, 1_000_000, [100; 4], [5_000; 4]);
    assert_eq!(
        ledger.update(&monitor.latch().expect("latch")),
        Entry::Added
    );
    let before = ledger.account(Channel::C0);
    let (rounds, since_us) = handle.change(|world| (world.rounds, world.latched_us));

    let _ = monitor.init(&coarse()).expect("init");
    handle.run(0, 1_000_000, [100; 4], [5_000; 4]);
    handle.change(|world| world.rounds = rounds + (world.now_us - since_us) / 500);
    let entry = ledger.update(&monitor.latch().expect("latch"));
    assert_eq!(
        entry,
        Entry::Broken {
            reason: Break::SetUpChanged,
            reopened: true
        }
    );
    assert_eq!(ledger.account(Channel::C0), before);
}
