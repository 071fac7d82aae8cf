//! Section 6: the errors of an individual, and that chance comes from seed and address alone.

use crake_sim::{
    bench::Bench,
    bus::Logging,
    part::{
        analogue::Drift,
        corncrake::Corncrake,
        moorhen::{Individual, Moorhen},
    },
};

use crate::moorhen::{
    datasheet::{Input, both, enable, si, table},
    fixture::{ADDRESS, Fixture},
};

fn individual(seed: u64, address: u8) -> Individual {
    let part = Bench::new(seed).part(Moorhen::new(address));
    part.expect("a free address").individual()
}

fn given(errors: Individual) -> Fixture {
    let fixture = Fixture::with(&Bench::new(3), Moorhen::individual(ADDRESS, errors));
    fixture.set("CONFIGURATION", both());
    fixture
}

/// Limits by row of the accuracy table: gain, offset in nV, noise in nV.
fn accuracy() -> Vec<[f64; 3]> {
    let rows = table("| range | LSB | gain error |");
    assert_eq!(rows.len(), 4);
    rows.iter()
        .map(|row| [si(row[2]) / 1e9, si(row[3]), si(row[4])])
        .collect()
}

fn limit(what: &str) -> f64 {
    let rows = table("| what | limit |");
    let row = rows.iter().find(|row| row[0].starts_with(what));
    si(row.expect("a row")[1])
}

#[test]
fn the_accuracy_table_names_the_ranges_of_the_configuration() {
    let rows = table("| range | LSB | gain error |");
    let ranges = ["sense", "rail"].into_iter().flat_map(|of| {
        let ranges = table(&format!("| {of} range code | LSB |")).into_iter();
        ranges.map(move |row| (format!("{of} {}", row[2]), row[1]))
    });
    let named = rows.iter().map(|row| (row[0].to_owned(), row[1]));
    assert!(named.eq(ranges), "{rows:?}");
}

#[test]
fn individuals_from_seeds_fill_the_limits_of_the_tables_and_never_leave_them() {
    let accuracy = accuracy();
    let bias_na = limit("input bias current");
    let drift_nv = limit("sense offset stability");
    let oscillator = limit("frequency error") / 1e9;
    let (fast, slow) = (1.0 / (1.0 + oscillator), 1.0 / (1.0 - oscillator));
    // Per error: its greatest magnitude over many parts, as a part of its limit.
    let mut greatest = [0.0_f64; 8];
    let mut lengths = (u64::MAX, 0);
    for seed in 0..500 {
        let part = individual(seed, ADDRESS);
        assert!(part.noise);
        let mut note = |slot: usize, value: f64, limit: f64| {
            let within = value.abs() <= limit;
            assert!(within, "error {slot}, seed {seed}: {value} beyond {limit}");
            greatest[slot] = greatest[slot].max(value.abs() / limit);
        };
        for channel in 0..2 {
            for range in 0..2 {
                let [sense, rail] = [accuracy[range], accuracy[2 + range]];
                note(range, part.sense_gain[channel][range], sense[0]);
                note(2 + range, part.rail_gain[channel][range], rail[0]);
                note(4 + range, part.rail_offset_nv[channel][range], rail[1]);
                // At the end of the drift that is farther from zero.
                let offset_nv = part.sense_offset_nv[channel];
                let drift_nv = part.sense_drift[channel].amplitude.copysign(offset_nv);
                note(6, offset_nv + drift_nv, sense[1]);
            }
            note(7, part.bias_na[channel], bias_na);
            // Between any two moments the offset differs by no more than the stability.
            let amplitude = part.sense_drift[channel].amplitude.abs();
            assert!(2.0 * amplitude <= drift_nv);
        }
        let ns = part.conversion_ns;
        let range = 170_000.0 * fast..=170_000.0 * slow;
        assert!(range.contains(&(ns as f64)), "{ns}");
        lengths = (lengths.0.min(ns), lengths.1.max(ns));
    }
    assert!(greatest.iter().all(|&part| part > 0.98), "{greatest:?}");
    assert!(lengths.0 < 165_200 && lengths.1 > 175_100, "{lengths:?}");
}

#[test]
fn an_individual_follows_from_seed_and_address_and_no_company_changes_a_byte() {
    assert_eq!(individual(7, 0x17), individual(7, 0x17));
    assert_ne!(individual(7, 0x17), individual(8, 0x17));
    assert_ne!(individual(7, 0x17), individual(7, 0x31));
    let log = |company: bool| {
        let bench = Bench::new(7);
        if company {
            bench.part(Moorhen::new(0x31)).expect("a free address");
            bench.part(Corncrake::new(0x32)).expect("a free address");
        }
        let fixture = Fixture::with(&bench, Moorhen::new(ADDRESS));
        bench.set_logging(Logging::Full);
        fixture.set("CONFIGURATION", both());
        fixture.steady(0, 1e7, 3.3e9);
        for _ in 0..30 {
            fixture.trigger();
            fixture.run_us(900);
            fixture.codes();
        }
        let log = bench.log();
        log.iter()
            .map(|transaction| format!("{} {transaction}\n", transaction.start_ns))
            .collect::<String>()
    };
    assert_eq!(log(false), log(true));
}

