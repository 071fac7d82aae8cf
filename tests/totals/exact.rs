//! Totals against exact rational arithmetic over random histories.

use crate::model::{Model, magnitude, ratio};
use crate::stub::{PERIODS_US, Stub, board, rail};
use crake::Channel;
use crake::board::{Board, Correction, Gain, Offset};
use crake::totals::{Discontinuity, Totals, Update};
use num_bigint::BigInt;
use num_rational::BigRational;
use proptest::prelude::*;

/// Charge and energy wrap after more scans than this at full scale: 2^43 / 2^17 (section 4).
const SCANS_MAX: u64 = 1 << 26;

#[derive(Clone, Debug)]
enum Event {
    /// So many scans of these codes, by an oscillator so many ppm fast; then a sample.
    Run {
        scans: u64,
        ppm: i64,
        sense: [i32; 4],
        rail: [u16; 4],
    },
    /// Another configuration; the scans before it are not told.
    Configure(Plan),
    /// Nobody reads for so long that a rollover may hide; the counts may be anything.
    TooLate { scans: u64, sense: [i32; 4] },
    /// The part is reset and initialised.
    Reset(Plan),
    /// Another description of the board.
    Correct { offset: i32, gain: i32 },
    /// No mean is finished until the next run.
    Incomplete,
}

/// A configuration in places of tables: scan rate, and per channel sense and rail range.
#[derive(Clone, Copy, Debug)]
struct Plan {
    rate: u8,
    channels: [Option<(u8, u8)>; 4],
}

impl Plan {
    fn ranges<const N: usize>(self) -> [Option<(u8, u8)>; N] {
        let mut ranges: [Option<(u8, u8)>; N] = core::array::from_fn(|place| self.channels[place]);
        if ranges.iter().all(Option::is_none) {
            ranges[N - 1] = Some((0, 0));
        }
        ranges
    }
}

fn plan() -> impl Strategy<Value = Plan> {
    let channel = proptest::option::weighted(0.8, (0..2_u8, 0..3_u8));
    (0..5_u8, proptest::array::uniform4(channel))
        .prop_map(|(rate, channels)| Plan { rate, channels })
}

fn codes() -> impl Strategy<Value = ([i32; 4], [u16; 4])> {
    let sense = prop_oneof![
        Just(131_071),
        Just(-131_072),
        Just(0),
        Just(-1),
        -131_072..=131_071_i32
    ];
    let rail = prop_oneof![Just(65_535), Just(0), 0..=65_535_u16];
    (
        proptest::array::uniform4(sense),
        proptest::array::uniform4(rail),
    )
}

fn event() -> impl Strategy<Value = Event> {
    // At most 96 % of the way to the wrap, which the oscillator's 1.5 % leave safe.
    let scans = prop_oneof![
        1..100_u64,
        1..SCANS_MAX * 96 / 100,
        Just(SCANS_MAX * 96 / 100)
    ];
    prop_oneof![
        8 => (scans, -15_000..=15_000_i64, codes())
            .prop_map(|(scans, ppm, (sense, rail))| Event::Run { scans, ppm, sense, rail }),
        2 => plan().prop_map(Event::Configure),
        1 => (0..SCANS_MAX * 5, codes())
            .prop_map(|(scans, (sense, _))| Event::TooLate { scans, sense }),
        1 => plan().prop_map(Event::Reset),
        1 => (-2_560_000..2_560_000, -10_000_000..10_000_000)
            .prop_map(|(offset, gain)| Event::Correct { offset, gain }),
        1 => Just(Event::Incomplete),
    ]
}

struct History<const N: usize> {
    nanoohms: [u64; N],
    correction: Correction,
    models: [Model; N],
    scans: u64,
    /// Scans that no rail code stands for yet.
    unread: u64,
    /// Middle of the samples at the stretch's ends, doubled.
    twice_start: u64,
    twice_last: u64,
    closed_twice_us: u64,
    epochs: u32,
    /// Lengths of the gaps, from middle to middle, doubled.
    gap_twice_us: u64,
}

impl<const N: usize> History<N> {
    fn stretch(&self, channel: usize) -> [BigRational; 2] {
        let twice_us = self.twice_last - self.twice_start;
        // The last rail alone is corrected.
        let correction = if channel == N - 1 {
            self.correction
        } else {
            Correction::NONE
        };
        self.models[channel].stretch(self.nanoohms[channel], &correction, self.scans, twice_us)
    }

    /// The stretch ends; another begins with the sample at `twice`.
    fn close(&mut self, twice: u64) {
        self.closed_twice_us += self.twice_last - self.twice_start;
        self.gap_twice_us += twice - self.twice_last;
        for channel in 0..N {
            let stretch = self.stretch(channel);
            self.models[channel].close(stretch);
        }
        (self.scans, self.unread) = (0, 0);
        (self.twice_start, self.twice_last) = (twice, twice);
    }

