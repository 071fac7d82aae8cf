//! Whatever individual, inside its limits: the truth lies within the bound of a reading, before and
//! after a calibration, and the bound is no wider than limits need.

use crake::Channel;
use crake::board::{Correction, Gain, Offset};
use crake::calibration::{Point, gain, line, offset};
use crake::config::{Config, FullScale, ScanRate};
use crake::part::corncrake::{Address, Corncrake};
use crake::units::{Current, Tolerance, Voltage};
use crake::{Monitor, Reading, ReadingBound, Sample, ShuntMonitor};
use proptest::prelude::*;

use crate::bench::{Errors, Moment, Rig, rail};

const UNCERTAINTY: Tolerance = Tolerance::from_ppm(200);

/// Both ends as likely as all between them together: that is where bounds break.
fn fraction() -> impl Strategy<Value = f64> {
    prop_oneof![Just(-1.0), Just(1.0), -1.0..1.0, -1.0..1.0]
}

fn errors() -> impl Strategy<Value = Errors> {
    let first = ([fraction(), fraction()], fraction(), fraction(), fraction());
    let second = (fraction(), fraction(), fraction());
    (first, second).prop_map(|((gains, offset, bias, resistor), second)| Errors {
        gains,
        offset,
        bias,
        resistor,
        rail_gain: second.0,
        rail_offset: second.1,
        drift: second.2,
    })
}

/// What flows while a reference that is off by so much of its limit says so many microamperes.
fn flowing(microamps: i64, off: f64) -> i64 {
    let na = microamps * 1_000;
    na + (na as f64 * 0.000_2 * off) as i64
}

fn check(shown: (Reading, ReadingBound), moment: &Moment, context: &str) {
    let (reading, bound) = shown;
    let (current, voltage) = (
        Current::from_nanoamps(moment.current_na),
        Voltage::from_nanovolts(moment.voltage_nv),
    );
    // nA × nV = 1e-18 W.
    let truth = i128::from(moment.current_na) * i128::from(moment.voltage_nv);
    let power = i128::from(reading.power.as_nanowatts()) * 1_000_000_000 - truth;
    let power_bound = i128::from(bound.power.as_nanowatts()) * 1_000_000_000;
    assert!(
        bound
            .current
            .contains(reading.current.saturating_sub(current)),
        "{context}: {reading:?} {bound:?}"
    );
    assert!(
        bound
            .voltage
            .contains(reading.voltage.saturating_sub(voltage)),
        "{context}: {reading:?} {bound:?}"
    );
    assert!(
        power.abs() <= power_bound,
        "{context}: {reading:?} {bound:?}"
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(96))]

    /// Offset, gain from one current and from two: in either range, at any temperature, after any
    /// drift; and in the range of the calibration the bound is a fraction of what it was.
    #[test]
    fn truths_lie_within_their_bounds(
        errors in errors(),
        seed in any::<u64>(),
        temperatures in [fraction(), fraction(), fraction(), fraction()],
        off in [fraction(), fraction()],
        coarse in [any::<bool>(), any::<bool>()],
        k in prop_oneof![Just(0_u8), 0..=10_u8],
        current_na in prop_oneof![Just(50_000), -25_000_000..=25_000_000_i64],
        voltage_nv in prop_oneof![Just(0), 0..=6_000_000_000_i64],
    ) {
        let [calibrated_coarse, measured_coarse] = coarse;
        let rig = Rig::new(errors, seed);
        let at = |current_na, place: usize| Moment {
            current_na,
            voltage_nv,
            temperature: temperatures[place],
        };
        rig.set(at(0, 0));
        let zeroed = offset(&rig.collect(calibrated_coarse), &rail())?;
        let scale = if calibrated_coarse { 2 } else { 1 };
        let [high, low] = [(scale * 20_000, 0), (scale * -15_000, 1)].map(|(microamps, place)| {
            rig.set(at(flowing(microamps, off[place]), 1 + place));
            (Current::from_microamps(microamps), rig.collect(calibrated_coarse))
        });
        let [high, low] = [&high, &low].map(|(current, collection)| Point {
            collection,
            current: *current,
            uncertainty: UNCERTAINTY,
        });
        let gained = gain(&zeroed, &high, &rail())?;
        let lined = line(&high, &low, &rail())?;

        let moment = at(current_na, 3);
        rig.set(moment);
        let corrections = [Correction::NONE, zeroed, gained, lined];
        let [before, after_offset, after_gain, after_line] = corrections.map(|correction| {
            let shown = rig.measure(correction, measured_coarse, k);
            check(shown, &moment, &format!("{correction:?}"));
            shown.1.current
        });
        prop_assert!(after_offset < before);
        if measured_coarse == calibrated_coarse && current_na.abs() > 10_000_000 && k > 4 {
            // By how much depends on noise, temperature and the reference, which no gain takes off.
            prop_assert!(after_gain < before);
            // How far the line's offset is known depends on both references.
            prop_assert!(after_line < before);
        }
    }
}

