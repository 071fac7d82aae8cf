//! A restart of the firmware loses no count: save, load, attach, update.

use crate::stub::{Handle, World, board, coarse, rail};
use crake::old::board::Board;
use crake::old::ledger::{Break, CheckpointError, Entry, Gap, Ledger};
use crake::old::part::{Joint, Spec, corncrake::SPEC};
use crake::old::units::{Current, Tolerance};
use crake::old::{Came, Channel, Condition, Fault, ShuntMonitor};

const LEN: usize = Ledger::<2>::CHECKPOINT_LEN;

fn two_rails() -> Board<2> {
    let rail = |milliohms: u64| rail(milliohms * 1_000_000, Current::from_amps(7));
    board([rail(10), rail(25)]).with_serial(4711)
}

/// Two seconds of a part that has run for a while, and what was saved then.
fn saved(handle: &Handle, board: &Board<2>) -> [u8; LEN] {
    let mut monitor = handle.monitor(board);
    let mut ledger = Ledger::new(board, &SPEC);
    ledger.update(&monitor.init(&coarse()).expect("init"));
    for _ in 0..2 {
        handle.run(2_000, 1_000_000, [1_234; 4], [12_000; 4]);
        assert_eq!(
            ledger.update(&monitor.latch().expect("latch")),
            Entry::Added
        );
    }
    let mut bytes = [0xA5; LEN];
    assert_eq!(ledger.save(&monitor.joint(), &mut bytes), Ok(LEN));
    bytes
}

/// Goal: every round before, during and after a restart of the firmware counts.
#[test]
fn nothing_is_lost_by_a_restart() {
    let board = two_rails();
    let handle = Handle::new();
    let bytes = saved(&handle, &board);
    handle.run(5_000, 2_500_000, [-777; 4], [13_000; 4]);
    let (mut ledger, joint) = Ledger::load(&board, &SPEC, &bytes).expect("whole");
    let mut monitor = handle.monitor(&board);
    let frame = monitor.attach(&joint).expect("attach");
    assert_eq!(frame.condition(), Condition::Steady);
    assert_eq!(ledger.update(&frame), Entry::Added);
    assert_eq!((ledger.epoch(), ledger.gap()), (0, Gap::default()));
    handle.run(2_000, 1_000_000, [500; 4], [12_000; 4]);
    assert_eq!(
        ledger.update(&monitor.latch().expect("latch")),
        Entry::Added
    );

    // By the part's clock: all rounds × codes × 0.5 µV ÷ 10 mΩ × 0.5 ms = codes × 25 nC.
    let codes = 4_000 * 1_234 - 5_000 * 777 + 2_000 * 500;
    let account = ledger.account(Channel::C0).expect("a rail");
    assert_eq!(account.charge_by_part_clock.as_nanocoulombs(), codes * 25);
    let watts = 4_000 * 1_234 * 12_000 - 5_000 * 777 * 13_000 + 2_000 * 500 * 12_000_i128;
    // × 1 mV.
    assert_eq!(
        account.energy_by_part_clock.as_nanojoules(),
        watts * 25 / 1_000
    );
}

