//! A restart of the firmware loses no count: save, load, resume, update.

use crate::stub::{Stub, board, rail};
use crake::Channel;
use crake::board::{Board, Correction, Gain, Load, Rail};
use crake::part::ResumeToken;
use crake::part::corncrake::INFO;
use crake::totals::{Bounds, CheckpointError, Discontinuity, Gap, Margins, Totals, Update};
use crake::units::Current;
use proptest::prelude::*;

type Bounded<'b> = Totals<'b, 2, Bounds<'b, 2>>;

const LEN: usize = Bounded::CHECKPOINT_LEN;
/// Version, serial number and digest of the board, and the token.
const HEAD: usize = 20;
const LOAD: Load = Load::smooth(Current::from_amps(7));
const RAILS: [Rail; 2] = [
    rail(10_000_000).with_load(LOAD),
    rail(25_000_000).with_load(LOAD),
];
static BOARD: Board<2> = board(RAILS).with_serial(4711);
static MARGINS: Margins<'static, 2> = Margins::new(&INFO, &BOARD, &RAILS);
/// What the part's monitor would tell of its first configuration.
const TOKEN: ResumeToken = ResumeToken {
    writes: 5,
    configuration: ResumeToken::KEPT | 1,
};

/// Two seconds of a part that has run for a while, and what was saved then.
fn saved() -> (Stub<2>, Bounded<'static>, [u8; LEN]) {
    let mut stub = Stub::new(BOARD);
    let mut totals = Totals::with_bounds(&MARGINS);
    totals.update(&stub);
    for _ in 0..2 {
        stub.run(2_000, 1_000_000, [1_234; 2], [12_000; 2]);
        assert_eq!(totals.update(&stub), Update::Continued);
    }
    let mut bytes = [0xA5; LEN];
    assert_eq!(totals.save(TOKEN, &mut bytes), Ok(()));
    (stub, totals, bytes)
}

/// New totals with these bytes, and a monitor that resumed.
fn restarted(stub: &mut Stub<2>, bytes: &[u8]) -> Bounded<'static> {
    let mut totals = Totals::with_bounds(&MARGINS);
    let token = totals.load(bytes).expect("whole");
    assert_eq!(token, TOKEN);
    (stub.configuration, stub.clipped_samples) = (token.configuration, 0);
    totals
}

/// All that totals tell.
fn told(totals: &Bounded<'_>) -> String {
    let rails = [Channel::C0, Channel::C1].map(|rail| (totals.charge(rail), totals.energy(rail)));
    let times = (totals.counted_us(), totals.part_clock_us(), totals.gap());
    let moment = totals.next_sample_by_us();
    format!("{rails:?} {times:?} {} {moment:?}", totals.epoch())
}

/// Goal: every scan before, during and after a restart of the firmware counts, and neither total
/// nor bound differ from what they would have been without.
#[test]
fn nothing_is_lost_by_a_restart() {
    let (mut stub, mut twin, bytes) = saved();
    stub.run(5_000, 2_500_000, [-777; 2], [13_000; 2]);
    assert_eq!(twin.update(&stub), Update::Continued);
    let mut totals = restarted(&mut stub, &bytes);
    assert_eq!(totals.update(&stub), Update::Continued);
    assert_eq!(told(&totals), told(&twin));
    assert_eq!((totals.epoch(), totals.gap()), (0, Gap::NONE));
    // Mean of the codes × 0.5 µV ÷ 10 mΩ × 4.5 s: 9 000 scans of 500 µs.
    let codes = 4_000 * 1_234 - 5_000 * 777;
    let charge = totals.charge(Channel::C0).expect("a rail").value;
    assert_eq!(charge.as_nanocoulombs(), codes * 25);
    // × 1 mV.
    let watts = 4_000 * 1_234 * 12_000 - 5_000 * 777 * 13_000_i128;
    let energy = totals.energy(Channel::C0).expect("a rail").value;
    assert_eq!(energy.as_nanojoules(), watts * 25 / 1_000);
    // What was saved of the one can be saved of the other, and goes on as well.
    stub.run(2_000, 1_000_000, [500; 2], [12_000; 2]);
    totals.save(TOKEN, &mut [0; LEN]).expect("room");
    assert_eq!(totals.update(&stub), Update::Continued);
}

