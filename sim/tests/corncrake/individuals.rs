//! Section 7: the errors of an individual, and that chance comes from the seed alone.

use core::time::Duration;

use crake_sim::{
    bench::Bench,
    board::SenseResistor,
    bus::Logging,
    part::corncrake::{Corncrake, Drift, Individual},
};

use crate::corncrake::{
    datasheet::table,
    fixture::{Fixture, Steady, ohm},
};

/// A run of an individual part, as it went over the bus.
fn wire_log(seed: u64, company: bool) -> String {
    let bench = Bench::new(seed);
    if company {
        bench.part(Corncrake::new(0x35)).expect("a free address");
    }
    let fixture = Fixture::with(&bench, Corncrake::new(0x32));
    bench.set_logging(Logging::Full);
    fixture.steady(0, 1e7, 3.3e9);
    fixture.run(0x10);
    for tag in 2..40 {
        bench.run_for(Duration::from_millis(13));
        fixture.latch(tag, tag - 1);
        fixture.run_conversions(16);
        fixture.sample();
    }
    bench
        .log()
        .iter()
        .map(|transaction| format!("{} {transaction}\n", transaction.start_ns))
        .collect()
}

#[test]
fn the_same_seed_gives_the_same_bytes_and_another_seed_another_part() {
    let first = wire_log(7, false);
    assert_eq!(first, wire_log(7, false));
    assert_eq!(
        first,
        wire_log(7, true),
        "company on the bus changes nothing"
    );
    assert_ne!(first, wire_log(8, false));
    let individual = |seed, address| {
        Bench::new(seed)
            .part(Corncrake::new(address))
            .expect("a free address")
            .individual()
    };
    assert_eq!(individual(7, 0x32), individual(7, 0x32));
    assert_ne!(individual(7, 0x32), individual(8, 0x32));
    assert_ne!(individual(7, 0x32), individual(7, 0x33));
}

/// Code = (input × (1 + gain) + offset) / LSB, worked out by hand for the datasheet's greatest
/// errors, with a bias current a hundred times the datasheet's so that it shows in the code.
#[test]
fn gain_offset_and_bias_add_up_as_section_7_says() {
    let mut errors = Individual::ideal();
    errors.sense_gain[2] = [0.002, -0.002];
    errors.sense_offset_nv[2] = -10_000.0;
    errors.bias_na[2] = 2_000.0;
    errors.rail_gain[2] = [0.0015, -0.0015, 0.001];
    errors.rail_offset_nv[2] = [1e6, -2.5e6, 10e6];
    // 20 mA and 2 µA in 1 Ω are 20 002 000 nV. × 1.002 - 10 000 = 20 032 004 -> 40 064.0 codes of
    // 500 nV; × 0.998 - 10 000 = 19 951 996 -> 99 759.98 codes of 200 nV. 3.3002 × 1.0015 + 0.001 =
    // 3.3061503 -> 33 061.503; 3.3002 × 0.9985 - 0.0025 = 3.2927497 -> 13 170.999; 3.3002 × 1.001 +
    // 0.01 = 3.3135002 -> 3 313.5002.
    let expected = [
        (0x0, 40_064, 33_062),
        (0x5, 99_760, 13_171),
        (0x2, 40_064, 3_314),
    ];
    for (ranges, sense, rail) in expected {
        let fixture = Fixture::with(&Bench::new(0), Corncrake::individual(0x32, errors.clone()));
        fixture.steady(2, 2e7, 3.3002e9);
        fixture.write(0x06, &[ranges, 0x00]);
        fixture.run(0x20);
        fixture.run_conversions(12);
        assert_eq!(fixture.signed(0x62, 3), sense, "{ranges:x}");
        assert_eq!(fixture.unsigned(0x66, 2), rail, "{ranges:x}");
    }
}