/// Goal: the host's clock starts at zero again, and somebody (a real-time clock) knows to 0.2 s how long it was off: no epoch ends, and the bound still holds the truth.
#[test]
fn a_clock_that_began_anew_widens_the_bound() {
    let board = two_rails();
    // True time since the last frame, and what is known of it: too short, right, too long.
    for off in [
        (8_000_000, 8_200_000),
        (7_900_000, 8_100_000),
        (7_800_000, 8_000_000),
    ] {
        let handle = Handle::new();
        let bytes = saved(&handle, &board);
        let before = Ledger::load(&board, &SPEC, &bytes)
            .expect("whole")
            .0
            .account(Channel::C0)
            .expect("a rail");
        handle.run(16_000, 0, [1_000; 4], [12_000; 4]);
        handle.change(|world| world.now_us = 77);
        let (mut ledger, joint) = Ledger::load(&board, &SPEC, &bytes).expect("whole");
        ledger.clock_restarted(
            77,
            Some(Gap {
                least_us: off.0,
                greatest_us: off.1,
            }),
        );
        let mut monitor = handle.monitor(&board);
        assert_eq!(
            ledger.update(&monitor.attach(&joint).expect("attach")),
            Entry::Added
        );
        handle.run(2_000, 1_000_000, [1_000; 4], [12_000; 4]);
        assert_eq!(
            ledger.update(&monitor.latch().expect("latch")),
            Entry::Added
        );
        assert_eq!((ledger.epoch(), ledger.gap()), (0, Gap::default()));

        let account = ledger.account(Channel::C0).expect("a rail");
        // 2 s of 1234, 9 s of 1000 codes of 50 µA, 25 nC a round: what truly flowed, but for the microseconds that writes and waits take.
        let truth = (4_000 * 1_234 + 18_000 * 1_000) * 25;
        let (charge, bound) = (account.charge.as_nanocoulombs(), account.charge_bound);
        assert!(
            (charge - truth).abs() <= bound.clock.as_nanocoulombs(),
            "{off:?}: {charge}, truly {truth}, {bound:?}"
        );
        // 0.2 s at 7 A, at each end of what is not known twice at most; and no more than that.
        let grown = bound.clock.as_nanocoulombs() - before.charge_bound.clock.as_nanocoulombs();
        assert!((1_400_000_000..4_000_000_000).contains(&grown), "{grown}");
        // The next moment is on the new clock.
        let now_us = handle.change(|world| world.now_us);
        let safe_us = ledger.next_read_by_us().expect("paced") - now_us;
        assert!(
            (32_000_000_000..33_554_432_000).contains(&safe_us),
            "{safe_us}"
        );
    }
}

/// Goal: also where the restart falls between a boundary and the first frame after it, and more than once.
#[test]
fn restarts_add_up() {
    let board = two_rails();
    let handle = Handle::new();
    let bytes = saved(&handle, &board);
    let (mut ledger, mut joint) = Ledger::load(&board, &SPEC, &bytes).expect("whole");
    for restart in 1..5_u64 {
        // The clock may also jump far ahead.
        let now_us = restart * restart * 1_000_000_000_000 % 7_777_777;
        handle.run(4_000, 0, [1_000; 4], [12_000; 4]);
        handle.change(|world| world.now_us = now_us);
        ledger.clock_restarted(
            now_us,
            Some(Gap {
                least_us: 2_000_000,
                greatest_us: 2_000_100,
            }),
        );
        let mut monitor = handle.monitor(&board);
        assert_eq!(
            ledger.update(&monitor.attach(&joint).expect("attach")),
            Entry::Added
        );
        assert_eq!(
            ledger.update(&monitor.configure(&coarse()).expect("configure")),
            Entry::Turned
        );
        let mut bytes = [0; LEN];
        ledger.save(&monitor.joint(), &mut bytes).expect("room");
        (ledger, joint) = Ledger::load(&board, &SPEC, &bytes).expect("whole");
    }
    let duration_us = ledger.account(Channel::C0).expect("a rail").duration_us;
    assert!(
        (10_000_000..10_010_000).contains(&duration_us),
        "{duration_us}"
    );
    assert_eq!(ledger.epoch(), 0);
}

#[test]
fn a_clock_of_which_nothing_is_known_ends_the_epoch() {
    let board = two_rails();
    let handle = Handle::new();
    let bytes = saved(&handle, &board);
    let (mut ledger, joint) = Ledger::load(&board, &SPEC, &bytes).expect("whole");
    let before = ledger.account(Channel::C0);
    handle.change(|world| world.now_us = 0);
    assert_eq!(ledger.clock_restarted(0, None), Some(Break::Clock));
    let mut monitor = handle.monitor(&board);
    assert_eq!(
        ledger.update(&monitor.attach(&joint).expect("attach")),
        Entry::Opened
    );
    assert_eq!((ledger.epoch(), ledger.account(Channel::C0)), (1, before));
    assert_eq!(ledger.gap().greatest_us, u64::MAX);
    // An empty ledger has nothing to lose.
    let mut empty = Ledger::new(&board, &SPEC);
    assert_eq!(empty.clock_restarted(0, None), None);
    assert_eq!((empty.epoch(), empty.gap()), (0, Gap::default()));
}

