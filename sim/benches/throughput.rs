//! Conversions a second of the whole loop beside those of a bare one, in one run:
//! `cargo bench -p crake-sim --bench throughput`.
//! docs/benchmarks.md says how to read it.

use std::hint::black_box;
use std::path::Path;
use std::time::Instant;

use crake_sim::board::SenseResistor;
use crake_sim::part::corncrake::Individual;
use crake_sim::plant::{Piece, Switched};
use crake_sim::rng::{Noise, Rng};
use crake_sim::run::{Silent, run};
use crake_sim::scenario::{RailPlan, Scenario};

const SKIFF: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../examples/survey-skiff.toml");
const SECONDS: u64 = 600;
const TIMES: u64 = 7;
const SEED: u64 = 1;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut scenario = Scenario::load(Path::new(SKIFF))?;
    scenario.duration_ns = SECONDS * 1_000_000_000;
    println!("the skiff's first {SECONDS} s, {TIMES} times in turn, seed {SEED}");

    let (mut whole, mut bare, mut ratios) = (Vec::new(), Vec::new(), Vec::new());
    for _ in 0..TIMES {
        let begun = Instant::now();
        let report = run(&scenario, SEED, &mut Silent)?;
        let rate_whole = report.conversions as f64 / begun.elapsed().as_secs_f64();

        let begun = Instant::now();
        let outcome = black_box(bare_loop(black_box(&scenario), SEED)?);
        let rate_bare = outcome.conversions as f64 / begun.elapsed().as_secs_f64();

        // The same work: both have seen the same charge. The bare loop begins a few milliseconds
        // earlier, and may see each of LOGIC's 600 pulses a scan of 16 longer or shorter: by a
        // thousandth r.m.s., of which four are allowed.
        for (rail, charge) in report.rails.iter().zip(&outcome.charge_c) {
            let measured = rail.charge_c.by_part_clock;
            if (charge / measured - 1.0).abs() > 4e-3 {
                return Err(format!("{}: {charge} C and {measured} C", rail.name).into());
            }
        }
        println!(
            "  whole {:6.2} M/s   bare {:6.2} M/s   bare ÷ whole {:.2}",
            rate_whole / 1e6,
            rate_bare / 1e6,
            rate_bare / rate_whole
        );
        whole.push(rate_whole);
        bare.push(rate_bare);
        ratios.push(rate_bare / rate_whole);
    }
    println!(
        "conversions a second, medians: whole loop {:.2} M, bare loop {:.2} M; ratio {:.2}",
        median(whole) / 1e6,
        median(bare) / 1e6,
        median(ratios)
    );
    Ok(())
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values[values.len() / 2]
}

/// What the bare loop came to.
struct Outcome {
    conversions: u64,
    /// By the part's clock, in the scenario's order of rails.
    charge_c: Vec<f64>,
}

/// One channel of the bare loop: where its rail is, its errors, its sums.
struct Channel {
    rail: Switched,
    piece: Piece,
    resistor: SenseResistor,
    bias_na: f64,
    sense: Input,
    rail_voltage: Input,
    charge: i64,
    energy: i64,
}

/// One input in one range.
struct Input {
    gain: f64,
    offset_nv: f64,
    noise: Noise,
    noise_nv: f64,
    lsb_nv: f64,
    least: i64,
    greatest: i64,
}

/// The same rails, apertures, noise, rounding and sums as the part's model, and nothing else: no
/// bus, no registers, no samples, no limits, no truth.
fn bare_loop(scenario: &Scenario, seed: u64) -> Result<Outcome, Box<dyn std::error::Error>> {
    let rng = Rng::new(seed).stream(&format!("corncrake {:#04x}", scenario.parts[0].address));
    let part = Individual::from_seed(&rng);
    let channels = scenario
        .rails
        .iter()
        .map(|plan| Channel::new(plan, &part, scenario, seed, &rng.stream("noise")));
    let mut channels = channels.collect::<Result<Vec<_>, _>>()?;

    let (mut now_ns, mut scans, mut conversions) = (0, 0_u64, 0_u64);
    while now_ns < scenario.duration_ns {
        let drift_ns = part.conversion_drift.at(now_ns);
        let length_ns = (part.conversion_ns as f64 + drift_ns + 0.5) as u64;
        for channel in &mut channels {
            let (current_na, _) = channel.mean(now_ns, now_ns + length_ns);
            now_ns += length_ns;
            let input_nv = (current_na + channel.bias_na) * channel.resistor.ohms(current_na);
            let sense = channel.sense.code(input_nv, scans);
            let (_, voltage_nv) = channel.mean(now_ns, now_ns + length_ns);
            now_ns += length_ns;
            let rail = channel.rail_voltage.code(voltage_nv, scans);
            channel.charge += sense;
            channel.energy += sense * rail;
            conversions += 2;
        }
        scans += 1;
    }
    black_box(channels.iter().map(|channel| channel.energy).sum::<i64>());
    let coulombs = |(channel, plan): (&Channel, &RailPlan)| {
        let ohms = plan.sense.resistance_nohm as f64 / 1e9;
        channel.charge as f64 * channel.sense.lsb_nv / 1e9 / ohms / 2000.0
    };
    Ok(Outcome {
        conversions,
        charge_c: channels.iter().zip(&scenario.rails).map(coulombs).collect(),
    })
}

