use crake::config::{Config, ConfigError, FullScale};
use crake::units::Voltage;
use crake::{Channel, NoReading, Sample, ShuntMonitor};
use crake_sim::part::pmbus::{Description, Device, Individual, PageErrors};

use super::desk::{ADDRESS, CHANNELS, CONFIG, Desk, RAILS, USUAL, steps};

/// Every individual's readings, within what the driver says they are off by at most.
#[test]
fn readings_are_within_their_bounds() {
    for seed in 0..40 {
        let desk = Desk::drawn(seed);
        check(&desk, &format!("seed {seed}"));
    }
}

/// The corners of the document's limits (B4), all errors one way.
#[test]
fn the_worst_individuals_are_within_the_bounds() {
    for sign in [-1.0, 1.0] {
        let limits = [
            (0.005, 0.010, 0.01, 0.050),
            (0.005, 0.003, 0.01, 0.030),
            (0.003, 0.030, 0.005, 0.040),
            (0.005, 0.050, 0.01, 0.100),
        ];
        let pages = limits.map(
            |(voltage_gain, voltage_offset, current_gain, current_offset)| PageErrors {
                voltage_gain: sign * voltage_gain,
                voltage_offset: sign * voltage_offset,
                current_gain: sign * current_gain,
                current_offset: sign * current_offset,
            },
        );
        let individual = Individual {
            pages: pages.to_vec(),
            sample_period_ns: 5_100_000,
        };
        let device = Device::individual(Description::gallinule(), ADDRESS, individual).unwrap();
        let desk = Desk::ordered(device, 4, 1);
        for (page, (volts, amperes)) in [(15.5, 24.0), (5.8, -14.0), (59.0, 39.0), (59.0, 49.0)]
            .into_iter()
            .enumerate()
        {
            desk.rail(page, steps(volts, &[]), steps(amperes, &[]));
        }
        let rails = [(15.5, 24.0), (5.8, -14.0), (59.0, 39.0), (59.0, 49.0)];
        check_against(&desk, &rails, &format!("{sign}"));
    }
}

fn check(desk: &Desk, what: &str) {
    check_against(desk, &USUAL, what);
}

fn check_against(desk: &Desk, truth: &[(f64, f64); 4], what: &str) {
    let mut monitor = desk.monitor();
    monitor.init(&CONFIG).unwrap();
    let sample = monitor.sample().unwrap();
    for ((channel, (volts, amperes)), rail) in CHANNELS.into_iter().zip(truth).zip(&RAILS) {
        let reading = sample.reading(channel).unwrap();
        let bound = sample.bound(channel, rail).unwrap();
        let off = [
            (
                reading.voltage.as_nanovolts(),
                volts * 1e9,
                bound.voltage.as_nanovolts(),
            ),
            (
                reading.current.as_nanoamps(),
                amperes * 1e9,
                bound.current.as_nanoamps(),
            ),
            (
                reading.power.as_nanowatts(),
                volts * amperes * 1e9,
                bound.power.as_nanowatts(),
            ),
        ];
        for (shown, truth, bound) in off {
            let off = (shown as f64 - truth).abs();
            assert!(off <= bound as f64, "{what}, {channel}: {off} of {bound}");
        }
    }
}

/// Example 8: -25 A is the end of the range; so are 16 V and 60 V. What is shown there may have
/// been cut off.
#[test]
fn readings_at_an_end_are_limits() {
    let desk = Desk::ideal();
    desk.rail(0, steps(3.3, &[]), steps(-30.0, &[]));
    desk.rail(2, steps(70.0, &[]), steps(1.25, &[]));
    desk.rail(3, steps(54.0, &[]), steps(49.9, &[]));
    let mut monitor = desk.monitor();
    monitor.init(&CONFIG).unwrap();
    let sample = monitor.sample().unwrap();
    for (channel, sense, rail) in [
        (Channel::C0, true, false),
        (Channel::C1, false, false),
        (Channel::C2, false, true),
        (Channel::C3, false, false),
    ] {
        let codes = sample.codes(channel);
        assert_eq!(
            (codes.sense_clipped, codes.rail_clipped),
            (sense, rail),
            "{channel}"
        );
    }
    // -25 A by 500 µA, 60 V by 1 mV.
    assert_eq!(sample.codes(Channel::C0).sense, -50_000);
    assert_eq!(sample.codes(Channel::C2).rail, 60_000);
    assert!(matches!(
        sample.reading(Channel::C2),
        Err(NoReading::Clipped { .. })
    ));
}