/// A triangle of 5 µV over 8 s: at the whole seconds -5, -2.5, 0, 2.5, 5, 2.5 µV and so on, in
/// codes of 500 nV.
#[test]
fn the_offset_drifts_with_time() {
    let mut errors = Individual::ideal();
    errors.sense_drift[0] = Drift {
        amplitude: 5_000.0,
        period_ns: 8_000_000_000,
        phase_ns: 0,
    };
    let fixture = Fixture::with(&Bench::new(0), Corncrake::individual(0x32, errors));
    for (second, code) in (1..9).zip([-5, 0, 5, 10, 5, 0, -5, -10]) {
        fixture.bench.run_until(second * 1_000_000_000);
        fixture.run(0x20);
        fixture.run_conversions(12);
        assert_eq!(fixture.signed(0x60, 3), code, "{second} s");
    }
}

/// 1 A in 10 mΩ that heats by 5 K/mW: 50 K at 10 mW, +1 % at 200 ppm/K, so 10.1 mV.
#[test]
fn the_resistor_heats_with_the_current_through_it() {
    let fixture = Fixture::ideal();
    let resistor = SenseResistor::ideal(10_000_000)
        .thermal_resistance_mk_per_w(5_000_000)
        .individual(0.0, 200e-6);
    fixture
        .part
        .rail(
            0,
            Steady {
                current_na: 1e9,
                voltage_nv: 0.0,
            },
            resistor,
        )
        .expect("channel");
    fixture.run(0x20);
    fixture.run_conversions(12);
    assert_eq!(fixture.signed(0x60, 3), 20_200);
}

/// A cell of section 7 or 8 like `±2.5 mV` in nanovolts, nanoamperes, or as a fraction.
fn base(cell: &str) -> f64 {
    let (count, unit) = cell
        .trim_start_matches('±')
        .split_once(' ')
        .expect("a number and a unit");
    let factor = match unit {
        "nV" | "nA" => 1.0,
        "µV" => 1e3,
        "mV" => 1e6,
        "%" => 0.01,
        other => panic!("unit {other}"),
    };
    count.parse::<f64>().expect("a number") * factor
}

/// The rows of section 7 for sense or rail: LSB and noise in nanovolts, gain and offset limits.
fn accuracy(input: &str) -> Vec<[f64; 4]> {
    let rows = table("| range | LSB | gain error |");
    rows.iter()
        .filter(|row| row[0].starts_with(input))
        .map(|row| [row[1], row[2], row[3], row[4]].map(base))
        .collect()
}

/// Whether values lie within ±limit and come near both ends.
fn fills(values: impl Iterator<Item = f64>, limit: f64) -> bool {
    let (least, greatest) = values.fold((0.0_f64, 0.0_f64), |(least, greatest), value| {
        (least.min(value), greatest.max(value))
    });
    let share = 0.97 * limit..=limit;
    share.contains(&greatest) && share.contains(&-least)
}

