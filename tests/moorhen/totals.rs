//! Totals by the host's clock, of a part that keeps no sums.

use crake::info::Undetectable;
use crake::totals::{Discontinuity, Margins, Totals, Update};
use crake::{Channel, ShuntMonitor};
use std::time::Duration;

use crate::fixture::{BOARD, CONFIG, Fixture, RAILS, Spoil};

static MARGINS: Margins<'static, 2> = Margins::new(&crake::part::moorhen::INFO, &BOARD, &RAILS);

/// Goal: whatever individual, and however its rails jump between samples within what is declared,
/// charge and energy lie within their bounds.
#[test]
fn totals_of_jumping_rails_are_within_their_bounds() {
    for seed in 1..=60_u64 {
        let fixture = Fixture::individual(seed);
        let mut driver = fixture.driver();
        let mut totals = Totals::with_bounds(&MARGINS);
        driver.init(&CONFIG).expect("init");
        assert_eq!(totals.update(driver.sample().expect("one")), Update::First);
        let from: Vec<_> = (0..2)
            .map(|rail| fixture.rails[rail].flow(now(&fixture)))
            .collect();
        for step in 0..100_u64 {
            // Right behind a sample, or well before the next; a tenth of a second apart.
            let after = [1, 60_000, 99_000][(step * 7 + seed) as usize % 3];
            fixture.bench.run_for(Duration::from_micros(after));
            let milliamps = ((step * 379 + seed * 211) % 3_001) as i64 - 1_500;
            fixture.set((step % 2) as usize, milliamps * 1_000_000, 5_250_000_000);
            fixture
                .bench
                .run_for(Duration::from_micros(110_000 - after));
            let sample = driver.sample().expect("a sample");
            assert_eq!(totals.update(sample), Update::Continued);
            for channel in [Channel::C0, Channel::C1] {
                let rail = channel.index();
                let (charge, energy) = fixture.rails[rail].flow(now(&fixture));
                let charge = (charge - from[rail].0) / 1_000_000_000;
                let energy = (energy - from[rail].1) / 1_000_000_000_000_000_000;
                let total = totals.charge(channel).expect("a rail");
                let off = (total.value.as_nanocoulombs() - charge).abs();
                assert!(
                    off <= total.bound.as_nanocoulombs() + 1,
                    "seed {seed}: {off} nC"
                );
                let total = totals.energy(channel).expect("a rail");
                let off = (total.value.as_nanojoules() - energy).abs();
                assert!(
                    off <= total.bound.as_nanojoules() + 1,
                    "seed {seed}: {off} nJ"
                );
            }
        }
        assert_eq!(
            (totals.epoch(), totals.undetectable()),
            (0, Undetectable::WRITES)
        );
    }
}

fn now(fixture: &Fixture) -> u64 {
    fixture.bench.now_ns()
}

/// Goal: a steady rail is added up to what its codes say: 278 × 3.6 mA, 2000 × 1.75 mV, 100 s.
#[test]
fn a_steady_rail_is_added_up_to_its_codes() {
    let fixture = Fixture::new();
    let mut driver = fixture.driver();
    let mut totals = Totals::new(&BOARD);
    driver.init(&CONFIG).expect("init");
    totals.update(driver.sample().expect("one"));
    while totals.counted_us() < 100_000_000 {
        fixture.pass_ms(250);
        totals.update(driver.sample().expect("one"));
    }
    let us = i128::from(totals.counted_us());
    let charge = totals.charge(Channel::C0).expect("a rail").value;
    let expected = 278 * 3_600_000 * us / 1_000_000;
    assert!((charge.as_nanocoulombs() - expected).abs() <= 1, "{charge}");
    let energy = totals.energy(Channel::C0).expect("a rail").value;
    let expected = 278 * 3_600 * 2_000 * 1_750 * us / 1_000_000_000;
    assert!((energy.as_nanojoules() - expected).abs() <= 1, "{energy}");
}

/// A sample that failed costs nothing but time between two samples; a reset ends the stretch.
#[test]
fn a_reset_is_a_gap() {
    let fixture = Fixture::new();
    let mut driver = fixture.driver();
    let mut totals = Totals::new(&BOARD);
    driver.init(&CONFIG).expect("init");
    totals.update(driver.sample().expect("one"));
    fixture.pass_ms(100);
    fixture.bus.plan(&[(5, Spoil::Reset)]);
    driver.sample().expect_err("a reset");
    driver.init(&CONFIG).expect("init");
    let update = totals.update(driver.sample().expect("one"));
    assert_eq!(update, Update::Discontinuity(Discontinuity::Configured));
    assert_eq!(totals.epoch(), 1);
    let gap = totals.gap();
    assert!(
        gap.least_us > 99_000 && gap.greatest_us < 120_000,
        "{gap:?}"
    );
}

/// Nobody knows what the part did while the firmware did not run: totals begin a new epoch.
#[test]
fn after_a_restart_of_the_firmware_a_new_epoch_begins() {
    let fixture = Fixture::new();
    let mut driver = fixture.driver();
    let mut totals = Totals::new(&BOARD);
    driver.init(&CONFIG).expect("init");
    totals.update(driver.sample().expect("one"));
    fixture.pass_ms(100);
    totals.update(driver.sample().expect("one"));
    let token = driver.token();
    let mut saved = [0; Totals::<2>::CHECKPOINT_LEN];
    totals.save(token, &mut saved).expect("room");
    let before = totals.charge(Channel::C0).expect("a rail").value;

    let mut driver = fixture.driver();
    let mut totals = Totals::new(&BOARD);
    let token = totals.load(&saved).expect("as saved");
    let sample = driver.resume(&CONFIG, token).expect("it is as it was");
    let update = totals.update(sample);
    assert_eq!(update, Update::Discontinuity(Discontinuity::Configured));
    assert_eq!(totals.charge(Channel::C0).expect("a rail").value, before);
    assert_eq!(totals.epoch(), 1);
}