    fn configure(&mut self, ranges: [Option<(u8, u8)>; N]) {
        for (model, range) in self.models.iter_mut().zip(ranges) {
            model.ranges = range;
        }
    }

    fn add(&mut self, scans: u64, stub: &Stub<N>, sense: [i32; 4], rail: [u16; 4]) {
        self.unread += scans;
        for (channel, model) in self.models.iter_mut().enumerate() {
            if model.ranges.is_none() {
                continue;
            }
            let (s, r) = (i64::from(sense[channel]), i64::from(rail[channel]));
            model.charge += BigInt::from(s) * scans;
            model.energy += BigInt::from(s * r) * scans;
            if stub.complete {
                model.rail += BigInt::from(r) * self.unread;
            }
        }
        if stub.complete {
            self.unread = 0;
        }
        self.scans += scans;
        self.twice_last = stub.twice_us();
    }
}

fn first_of<T: Copy + Default, const N: usize>(all: [T; 4]) -> [T; N] {
    core::array::from_fn(|place| all[place])
}

/// Plays a history on totals and model, and compares after every event.
fn play<const N: usize>(
    nanoohms: [u64; N],
    first: Plan,
    events: &[Event],
) -> Result<(), TestCaseError> {
    let plain: Board<N> = board(nanoohms.map(rail));
    let last = Channel::new(N as u8 - 1);
    let corrections: Vec<_> = events
        .iter()
        .filter_map(|event| match event {
            Event::Correct { offset, gain } => Some(Correction {
                offset: Offset::from_bits(*offset),
                gain: Gain::from_bits((1 << 30) + gain),
                ..Correction::NONE
            }),
            _ => None,
        })
        .map(|correction| (correction, plain.corrected(last, &correction)))
        .collect();
    let mut corrections = corrections.iter();

    let mut stub = Stub::new(plain);
    let mut totals = Totals::new(&plain);
    stub.configure(first.rate, first.ranges());
    let mut period_us = PERIODS_US[usize::from(first.rate)];
    let mut history = History {
        nanoohms,
        correction: Correction::NONE,
        models: core::array::from_fn(|_| Model::default()),
        scans: 0,
        unread: 0,
        twice_start: stub.twice_us(),
        twice_last: stub.twice_us(),
        closed_twice_us: 0,
        epochs: 0,
        gap_twice_us: 0,
    };
    history.configure(first.ranges());
    prop_assert_eq!(totals.update(&stub), Update::First);

    for event in events {
        let broken = match event {
            Event::Run {
                scans,
                ppm,
                sense,
                rail,
            } => {
                // 2^40 µs are the longest that totals let nobody look.
                let scans = &(*scans).min((1 << 40) / period_us * 96 / 100);
                let us = i128::from(scans * period_us) * 1_000_000 / i128::from(1_000_000 + ppm);
                stub.run(*scans, us as u64, first_of(*sense), first_of(*rail));
                prop_assert_eq!(totals.update(&stub), Update::Continued);
                history.add(*scans, &stub, *sense, *rail);
                stub.complete = true;
                None
            }
            Event::Configure(plan) => {
                stub.run(777, 123_456, [9; N], [9; N]);
                stub.configure(plan.rate, plan.ranges());
                Some((Discontinuity::Configured, Some(plan)))
            }
            Event::TooLate { scans, sense } => {
                let by_us = totals.next_sample_by_us().expect("it counts");
                let us = by_us + 1 - stub.width_us - stub.now_us;
                stub.run(*scans, us, first_of(*sense), [1; N]);
                Some((Discontinuity::TooLate, None))
            }
            Event::Reset(plan) => {
                stub.reset();
                stub.run(5, 1_234_567, [1; N], [1; N]);
                stub.configure(plan.rate, plan.ranges());
                Some((Discontinuity::Configured, Some(plan)))
            }
            Event::Correct { .. } => {
                let (correction, board) = corrections.next().expect("as many as events");
                history.close(history.twice_last);
                history.correction = *correction;
                totals.set_board(board);
                None
            }
            Event::Incomplete => {
                // Results stay complete once they are, until the next configuration.
                stub.complete = history.scans != 0;
                None
            }
        };
        if let Some((kind, plan)) = broken {
            prop_assert_eq!(totals.update(&stub), Update::Discontinuity(kind));
            history.close(stub.twice_us());
            history.epochs += 1;
            if let Some(plan) = plan {
                history.configure(plan.ranges());
                period_us = PERIODS_US[usize::from(plan.rate)];
            }
        }
        compare(&totals, &history)?;
    }
    Ok(())
}

