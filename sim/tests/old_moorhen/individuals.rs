//! Section 6: the errors of an individual, and that chance comes from seed and address alone.

use crake_sim::{
    bench::Bench,
    bus::Logging,
    old::corncrake::Corncrake,
    old::moorhen::{Individual, Moorhen},
    part::analogue::Drift,
};

use crate::old_moorhen::{
    datasheet::{Input, si, table},
    desk::{ADDRESS, Desk},
};

fn individual(seed: u64, address: u8) -> Individual {
    let part = Bench::new(seed)
        .part(Moorhen::new(address))
        .expect("a free address");
    part.with(|model| model.individual().clone())
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
    let row = rows
        .iter()
        .find(|row| row[0].starts_with(what))
        .expect("a row");
    si(row[1])
}

#[test]
fn drawn_individuals_fill_the_limits_of_the_tables_and_never_leave_them() {
    let accuracy = accuracy();
    let bias_na = limit("input bias current");
    let drift_nv = limit("sense offset stability");
    let oscillator = limit("frequency error") / 1e9;
    // Per error: its greatest magnitude over many parts, as a part of its limit.
    let mut greatest = [0.0_f64; 8];
    let mut lengths = (u64::MAX, 0);
    for seed in 0..500 {
        let part = individual(seed, ADDRESS);
        assert!(part.noise);
        let mut note = |slot: usize, value: f64, limit: f64| {
            assert!(
                value.abs() <= limit,
                "error {slot} of seed {seed}: {value} beyond {limit}"
            );
            greatest[slot] = greatest[slot].max(value.abs() / limit);
        };
        for channel in 0..2 {
            for range in 0..2 {
                note(range, part.sense_gain[channel][range], accuracy[range][0]);
                note(
                    2 + range,
                    part.rail_gain[channel][range],
                    accuracy[2 + range][0],
                );
                note(
                    4 + range,
                    part.rail_offset_nv[channel][range],
                    accuracy[2 + range][1],
                );
                note(6, part.sense_offset_nv[channel], accuracy[range][1]);
            }
            note(7, part.bias_na[channel], bias_na);
            // Between any two moments the offset differs by no more than the stability.
            assert!(2.0 * part.sense_drift[channel].amplitude_nv.abs() <= drift_nv);
        }
        let (fast, slow) = (
            170_000.0 / (1.0 + oscillator),
            170_000.0 / (1.0 - oscillator),
        );
        let ns = part.conversion_ns;
        assert!((fast..=slow).contains(&(ns as f64)), "{ns}");
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
            bench.part(Corncrake::drawn(0x32)).expect("a free address");
        }
        let desk = Desk::with(&bench, Moorhen::new(ADDRESS));
        bench.set_logging(Logging::Full);
        desk.steady(0, 1e7, 3.3e9);
        for _ in 0..30 {
            desk.trigger();
            desk.run_us(900);
            for input in Input::all() {
                desk.code(input);
            }
        }
        let log = bench.log();
        log.iter()
            .map(|transaction| format!("{} {transaction}\n", transaction.start_ns))
            .collect::<String>()
    };
    assert_eq!(log(false), log(true));
}

/// Code = (input × (1 + gain) + offset) / LSB, worked out by hand.
#[test]
fn gain_offset_and_bias_add_up_as_section_6_says() {
    let mut errors = Individual::ideal();
    errors.sense_gain[1] = [0.006, -0.006];
    errors.sense_offset_nv[1] = -45_000.0;
    errors.bias_na[1] = 9_000.0;
    errors.rail_gain[1] = [0.005, -0.005];
    errors.rail_offset_nv[1] = [14e6, -5e6];
    let desk = Desk::with(&Bench::new(0), Moorhen::individual(ADDRESS, errors));
    desk.steady(1, 10e6, 5e9);
    let inputs = Input::all();
    // 10 mA and 9 µA in 1 Ω are 10 009 000 nV. × 1.006 - 45 000 = 10 024 054 -> 278.446 codes of 36 µV;
    // × 0.994 - 45 000 = 9 903 946 -> 1 100.438 codes of 9 µV.
    // 5 V × 1.005 + 14 mV = 5.039 V -> 719.857 codes of 7 mV; × 0.995 - 5 mV = 4.970 V -> 2 840.0 codes of 1.75 mV.
    for (ranges, sense, bus) in [(0x0000, 278, 720), (0x0300, 1_100, 2_840)] {
        desk.set("RANGES", ranges);
        desk.shoot();
        assert_eq!((desk.code(inputs[2]), desk.code(inputs[3])), (sense, bus));
    }
    // Channel 0 has no rail: nothing flows there, and its errors are none.
    assert_eq!((desk.code(inputs[0]), desk.code(inputs[1])), (0, 0));
}

#[test]
fn an_offset_wanders_from_one_single_shot_to_the_next() {
    let mut errors = Individual::ideal();
    errors.sense_drift[0] = Drift {
        amplitude_nv: 90_000.0,
        period_ns: 2_000_000_000,
        phase_ns: 0,
    };
    let desk = Desk::with(&Bench::new(0), Moorhen::individual(ADDRESS, errors));
    desk.set("RANGES", 0x0040);
    desk.steady(0, 0.0, 0.0);
    // From trough to peak in a second: -10 codes of 9 µV at 0, none at half a second, +10 at a second.
    for (at_ns, code) in [
        (1_000_000, -10),
        (500_000_000, 0),
        (1_000_000_000, 10),
        (1_500_000_000, 0),
    ] {
        desk.bench.run_until(at_ns);
        desk.shoot();
        assert_eq!(desk.code(Input::all()[0]), code, "{at_ns}");
    }
}

/// The spread of many codes is that of the table, quantisation added, and no code leaves six times the r.m.s.
#[test]
fn noise_is_as_large_as_the_table_says() {
    let accuracy = accuracy();
    for (i, input) in Input::all().into_iter().enumerate().take(2) {
        for range in 0..2 {
            let mut errors = Individual::ideal();
            errors.noise = true;
            let desk = Desk::with(&Bench::new(3), Moorhen::individual(ADDRESS, errors));
            desk.set("RANGES", input.bit * range as u16);
            desk.show(input, range, 1_000);
            let lsb = input.lsb_nv(range);
            let rms = accuracy[2 * i + range][2] / lsb;
            const SHOTS: i64 = 4_000;
            let (mut sum, mut squares) = (0, 0);
            for _ in 0..SHOTS {
                desk.shoot();
                let off = desk.code(input) - 1_000;
                assert!(off.abs() as f64 <= 6.0 * rms + 0.5);
                sum += off;
                squares += off * off;
            }
            // Rounding to whole codes adds a twelfth of a code squared (common practice for a spread of half a code and more).
            let variance = squares as f64 / SHOTS as f64;
            let expected = rms * rms + 1.0 / 12.0;
            assert!(
                (variance / expected - 1.0).abs() < 0.1,
                "{input:?} {range}: {variance}, {expected}"
            );
            assert!((sum as f64 / SHOTS as f64).abs() < 0.06);
        }
    }
}
