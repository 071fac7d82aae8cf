//! Rollovers that could hide, and how long the account was interrupted.

use crate::stub::{Handle, World, board, coarse, rail};
use crake::old::ledger::{Break, Entry, Ledger};
use crake::old::part::corncrake::SPEC;
use crake::old::units::{Current, Tolerance};
use crake::old::{Channel, ShuntMonitor};

/// Sections 6 and the board below: 1.5 % and 100 ppm.
const OSCILLATOR_PPM: u128 = 15_000;
const HOST_PPM: u128 = 100;
const MILLION: u128 = 1_000_000;

/// Rounds of 500 µs that the part makes while `us` pass on the host's clock, both as wrong as they may be: `fast` or slow.
fn rounds_in(us: u64, fast: bool) -> u64 {
    let us = u128::from(us);
    let (part, host) = if fast {
        (MILLION + OSCILLATOR_PPM, MILLION - HOST_PPM)
    } else {
        (MILLION - OSCILLATOR_PPM, MILLION + HOST_PPM)
    };
    (us * part / (host * 500)) as u64
}

/// Goal: the promised moment is neither too late for the fastest part at full scale, nor are its rounds taken for wrong ones.
#[test]
fn a_frame_at_the_last_safe_moment_counts_in_full() {
    let board = board([rail(10_000_000, Current::from_amps(7))])
        .with_clock(Tolerance::from_ppm(HOST_PPM as u32));
    for (fast, sense) in [
        (true, -131_072),
        (true, 131_071),
        (false, -131_072),
        (false, 131_071),
    ] {
        let handle = Handle::new();
        let mut monitor = handle.monitor(&board);
        let mut ledger = Ledger::new(&board, &SPEC);
        ledger.update(&monitor.init(&coarse()).expect("init"));
        handle.run(2, 1_000, [0; 4], [0; 4]);
        ledger.update(&monitor.latch().expect("latch"));

        let by_us = ledger.next_read_by_us().expect("paced");
        let us = handle.change(|world| by_us - world.write_us - world.now_us);
        let rounds = rounds_in(us, fast);
        handle.run(rounds, us, [sense; 4], [65_535; 4]);
        let frame = monitor.latch().expect("latch");
        assert_eq!(frame.stamp().after_us, by_us);
        assert_eq!(ledger.update(&frame), Entry::Added, "{fast} {sense}");
        // 2^26 rounds at full scale are the wrap; no more than 3 % may be given away.
        assert!(!fast || (65_000_000..1 << 26).contains(&rounds), "{rounds}");

        // By the part's clock: codes × 0.5 µV ÷ 10 mΩ × 0.5 ms = codes × 25 nC.
        let account = ledger.account(Channel::C0).expect("a rail");
        assert_eq!(
            account.charge_by_part_clock.as_nanocoulombs(),
            i128::from(sense) * i128::from(rounds) * 25
        );
        // × 65.535 V.
        assert_eq!(
            account.energy_by_part_clock.as_nanojoules(),
            (2 * i128::from(sense) * i128::from(rounds) * 25 * 65_535 + 1_000).div_euclid(2_000)
        );
    }
}

#[test]
fn a_frame_beyond_it_ends_the_epoch() {
    let board = board([rail(10_000_000, Current::from_amps(7))]);
    let handle = Handle::new();
    let mut monitor = handle.monitor(&board);
    let mut ledger = Ledger::new(&board, &SPEC);
    ledger.update(&monitor.init(&coarse()).expect("init"));
    handle.run(2_000, 999_000, [1_000; 4], [5_000; 4]);
    ledger.update(&monitor.latch().expect("latch"));
    let before = ledger.account(Channel::C0);
    let from_us = handle.change(|world| world.latched_us);

    let by_us = ledger.next_read_by_us().expect("paced");
    let us = handle.change(|world| by_us + 1 - world.write_us - world.now_us);
    handle.run(us / 500, us, [1_000; 4], [5_000; 4]);
    let entry = ledger.update(&monitor.latch().expect("latch"));
    assert_eq!(
        entry,
        Entry::Broken {
            reason: Break::TooLate,
            reopened: true
        }
    );
    assert_eq!((ledger.epoch(), ledger.account(Channel::C0)), (1, before));
    let gap_us = handle.change(|world| world.latched_us) - from_us;
    assert!((ledger.gap().least_us..=ledger.gap().greatest_us).contains(&gap_us));
    // Two rounds and brackets, and the host's clock either way.
    let clock_us = 2 * gap_us * u64::from(board.clock().as_ppm()) / 999_000;
    assert!(ledger.gap().greatest_us - ledger.gap().least_us < 2_000 + clock_us);
}

/// Goal: a latch takes place at the end of the round in progress, up to 508 µs after the write (section 6: 8 conversions of 62.5 µs, 1.5 % slow), and the bracket of a gap allows for it.
#[test]
fn the_bracket_of_a_gap_allows_for_late_latches() {
    let board = board([rail(10_000_000, Current::from_amps(7))]);
    for (first_us, second_us) in [(508, 0), (0, 508)] {
        let handle = Handle::new();
        let mut monitor = handle.monitor(&board);
        let mut ledger = Ledger::new(&board, &SPEC);
        ledger.update(&monitor.init(&coarse()).expect("init"));
        handle.run(20, 10_000, [0; 4], [0; 4]);
        ledger.update(&monitor.latch().expect("latch"));
        let from_us = handle.change(|world| world.latched_us) + first_us;
        handle.change(World::reset);
        ledger.update(&monitor.latch().expect("latch"));
        ledger.update(&monitor.init(&coarse()).expect("init"));
        let to_us = handle.change(|world| world.latched_us) + second_us;
        let gap = ledger.gap();
        assert!(
            (gap.least_us..=gap.greatest_us).contains(&(to_us - from_us)),
            "{gap:?}, truly {}",
            to_us - from_us
        );
    }
}

/// Rounds that do not fit the host's clock: a part that was reset and set up alike by somebody else, or a clock that stood still.
#[test]
fn a_count_of_rounds_out_of_step_ends_the_epoch() {
    let board = board([rail(10_000_000, Current::from_amps(7))]);
    for rounds in [1_000_u64, 3_000] {
        let handle = Handle::new();
        let mut monitor = handle.monitor(&board);
        let mut ledger = Ledger::new(&board, &SPEC);
        ledger.update(&monitor.init(&coarse()).expect("init"));
        handle.run(rounds, 1_000_000, [1; 4], [1; 4]);
        let entry = ledger.update(&monitor.latch().expect("latch"));
        assert!(
            matches!(
                entry,
                Entry::Broken {
                    reason: Break::Rounds { .. },
                    reopened: true
                }
            ),
            "{entry:?}"
        );
        assert_eq!(ledger.epoch(), 1);
    }
}

/// A description of the board that comes right after a frame costs nothing.
#[test]
fn another_board_right_after_the_boundary_opens_no_gap() {
    let board = board([rail(10_000_000, Current::from_amps(7))]);
    let handle = Handle::new();
    let mut monitor = handle.monitor(&board);
    let mut ledger = Ledger::new(&board, &SPEC);
    ledger.update(&monitor.init(&coarse()).expect("init"));
    ledger.set_board(&board);
    assert_eq!(ledger.gap().greatest_us, 0);
}
