//! Noise and wander by position: neither depends on what was done before, only on where it stands.

use core::time::Duration;

use crake_sim::{
    bench::Bench,
    part::{
        Input,
        corncrake::{Corncrake, Drift, Individual},
    },
};

use crate::corncrake::fixture::{ADDRESS, CONVERSION_NS, Fixture};

/// A part with noise and nothing else, the same voltages on every channel.
fn noisy() -> Fixture {
    let mut errors = Individual::ideal();
    errors.noise = true;
    let fixture = Fixture::with(&Bench::new(3), Corncrake::individual(ADDRESS, errors));
    for channel in 0..4 {
        fixture.steady(channel, 1e7, 3.3e9);
    }
    enable(&fixture, 0x0F);
    fixture
}

/// These channels, in ranges 0.
fn enable(fixture: &Fixture, channels: u8) {
    fixture.write(0x05, &[channels]);
    fixture.write(0x06, &[0x00, 0x00]);
}

/// The codes of each channel's sense and rail input, one after the other.
#[derive(Default)]
struct Codes([[Vec<i32>; 2]; 4]);

impl Codes {
    /// Lets the part convert so often.
    fn collect(&mut self, fixture: &Fixture, conversions: u64) {
        let last = fixture.part.conversions() + conversions;
        for number in fixture.part.conversions() + 1..=last {
            fixture.run_until_conversions(number);
            let converted = fixture.part.last_conversion().expect("a conversion");
            self.0[converted.channel][converted.input as usize].push(converted.code);
        }
    }

    fn of(&self, channel: usize, input: Input) -> &[i32] {
        &self.0[channel][input as usize]
    }
}

/// Scans of channel 0 alone.
fn alone() -> Codes {
    let (fixture, mut codes) = (noisy(), Codes::default());
    enable(&fixture, 0x01);
    fixture.run(0x10);
    codes.collect(&fixture, 2 * 300);
    codes
}

/// Channel 2 alone, then all four, then channel 0 alone, the truth asked for in between.
fn in_company() -> Codes {
    let (fixture, mut codes) = (noisy(), Codes::default());
    enable(&fixture, 0x04);
    fixture.run(0x11);
    codes.collect(&fixture, 31);
    fixture.stop();
    enable(&fixture, 0x0F);
    fixture.run(0x10);
    for _ in 0..100 {
        codes.collect(&fixture, 8);
        fixture.bench.run_for(Duration::from_nanos(9_999));
        fixture.part.truth(0).expect("channel");
    }
    fixture.stop();
    enable(&fixture, 0x01);
    fixture.run(0x10);
    codes.collect(&fixture, 2 * 100);
    codes
}

/// Single-shots of channel 0, a dip of the supply after some, at last a capture.
fn now_and_then() -> Codes {
    let (fixture, mut codes) = (noisy(), Codes::default());
    for shot in 0..100 {
        if shot == 40 {
            fixture.part.brown_out();
            fixture.bench.run_for(Duration::from_millis(2));
        }
        enable(&fixture, 0x01);
        fixture.run(0x20);
        codes.collect(&fixture, 2);
    }
    fixture.run(0x30);
    codes.collect(&fixture, 150);
    codes
}

#[test]
fn the_nth_conversion_of_an_input_has_its_noise_whatever_came_before() {
    let (alone, company, shots) = (alone(), in_company(), now_and_then());
    let alike = |a: &[i32], b: &[i32], least| {
        let both = a.len().min(b.len());
        assert!(both >= least, "{both} codes");
        a[..both] == b[..both]
    };
    for input in [Input::Sense, Input::Rail] {
        let (a, b) = (alone.of(0, input), company.of(0, input));
        assert!(alike(a, b, 190), "{input:?}: {a:?} {b:?}");
        let (a, b) = (alone.of(0, input), shots.of(0, input));
        assert!(alike(a, b, 100), "{input:?}: {a:?} {b:?}");
        for channel in 1..4 {
            let (a, b) = (company.of(0, input), company.of(channel, input));
            assert!(!alike(a, b, 90), "channel {channel} repeats channel 0");
        }
    }
    // Departures in r.m.s.: those of the sense input are not those of the rail input.
    let share = |input, middle: f64, rms: f64| -> Vec<f64> {
        let codes = alone.of(0, input).iter();
        codes
            .map(|&code| (f64::from(code) - middle) / rms)
            .collect()
    };
    let pairs = share(Input::Sense, 20_000.0, 5.0);
    let pairs = pairs.iter().zip(share(Input::Rail, 33_000.0, 1.5));
    let along = pairs.map(|(a, b)| a * b).sum::<f64>() / 300.0;
    // No correlation: six standard deviations of 1/√300.
    assert!(along.abs() < 6.0 / 17.3, "{along}");
}