#[test]
fn individuals_stay_within_the_limits_of_the_document_and_fill_them() {
    let parts: Vec<Individual> = (0..400)
        .map(|seed| {
            Bench::new(seed)
                .part(Corncrake::new(0x32))
                .expect("a free address")
                .individual()
        })
        .collect();
    let channels = || {
        parts
            .iter()
            .flat_map(|part| (0..4).map(move |channel| (part, channel)))
    };
    for (range, [_, gain, offset, _]) in accuracy("sense").into_iter().enumerate() {
        assert!(fills(
            channels().map(|(part, channel)| part.sense_gain[channel][range]),
            gain
        ));
        assert!(fills(
            // At the end of the drift that is farther from zero.
            channels().map(|(part, channel)| {
                let offset_nv = part.sense_offset_nv[channel];
                offset_nv + part.sense_drift[channel].amplitude.copysign(offset_nv)
            }),
            offset
        ));
    }
    for (range, [_, gain, offset, _]) in accuracy("rail").into_iter().enumerate() {
        assert!(fills(
            channels().map(|(part, channel)| part.rail_gain[channel][range]),
            gain
        ));
        assert!(fills(
            channels().map(|(part, channel)| part.rail_offset_nv[channel][range]),
            offset
        ));
    }
    let rows = table("| what | limit |");
    let limit = |what: &str| {
        rows.iter()
            .find(|row| row[0].starts_with(what))
            .unwrap_or_else(|| panic!("{what}"))[1]
    };
    assert!(fills(
        channels().map(|(part, channel)| part.bias_na[channel]),
        base(limit("input bias"))
    ));
    // From peak to peak: the offset that a calibration took may have been at either end.
    assert!(fills(
        channels().map(|(part, channel)| 2.0 * part.sense_drift[channel].amplitude),
        base(limit("sense offset"))
    ));
    assert!(parts.iter().all(|part| part.noise));
    // At the ends of the wander.
    let conversion_ns =
        |p: &Individual, end: f64| p.conversion_ns as f64 + end * p.conversion_drift.amplitude;
    let frequency_error = |ns: f64| 62_500.0 / ns - 1.0;
    let ends = parts
        .iter()
        .flat_map(|p| [-1.0, 1.0].map(|end| conversion_ns(p, end)))
        .map(frequency_error);
    assert!(fills(ends, base(limit("frequency error"))));
    // However the wander falls, it departs from its mean by less than its whole span.
    let wander = parts
        .iter()
        .map(|p| 2.0 * p.conversion_drift.amplitude / conversion_ns(p, -1.0));
    assert!(
        wander
            .into_iter()
            .all(|span| span > 0.0 && span <= base(limit("change of frequency")))
    );
}

/// Codes whose scatter is looked at: eight captures.
const CODES: usize = 8 * 1024;

/// Each error is a draw of its own: no two of a part are the same share of their limits.
#[test]
fn no_error_repeats_another() {
    let sense = accuracy("sense");
    let rail = accuracy("rail");
    for seed in 0..20 {
        let part = Bench::new(seed)
            .part(Corncrake::new(0x32))
            .expect("a free address")
            .individual();
        let mut shares = Vec::new();
        for channel in 0..4 {
            shares.push(part.sense_offset_nv[channel] / sense[0][2]);
            shares.push(part.bias_na[channel] / 20.0);
            shares.push(part.sense_drift[channel].amplitude / 25.0);
            for (range, [_, gain, _, _]) in sense.iter().enumerate() {
                shares.push(part.sense_gain[channel][range] / gain);
            }
            for (range, [_, gain, offset, _]) in rail.iter().enumerate() {
                shares.push(part.rail_gain[channel][range] / gain);
                shares.push(part.rail_offset_nv[channel][range] / offset);
            }
        }
        assert_eq!(shares.len(), 4 * 11);
        shares.sort_by(f64::total_cmp);
        let apart = shares.windows(2).all(|pair| pair[1] - pair[0] > 1e-9);
        assert!(apart, "seed {seed}: {shares:?}");
    }
}

/// The scatter of so many codes is the table's noise and the step of the code: variance noise² +
/// LSB²/12, within six standard deviations of its estimate (6 × sqrt(2 / 8192) = 9 %, less than
/// half of what a tenth more noise makes); and no code departs by more than 6 × r.m.s. and
/// rounding.
fn assert_noise(codes: &[f64], [lsb_nv, _, _, noise_nv]: [f64; 4]) {
    assert_eq!(codes.len(), CODES);
    let mean = codes.iter().sum::<f64>() / CODES as f64;
    let variance = codes
        .iter()
        .map(|code| (code - mean) * (code - mean))
        .sum::<f64>()
        / (CODES - 1) as f64;
    let noise = noise_nv / lsb_nv;
    let expected = noise * noise + 1.0 / 12.0;
    assert!(
        (variance / expected - 1.0).abs() < 0.095,
        "{variance} {expected}"
    );
    assert!(
        codes
            .iter()
            .all(|code| (code - mean).abs() <= 6.0 * noise + 1.0)
    );
}

