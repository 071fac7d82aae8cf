//! Discontinuities, and how long nothing was counted.

use crate::stub::{Stub, board, rail};
use crake::config::Run;
use crake::totals::{Discontinuity, Gap, Totals, Update};
use crake::units::Tolerance;
use crake::{Channel, TimedSample};

fn discontinuity(kind: Discontinuity) -> Update {
    Update::Discontinuity(kind)
}

/// One rail of 10 mΩ after two seconds at 1000 codes and 5 V.
fn begun<'b>(board: &'b crake::board::Board<1>) -> (Stub<1>, Totals<'b, 1>) {
    let mut stub = Stub::new(*board);
    let mut totals = Totals::new(board);
    assert_eq!(totals.update(&stub), Update::First);
    for _ in 0..2 {
        stub.run(2_000, 1_000_000, [1_000], [5_000]);
        assert_eq!(totals.update(&stub), Update::Continued);
    }
    (stub, totals)
}

/// Goal: what was counted before stays, to the last bit, whatever happens.
#[test]
fn a_discontinuity_leaves_what_was_counted() {
    type Happens = fn(&mut Stub<1>);
    let happenings: [(Happens, Discontinuity); 4] = [
        (
            |stub| {
                stub.run(100, 50_000, [7], [7]);
                stub.configure(1, [Some((1, 1))]);
            },
            Discontinuity::Configured,
        ),
        (|stub| stub.now_us += 40_000_000_000, Discontinuity::TooLate),
        (|stub| stub.now_us -= 1, Discontinuity::ClockBackwards),
        (
            |stub| stub.run(100, 1_000_000, [7], [7]),
            Discontinuity::Implausible,
        ),
    ];
    let board = board([rail(10_000_000)]);
    for (happens, kind) in happenings {
        let (mut stub, mut totals) = begun(&board);
        let before = (totals.charge(Channel::C0), totals.energy(Channel::C0));
        let counted_us = totals.counted_us();
        happens(&mut stub);
        assert_eq!(totals.update(&stub), discontinuity(kind));
        assert_eq!(
            (totals.charge(Channel::C0), totals.energy(Channel::C0)),
            before
        );
        assert_eq!((totals.epoch(), totals.counted_us()), (1, counted_us));
        // 4000 scans × 1000 codes × 50 µA × 500 µs = 0.1 C, at 5 V 0.5 J.
        let (charge, energy) = (before.0.expect("a rail"), before.1.expect("a rail"));
        assert_eq!(charge.value.as_nanocoulombs(), 100_000_000);
        assert_eq!(energy.value.as_nanojoules(), 500_000_000);
    }
}

/// Goal: the bracket of a gap holds the time between the latches, wherever in their brackets they
/// were, and whatever the clock's rate within its limits; and it is not much longer.
#[test]
fn gaps_are_brackets() {
    for (clock_ppm, us) in [
        (0, 5_000_000),
        (100, 5_000_000),
        (100, 3_000_000_000_000),
        (50_000, 1 << 38),
    ] {
        let board = board([rail(10_000_000)]).with_clock(Tolerance::from_ppm(clock_ppm));
        let (mut stub, mut totals) = begun(&board);
        stub.width_us = 700;
        stub.run(0, us, [0], [0]);
        stub.configure(0, [Some((0, 0))]);
        assert_eq!(
            totals.update(&stub),
            discontinuity(Discontinuity::Configured)
        );
        let gap = totals.gap();
        // The earlier bracket is 100 µs wide. A clock that is fast by e shows too much.
        let e = f64::from(clock_ppm) * 1e-6;
        let (least, greatest) = ((us - 100) as f64 / (1.0 + e), (us + 700) as f64 / (1.0 - e));
        assert!(gap.least_us as f64 <= least, "{gap:?}, {least}");
        assert!(gap.greatest_us as f64 >= greatest, "{gap:?}, {greatest}");
        let width = (gap.greatest_us - gap.least_us) as f64;
        assert!(width <= 805.0 + 2.3 * e * us as f64, "{gap:?}");
    }
}

