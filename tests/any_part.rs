//! The same firmware on parts that differ in everything: what it concludes is the same, and its totals lie within their own bounds.

#[path = "any_part/boat.rs"]
mod boat;
#[path = "any_part/fleet.rs"]
mod fleet;

use boat::{Outcome, Plan};
use crake::old::part::{Source, Spec};
use skiff_supervisor::{CELL, Config, DRIVE, Event, MODEM};

const SEEDS: [u64; 3] = [1, 2, 3];

fn each(plan: &Plan, check: impl Fn(&Spec, usize, &Outcome, u64)) {
    for (spec, rails, sail) in fleet::all() {
        for seed in SEEDS {
            check(spec, rails, &sail(plan, seed), seed);
        }
    }
}

/// How long after a limit was passed for good the firmware may conclude it at the latest, in microseconds.
///
/// Where the part compares: the debounce in rounds of at most 1 ms, and a look. Where the driver does: the debounce in looks, every 20 ms and what they take themselves.
fn concluded_within_us(spec: &Spec, place: usize) -> u64 {
    let watch = Config::SKIFF.limits()[place];
    let debounce = u64::from(watch.debounce_count());
    match spec.judged_by(&watch) {
        Source::Part => debounce * 1_000 + 30_000,
        Source::Driver => (debounce + 1) * 25_000,
    }
}

#[test]
fn the_firmware_concludes_the_same_whatever_the_part() {
    let plan = Plan {
        drive_amps: vec![(1_000.0, 8.0), (3_000.0, 11.0)],
        cell_volts: vec![(5_000.0, 3.1), (6_000.0, 3.7)],
        until_ms: 9_000,
    };
    each(&plan, |spec, rails, outcome, seed| {
        let events = outcome.records.iter().map(|record| record.event);
        let told: Vec<_> = events
            .clone()
            .map(|event| core::mem::discriminant(&event))
            .collect();
        let expected = [
            Event::Watching,
            Event::DriveTripped(None),
            Event::ModemShed(None),
            Event::ModemRestored(crake::old::units::Voltage::ZERO),
        ];
        let expected: Vec<_> = expected.iter().map(core::mem::discriminant).collect();
        let what = format!("{}, seed {seed}: {:#?}", spec.name, outcome.records);
        assert_eq!(told, expected, "{what}");
        for (place, crossed_us, record) in [(0, 3_000_000, 1), (1, 5_000_000, 2)] {
            let late_us = outcome.records[record].at_us.checked_sub(crossed_us);
            let within = concluded_within_us(spec, place);
            assert!(
                late_us.is_some_and(|late| late <= within),
                "{within} us, {what}"
            );
        }
        assert_eq!(outcome.rails.len(), rails);
        assert!(outcome.rails.iter().any(|(channel, ..)| *channel == DRIVE));
        assert_eq!(
            outcome.rails.iter().any(|(channel, ..)| *channel == MODEM),
            rails > MODEM.index()
        );
    });
}

#[test]
fn nothing_happens_where_nothing_happens() {
    let plan = Plan {
        drive_amps: vec![(1_000.0, 9.0)],
        cell_volts: vec![(1_000.0, 3.5)],
        until_ms: 3_000,
    };
    each(&plan, |spec, _, outcome, seed| {
        let events: Vec<_> = outcome.records.iter().map(|record| record.event).collect();
        assert_eq!(events, [Event::Watching], "{}, seed {seed}", spec.name);
    });
}

/// Truth counts from the bench's beginning, the account from the set-up on: what flows until then, at the most, is allowed besides.
#[test]
fn totals_lie_within_the_bounds_that_each_part_allows() {
    let plan = Plan {
        drive_amps: vec![(500.0, 6.0), (2_600.0, -2.0), (4_100.0, 3.0)],
        cell_volts: vec![(3_000.0, 3.6)],
        until_ms: 6_000,
    };
    each(&plan, |spec, _, outcome, seed| {
        for (channel, account, truth) in &outcome.rails {
            let what = format!("{} {channel}, seed {seed}: {account:#?}", spec.name);
            let started_us = outcome.records[0].at_us;
            let unseen_us = i128::from(started_us + outcome.gap_us);
            // At most 0.6 A at 3.9 V before anything is switched on; nC per µs and mA, nJ per µs and mW.
            let (unseen_nc, unseen_nj) = (unseen_us * 600, unseen_us * 2_340);
            let nc = truth.charge_half_na_ns / 2_000_000_000;
            let nj = truth.energy_sixth_na_nv_ns / 6 / 1_000_000_000_000_000_000;
            let (charge, energy) = (
                account.charge.as_nanocoulombs(),
                account.energy.as_nanojoules(),
            );
            let charge_bound = account.charge_bound.total().as_nanocoulombs();
            let energy_bound = account.energy_bound.total().as_nanojoules();
            assert!(
                (charge - nc).abs() <= charge_bound + unseen_nc,
                "{nc} nC, {what}"
            );
            assert!(
                (energy - nj).abs() <= energy_bound + unseen_nj,
                "{nj} nJ, {what}"
            );
            // And it was counted for all the time but that.
            let counted_us = i128::from(account.duration_us);
            assert!(counted_us >= 6_000_000 - unseen_us - 30_000, "{what}");
            if *channel == CELL {
                assert!(energy_bound < nj / 2, "a bound that says something, {what}");
            }
        }
    });
}