/// Offsets that wander by up to 5 mV, twice a second: what 2000 scans a second add up is the
/// integral of the wander over their time.
#[test]
fn the_sum_of_codes_is_the_integral_of_the_wander() {
    let mut errors = Individual::ideal();
    let drift = Drift {
        amplitude: 5e6,
        period_ns: 500_000_000,
        phase_ns: 77_000_000,
    };
    errors.sense_drift[0] = drift;
    let fixture = Fixture::with(&Bench::new(0), Corncrake::individual(ADDRESS, errors));
    fixture.steady(0, 0.0, 0.0);
    fixture.write(0x05, &[0x01]);
    fixture.bench.run_for(Duration::from_millis(10));
    fixture.run(0x10);
    let period_ns = 8 * CONVERSION_NS;
    let (mut from_ns, mut sum) = (0, 0.0);
    let scans = 1_700;
    for scan in 0..scans {
        fixture.run_until_conversions(2 * scan + 1);
        let sense = fixture.part.last_conversion().expect("a conversion");
        let began_ns = sense.at_ns - CONVERSION_NS;
        if scan == 0 {
            // A scan stands for half a period before and after its start.
            from_ns = began_ns - period_ns / 2;
        }
        assert_eq!(began_ns, from_ns + period_ns / 2 + scan * period_ns);
        sum += f64::from(sense.code) * 500.0 * period_ns as f64;
    }
    let exact = drift.integral(from_ns, from_ns + scans * period_ns);
    // Half a code each, and four corners of slope x step².
    let corners = 4.0 * (4.0 * 5e6 / 5e8) * (period_ns * period_ns) as f64;
    let bound = scans as f64 * 250.0 * period_ns as f64 + corners;
    assert!((sum - exact).abs() < bound, "{sum} {exact} {bound}");
    assert!(exact.abs() > 4.0 * bound, "{exact} shows little");
}

/// The length of a conversion is a function of when its scan began: a part that slept meanwhile
/// takes the same steps.
#[test]
fn the_oscillator_wanders_with_time_and_not_with_scans() {
    let lengths = |scans: u64| {
        let mut errors = Individual::ideal();
        errors.conversion_drift = Drift {
            amplitude: 3.0,
            period_ns: 8_000_000_000,
            phase_ns: 0,
        };
        let fixture = Fixture::with(&Bench::new(0), Corncrake::individual(ADDRESS, errors));
        (1..16).map(move |at| {
            fixture.bench.run_until(at * 500_000_000 - 10_000_000);
            for _ in 0..scans {
                fixture.run(0x20);
                fixture.bench.run_for(Duration::from_millis(1));
            }
            fixture.bench.run_until(at * 500_000_000);
            fixture.run(0x20);
            let before = fixture.part.conversions();
            fixture.run_until_conversions(before + 1);
            let first = fixture.part.last_conversion().expect("a conversion").at_ns;
            fixture.run_until_conversions(before + 2);
            fixture.part.last_conversion().expect("a conversion").at_ns - first
        })
    };
    // From -3 ns at 0 by 0.75 ns every half second to +3 ns at 4 s and back, in whole nanoseconds,
    // halves upwards; a scan begins a little after its half second.
    let expected = [-2, -1, -1, 0, 1, 2, 2, 3, 2, 1, 1, 0, -1, -2, -2];
    let expected = expected.map(|ns| CONVERSION_NS.saturating_add_signed(ns));
    assert!(
        lengths(0).eq(expected),
        "{:?}",
        lengths(0).collect::<Vec<_>>()
    );
    assert!(
        lengths(5).eq(expected),
        "{:?}",
        lengths(5).collect::<Vec<_>>()
    );
}