impl Channel {
    fn new(
        plan: &RailPlan,
        part: &Individual,
        scenario: &Scenario,
        seed: u64,
        noise: &Rng,
    ) -> Result<Self, Box<dyn std::error::Error>> {
        let mut rail = plan.rail()?;
        let number = usize::from(plan.channel);
        // The finest that reach what is asked for.
        let (sense_range, sense_lsb, sense_noise) = match plan.sense.sense_full_scale_nv {
            ..=26_214_200 => (1, 200.0, 1_200.0),
            _ => (0, 500.0, 2_500.0),
        };
        let rail_nv = plan.sense.rail_full_scale_nv;
        let (rail_range, rail_lsb, rail_noise) = if rail_nv <= 6_553_500_000 {
            (0, 100e3, 150e3)
        } else if rail_nv <= 16_383_750_000 {
            (1, 250e3, 400e3)
        } else {
            (2, 1e6, 1.5e6)
        };
        let mut rng = Rng::new(seed).stream(&format!("sense resistor of {}", plan.name));
        let resistor = SenseResistor::ideal(plan.sense.resistance_nohm)
            .tolerance_ppm(plan.sense.tolerance_ppm)
            .coefficient_ppm_per_k(plan.sense.temperature_coefficient_ppb_per_k / 1000)
            .thermal_resistance_mk_per_w(plan.sense.thermal_resistance_mk_per_w)
            .ambient_m_celsius(scenario.board.ambient_mc)
            .individual_from(&mut rng);
        Ok(Self {
            piece: rail.piece(0).ok_or("no piece at 0")?,
            rail,
            resistor,
            bias_na: part.bias_na[number],
            sense: Input {
                gain: 1.0 + part.sense_gain[number][sense_range],
                offset_nv: part.sense_offset_nv[number],
                noise: noise.stream(&format!("sense {number}")).noise(),
                noise_nv: sense_noise,
                lsb_nv: sense_lsb,
                least: -131_072,
                greatest: 131_071,
            },
            rail_voltage: Input {
                gain: 1.0 + part.rail_gain[number][rail_range],
                offset_nv: part.rail_offset_nv[number][rail_range],
                noise: noise.stream(&format!("rail {number}")).noise(),
                noise_nv: rail_noise,
                lsb_nv: rail_lsb,
                least: 0,
                greatest: 65_535,
            },
            charge: 0,
            energy: 0,
        })
    }

    /// Mean current and voltage over an aperture: the middle of each straight piece in it, by its
    /// length.
    #[inline]
    fn mean(&mut self, from_ns: u64, to_ns: u64) -> (f64, f64) {
        if to_ns <= self.piece.to_ns {
            return middle(&self.piece, from_ns, to_ns);
        }
        let (mut current, mut voltage, mut at_ns) = (0.0, 0.0, from_ns);
        while at_ns < to_ns {
            if at_ns >= self.piece.to_ns {
                // A piece that is asked for is there: time never goes back.
                self.piece = self.rail.piece(at_ns + 1).unwrap_or(self.piece);
            }
            let end_ns = to_ns.min(self.piece.to_ns);
            let (i, v) = middle(&self.piece, at_ns, end_ns);
            let share = (end_ns - at_ns) as f64 / (to_ns - from_ns) as f64;
            current += i * share;
            voltage += v * share;
            at_ns = end_ns;
        }
        (current, voltage)
    }
}

/// Current and voltage in the middle between two moments of a piece.
#[inline]
fn middle(piece: &Piece, from_ns: u64, to_ns: u64) -> (f64, f64) {
    let into = (from_ns - piece.from_ns) as f64 + (to_ns - from_ns) as f64 / 2.0;
    let share = into / (piece.to_ns - piece.from_ns) as f64;
    let along = |start: i64, end: i64| start as f64 + (end - start) as f64 * share;
    (
        along(piece.start_na, piece.end_na),
        along(piece.start_nv, piece.end_nv),
    )
}

impl Input {
    #[inline]
    fn code(&self, input_nv: f64, scan: u64) -> i64 {
        let noise_nv = self.noise.at(scan) * self.noise_nv;
        let output_nv = input_nv * self.gain + self.offset_nv + noise_nv;
        let code = output_nv / self.lsb_nv;
        let nearest = if code < 0.0 {
            -((0.5 - code) as i64)
        } else {
            (code + 0.5) as i64
        };
        nearest.clamp(self.least, self.greatest)
    }
}
