//! Sums that the driver keeps of a part without any: trapezoids over the host's time, and a bound
//! that covers what a load does between two samples.

use crate::individual::Draw;
use crate::model::{magnitude, ratio};
use crate::stub::{Stub, rail};
use crake::Channel;
use crake::board::{Board, Load, LoadSteps, Rail, VoltageSteps};
use crake::info::{PartInfo, Source, SumBits, Undetectable};
use crake::part::corncrake::INFO;
use crake::part::{AddUp, Codes, SoftwareSums};
use crake::totals::{Bounds, Discontinuity, Margins, Totals, Update};
use crake::units::{Current, Voltage};
use num_bigint::BigInt;
use proptest::prelude::*;

/// Corncrake's ranges on a part that keeps no sums, or one of them.
const fn info(charge_sum: Source, energy_sum: Source) -> PartInfo {
    PartInfo {
        charge_sum,
        energy_sum,
        sum_bits: SumBits::by_driver(INFO.sense_ranges, INFO.rail_ranges),
        undetectable: Undetectable::WRITES,
        ..INFO
    }
}

static NONE: PartInfo = info(Source::Driver, Source::Driver);

/// A 10 mΩ resistor in the widest ranges: 500 nV are 50 µA, one rail code is 1 mV.
const NANOAMPS: i64 = 50_000;
const MILLIVOLTS: i64 = 1;

/// A load that jumps, and samples of it at moments of the host's own choosing.
struct Bench {
    stub: Stub<1>,
    sums: SoftwareSums<1>,
    now_us: u64,
    sense: i64,
    rail: i64,
    /// Since the first sample: sense code × µs, and power code × µs.
    truth: [i128; 2],
}

impl Bench {
    fn new(board: Board<1>) -> Self {
        let mut stub = Stub::new(board);
        (stub.info, stub.bits) = (&NONE, [63, 63, 31]);
        stub.scan.undetectable = NONE.undetectable;
        Self {
            stub,
            sums: SoftwareSums::ZERO,
            now_us: 5_000_000,
            sense: 0,
            rail: 0,
            truth: [0; 2],
        }
    }

    fn run(&mut self, us: u64) {
        self.now_us += us;
        self.truth[0] += i128::from(self.sense) * i128::from(us);
        self.truth[1] += i128::from(self.sense * self.rail) * i128::from(us);
    }

    /// A sample right now, in the middle of a bracket.
    fn sample(&mut self, width_us: u64) -> &Stub<1> {
        let codes = Codes {
            sense: self.sense as i32,
            rail: self.rail as u32,
            power: self.sense * self.rail,
            ..Codes::default()
        };
        // Ticks of 64 µs.
        let ticks = (self.now_us >> 6) as u32;
        self.sums.add(ticks, 31, |_, _| (codes, None));
        let sums = self.sums.of(Channel::C0);
        let stub = &mut self.stub;
        (stub.codes, stub.scans) = ([codes], u64::from(ticks));
        stub.charge = [i128::from(sums.charge)];
        stub.energy = [i128::from(sums.energy)];
        (stub.now_us, stub.width_us) = (self.now_us - width_us / 2, width_us);
        stub
    }

    /// How much of the bound is used, in millionths: charge and energy.
    fn used(&self, totals: &Totals<'_, 1, Bounds<'_, 1>>) -> [BigInt; 2] {
        let charge = totals.charge(Channel::C0).expect("a rail");
        let energy = totals.energy(Channel::C0).expect("a rail");
        // nA × µs are 1e-6 nC; times mV they are 1e-9 nJ.
        let nanocoulombs = ratio(self.truth[0] * i128::from(NANOAMPS), 1_000_000);
        let nanojoules = ratio(
            self.truth[1] * i128::from(NANOAMPS * MILLIVOLTS),
            1_000_000_000,
        );
        let pairs = [
            (
                charge.value.as_nanocoulombs(),
                charge.bound.as_nanocoulombs(),
                nanocoulombs,
            ),
            (
                energy.value.as_nanojoules(),
                energy.bound.as_nanojoules(),
                nanojoules,
            ),
        ];
        pairs.map(|(value, bound, truth)| {
            let off = magnitude(ratio(value, 1) - truth);
            (off * ratio(1_000_000, 1) / ratio(bound, 1))
                .round()
                .to_integer()
        })
    }
}

