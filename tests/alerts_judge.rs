//! The comparators in software and those of the part's model agree on identical codes; and frames that mean nothing are not judged.

mod alerts_desk;

use alerts_desk::{CAUSES, Desk, HOLD, LEVELS, LIMITS, SETUP, bits, board};
use crake::old::alert::{Causes, Judge, Kind, Limit, Plan, Station, Watch, Watches};
use crake::old::part::corncrake::{BUS_6_V, BUS_16_V, SENSE_65_MV, SPEC};
use crake::old::units::{Current, Power, Voltage};
use crake::old::{Channel, Condition, Mode, Ranges, Setup, ShuntMonitor};
use proptest::prelude::*;

/// Codes that the rails move around: sense and bus.
const SENSE: i64 = -300;
const BUS: i64 = 20_000;

#[derive(Clone, Debug)]
struct Wish {
    channel: u8,
    kind: Kind,
    /// Codes from the middle.
    offset: i64,
    debounce: u8,
    held: bool,
}

fn wishes() -> impl Strategy<Value = Vec<Wish>> {
    let one = (
        any::<bool>(),
        -2_i64..=2,
        1_u8..=15,
        1_u8..=3,
        any::<bool>(),
    );
    proptest::collection::vec(one, 20).prop_map(|all| {
        all.into_iter()
            .enumerate()
            .filter(|(_, (wanted, ..))| *wanted)
            .map(|(number, (_, offset, long, short, held))| Wish {
                channel: (number / 5) as u8,
                kind: Kind::ALL[number % 5],
                // Over-limits above under-limits, so that something is permitted.
                offset: if Kind::ALL[number % 5].is_over() {
                    offset.abs()
                } else {
                    -offset.abs()
                },
                debounce: if long % 2 == 0 { long } else { short },
                held,
            })
            .collect()
    })
}

/// A round: offsets of sense and bus codes per channel, and the causes that are cleared after it.
type Round = ([(i64, i64); 4], Option<u64>);

fn rounds() -> impl Strategy<Value = Vec<Round>> {
    let rail = (-3_i64..=3, -3_i64..=3);
    let clear = proptest::option::weighted(0.3, 0..=LIMITS);
    // Runs of the same round, so that debounces come to their end.
    let run = (
        proptest::array::uniform4(rail),
        clear,
        prop_oneof![1_usize..3, 10_usize..20],
    );
    proptest::collection::vec(run, 2..8).prop_map(|runs| {
        runs.into_iter()
            .flat_map(|(rails, clear, length)| {
                std::iter::repeat_n((rails, None), length - 1).chain([(rails, clear)])
            })
            .collect()
    })
}

