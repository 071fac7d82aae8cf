//! Lost writes, resets and dropped samples: nothing stale is given as fresh.

use crake::bus::Fault;
use crake::{Channel, Sample, ShuntMonitor};

use crate::fixture::{CONFIG, Driver, Fixture, Spoil};

/// Transfers of a sample: DONE cleared and looked at, trigger, STATUS, four results, configuration.
const SAMPLE: usize = 9;

/// After something went wrong: `init` if the driver asks for it, and a sample shows what is now.
fn recovers(driver: &mut Driver, fixture: &Fixture, milliamps: i64) {
    fixture.bus.plan(&[]);
    fixture.set(0, milliamps * 1_000_000, 3_500_000_000);
    if driver.sample().is_err() {
        driver.init(&CONFIG).expect("init");
    }
    let sample = driver.sample().expect("a sample");
    let current = sample.reading(Channel::C0).expect("one").current;
    let off = (current.as_nanoamps() - milliamps * 1_000_000).abs();
    assert!(off <= 1_800_000, "{current}");
}

fn begun() -> (Fixture, Driver) {
    let fixture = Fixture::new();
    let mut driver = fixture.driver();
    driver.init(&CONFIG).expect("init");
    driver.sample().expect("a sample");
    (fixture, driver)
}

/// Section 3.4: with one write lost, or both, an old result is never taken for a new one.
#[test]
fn lost_writes_bring_no_old_result() {
    for lost in [vec![0], vec![2], vec![0, 2]] {
        let (fixture, mut driver) = begun();
        fixture.set(0, 2_000_000_000, 3_500_000_000);
        let plan: Vec<_> = lost.iter().map(|number| (*number, Spoil::Lost)).collect();
        fixture.bus.plan(&plan);
        if let Ok(sample) = driver.sample() {
            let current = sample.reading(Channel::C0).expect("one").current;
            let off = (current.as_nanoamps() - 2_000_000_000).abs();
            assert!(off <= 1_800_000, "lost {lost:?}: {current}");
        }
        recovers(&mut driver, &fixture, 1_500);
    }
}

/// Section 3.2: a reset before any transfer of a sample shows by the configuration.
#[test]
fn a_reset_at_every_transfer_of_a_sample_is_found() {
    let (fixture, mut driver) = begun();
    fixture.bus.plan(&[]);
    driver.sample().expect("a sample");
    assert_eq!(fixture.bus.count(), SAMPLE);
    for number in 0..SAMPLE {
        let (fixture, mut driver) = begun();
        fixture.bus.plan(&[(number, Spoil::Reset)]);
        let error = driver.sample().expect_err("a reset");
        assert_eq!(error.fault(), Fault::Reset, "before transfer {number}");
        assert_eq!(
            driver.sample().expect_err("not configured").fault(),
            Fault::NotConfigured
        );
        recovers(&mut driver, &fixture, 1_500);
    }
}

/// A reset before any transfer of `init`, or a write of it that is lost: told at once, or the part
/// is as it should be.
#[test]
fn init_ends_well_or_says_what_failed() {
    let (fixture, mut driver) = begun();
    fixture.bus.plan(&[]);
    driver.init(&CONFIG).expect("init");
    let transfers = fixture.bus.count();
    for spoil in [Spoil::Reset, Spoil::Lost] {
        for number in 0..transfers {
            let (fixture, mut driver) = begun();
            fixture.set(0, 2_000_000_000, 3_500_000_000);
            fixture.bus.plan(&[(number, spoil)]);
            if driver.init(&CONFIG).is_ok() {
                let sample = driver.sample().expect("configured");
                let current = sample.reading(Channel::C0).expect("one").current;
                assert_eq!(current.as_nanoamps(), 2_001_600_000, "{spoil:?} {number}");
            }
            recovers(&mut driver, &fixture, 1_500);
        }
    }
}

/// Another configuration by somebody else is found with the next sample.
#[test]
fn somebody_elses_configuration_is_found() {
    use embedded_hal::i2c::I2c;
    let (fixture, mut driver) = begun();
    let mut other = fixture.bench.i2c();
    other.write(0x17, &[0x1C, 0x00, 0x01]).expect("written");
    let error = driver.sample().expect_err("changed");
    assert_eq!(error.fault(), Fault::Changed);
    recovers(&mut driver, &fixture, 1_500);
}
