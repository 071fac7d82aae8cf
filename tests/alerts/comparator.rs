//! The comparators in software and those of the part's model agree on identical codes.

use crake::alert::{
    AlertFlags, AlertQueue, Compare, Kind, Limit, Limits, SoftwareComparator, Threshold,
};
use crake::board::LimitPlan;
use crake::config::Scan;
use crake::part::corncrake::INFO;
use crake::units::{Current, Power, Voltage};
use crake::{Channel, ShuntMonitor};
use proptest::prelude::*;

use crate::fixture::{CONDITIONS, CONFIG, Fixture, LATCHING, LIMITS, bits, board};

/// Codes that the rails move around: sense and rail.
const SENSE: i64 = -300;
const RAIL: i64 = 20_000;

#[derive(Clone, Debug)]
struct Wish {
    channel: u8,
    kind: Kind,
    /// Codes from the middle.
    offset: i64,
    debounce: u8,
    latching: bool,
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
            .map(|(number, (_, offset, long, short, latching))| Wish {
                channel: (number / 5) as u8,
                kind: Kind::ALL[number % 5],
                // Over-limits above under-limits, so that something is permitted.
                offset: if Kind::ALL[number % 5].is_over() {
                    offset.abs()
                } else {
                    -offset.abs()
                },
                debounce: if long % 2 == 0 { long } else { short },
                latching,
            })
            .collect()
    })
}

/// A scan: offsets of sense and rail codes per channel, and the flags that are cleared after it.
type OneScan = ([(i64, i64); 4], Option<u64>);

fn scans() -> impl Strategy<Value = Vec<OneScan>> {
    let rail = (-3_i64..=3, -3_i64..=3);
    let clear = proptest::option::weighted(0.3, 0..=LIMITS);
    // Runs of the same scan, so that debounces come to their end.
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

/// 1 Ω: 500 nA and 100 µV a code. Power: the product of codes, times 500 nV × 100 µV ÷ 1 Ω = 0.05
/// nW.
fn threshold(wish: &Wish) -> Threshold {
    let voltage = Voltage::from_microvolts((RAIL + wish.offset) * 100);
    let current = Current::from_nanoamps((SENSE + wish.offset) * 500);
    match wish.kind {
        Kind::OverVoltage => Threshold::OverVoltage(voltage),
        Kind::UnderVoltage => Threshold::UnderVoltage(voltage),
        Kind::OverCurrent => Threshold::OverCurrent(current),
        Kind::UnderCurrent => Threshold::UnderCurrent(current),
        Kind::OverPower => {
            Threshold::OverPower(Power::from_nanowatts((SENSE + wish.offset) * RAIL / 20))
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(150))]

    #[test]
    fn software_and_part_agree(wishes in wishes(), scans in scans()) {
        let fixture = Fixture::new();
        let set = |rails: &[(i64, i64); 4]| {
            for (hand, (sense, rail)) in fixture.hands.iter().zip(rails) {
                hand.set((SENSE + sense) * 500, (RAIL + rail) * 100_000);
            }
        };
        let limits: Vec<Limit> = wishes
            .iter()
            .map(|wish| {
                let limit = Limit::new(Channel::new(wish.channel), threshold(wish))
                    .debounce(wish.debounce)
                    .silent();
                if wish.latching { limit } else { limit.following() }
            })
            .collect();
        let limits = Limits::new(&limits);
        let mut monitor = fixture.monitor();
        monitor.init(&CONFIG).expect("a part that answers");
        set(&[(0, 0); 4]);
        let mut queue: AlertQueue<'_, 32> = AlertQueue::new();
        queue.set_limits(&mut monitor, &limits).expect("limits that can be");
        // In the rest after a scan; what limits made of the scans since is the same for the middle
        // as for software.
        fixture.next_scan();
        let mut scan = Scan::NONE;
        CONFIG.resolve(&INFO, &mut scan).expect("a configuration that can be");
        let plan = LimitPlan::new(&INFO, board(fixture.nanoohms), &scan, &limits);
        prop_assert_eq!(fixture.register(LATCHING) & LIMITS, bits(limits.latching()));

        // One conversion that is within all limits brings both to the same beginning: every count
        // at nothing. The middle may lie on limits, never beyond.
        let mut comparator: SoftwareComparator<4> = SoftwareComparator::new();
        comparator.set_all(&plan);
        prop_assert_eq!((fixture.register(CONDITIONS), fixture.flags()), (0, 0));

        for (rails, clear) in scans {
            set(&rails);
            fixture.next_scan();
            for (channel, (sense, rail)) in Channel::first(4).zip(rails) {
                let (sense, rail) = (SENSE + sense, RAIL + rail);
                let codes = crake::part::Codes {
                    sense: sense as i32,
                    rail: rail as u32,
                    power: sense * rail,
                    ..crake::part::Codes::default()
                };
                comparator.channel(channel, &codes);
            }
            if let Some(clear) = clear {
                fixture.clear(clear);
                comparator.clear(AlertFlags::from_bits_retain(clear));
            }
            let conditions = comparator.conditions().bits();
            prop_assert_eq!(fixture.register(CONDITIONS), conditions, "conditions");
            prop_assert_eq!(fixture.flags(), comparator.flags().bits(), "flags");
        }
    }
}

/// Limits set anew begin from nothing: no counts, no conditions, and of the flags those that latch.
#[test]
fn limits_set_anew_begin_from_nothing() {
    let limit = |channel| {
        let threshold = Threshold::UnderVoltage(Voltage::from_millivolts(2_500));
        Limit::new(channel, threshold).silent()
    };
    let limits = [limit(Channel::C0).following(), limit(Channel::C1)];
    let limits = Limits::new(&limits);
    let mut scan = Scan::NONE;
    CONFIG
        .resolve(&INFO, &mut scan)
        .expect("a configuration that can be");
    let plan = LimitPlan::new(&INFO, board(1_000_000_000), &scan, &limits);
    let mut comparator: SoftwareComparator<2> = SoftwareComparator::new();
    comparator.set_all(&plan);
    let zero = crake::part::Codes::default();
    for channel in Channel::first(4) {
        comparator.channel(channel, &zero);
    }
    assert_eq!(comparator.flags(), limits.enabled());
    assert_eq!(comparator.conditions(), limits.enabled());
    comparator.set_all(&plan);
    assert_eq!(comparator.flags(), limits.latching());
    assert_eq!(comparator.conditions(), AlertFlags::empty());
    // What the part compares itself is not compared here: Corncrake all of it.
    comparator.clear(AlertFlags::all());
    comparator.set_missing(&plan);
    comparator.channel(Channel::C0, &zero);
    assert_eq!(comparator.flags(), AlertFlags::empty());
}