#[test]
fn gaps_add_up() {
    let board = board([rail(10_000_000)]).with_clock(Tolerance::ZERO);
    let (mut stub, mut totals) = begun(&board);
    for turn in 1..=10 {
        stub.run(0, 1_000_000, [0], [0]);
        stub.configure(0, [Some((0, 0))]);
        totals.update(&stub);
        assert_eq!(totals.epoch(), turn);
        stub.run(2_000, 1_000_000, [0], [0]);
        assert_eq!(totals.update(&stub), Update::Continued);
    }
    let gap = totals.gap();
    assert!((9_998_990..=9_999_000).contains(&gap.least_us), "{gap:?}");
    assert!(
        (10_001_000..=10_001_010).contains(&gap.greatest_us),
        "{gap:?}"
    );
}

/// Goal: a clock that fell says nothing about how long it was. The gap stays open-ended for good.
#[test]
fn a_clock_that_began_anew_leaves_the_gap_open() {
    let board = board([rail(10_000_000)]);
    let (mut stub, mut totals) = begun(&board);
    stub.run(2_000, 0, [1_000], [5_000]);
    stub.now_us = 77;
    assert_eq!(
        totals.update(&stub),
        discontinuity(Discontinuity::ClockBackwards)
    );
    assert_eq!(
        totals.gap(),
        Gap {
            least_us: 0,
            greatest_us: u64::MAX
        }
    );
    stub.run(2_000, 1_000_000, [1_000], [5_000]);
    assert_eq!(totals.update(&stub), Update::Continued);
    stub.run(2_000, 1_000_000, [1_000], [5_000]);
    stub.configure(0, [Some((0, 0))]);
    assert_eq!(
        totals.update(&stub),
        discontinuity(Discontinuity::Configured)
    );
    let gap = totals.gap();
    assert_eq!(gap.greatest_us, u64::MAX);
    assert!((999_000..1_000_000).contains(&gap.least_us));
}

/// Scans that do not fit the time: a part that was reset and set up alike by somebody else, or a
/// clock that stood still. 1.5 % of the oscillator and 100 ppm of the host are within limits, and
/// two scans.
#[test]
fn scans_out_of_step_with_the_clock() {
    let board = board([rail(10_000_000)]);
    // A minute is 120 000 scans; 1.51 % are 1812.
    for (scans, fits) in [
        (120_000, true),
        (118_190, true),
        (121_810, true),
        (117_900, false),
        (122_100, false),
        (60_000, false),
        (180_000, false),
    ] {
        let (mut stub, mut totals) = begun(&board);
        stub.run(scans, 60_000_000, [1], [1]);
        let expected = match fits {
            true => Update::Continued,
            false => discontinuity(Discontinuity::Implausible),
        };
        assert_eq!(totals.update(&stub), expected, "{scans} scans");
    }
}

/// Goal: a wide bracket is no fault: the count may lie anywhere in it.
#[test]
fn a_latch_somewhere_in_a_wide_bracket() {
    let board = board([rail(10_000_000)]);
    for scans in [2_000, 2_100, 2_200] {
        let (mut stub, mut totals) = begun(&board);
        stub.width_us = 100_000;
        stub.run(scans, 1_000_000, [1], [1]);
        assert_eq!(totals.update(&stub), Update::Continued, "{scans} scans");
    }
}

/// Two samples within one scan: the time between them is counted when the scan ends.
#[test]
fn samples_within_one_scan() {
    let board = board([rail(10_000_000)]);
    let mut stub = Stub::new(board);
    stub.configure(4, [Some((0, 0))]);
    let mut totals = Totals::new(&board);
    totals.update(&stub);
    for scans in [0, 0, 1, 0, 1] {
        stub.run(scans, 400_000, [1_000], [5_000]);
        assert_eq!(totals.update(&stub), Update::Continued);
    }
    assert_eq!(totals.counted_us(), 2_000_000);
    // 1000 codes are 50 mA.
    let charge = totals.charge(Channel::C0).expect("a rail").value;
    assert_eq!(charge.as_nanocoulombs(), 100_000_000);
    stub.run(0, 400_000, [0], [0]);
    totals.update(&stub);
    stub.configure(4, [Some((0, 0))]);
    totals.update(&stub);
    // Nothing is lost between counted time and gap.
    assert_eq!((totals.counted_us(), totals.epoch()), (2_000_000, 1));
    assert!((399_000..=400_000).contains(&totals.gap().least_us));
}

