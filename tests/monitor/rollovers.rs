//! Running sums that roll over in the part while its configuration changes; few scans, few
//! channels: what totals make of it, against what truly flows.

use crake::board::Board;
use crake::config::{Config, ScanRate};
use crake::part::Sums;
use crake::part::corncrake::{Address, Corncrake};
use crake::totals::{Discontinuity, Totals, Update};
use crake::{Channel, Monitor, Sample, ShuntMonitor, TimedSample};

use crate::fixture::{BOARD, CHANNELS, FINE_RAIL, FINE_SENSE, Fixture, HostClock, fast};

/// Amperes and volts of the rails before the sense resistor.
const RAILS: [(f64, f64); CHANNELS] = [(1.0, 3.0), (2.0, 3.1), (0.5, 3.2), (-1.5, 3.3)];

fn fixture() -> Fixture {
    let fixture = Fixture::new();
    let nano = |value: f64| (value * 1e9) as i64;
    for (channel, (amperes, volts)) in RAILS.into_iter().enumerate() {
        fixture.rail(channel, nano(amperes), nano(volts));
    }
    fixture
}

/// What flows in a second by the bench's own truth: coulombs and joules.
fn flow(fixture: &Fixture, channel: usize) -> (f64, f64) {
    let truth = || {
        let truth = fixture.part.truth(channel).expect("a channel");
        let charge = truth.charge_half_na_ns as f64 / 2e18;
        (charge, truth.energy_sixth_na_nv_ns as f64 / 6e27)
    };
    let before = truth();
    fixture.pass_us(1_000_000);
    let after = truth();
    (after.0 - before.0, after.1 - before.1)
}

/// What was counted is what flows, for as long as was counted. An ideal part and steady rails:
/// codes are rounded, by half of one in 10 000 at the most.
fn assert_flowed<const N: usize>(fixture: &Fixture, totals: &Totals<'_, N>, channel: usize) {
    let seconds = totals.counted_us() as f64 / 1e6;
    let (coulombs, joules) = flow(fixture, channel);
    let of = Channel::new(channel as u8);
    let charge = totals.charge(of).expect("a rail").value.as_nanocoulombs() as f64 / 1e9;
    let energy = totals.energy(of).expect("a rail").value.as_nanojoules() as f64 / 1e9;
    for (counted, flowed) in [(charge, coulombs * seconds), (energy, joules * seconds)] {
        let off = (counted / flowed - 1.0).abs();
        assert!(off < 1e-4, "{of}: {counted}, not {flowed}");
    }
}

/// Distances of the sums from where they roll over, charge and energy, in codes (sections 3.4 and
/// 4): 1 A in 10 mΩ is 20 000 codes at 500 nV and 50 000 at 200 nV. The first stretch is 3 s of
/// 2000 scans, the second 6 s of 500. So channel 1 rolls over in the first, 2 and 3, the charge of
/// 0 and SCANS in the second, the energy of 0 in the third.
const AWAY: [(i64, i64); CHANNELS] = [
    (170_000_000, 6_500_000_000_000),
    (100_000_000, 5_000_000_000_000),
    (100_000_000, 2_400_000_000_000),
    (-255_000_000, -7_000_000_000_000),
];
const SCANS_AWAY: u32 = 7_500;

/// Section 4: 44, 60 and 28 bits.
const ENDS: (i64, i64, u32) = ((1 << 43) - 1, (1 << 59) - 1, (1 << 28) - 1);