/// 1 Ω: 500 nA and 100 µV a code. Power: the product of codes, times 500 nV × 100 µV ÷ 1 Ω = 0.05 nW.
fn limit(wish: &Wish) -> Limit {
    let voltage = Voltage::from_microvolts((BUS + wish.offset) * 100);
    let current = Current::from_nanoamps((SENSE + wish.offset) * 500);
    match wish.kind {
        Kind::OverVoltage => Limit::OverVoltage(voltage),
        Kind::UnderVoltage => Limit::UnderVoltage(voltage),
        Kind::OverCurrent => Limit::OverCurrent(current),
        Kind::UnderCurrent => Limit::UnderCurrent(current),
        Kind::OverPower => {
            Limit::OverPower(Power::from_nanowatts((SENSE + wish.offset) * BUS / 20))
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]

    #[test]
    fn judge_and_part_agree(wishes in wishes(), rounds in rounds()) {
        let desk = Desk::new();
        let set = |rails: &[(i64, i64); 4]| {
            for (hand, (sense, bus)) in desk.hands.iter().zip(rails) {
                hand.set((SENSE + sense) * 500, (BUS + bus) * 100_000);
            }
        };
        let watches: Vec<Watch> = wishes
            .iter()
            .map(|wish| {
                let watch = Watch::new(Channel::new(wish.channel), limit(wish))
                    .debounce(wish.debounce)
                    .silent();
                if wish.held { watch.held() } else { watch }
            })
            .collect();
        let mut monitor = desk.monitor();
        monitor.init(&SETUP).expect("a part that answers");
        set(&[(0, 0); 4]);
        let mut station: Station<'_, 4, 32> = Station::new(SETUP, Watches::limits(&watches));
        station.arm(&mut monitor).expect("watches that can be");
        // In the rest after a round; what limits made of the rounds since arming is the same for the middle as for the judge.
        desk.next_round();
        let sampling = SETUP.view();
        let plan = Plan::new(&SPEC, board(desk.nanoohms).rails(), &sampling, Watches::limits(&watches))
            .expect("watches that can be");
        prop_assert_eq!(desk.register(HOLD) & LIMITS, bits(plan.held()));

        // One conversion that is within all limits brings both to the same beginning: every count at nothing. The middle may lie on limits, never beyond.
        let mut judge: Judge<4> = Judge::new(&plan);
        prop_assert_eq!((desk.register(LEVELS), desk.register(CAUSES) & LIMITS), (0, 0));

        for (rails, clear) in rounds {
            set(&rails);
            desk.next_round();
            for (channel, (sense, bus)) in Channel::first(4).zip(rails) {
                let (sense, bus) = (SENSE + sense, BUS + bus);
                for kind in Kind::ALL {
                    let code = match kind {
                        Kind::OverVoltage | Kind::UnderVoltage => bus,
                        Kind::OverCurrent | Kind::UnderCurrent => sense,
                        Kind::OverPower => sense * bus,
                    };
                    judge.code(channel, kind, code);
                }
            }
            if let Some(clear) = clear {
                desk.clear(clear);
                judge.clear(Causes::from_bits_retain(clear));
            }
            prop_assert_eq!(desk.register(LEVELS), judge.levels().bits(), "levels");
            prop_assert_eq!(desk.register(CAUSES) & LIMITS, judge.causes().bits(), "causes");
        }
    }
}

static UNDER: [Watch; 2] = [
    Watch::new(
        Channel::C0,
        Limit::UnderVoltage(Voltage::from_millivolts(2_500)),
    )
    .silent(),
    Watch::new(
        Channel::C1,
        Limit::UnderVoltage(Voltage::from_millivolts(2_500)),
    )
    .held()
    .silent(),
];

fn plan(setup: &Setup<4>, judge: impl FnOnce(&Plan<'_>)) {
    let sampling = setup.view();
    let plan = Plan::new(
        &SPEC,
        board(1_000_000_000).rails(),
        &sampling,
        Watches::limits(&UNDER),
    );
    judge(&plan.expect("watches that can be"));
}

/// 3 V on each rail: no under-voltage anywhere. A frame whose results are zeros, because there are none yet, must not say otherwise.
#[test]
fn frames_without_results_are_not_judged() {
    let desk = Desk::new();
    for hand in &desk.hands {
        hand.set(1_000_000, 3_000_000_000);
    }
    let mut monitor = desk.monitor();
    plan(&SETUP, |plan| {
        let mut judge: Judge<4> = Judge::new(plan);
        let frame = monitor.init(&SETUP).expect("a part that answers");
        assert_eq!(frame.condition(), Condition::Boundary);
        judge.frame(&frame);
        assert_eq!(judge.levels(), Causes::empty(), "before the first round");
        desk.next_round();
        judge.frame(&monitor.latch().expect("a part that answers"));
        assert_eq!(judge.levels(), Causes::empty(), "3 V");
        for hand in &desk.hands {
            hand.set(1_000_000, 2_400_000_000);
        }
        desk.next_round();
        judge.frame(&monitor.latch().expect("a part that answers"));
        assert_eq!(judge.levels(), plan.watched(), "2.4 V");
        judge.clear(Causes::all());
        desk.part.brown_out();
        desk.bench.run_for(core::time::Duration::from_millis(2));
        let frame = monitor.latch().expect("a part that answers");
        assert_eq!(frame.condition(), Condition::Reset);
        judge.frame(&frame);
        assert_eq!(judge.causes(), Causes::empty(), "after a reset");
        monitor.declare_powered(false);
        judge.frame(&monitor.latch().expect("no transfer is made"));
        assert_eq!(judge.causes(), Causes::empty(), "without supply");
    });
}

/// The frame at which a set-up takes over is described by the one before: 3 V are code 30 000 there and 12 000 in the new range, whose limit of 2.5 V is code 10 000; the other way round, the old
/// range's code would be too low for the new limit.
#[test]
fn codes_of_other_ranges_are_not_judged() {
    let ranges = |bus| {
        Setup::all(
            Ranges {
                sense: SENSE_65_MV,
                bus,
            },
            SETUP.mode,
        )
    };
    let desk = Desk::new();
    for hand in &desk.hands {
        hand.set(1_000_000, 3_000_000_000);
    }
    let mut monitor = desk.monitor();
    monitor
        .init(&ranges(BUS_16_V))
        .expect("a part that answers");
    desk.next_round();
    let setup = ranges(BUS_6_V);
    plan(&setup, |plan| {
        let mut judge: Judge<4> = Judge::new(plan);
        let frame = monitor.configure(&setup).expect("a part that answers");
        assert_eq!(frame.codes(Channel::C0).bus, 12_000);
        judge.frame(&frame);
        assert_eq!(judge.causes(), Causes::empty());
    });
}

/// Section 3.6: a channel that is not enabled has no levels; held causes stay, and a following cause equals its level.
#[test]
fn a_channel_that_is_switched_off_keeps_held_causes_alone() {
    let desk = Desk::new();
    let mut monitor = desk.monitor();
    monitor.init(&SETUP).expect("a part that answers");
    desk.next_round();
    plan(&SETUP, |plan| {
        let mut judge: Judge<4> = Judge::new(plan);
        judge.frame(&monitor.latch().expect("a part that answers"));
        assert_eq!(judge.causes(), plan.watched(), "0 V on every rail");
        let off = SETUP.with(Channel::C0, None).with(Channel::C1, None);
        monitor.configure(&off).expect("a part that answers");
        desk.bench.run_for(core::time::Duration::from_millis(10));
        judge.frame(&monitor.latch().expect("a part that answers"));
        assert_eq!(judge.levels(), Causes::empty());
        assert_eq!(judge.causes(), plan.held());
    });
}

#[test]
fn idle_is_no_reason_to_judge_anything() {
    let desk = Desk::new();
    let mut monitor = desk.monitor();
    let idle = Setup {
        mode: Mode::Idle,
        ..SETUP
    };
    monitor.init(&idle).expect("a part that answers");
    plan(&idle, |plan| {
        let mut judge: Judge<4> = Judge::new(plan);
        judge.frame(&monitor.latch().expect("a part that answers"));
        assert_eq!(judge.causes(), Causes::empty());
    });
}