/// While the part does not scan by itself its time is a gap; counting begins again with the first
/// sample.
#[test]
fn idle_and_single_shot_are_gaps() {
    let board = board([rail(10_000_000)]).with_clock(Tolerance::ZERO);
    for run in [Run::Idle, Run::SingleShot] {
        let (mut stub, mut totals) = begun(&board);
        let counted_us = totals.counted_us();
        stub.configure(0, [Some((0, 0))]);
        stub.scan.run = run;
        assert_eq!(
            totals.update(&stub),
            discontinuity(Discontinuity::Configured)
        );
        assert_eq!(totals.next_sample_by_us(), None);
        for _ in 0..3 {
            stub.run(1, 1_000_000, [1_000], [5_000]);
            assert_eq!(totals.update(&stub), Update::NotCounting);
        }
        stub.configure(0, [Some((0, 0))]);
        assert_eq!(totals.update(&stub), Update::First);
        let gap = totals.gap();
        assert!(
            gap.least_us <= 3_000_000 && 3_000_000 <= gap.greatest_us,
            "{gap:?}"
        );
        assert!(gap.greatest_us - gap.least_us < 1_000, "{gap:?}");
        assert_eq!((totals.epoch(), totals.counted_us()), (1, counted_us));
    }
}

/// Goal: without supply nothing is due and nothing counts; the time is a gap, declared once.
#[test]
fn unpowered_time_is_a_gap() {
    let board = board([rail(10_000_000)]);
    let (mut stub, mut totals) = begun(&board);
    let before = totals.charge(Channel::C0);
    totals.unpowered();
    totals.unpowered();
    assert_eq!((totals.epoch(), totals.next_sample_by_us()), (1, None));
    stub.reset();
    stub.run(0, 100_000_000_000, [0], [0]);
    stub.configure(0, [Some((0, 0))]);
    assert_eq!(totals.update(&stub), Update::First);
    assert_eq!((totals.epoch(), totals.charge(Channel::C0)), (1, before));
    let gap = totals.gap();
    assert!(gap.least_us < 100_000_000_000 && gap.greatest_us > 100_000_000_000);
    assert!(Totals::new(&board).epoch() == 0);
}

/// The ratio of the two clocks: an oscillator that is 1 % fast counts 1 % more.
#[test]
fn two_clocks() {
    let board = board([rail(10_000_000)]);
    let (mut stub, mut totals) = begun(&board);
    stub.run(202_000, 100_000_000, [1_000], [5_000]);
    totals.update(&stub);
    assert_eq!(totals.counted_us(), 102_000_000);
    assert_eq!(totals.part_clock_us(), 103_000_000);
    // 50 mA by the host's clock, whatever the part's.
    assert_eq!(
        totals
            .charge(Channel::C0)
            .expect("a rail")
            .value
            .as_nanocoulombs(),
        5_100_000_000
    );
    // Closed time counts alike.
    totals.set_board(&board);
    assert_eq!(
        (totals.counted_us(), totals.part_clock_us()),
        (102_000_000, 103_000_000)
    );
}

/// Through a trait object, too.
#[test]
fn a_sample_behind_a_trait_object() {
    let board = board([rail(10_000_000)]);
    let mut stub = Stub::new(board);
    let mut totals = Totals::new(&board);
    totals.update(&stub as &dyn TimedSample<1>);
    stub.run(2_000, 1_000_000, [1_000], [5_000]);
    assert_eq!(
        totals.update(&stub as &dyn TimedSample<1>),
        Update::Continued
    );
    assert_eq!(
        totals
            .charge(Channel::C0)
            .expect("a rail")
            .value
            .as_nanocoulombs(),
        50_000_000
    );
    assert_eq!(totals.charge(Channel::C1), None);
    assert_eq!(totals.energy(Channel::C1), None);
}