#[test]
fn sums_roll_over_among_changes_of_configuration_and_nothing_is_lost() {
    let fixture = fixture();
    let mut monitor = fixture.monitor_on(fixture.bench.i2c());
    monitor.init(&fast()).expect("init");
    fixture.pass_us(10_000);
    for (channel, (charge, energy)) in AWAY.into_iter().enumerate() {
        // Sums that go down are set near the lower end.
        let near = |end: i64, away: i64| {
            if away < 0 {
                -end - 1 - away
            } else {
                end - away
            }
        };
        let part = &fixture.part;
        part.preload(channel, near(ENDS.0, charge), near(ENDS.1, energy))
            .expect("a channel");
    }
    fixture.part.preload_scans(ENDS.2 - SCANS_AWAY);
    let mut totals = Totals::<CHANNELS>::new(&BOARD);
    let sample = monitor.sample().expect("a sample");
    assert_eq!(totals.update(sample), Update::First);
    let sums = |sample: &dyn Fn(Channel) -> Sums| Channel::first(4).map(sample).collect::<Vec<_>>();
    let first = sums(&|channel| sample.sums(channel));
    let first_scans = sample.scans();

    let mut counted_us = 0;
    let mut begun_us = sample.timestamp().before_us;
    let mut last = first.clone();
    let other =
        |per_second| Config::continuous([FINE_SENSE; CHANNELS], ScanRate::per_second(per_second));
    for (change, seconds) in [
        (None, 3),
        (Some(other(500)), 6),
        (Some(fast()), 3),
        (Some(other(100)), 4),
        (Some(other(10)), 4),
        (Some(fast()), 1),
    ] {
        if let Some(config) = change {
            monitor.configure(&config).expect("configure");
            let sample = monitor.sample().expect("a sample");
            let update = totals.update(sample);
            assert_eq!(update, Update::Discontinuity(Discontinuity::Configured));
            begun_us = sample.timestamp().before_us;
        }
        let mut ended_us = begun_us;
        for _ in 0..seconds {
            fixture.pass_us(997_000);
            let sample = monitor.sample().expect("a sample");
            assert_eq!(totals.update(sample), Update::Continued);
            last = sums(&|channel| sample.sums(channel));
            ended_us = sample.timestamp().before_us;
        }
        counted_us += ended_us - begun_us;
    }
    for (channel, (first, last)) in first.iter().zip(&last).enumerate() {
        let turned = |first: i64, last: i64| (first < 0) != (last < 0);
        assert!(
            turned(first.charge, last.charge) && turned(first.energy, last.energy),
            "channel {channel} was to roll over: {first:?} {last:?}"
        );
    }
    assert!(monitor.last_sample().scans() < first_scans, "SCANS, too");
    assert_eq!(totals.epoch(), 5);
    assert!(totals.counted_us().abs_diff(counted_us) < 10_000);
    for channel in 0..CHANNELS {
        assert_flowed(&fixture, &totals, channel);
    }
}

#[test]
fn one_scan_a_second_is_enough() {
    let fixture = fixture();
    let mut monitor = fixture.monitor_on(fixture.bench.i2c());
    let mut totals = Totals::<CHANNELS>::new(&BOARD);
    let config = Config::continuous([FINE_RAIL; CHANNELS], ScanRate::per_second(1));
    monitor.init(&config).expect("init");
    totals.update(monitor.sample().expect("a sample"));
    for _ in 0..20 {
        fixture.pass_us(7_300_000);
        let update = totals.update(monitor.sample().expect("a sample"));
        assert_eq!(update, Update::Continued);
    }
    for channel in 0..CHANNELS {
        assert_flowed(&fixture, &totals, channel);
    }
}

#[test]
fn one_channel_alone_is_counted_and_the_others_are_not() {
    let fixture = fixture();
    let mut monitor = fixture.monitor_on(fixture.bench.i2c());
    let mut totals = Totals::<CHANNELS>::new(&BOARD);
    let others = [0, 1, 3].map(Channel::new);
    let only = others.into_iter().fold(fast(), Config::without);
    monitor.init(&only).expect("init");
    totals.update(monitor.sample().expect("a sample"));
    for _ in 0..5 {
        fixture.pass_us(1_003_000);
        totals.update(monitor.sample().expect("a sample"));
    }
    assert_flowed(&fixture, &totals, 2);
    for channel in others {
        let charge = totals.charge(channel).expect("a rail");
        assert_eq!(charge.value.as_nanocoulombs(), 0);
    }

    // A board with a single rail, on channel 0.
    let single: Board<1> = Corncrake::board(&[crate::fixture::RAIL]);
    let part = Corncrake::new(Address::Strap0);
    let mut monitor = Monitor::new(fixture.bench.i2c(), fixture.bench.delay(), part, &single)
        .with_clock(HostClock(fixture.bench.clock()));
    let mut totals = Totals::<1>::new(&single);
    let config = Config::continuous([FINE_RAIL], ScanRate::per_second(500)).averaging(10);
    monitor.init(&config).expect("init");
    totals.update(monitor.sample().expect("a sample"));
    fixture.pass_us(5_000_000);
    let sample = monitor.sample().expect("a sample");
    assert!(sample.reading(Channel::C0).is_ok());
    assert!(sample.reading(Channel::C1).is_err());
    assert_eq!(totals.update(sample), Update::Continued);
    assert_flowed(&fixture, &totals, 0);
}