/// Goal: what ended is kept to its last word: an energy below zero, and a bound of kilojoules.
#[test]
fn what_has_ended_is_kept_whole() {
    let (mut stub, mut totals, _) = saved();
    let mut plain = Totals::new(&BOARD);
    plain.update(&stub);
    stub.run(2_000, 1_000_000, [-9_000; 2], [12_000; 2]);
    assert_eq!(plain.update(&stub), Update::Continued);
    assert_eq!(totals.update(&stub), Update::Continued);
    plain.unpowered();
    let mut bytes = [0; Totals::<2>::CHECKPOINT_LEN];
    plain.save(TOKEN, &mut bytes).expect("room");
    let mut loaded = Totals::new(&BOARD);
    loaded.load(&bytes).expect("whole");
    // -4.5 mV over 25 mΩ at 12 V, for a second.
    let energy = loaded.energy(Channel::C1).expect("a rail").value;
    assert_eq!(energy.as_nanojoules(), -2_160_000_000);
    assert_eq!(loaded.energy(Channel::C0), plain.energy(Channel::C0));

    // 7 A at up to 65 V for as long as nobody knows.
    let since = Gap {
        least_us: 0,
        greatest_us: 60_000_000,
    };
    totals.clock_restarted(stub.now_us, Some(since));
    stub.run(60_000, 30_000_000, [1_000; 2], [12_000; 2]);
    assert_eq!(totals.update(&stub), Update::Continued);
    totals.unpowered();
    let bound = totals.energy(Channel::C1).expect("a rail").bound;
    assert!(bound.as_nanojoules() > 1_000_000_000_000, "{bound}");
    let mut bytes = [0; LEN];
    totals.save(TOKEN, &mut bytes).expect("room");
    let mut loaded: Bounded<'_> = Totals::with_bounds(&MARGINS);
    loaded.load(&bytes).expect("whole");
    assert_eq!(told(&loaded), told(&totals));
}

/// Goal: totals whose last stretch has ended, and those that never began, are kept as well.
#[test]
fn what_does_not_count_is_kept() {
    let (mut stub, mut totals, _) = saved();
    totals.unpowered();
    let mut empty: Bounded<'_> = Totals::with_bounds(&MARGINS);
    for kept in [&mut totals, &mut empty] {
        let mut bytes = [0; LEN];
        kept.save(TOKEN, &mut bytes).expect("room");
        let mut loaded = restarted(&mut stub, &bytes);
        assert_eq!(told(&loaded), told(kept));
        assert_eq!(loaded.update(&stub), Update::First);
    }
}

/// Goal: where the monitor did not resume, the part's counts are not taken for those that were
/// saved, whatever number the new configuration has; the time since is a gap.
#[test]
fn another_configuration_is_a_discontinuity() {
    // After the new monitor's first `init`, and after a change that the token tells of.
    for configuration in [1, ResumeToken::KEPT | 2] {
        let (mut stub, _, bytes) = saved();
        let mut totals = restarted(&mut stub, &bytes);
        stub.configuration = configuration;
        stub.run(5_000, 2_500_000, [-777; 2], [13_000; 2]);
        let update = totals.update(&stub);
        assert_eq!(update, Update::Discontinuity(Discontinuity::Configured));
        let charge = totals.charge(Channel::C0).expect("a rail").value;
        assert_eq!(charge.as_nanocoulombs(), 4_000 * 1_234 * 25);
        // 2.5 s, less and more by a bracket, and by the clock's 100 ppm.
        let gap = totals.gap();
        assert!((2_499_600..2_499_900).contains(&gap.least_us), "{gap:?}");
        assert!((2_500_100..2_500_400).contains(&gap.greatest_us), "{gap:?}");
        assert_eq!(totals.epoch(), 1);
    }
}