/// A voltage below zero, which the DIRECT format of page 2 can show, is none.
#[test]
fn a_voltage_below_zero_is_zero() {
    let desk = Desk::ideal();
    let mut monitor = desk.monitor();
    monitor.init(&CONFIG).unwrap();
    // -0.24 V - 2 mV: (Y × 10 + 1200) ÷ 5000.
    desk.tape.borrow_mut().forged = vec![(vec![0x8B], (-241_i16).to_le_bytes().to_vec())];
    let sample = monitor.sample().unwrap();
    assert_eq!(sample.codes(Channel::C2).rail, 0);
}

/// Pages that are not enabled are not even selected.
#[test]
fn channels_that_are_left_out() {
    let desk = Desk::ideal();
    let mut monitor = desk.monitor();
    let few = CONFIG.without(Channel::C1).without(Channel::C3);
    monitor.init(&CONFIG).unwrap();
    monitor.sample().unwrap();
    monitor.configure(&few).unwrap();
    desk.taken();
    let sample = monitor.sample().unwrap();
    let refused = Err(NoReading::NotEnabled(Channel::C1));
    assert_eq!(sample.reading(Channel::C1), refused);
    assert_eq!(sample.codes(Channel::C1), crake::part::Codes::default());
    assert!(sample.reading(Channel::C2).is_ok());
    let selected: Vec<_> = desk.taken();
    let selected: Vec<_> = selected
        .iter()
        .filter(|transfer| transfer.written[0] == 0 && transfer.read.is_empty())
        .map(|transfer| transfer.written[1])
        .collect();
    assert_eq!(selected, [0, 2]);
}

/// A page has a range of its own, whatever the others reach.
#[test]
fn a_page_that_does_not_reach_what_is_asked_is_refused() {
    let desk = Desk::ideal();
    let mut monitor = desk.monitor();
    let scale = |amps, volts| FullScale::new(Voltage::from_volts(amps), Voltage::from_volts(volts));
    let of = |channel, scale| -> Config<4> { CONFIG.with(channel, scale) };
    for (config, expected) in [
        (
            of(Channel::C1, scale(16, 6)),
            ConfigError::SenseFullScale(Channel::C1),
        ),
        (
            of(Channel::C1, scale(15, 7)),
            ConfigError::RailFullScale(Channel::C1),
        ),
        (
            of(Channel::C0, scale(25, 17)),
            ConfigError::RailFullScale(Channel::C0),
        ),
        (
            of(Channel::C3, scale(51, 60)),
            ConfigError::SenseFullScale(Channel::C3),
        ),
    ] {
        let error = monitor.init(&config).unwrap_err();
        assert_eq!(error.kind, crake::ErrorKind::Config(expected));
    }
    assert!(desk.taken().is_empty());
    let whole = of(Channel::C1, scale(15, 6)).with(Channel::C0, scale(25, 16));
    monitor
        .init(&whole.with(Channel::C3, scale(50, 60)))
        .unwrap();
}

/// The date spans all readings, and how old the first may have been: at 400 kHz 22.5 µs a byte, and
/// a sample period with the aperture before it (B4).
#[test]
fn a_sample_is_dated_around_all_its_readings() {
    let desk = Desk::ideal();
    let mut monitor = desk.monitor();
    monitor.init(&CONFIG).unwrap();
    desk.taken();
    let before_us = desk.bench.now_ns() / 1_000;
    let stamp = monitor.sample().unwrap().latched_at().unwrap();
    let after_us = desk.bench.now_ns() / 1_000;
    let bytes: usize = desk
        .taken()
        .iter()
        .map(|t| t.written.len() + t.read.len())
        .sum();
    assert!(stamp.before_us + 6_250 * 102 / 100 <= before_us);
    assert_eq!(stamp.after_us, after_us);
    assert!(after_us - before_us >= bytes as u64 * 22);
}