/// The part is another, was reset, or was written to: joining is refused, and the part is as it was.
#[test]
fn what_is_not_the_part_that_was_left_is_not_joined() {
    let board = two_rails();
    type Spoil<'a> = &'a dyn Fn(&mut World);
    let spoils: [(Spoil<'_>, Fault); 3] = [
        (&World::reset, Fault::ResetSeen),
        (
            &|world| {
                world.serial += 1;
                world.write(0x03, &[99, 98])
            },
            Fault::SetUpChanged {
                expected: 5,
                got: 6,
            },
        ),
        (
            &|world| world.identity[3] = 2,
            Fault::Identity {
                expected: 0x9E37_C401,
                got: 0x9E37_C402,
            },
        ),
    ];
    for (spoil, fault) in spoils {
        let handle = Handle::new();
        let bytes = saved(&handle, &board);
        let (_, joint) = Ledger::load(&board, &SPEC, &bytes).expect("whole");
        handle.change(spoil);
        let before = handle.change(|world| (world.serial, world.latched_us, world.active));
        let came = handle
            .monitor(&board)
            .attach(&joint)
            .expect_err("refused")
            .came;
        assert_eq!(came, Came::Fault(fault));
        assert_eq!(
            handle.change(|world| (world.serial, world.latched_us, world.active)),
            before
        );
    }
}

#[test]
fn every_flipped_bit_and_every_other_length_is_refused() {
    let board = two_rails();
    let bytes = saved(&Handle::new(), &board);
    assert!(Ledger::load(&board, &SPEC, &bytes).is_ok());
    for bit in 0..8 * LEN {
        let mut bytes = bytes;
        bytes[bit / 8] ^= 1 << (bit % 8);
        assert!(Ledger::load(&board, &SPEC, &bytes).is_err(), "bit {bit}");
    }
    for len in 0..LEN {
        assert!(
            Ledger::load(&board, &SPEC, &bytes[..len]).is_err(),
            "{len} bytes"
        );
        let mut short = vec![0; len];
        let error = CheckpointError::Length {
            expected: LEN,
            got: len,
        };
        assert_eq!(
            Ledger::new(&board, &SPEC).save(&Joint { serial: 0 }, &mut short),
            Err(error)
        );
        assert!(short.iter().all(|byte| *byte == 0));
    }
    let longer = [&bytes[..], &[0]].concat();
    let error = CheckpointError::Length {
        expected: LEN,
        got: LEN + 1,
    };
    assert_eq!(Ledger::load(&board, &SPEC, &longer).err(), Some(error));
    assert_eq!(
        Ledger::load(&board, &SPEC, &[0xFF; LEN]).err(),
        Some(CheckpointError::Version(0xFF))
    );
    let mut torn = bytes;
    torn[LEN / 2..].fill(0xFF);
    assert_eq!(
        Ledger::load(&board, &SPEC, &torn).err(),
        Some(CheckpointError::Corrupt)
    );
}

#[test]
fn what_belongs_elsewhere_is_refused_by_name() {
    static OTHER: Spec = Spec {
        name: "other",
        ..SPEC
    };
    let plain = two_rails();
    let bytes = saved(&Handle::new(), &plain);
    let load = |board: &Board<2>, spec| Ledger::load(board, spec, &bytes).err();
    assert_eq!(load(&plain, &OTHER), Some(CheckpointError::Part));
    assert_eq!(
        load(&plain.with_serial(1), &SPEC),
        Some(CheckpointError::Board(4711))
    );
    let corrected = plain
        .corrected(&SPEC, Channel::C0, crake::old::board::Correction::NONE)
        .expect("small");
    assert_eq!(load(&corrected, &SPEC), Some(CheckpointError::Revision(0)));
    let three = board([*plain.rails().first().expect("two"); 3])
        .with_serial(4711)
        .with_clock(Tolerance::ZERO);
    assert_eq!(
        Ledger::load(&three, &SPEC, &bytes).err(),
        Some(CheckpointError::Rails(2))
    );
    let mut newer = bytes;
    newer[1] += 1;
    assert_eq!(
        Ledger::load(&plain, &SPEC, &newer).err(),
        Some(CheckpointError::Version(3))
    );
}