/// Goal: the host's clock starts at zero again, and somebody (a real-time clock) knows to 0.2 s how
/// long ago the last sample was: no epoch ends, and the bound still holds the truth.
#[test]
fn a_clock_that_began_anew_widens_the_bound() {
    // True time since the last sample is 8 s; what is known of it: too short, right, too long.
    for (least_us, greatest_us) in [
        (8_000_000, 8_200_000),
        (7_900_000, 8_100_000),
        (7_800_000, 8_000_000),
    ] {
        let (mut stub, before, bytes) = saved();
        let before = before.charge(Channel::C0).expect("a rail").bound;
        let mut totals = restarted(&mut stub, &bytes);
        stub.run(16_000, 0, [1_000; 2], [12_000; 2]);
        (stub.now_us, stub.width_us) = (77, 100);
        let since = Gap {
            least_us,
            greatest_us,
        };
        totals.clock_restarted(77, Some(since));
        assert_eq!(totals.update(&stub), Update::Continued);
        stub.run(2_000, 1_000_000, [1_000; 2], [12_000; 2]);
        assert_eq!(totals.update(&stub), Update::Continued);
        assert_eq!((totals.epoch(), totals.gap()), (0, Gap::NONE));
        // 2 s of 1234, 9 s of 1000 codes of 50 µA, 25 nC a scan.
        let truth = (4_000 * 1_234 + 18_000 * 1_000) * 25;
        let total = totals.charge(Channel::C0).expect("a rail");
        let off = (total.value.as_nanocoulombs() - truth).abs();
        let bound = total.bound.as_nanocoulombs();
        assert!(off <= bound, "{since:?}: {off} of {bound}");
        // 0.2 s at 7 A, and what 9 s more at 0.05 A leave open: 9 s × 1 mA of offset, 0.2 %.
        let grown = bound - before.as_nanocoulombs();
        assert!((1_400_000_000..1_500_000_000).contains(&grown), "{grown}");
        // The next moment is on the new clock.
        let safe_us = totals.next_sample_by_us().expect("it counts") - stub.now_us;
        assert!(
            (32_000_000_000..33_554_432_000).contains(&safe_us),
            "{safe_us}"
        );
    }
}

/// Goal: restarts add up, with the clock anywhere.
#[test]
fn restarts_add_up() {
    let (mut stub, _, mut bytes) = saved();
    for restart in 1..5_u64 {
        let mut totals = restarted(&mut stub, &bytes);
        stub.run(4_000, 0, [1_000; 2], [12_000; 2]);
        stub.now_us = restart * restart * 1_000_000_000_000 % 7_777_777;
        let since = Gap {
            least_us: 2_000_000,
            greatest_us: 2_000_100,
        };
        totals.clock_restarted(stub.now_us, Some(since));
        assert_eq!(totals.update(&stub), Update::Continued);
        totals.save(TOKEN, &mut bytes).expect("room");
    }
    let totals = restarted(&mut stub, &bytes);
    let counted_us = totals.counted_us();
    assert!(
        (9_999_000..10_001_000).contains(&counted_us),
        "{counted_us}"
    );
    assert_eq!((totals.epoch(), totals.gap()), (0, Gap::NONE));
}

/// Goal: of a clock of which nothing is known the gap is open-ended, and told so.
#[test]
fn a_clock_of_which_nothing_is_known_ends_the_epoch() {
    let wide = Gap {
        least_us: 0,
        greatest_us: 1 << 32,
    };
    for since in [None, Some(wide)] {
        let (mut stub, before, bytes) = saved();
        let mut totals = restarted(&mut stub, &bytes);
        stub.now_us = 0;
        totals.clock_restarted(0, since);
        assert_eq!(totals.update(&stub), Update::First);
        assert_eq!(totals.epoch(), 1);
        assert_eq!(totals.gap().greatest_us, u64::MAX);
        assert_eq!(totals.charge(Channel::C1), before.charge(Channel::C1));
        // Empty totals have nothing to lose.
        let mut empty: Bounded<'_> = Totals::with_bounds(&MARGINS);
        empty.clock_restarted(0, since);
        assert_eq!((empty.epoch(), empty.gap()), (0, Gap::NONE));
    }
}