fn compare<const N: usize>(
    totals: &Totals<'_, N>,
    history: &History<N>,
) -> Result<(), TestCaseError> {
    for number in 0..N {
        let channel = Channel::new(number as u8);
        let got = [
            totals
                .charge(channel)
                .expect("a rail")
                .value
                .as_nanocoulombs(),
            totals
                .energy(channel)
                .expect("a rail")
                .value
                .as_nanojoules(),
        ];
        let model = &history.models[number];
        let open = history.stretch(number);
        let slack = model.slack(&open);
        for place in 0..2 {
            let exact = &model.totals[place] + &open[place];
            prop_assert!(
                magnitude(ratio(got[place], 1) - &exact) <= slack[place],
                "channel {}, total {}: {} instead of {}",
                number,
                place,
                got[place],
                exact.to_integer()
            );
        }
    }
    let twice_us = history.closed_twice_us + history.twice_last - history.twice_start;
    prop_assert_eq!(totals.counted_us(), twice_us / 2);
    prop_assert_eq!(totals.epoch(), history.epochs);
    let (gap, truly_us) = (totals.gap(), history.gap_twice_us / 2);
    prop_assert!(
        gap.least_us <= truly_us && truly_us <= gap.greatest_us,
        "gap {:?}, truly {}",
        gap,
        truly_us
    );
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn random_histories_of_four_rails(
        nanoohms in proptest::array::uniform4(100_000..=10_000_000_000_u64),
        first in plan(),
        events in proptest::collection::vec(event(), 1..30),
    ) {
        play(nanoohms, first, &events)?;
    }

    #[test]
    fn random_histories_of_one_to_three_rails(
        nanoohms in proptest::array::uniform3(100_000..=10_000_000_000_u64),
        first in plan(),
        events in proptest::collection::vec(event(), 1..20),
    ) {
        let [a, b, _] = nanoohms;
        play([a], first, &events)?;
        play([a, b], first, &events)?;
        play(nanoohms, first, &events)?;
    }
}

/// Ten years at 2000 scans a second and full scale, a sample every 9.2 h: each sum rolls over
/// between samples, and not one code is lost. The sense resistor of 100 µΩ makes it 655 A at 65.5
/// V, 1.35e13 J: more than 64 bits of nanojoules, and more than 2^63 of power codes.
#[test]
fn ten_years_at_full_scale_lose_nothing() {
    for sense in [131_071, -131_072] {
        let board = board([rail(100_000)]);
        let mut stub = Stub::new(board);
        let mut totals = Totals::new(&board);
        assert_eq!(totals.update(&stub), Update::First);
        let scans = 66_000_000;
        for _ in 0..9_560 {
            stub.run(scans, scans * 500, [sense], [65_535]);
            assert_eq!(totals.update(&stub), Update::Continued);
        }
        let us = 9_560 * scans * 500;
        assert!(us > 3_645 * 86_400 * 1_000_000);
        assert_eq!((totals.epoch(), totals.counted_us()), (0, us));
        assert_eq!(totals.part_clock_us(), us);
        // Constant codes: energy is power × time whatever the number of scans. Codes × 0.5 µV ÷ 100
        // µΩ is
        // 655.36 A at 65.535 V.
        let nanocoulombs = ratio(i64::from(sense) * 500, 100_000) * ratio(us, 1) * ratio(1_000, 1);
        let nanojoules = &nanocoulombs * ratio(65_535, 1_000);
        let charge = totals.charge(Channel::C0).expect("a rail").value;
        let energy = totals.energy(Channel::C0).expect("a rail").value;
        assert!(energy.as_nanojoules().unsigned_abs() > 1 << 73);
        for (got, exact) in [
            (charge.as_nanocoulombs(), nanocoulombs),
            (energy.as_nanojoules(), nanojoules),
        ] {
            let off = magnitude(ratio(got, 1) - &exact);
            let slack = magnitude(exact) * crate::model::power_of_two(-50) + ratio(1, 1);
            assert!(off <= slack, "{got}: off by {off}");
        }
    }
}

/// No drift: a hundred thousand stretches of 1 µs·A or so each, in turn and back, leave nothing.
#[test]
fn many_short_stretches_do_not_drift() {
    let board = board([rail(10_000_000)]);
    let mut stub = Stub::new(board);
    let mut totals = Totals::new(&board);
    totals.update(&stub);
    for turn in 0..100_000 {
        let sense = if turn % 2 == 0 { 7_777 } else { -7_777 };
        stub.run(3, 1_501, [sense], [12_345]);
        assert_eq!(totals.update(&stub), Update::Continued);
        totals.set_board(&board);
    }
    assert_eq!(
        totals
            .charge(Channel::C0)
            .expect("a rail")
            .value
            .as_nanocoulombs(),
        0
    );
    assert_eq!(
        totals
            .energy(Channel::C0)
            .expect("a rail")
            .value
            .as_nanojoules(),
        0
    );
    assert_eq!(totals.counted_us(), 150_100_000);
}