fn declared(jumps: u64, us: u64, sense: i64, millivolts: i64) -> Rail {
    // A part of an hour with so many jumps makes so many in an hour.
    let per_hour = (jumps * 3_601_000_000).div_ceil(us) as u32;
    let load = Load::smooth(Current::from_nanoamps(sense * NANOAMPS))
        .with_steps(LoadSteps {
            per_hour,
            step: Current::from_nanoamps(sense * NANOAMPS),
        })
        .with_voltage_steps(VoltageSteps {
            per_hour,
            step: Voltage::from_millivolts(millivolts),
        });
    rail(10_000_000)
        .with_load(load)
        .with_voltage(Voltage::ZERO, Voltage::from_millivolts(20_000 * MILLIVOLTS))
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 2_000,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    /// Goal: however a load jumps within what is declared, and whenever samples come, the truth
    /// lies within the bound. A failure prints its seed: in the place of `any`, `Just(seed)`
    /// replays it.
    #[test]
    fn what_a_load_does_between_samples_is_in_the_bound(seed in any::<u64>()) {
        let mut draw = Draw(seed);
        let longest = draw.of(&[3_000, 300_000, 5_000_000]);
        let pieces: Vec<(u64, u64, i64, i64)> = (0..2 + draw.below(60))
            .map(|_| {
                let us = 2_000 + draw.below(longest);
                // Right after a sample, right before one, or anywhere.
                let place = draw.below(us);
                let jump = draw.of(&[1, us - 1, us, place]);
                (us, jump, draw.below(100_000) as i64, 1 + draw.below(20_000) as i64)
            })
            .collect();
        let us: u64 = pieces.iter().map(|(us, ..)| us).sum();
        let rails = [declared(pieces.len() as u64, us, 100_000, 20_000)];
        let board = Board::new(&NONE, &rails);
        let margins = Margins::new(&NONE, &board, &rails);
        let mut totals = Totals::with_bounds(&margins);
        let mut bench = Bench::new(board);
        let width_us = draw.below(1_000);
        prop_assert_eq!(totals.update(bench.sample(width_us)), Update::First);
        bench.truth = [0; 2];
        for (us, jump, sense, rail) in pieces {
            bench.run(jump);
            (bench.sense, bench.rail) = (sense, rail);
            bench.run(us - jump);
            prop_assert_eq!(totals.update(bench.sample(width_us)), Update::Continued);
            let used = bench.used(&totals);
            let within = used.iter().all(|used| *used <= BigInt::from(1_000_000));
            prop_assert!(within, "seed {}: {:?} of a million", seed, used);
        }
        prop_assert_eq!(totals.counted_us(), us);
    }
}

/// Worked out by hand: a load that is on for a whole interval of 0.1 s but its ends, and off at
/// every sample, goes unseen: 1 s × 5 A in 10 s, which is a third of what is open.
#[test]
fn a_load_in_step_with_the_samples_is_unseen_and_in_the_bound() {
    let rails = [declared(200, 10_000_000, 100_000, 0)];
    let board = Board::new(&NONE, &rails);
    let margins = Margins::new(&NONE, &board, &rails);
    let mut totals = Totals::with_bounds(&margins);
    let mut bench = Bench::new(board);
    bench.rail = 3_300;
    totals.update(bench.sample(0));
    for _ in 0..100 {
        bench.run(1);
        bench.sense = 100_000;
        bench.run(99_998);
        bench.sense = 0;
        bench.run(1);
        totals.update(bench.sample(0));
    }
    let charge = totals.charge(Channel::C0).expect("a rail");
    assert!(charge.covers_load);
    assert_eq!(charge.value.as_nanocoulombs(), 0);
    // 10 s × 5 A; each of the 200 jumps is open by half of 0.1 s.
    let bound = charge.bound.as_nanocoulombs();
    assert!(
        (50_000_000_000..60_000_000_000).contains(&bound),
        "{bound} nC"
    );
    assert_eq!(totals.undetectable(), Undetectable::WRITES);
}