/// Code = (input × (1 + gain) + offset) ÷ LSB, worked out by hand.
#[test]
fn gain_offset_and_bias_add_up_as_section_6_says() {
    let mut errors = Individual::ideal();
    errors.sense_gain[1] = [0.006, -0.006];
    errors.sense_offset_nv[1] = -45_000.0;
    errors.bias_na[1] = 9_000.0;
    errors.rail_gain[1] = [0.005, -0.005];
    errors.rail_offset_nv[1] = [14e6, -5e6];
    let fixture = given(errors);
    fixture.steady(1, 10e6, 5e9);
    // 10 mA and 9 µA in 1 Ω are 10 009 000 nV.
    // Wide: × 1.006 - 45 000 = 10 024 054, 278.446 codes of 36 µV.
    // Narrow: × 0.994 - 45 000 = 9 903 946, 1 100.438 codes of 9 µV.
    // 5 V × 1.005 + 14 mV = 5.039 V, 719.857 codes of 7 mV.
    // 5 V × 0.995 - 5 mV = 4.970 V, 2 840.0 codes of 1.75 mV.
    // Channel 0 has no rail: nothing flows there, and its errors are none.
    for (ranges, sense, rail) in [(0, 278, 720), (Input::bits(), 1_100, 2_840)] {
        fixture.set("CONFIGURATION", both() | ranges);
        fixture.shoot();
        assert_eq!(fixture.codes(), [0, 0, sense, rail]);
    }
}

#[test]
fn an_offset_wanders_from_one_single_shot_to_the_next() {
    let mut errors = Individual::ideal();
    errors.sense_drift[0] = Drift {
        amplitude: 90_000.0,
        period_ns: 2_000_000_000,
        phase_ns: 0,
    };
    let fixture = given(errors);
    fixture.set("CONFIGURATION", enable(0) | Input::all()[0].bit);
    fixture.steady(0, 0.0, 0.0);
    // From trough to peak in a second: -10 codes of 9 µV at 0, none at half a second, +10 at a
    // second.
    for (at_ns, code) in [
        (1_000_000, -10),
        (500_000_000, 0),
        (1_000_000_000, 10),
        (1_500_000_000, 0),
    ] {
        fixture.bench.run_until(at_ns);
        fixture.shoot();
        assert_eq!(fixture.codes()[0], code, "{at_ns}");
    }
}

/// The spread of many codes is that of the table, quantisation added, and no code leaves six times
/// the r.m.s.
#[test]
fn noise_is_as_large_as_the_table_says() {
    const SHOTS: i64 = 4_000;
    let accuracy = accuracy();
    for (i, input) in Input::all().into_iter().enumerate().take(2) {
        for range in 0..2 {
            let mut errors = Individual::ideal();
            errors.noise = true;
            let fixture = given(errors);
            let narrow = input.bit * range as u16;
            fixture.set("CONFIGURATION", enable(0) | narrow);
            fixture.show(input, range, 1_000);
            let rms = accuracy[2 * i + range][2] / input.lsb_nv(range);
            let (mut sum, mut squares) = (0, 0);
            for _ in 0..SHOTS {
                fixture.shoot();
                let off = fixture.code(input) - 1_000;
                assert!(off.abs() as f64 <= 6.0 * rms + 0.5);
                sum += off;
                squares += off * off;
            }
            // Rounding to whole codes adds a twelfth of a code squared (common practice for a
            // spread of half a code and more, no source).
            let variance = squares as f64 / SHOTS as f64;
            let expected = rms * rms + 1.0 / 12.0;
            let is_near = (variance / expected - 1.0).abs() < 0.1;
            assert!(is_near, "{input:?} {range}: {variance}, {expected}");
            assert!((sum as f64 / SHOTS as f64).abs() < 0.06);
        }
    }
}

/// The noise of a conversion comes from its number among those of its input: a channel 0 that
/// shares its first shots with channel 1, or loses its supply in between, has the codes of one that
/// is alone.
#[test]
fn noise_comes_from_the_position_of_a_conversion() {
    let shots = |company: core::ops::Range<u32>, dip: bool| -> Vec<[i64; 2]> {
        let mut errors = Individual::ideal();
        errors.noise = true;
        let fixture = given(errors);
        fixture.steady(0, 36e6, 7e9);
        fixture.steady(1, 36e6, 7e9);
        let shots = (0..60).map(|shot| {
            if dip && shot == 30 {
                fixture.part.brown_out();
                fixture.run_us(2_300);
            }
            let channels = if company.contains(&shot) {
                both()
            } else {
                enable(0)
            };
            // The narrow sense range: noise of most of a code.
            fixture.set("CONFIGURATION", channels | Input::all()[0].bit);
            fixture.shoot();
            [fixture.codes()[0], fixture.codes()[1]]
        });
        shots.collect()
    };
    let alone = shots(0..0, false);
    assert_eq!(alone, shots(5..25, false));
    assert_eq!(alone, shots(50..60, true));
    let differ = alone.windows(2).filter(|pair| pair[0] != pair[1]).count();
    assert!(differ > 20, "hardly any noise: {alone:?}");
}

#[test]
fn an_ideal_part_has_no_error_at_all() {
    let ideal = Individual::ideal();
    assert_eq!((ideal.sense_offset_nv, ideal.bias_na), ([0.0; 2], [0.0; 2]));
    assert_eq!(
        (ideal.sense_gain, ideal.rail_gain),
        ([[0.0; 2]; 2], [[0.0; 2]; 2])
    );
    assert_eq!(ideal.rail_offset_nv, [[0.0; 2]; 2]);
}
