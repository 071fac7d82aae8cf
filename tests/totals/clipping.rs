//! What went over range makes totals limits, or nothing.

use crate::stub::{Stub, board, rail};
use crake::board::{Board, Load};
use crake::totals::{Totals, Update};
use crake::units::Current;
use crake::{Channel, Saturation};

use Saturation::{AtLeast, None as Near, Unknown};

/// A rail with current from source to load alone, and one with current both ways.
fn two_ways() -> Board<2> {
    let load = Load::smooth(Current::from_amps(6));
    board([
        rail(10_000_000).with_load(load),
        rail(10_000_000).with_load(load.both_ways()),
    ])
}

fn run(stub: &mut Stub<2>) {
    stub.run(2_000, 1_000_000, [1_000; 2], [5_000; 2]);
}

fn saturations(totals: &Totals<'_, 2>) -> [[Saturation; 2]; 2] {
    [Channel::C0, Channel::C1].map(|channel| {
        [
            totals.charge(channel).expect("a rail").saturation,
            totals.energy(channel).expect("a rail").saturation,
        ]
    })
}

/// A clipped sense code concerns both totals, a clipped rail code the energy; and it does for good.
#[test]
fn what_a_clipped_code_concerns() {
    let cases = [
        (
            [(true, false), (false, false)],
            [[AtLeast, AtLeast], [Near, Near]],
        ),
        (
            [(false, true), (false, false)],
            [[Near, AtLeast], [Near, Near]],
        ),
        (
            [(false, false), (true, false)],
            [[Near, Near], [Unknown, Unknown]],
        ),
        (
            [(false, false), (false, true)],
            [[Near, Near], [Near, Unknown]],
        ),
        (
            [(true, true), (true, true)],
            [[AtLeast, AtLeast], [Unknown, Unknown]],
        ),
    ];
    let board = two_ways();
    for (clipped, expected) in cases {
        let mut stub = Stub::new(board);
        let mut totals = Totals::new(&board);
        totals.update(&stub);
        run(&mut stub);
        assert_eq!(totals.update(&stub), Update::Continued);
        assert_eq!(saturations(&totals), [[Near; 2]; 2]);
        run(&mut stub);
        stub.clip(clipped);
        assert_eq!(totals.update(&stub), Update::Clipped);
        assert_eq!(saturations(&totals), expected, "{clipped:?}");
        // Its counts are added all the same.
        assert_eq!(
            totals
                .charge(Channel::C0)
                .expect("a rail")
                .value
                .as_nanocoulombs(),
            100_000_000
        );
        run(&mut stub);
        for codes in &mut stub.codes {
            (codes.sense_clipped, codes.rail_clipped) = (false, false);
        }
        assert_eq!(totals.update(&stub), Update::Continued);
        stub.configure(0, [Some((0, 0)); 2]);
        totals.update(&stub);
        assert_eq!(saturations(&totals), expected, "{clipped:?}");
    }
}

/// Goal: a clipped sample that was not given is noticed, whatever the next one shows.
#[test]
fn clipped_samples_that_were_not_given() {
    let board = two_ways();
    for (missed, clipped_now) in [(1, false), (1, true), (2, false), (1 << 31, true)] {
        let mut stub = Stub::new(board);
        let mut totals = Totals::new(&board);
        totals.update(&stub);
        run(&mut stub);
        totals.update(&stub);
        run(&mut stub);
        stub.clipped_samples += missed;
        if clipped_now {
            stub.clip([(true, false), (false, false)]);
        }
        assert_eq!(totals.update(&stub), Update::Clipped);
        assert_eq!(
            saturations(&totals),
            [[AtLeast; 2], [Unknown; 2]],
            "{missed} {clipped_now}"
        );
    }
}

/// What went over range before the first sample, or in a gap, is in no total.
#[test]
fn clipping_before_a_stretch_does_not_count() {
    let board = two_ways();
    let mut stub = Stub::new(board);
    let mut totals = Totals::new(&board);
    stub.clip([(true, true); 2]);
    stub.clipped_samples += 5;
    assert_eq!(totals.update(&stub), Update::First);
    run(&mut stub);
    assert_eq!(totals.update(&stub), Update::Continued);
    run(&mut stub);
    stub.clip([(true, true); 2]);
    stub.configure(0, [Some((0, 0)); 2]);
    totals.update(&stub);
    run(&mut stub);
    assert_eq!(totals.update(&stub), Update::Continued);
    assert_eq!(saturations(&totals), [[Near; 2]; 2]);
}

/// Without a declared load nobody knows which way current flows.
#[test]
fn without_a_declared_load_a_clipped_total_says_nothing() {
    let board = board([rail(10_000_000)]);
    let mut stub = Stub::new(board);
    let mut totals = Totals::new(&board);
    totals.update(&stub);
    stub.run(2_000, 1_000_000, [131_071], [5_000]);
    stub.clip([(true, false)]);
    assert_eq!(totals.update(&stub), Update::Clipped);
    assert_eq!(
        totals.charge(Channel::C0).expect("a rail").saturation,
        Unknown
    );
}