/// A record that was torn, flipped or cut is refused, and what was there stays.
#[test]
fn every_flipped_bit_and_every_other_length_is_refused() {
    let (_, mut totals, bytes) = saved();
    let before = told(&totals);
    for bit in 0..8 * LEN {
        let mut bytes = bytes;
        bytes[bit / 8] ^= 1 << (bit % 8);
        assert_eq!(
            totals.load(&bytes),
            Err(CheckpointError::Corrupt),
            "bit {bit}"
        );
    }
    let longer = [&bytes[..], &[0]].concat();
    for len in (0..LEN).chain([LEN + 1]) {
        assert_eq!(totals.load(&longer[..len]), Err(CheckpointError::Length));
        let mut room = vec![0; len];
        assert_eq!(totals.save(TOKEN, &mut room), Err(CheckpointError::Length));
        assert!(room.iter().all(|byte| *byte == 0));
    }
    for torn in [[0xFF; LEN], [0; LEN]] {
        assert_eq!(totals.load(&torn), Err(CheckpointError::Corrupt));
    }
    assert_eq!(told(&totals), before);
    // Totals without bounds have a record of their own.
    let mut plain = Totals::new(&BOARD);
    assert_eq!(plain.load(&bytes), Err(CheckpointError::Length));
}

/// A record of another board, or of this one before it was corrected, is refused.
#[test]
fn what_belongs_elsewhere_is_refused() {
    let (_, _, bytes) = saved();
    let corrected = |gain: i32| Correction {
        gain: Gain::from_bits((1 << 30) + gain),
        ..Correction::NONE
    };
    let offset = Correction {
        offset: crake::board::Offset::from_bits(256),
        ..Correction::NONE
    };
    for other in [
        BOARD.with_serial(1),
        BOARD.corrected(Channel::C1, &corrected(64)),
        BOARD.corrected(Channel::C0, &offset),
        board([rail(10_000_000), rail(24_000_000)]).with_serial(4711),
    ] {
        let margins = Margins::new(&INFO, &other, &RAILS);
        let mut totals: Bounded<'_> = Totals::with_bounds(&margins);
        assert_eq!(totals.load(&bytes), Err(CheckpointError::Board));
    }
    let same = board(RAILS).with_serial(4711);
    let margins = Margins::new(&INFO, &same, &RAILS);
    let mut totals: Bounded<'_> = Totals::with_bounds(&margins);
    assert_eq!(totals.load(&bytes), Ok(TOKEN));
}

/// A record of a later version of the format, with a check value that fits.
#[test]
fn another_version_is_refused() {
    let (_, mut totals, mut bytes) = saved();
    bytes[3] += 1;
    check(&mut bytes);
    assert_eq!(totals.load(&bytes), Err(CheckpointError::Version));
}

/// Puts the check value that fits: CRC-16/GENIBUS, by a second library.
fn check(bytes: &mut [u8; LEN]) {
    let len = LEN - 4;
    let crc = crc::Crc::<u16>::new(&crc::CRC_16_GENIBUS).checksum(&bytes[..len]);
    let [low, high] = crc.to_le_bytes();
    bytes[len..].copy_from_slice(&[low, high, !low, !high]);
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 2_000,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    /// Anything at all behind a right head, with a check value that fits: nothing panics or
    /// overflows, whatever samples come then.
    #[test]
    fn nonsense_that_is_whole_ends_in_no_panic(
        noise in proptest::collection::vec(any::<u8>(), LEN - HEAD..LEN - HEAD + 1),
        zeros in 0..=LEN - HEAD,
        began in proptest::option::of((any::<u64>(), any::<u32>(), any::<u32>())),
        us in proptest::collection::vec(1..4_000_000_000_u64, 1..6),
    ) {
        let (mut stub, mut totals, mut bytes) = saved();
        bytes[HEAD..].copy_from_slice(&noise);
        bytes[HEAD..HEAD + zeros].fill(0);
        check(&mut bytes);
        prop_assert!(totals.load(&bytes).is_ok());
        let _ = told(&totals);
        if let Some((now_us, least, more)) = began {
            let (least_us, more) = (u64::from(least), u64::from(more));
            let since = Gap { least_us, greatest_us: least_us + more };
            totals.clock_restarted(now_us, Some(since));
        }
        for us in us {
            stub.run(us / 500, us, [1_234, -5], [12_000; 2]);
            totals.update(&stub);
            let _ = told(&totals);
        }
        let _ = (totals.save(TOKEN, &mut bytes), told(&totals));
    }
}