#[test]
fn sense_noise_has_the_size_that_the_table_says() {
    for (range, row) in accuracy("sense").into_iter().enumerate() {
        let fixture = Fixture::with(&Bench::new(11), Corncrake::new(0x33));
        fixture.steady(1, 5e6, 0.0);
        fixture.write(0x06, &[0x00, (range as u8) << 6]);
        let mut codes = Vec::new();
        for _ in 0..8 {
            fixture.run(0x31);
            fixture.bench.run_for(Duration::from_millis(100));
            for first in (0..1024_u16).step_by(16) {
                let [high, low] = first.to_be_bytes();
                fixture.write(0x79, &[high, low, 16]);
                codes.extend(
                    fixture
                        .read(0x7A, 48)
                        .chunks(3)
                        .map(|b| f64::from(i32::from_be_bytes([b[0], b[1], b[2], 0]) >> 8)),
                );
            }
        }
        assert_noise(&codes, row);
    }
}

#[test]
fn rail_noise_has_the_size_that_the_table_says() {
    for (range, row) in accuracy("rail").into_iter().enumerate() {
        let fixture = Fixture::with(&Bench::new(12), Corncrake::new(0x33));
        fixture.steady(0, 0.0, 5e9);
        fixture.write(0x05, &[0x01]);
        fixture.write(0x06, &[0x00, range as u8]);
        fixture.run(0x10);
        let codes: Vec<f64> = (0..CODES)
            .map(|_| {
                fixture.bench.run_for(Duration::from_micros(600));
                fixture.unsigned(0x64, 2) as f64
            })
            .collect();
        assert_noise(&codes, row);
    }
}

/// Means over a second of forty parts: sense within gain, offset and bias, rail within gain and
/// offset, as the table bounds them.
#[test]
fn individuals_measure_within_the_limits() {
    for seed in 0..40 {
        let bench = Bench::new(seed);
        let fixture = Fixture::with(&bench, Corncrake::new(0x34));
        for channel in 0..4 {
            fixture
                .part
                .rail(
                    channel,
                    Steady {
                        current_na: 2e7,
                        voltage_nv: 5e9,
                    },
                    ohm(),
                )
                .expect("channel");
        }
        fixture.write(0x06, &[0x55, 0x55]);
        fixture.write(0x07, &[0x0A]);
        fixture.run(0x10);
        bench.run_for(Duration::from_millis(600));
        for channel in 0..4_u8 {
            let sense_nv = fixture.signed(0x60 + channel, 3) as f64 * 200.0;
            let rail_nv = fixture.unsigned(0x64 + channel, 2) as f64 * 250_000.0;
            // Noise of the mean at six sigma and half a code.
            let sense_bound =
                2e7 * 0.002 + 10_000.0 + 25.0 + 20.0 * 1.002 + 6.0 * 1_200.0 / 32.0 + 100.0;
            let rail_bound = 5e9 * 0.0015 + 2.5e6 + 6.0 * 400_000.0 / 32.0 + 125_000.0;
            assert!(
                (sense_nv - 2e7).abs() <= sense_bound,
                "seed {seed}, channel {channel}: {sense_nv}"
            );
            assert!(
                (rail_nv - 5e9).abs() <= rail_bound,
                "seed {seed}, channel {channel}: {rail_nv}"
            );
        }
    }
}

#[test]
fn an_ideal_part_has_no_error_at_all() {
    let ideal = Individual::ideal();
    assert_eq!((ideal.sense_offset_nv, ideal.bias_na), ([0.0; 4], [0.0; 4]));
    assert_eq!(
        (ideal.sense_gain, ideal.rail_gain),
        ([[0.0; 2]; 4], [[0.0; 3]; 4])
    );
    assert_eq!(ideal.rail_offset_nv, [[0.0; 3]; 4]);
}