/// A sum that the part keeps has the scan period between its conversions, whoever keeps the other.
#[test]
fn the_sum_that_the_part_keeps_has_the_narrower_bound() {
    static CHARGE: PartInfo = PartInfo {
        sum_bits: INFO.sum_bits,
        ..info(Source::Part, Source::Driver)
    };
    let rails = [declared(3_600, 3_600_000_000, 100_000, 0)];
    let board = Board::new(&INFO, &rails);
    let margins = Margins::new(&INFO, &board, &rails);
    let bounds = [&INFO, &CHARGE].map(|info| {
        let mut totals = Totals::with_bounds(&margins);
        let mut stub = Stub::new(board);
        stub.info = info;
        totals.update(&stub);
        for _ in 0..10 {
            // 500 µs a scan.
            stub.run(2_000, 1_000_000, [50_000], [3_300]);
            assert_eq!(totals.update(&stub), Update::Continued);
        }
        let charge = totals.charge(Channel::C0).expect("a rail").bound;
        let energy = totals.energy(Channel::C0).expect("a rail").bound;
        (charge.as_nanocoulombs(), energy.as_nanojoules())
    });
    let [(charge, energy), (charge_by_part, energy_by_driver)] = bounds;
    assert_eq!(charge_by_part, charge);
    // 10 jumps of 5 A, half a second each, at 20 V.
    let more = energy_by_driver - energy;
    assert!(more > 10 * 5 * 20 * 500_000_000, "{more} nJ");
}

/// Intervals count in 32 bits of microseconds: 4 294.967 s, before the sums of nine hours run out.
#[test]
fn the_next_sample_is_due_in_71_minutes() {
    let rails = [rail(10_000_000)];
    let board = Board::new(&NONE, &rails);
    let mut totals = Totals::new(&board);
    let mut bench = Bench::new(board);
    totals.update(bench.sample(0));
    let due_us = totals.next_sample_by_us().expect("it counts") - bench.now_us;
    assert!((4_294_900_000..1 << 32).contains(&due_us), "{due_us}");
    bench.run(due_us - 1_000);
    assert_eq!(totals.update(bench.sample(0)), Update::Continued);
    bench.run(due_us + 1_000_000);
    let late = Update::Discontinuity(Discontinuity::TooLate);
    assert_eq!(totals.update(bench.sample(0)), late);
}

/// Worked out by hand: a thousand samples a second apart, each with its own noise, are off by
/// √1000 × 1 s of one sample's, and by the offset all the time.
#[test]
fn the_noise_of_samples_averages_out() {
    let rails = [rail(10_000_000).with_load(Load::smooth(Current::from_milliamps(100)))];
    let board = Board::new(&NONE, &rails);
    let margins = Margins::new(&NONE, &board, &rails);
    let mut totals = Totals::with_bounds(&margins);
    let mut bench = Bench::new(board);
    totals.update(bench.sample(0));
    for _ in 0..1_000 {
        bench.run(1_000_000);
        totals.update(bench.sample(0));
    }
    // Corncrake's widest range: offset and noise in nV.
    let (offset, noise) = (10_000.0, 2_500.0);
    let charge = totals.charge(Channel::C0).expect("a rail");
    // Over 10 mΩ, in nC: six deviations, of two roots that are at most a quarter too great each;
    // ends of 0.1 A and 2 s.
    let most = 100.0 * (offset * 1_000.0 + 1.25 * 1.25 * 6.0 * noise * 1_000_f64.sqrt()) + 0.2e9;
    let least = 100.0 * (offset * 1_000.0 + 6.0 * noise * 1_000_f64.sqrt());
    let bound = charge.bound.as_nanocoulombs() as f64;
    assert!(
        (least..most).contains(&bound),
        "{bound} of {least} to {most}"
    );
}