/// Each limit at its end, all in the same direction: errors come near the bound. Of 1024 scans, so
/// that noise, of which six times its r.m.s. is taken, matters little.
#[test]
fn bounds_are_no_wider_than_limits_need() {
    for sign in [-1.0, 1.0] {
        let errors = Errors {
            gains: [0.0, sign],
            offset: sign,
            bias: sign,
            resistor: sign,
            rail_gain: sign,
            rail_offset: sign,
            drift: 0.0,
        };
        let rig = Rig::new(errors, 1);
        let at = |current_na, temperature: f64| Moment {
            current_na,
            voltage_nv: 5_000_000_000,
            temperature: sign * temperature,
        };
        let share_of_bound = |correction| {
            let moment = at(20_000_000, 1.0);
            rig.set(moment);
            let shown = rig.measure(correction, false, 10);
            check(shown, &moment, "worst");
            let (reading, bound) = shown;
            let error = (reading.current.as_nanoamps() - 20_000_000).abs() as f64;
            let power = (reading.power.as_nanowatts() - 100_000_000).abs() as f64;
            [
                error / bound.current.as_nanoamps() as f64,
                power / bound.power.as_nanowatts() as f64,
            ]
        };
        let before = share_of_bound(Correction::NONE);
        rig.set(at(0, -1.0));
        let zeroed = offset(&rig.collect(false), &rail()).expect("an offset");
        rig.set(at(flowing(20_000, -sign), -1.0));
        let point = Point {
            collection: &rig.collect(false),
            current: Current::from_milliamps(20),
            uncertainty: UNCERTAINTY,
        };
        let gained = gain(&zeroed, &point, &rail()).expect("a gain");
        let after = share_of_bound(gained);
        for share in [before, after].concat() {
            assert!((0.93..=1.0).contains(&share), "{before:?} {after:?}");
        }
    }
}

/// A gain measured in one range is open in the other, and the bound says so: 1.002 ÷ 0.998 is 0.4
/// %.
#[test]
fn a_gain_of_the_other_range_is_bounded_as_such() {
    let errors = Errors {
        gains: [1.0, -1.0],
        offset: 0.3,
        ..Errors::default()
    };
    let rig = Rig::new(errors, 7);
    let at = |current_na| Moment {
        current_na,
        voltage_nv: 3_300_000_000,
        temperature: 0.0,
    };
    rig.set(at(0));
    let zeroed = offset(&rig.collect(false), &rail()).expect("an offset");
    rig.set(at(20_000_000));
    let point = Point {
        collection: &rig.collect(false),
        current: Current::from_milliamps(20),
        uncertainty: UNCERTAINTY,
    };
    let correction = gain(&zeroed, &point, &rail()).expect("a gain");
    assert_eq!(correction.gain_range, Some(1));
    let measure = |coarse| {
        let (reading, bound) = rig.measure(correction, coarse, 10);
        let error = (reading.current.as_nanoamps() - 20_000_000).abs();
        (error, bound.current.as_nanoamps())
    };
    let (error, bound) = measure(false);
    assert!(error < 2_000 && bound < 60_000, "{error} {bound}");
    let (error, bound) = measure(true);
    assert!((79_000..82_000).contains(&error), "{error}");
    assert!(bound > error && bound < 140_000, "{bound}");
}

/// A bound belongs to the rail that the board was made of, and to a channel that has a reading.
#[test]
fn there_is_no_bound_of_another_rail() {
    let rig = Rig::new(Errors::default(), 3);
    rig.set(Moment {
        current_na: 10_000_000,
        voltage_nv: 3_300_000_000,
        temperature: 0.0,
    });
    let correction = Correction {
        offset: Offset::from_bits(256_000),
        gain: Gain::from_bits((1 << 30) + 100_000),
        ..Correction::NONE
    };
    let board = Corncrake::board(&[rail()]).corrected(Channel::C0, &correction);
    let part = Corncrake::new(Address::Strap0);
    let mut monitor = Monitor::new(rig.bench.i2c(), rig.bench.delay(), part, &board);
    let full_scale = FullScale::new(Voltage::from_millivolts(26), Voltage::from_volts(5));
    let config = Config::continuous([full_scale], ScanRate::per_second(500));
    monitor.init(&config).expect("a part");
    let corrected = rail().corrected(correction);
    rig.bench.run_for(core::time::Duration::from_millis(10));
    let sample = monitor.sample().expect("a sample");
    assert!(sample.bound(Channel::C0, &corrected).is_some());
    assert_eq!(sample.bound(Channel::C0, &rail()), None);
    assert_eq!(sample.bound(Channel::C1, &corrected), None);
}
