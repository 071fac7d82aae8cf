//! Totals against exact rational arithmetic over random histories.

use crate::model::{BUS_NV, Model, ratio};
use crate::stub::{Handle, board, rail, ranges};
use crake::old::board::{Board, Correction, Gain, Zero};
use crake::old::ledger::{Break, Entry, Ledger};
use crake::old::part::corncrake::SPEC;
use crake::old::part::{BusRange, Pace, SenseRange};
use crake::old::units::{Current, Tolerance, Voltage};
use crake::old::{Channel, Mode, Ranges, Setup, ShuntMonitor};
use num_bigint::BigInt;
use num_rational::BigRational;
use proptest::prelude::*;

/// Round periods of section 6 in microseconds, by place in its table.
const PERIODS_US: [u64; 5] = [500, 2_000, 10_000, 100_000, 1_000_000];
/// Charge and energy wrap after more rounds than this at full scale: 2^43 / 2^17 (section 4).
const ROUNDS_MAX: u64 = 1 << 26;

#[derive(Clone, Debug)]
enum Event {
    /// So many rounds of these codes, by an oscillator so many ppm fast; then a latch.
    Run {
        rounds: u64,
        ppm: i64,
        sense: [i32; 4],
        bus: [u16; 4],
    },
    /// Another set-up, without losing a round.
    Configure(Plan),
    /// Nobody reads for so long that a rollover may hide; the counts may be anything.
    TooLate { rounds: u64, sense: [i32; 4] },
    /// The part loses its supply for a moment, and is set up anew.
    Reset(Plan),
    /// Another description of the board.
    Correct { zero: i32, gain: i32 },
}

/// A set-up in places of tables: pace, and per channel sense and bus range.
#[derive(Clone, Copy, Debug)]
struct Plan {
    pace: u8,
    channels: [Option<(u8, u8)>; 4],
}

impl Plan {
    fn setup<const N: usize>(self) -> Setup<N> {
        let one = |channel: usize| {
            self.channels[channel].map(|(sense, bus)| ranges(SenseRange(sense), BusRange(bus)))
        };
        let mut channels: [Option<Ranges>; N] = core::array::from_fn(one);
        if channels.iter().all(Option::is_none) {
            channels[N - 1] = Some(ranges(SenseRange(0), BusRange(0)));
        }
        Setup {
            channels,
            mode: Mode::Paced(Pace(self.pace)),
            averaging: 0,
        }
    }
}

fn plan() -> impl Strategy<Value = Plan> {
    let channel = proptest::option::weighted(0.8, (0..2_u8, 0..3_u8));
    (0..5_u8, proptest::array::uniform4(channel))
        .prop_map(|(pace, channels)| Plan { pace, channels })
}

fn codes() -> impl Strategy<Value = ([i32; 4], [u16; 4])> {
    let sense = prop_oneof![
        Just(131_071),
        Just(-131_072),
        Just(0),
        Just(-1),
        -131_072..=131_071_i32
    ];
    let bus = prop_oneof![Just(65_535), Just(0), 0..=65_535_u16];
    (
        proptest::array::uniform4(sense),
        proptest::array::uniform4(bus),
    )
}

fn event() -> impl Strategy<Value = Event> {
    // At most 96 % of the way to the wrap, which the oscillator's 1.5 % leave safe.
    let rounds = prop_oneof![
        1..100_u64,
        1..ROUNDS_MAX * 96 / 100,
        Just(ROUNDS_MAX * 96 / 100)
    ];
    prop_oneof![
        8 => (rounds, -15_000..=15_000_i64, codes())
            .prop_map(|(rounds, ppm, (sense, bus))| Event::Run { rounds, ppm, sense, bus }),
        2 => plan().prop_map(Event::Configure),
        1 => (0..ROUNDS_MAX * 5, codes())
            .prop_map(|(rounds, (sense, _))| Event::TooLate { rounds, sense }),
        1 => plan().prop_map(Event::Reset),
        1 => (-2_560_000..2_560_000, -10_000_000..10_000_000)
            .prop_map(|(zero, gain)| Event::Correct { zero, gain }),
    ]
}

struct History<'b, const N: usize> {
    boards: Vec<&'b Board<N>>,
    models: [Model; N],
    rounds: u64,
    /// Middle of the latches at the segment's ends, doubled.
    twice_start: u64,
    twice_last: u64,
    period_us: u64,
    epochs: u32,
    /// True lengths of the gaps, latch to latch, summed.
    gap_us: u64,
}

impl<const N: usize> History<'_, N> {
    fn board(&self) -> &Board<N> {
        self.boards.last().expect("one")
    }

    fn segment(&self, channel: usize) -> [BigRational; 4] {
        let rail = &self.board().rails()[channel];
        let nanoohms = rail.shunt().resistance().as_nanoohms();
        let twice_us = self.twice_last - self.twice_start;
        self.models[channel].segment(
            nanoohms,
            rail.correction(),
            self.rounds,
            twice_us,
            self.period_us,
        )
    }

    fn close(&mut self) {
        if self.rounds == 0 {
            // Nothing was counted: not accounted for on any rail.
            self.gap_us += (self.twice_last - self.twice_start) / 2;
        }
        for channel in 0..N {
            let add = self.segment(channel);
            let model = &mut self.models[channel];
            for (total, add) in model.totals.iter_mut().zip(add) {
                *total += add;
            }
            model.closed += 1;
            (model.charge, model.energy, model.twice_bus_nv) = Default::default();
        }
        self.rounds = 0;
        self.twice_start = self.twice_last;
    }

    fn begin(&mut self, setup: &Setup<N>, twice: u64) {
        for (model, ranges) in self.models.iter_mut().zip(setup.channels) {
            model.ranges = ranges;
            model.bus_nv = None;
        }
        let Mode::Paced(pace) = setup.mode else {
            unreachable!()
        };
        self.period_us = PERIODS_US[usize::from(pace.0)];
        self.rounds = 0;
        (self.twice_start, self.twice_last) = (twice, twice);
    }

    fn add(&mut self, rounds: u64, sense: [i32; 4], bus: [u16; 4]) {
        for (channel, model) in self.models.iter_mut().enumerate() {
            let Some(ranges) = model.ranges else { continue };
            model.charge += BigInt::from(sense[channel]) * rounds;
            model.energy +=
                BigInt::from(i64::from(sense[channel]) * i64::from(bus[channel])) * rounds;
            let now = u64::from(bus[channel]) * u64::from(BUS_NV[usize::from(ranges.bus.0)]);
            model.twice_bus_nv += BigInt::from(now + model.bus_nv.unwrap_or(now)) * rounds;
            model.bus_nv = Some(now);
        }
        self.rounds += rounds;
    }
}

/// Plays a history on driver and model, and compares after every event.
fn play<const N: usize>(
    nanoohms: [u64; N],
    first: Plan,
    events: &[Event],
) -> Result<(), TestCaseError> {
    let plain = board(nanoohms.map(|r| rail(r, Current::from_amps(1))))
        .with_clock(Tolerance::from_ppm(100));
    let corrected: Vec<_> = events
        .iter()
        .filter_map(|event| match event {
            Event::Correct { zero, gain } => Some(Correction {
                zero: Zero::from_bits(*zero),
                gain: Gain::from_bits((1 << 30) + gain),
                zero_bound: Some(Voltage::from_nanovolts(120)),
                gain_bound: Some(Tolerance::from_ppm(500)),
                gain_range: None,
            }),
            _ => None,
        })
        .map(|correction| {
            plain
                .corrected(&SPEC, Channel::new(N as u8 - 1), correction)
                .expect("small")
        })
        .collect();
    let mut corrected = corrected.iter();

    let handle = Handle::new();
    let mut monitor = handle.monitor(&plain);
    let mut ledger = Ledger::new(&plain, &SPEC);
    let mut history = History {
        boards: vec![&plain],
        models: core::array::from_fn(|_| Model::default()),
        rounds: 0,
        twice_start: 0,
        twice_last: 0,
        period_us: 0,
        epochs: 0,
        gap_us: 0,
    };
    let middle = |handle: &Handle| {
        // Right after an operation the stamp's bracket is what the stub says; a latch is the last write of every operation.
        handle.change(|world| (2 * world.latched_us - world.write_us, world.latched_us))
    };
    let setup = first.setup();
    prop_assert_eq!(
        ledger.update(&monitor.init(&setup).expect("init")),
        Entry::Opened
    );
    let (twice, mut latched_us) = middle(&handle);
    history.begin(&setup, twice);

    for event in events {
        match event {
            Event::Run {
                rounds,
                ppm,
                sense,
                bus,
            } => {
                let us = i128::from(rounds * history.period_us) * 1_000_000
                    / i128::from(1_000_000 + ppm);
                handle.run(*rounds, us as u64, *sense, *bus);
                let entry = ledger.update(&monitor.latch().expect("latch"));
                prop_assert_eq!(entry, Entry::Added);
                history.add(*rounds, *sense, *bus);
                (history.twice_last, latched_us) = middle(&handle);
            }
            Event::Configure(plan) => {
                let setup = plan.setup();
                let entry = ledger.update(&monitor.configure(&setup).expect("configure"));
                prop_assert_eq!(entry, Entry::Turned);
                let twice;
                (twice, latched_us) = middle(&handle);
                history.twice_last = twice;
                history.close();
                history.begin(&setup, twice);
            }
            Event::TooLate { rounds, sense } => {
                let by = ledger.next_read_by_us().expect("paced");
                // Right after a boundary the moment is that of the fastest pace; the slowest has 2000 times as long.
                handle.change(|world| world.now_us = by + 2_000 * (by - world.now_us));
                handle.run(*rounds, 0, *sense, [1; 4]);
                let frame = monitor.latch().expect("latch");
                let entry = ledger.update(&frame);
                prop_assert_eq!(
                    entry,
                    Entry::Broken {
                        reason: Break::TooLate,
                        reopened: true
                    }
                );
                let before = latched_us;
                history.close();
                let twice;
                (twice, latched_us) = middle(&handle);
                history.gap_us += latched_us - before;
                history.epochs += 1;
                history.rounds = 0;
                (history.twice_start, history.twice_last) = (twice, twice);
                for model in &mut history.models {
                    model.bus_nv = None;
                }
            }
            Event::Reset(plan) => {
                handle.change(|world| {
                    world.reset();
                    world.now_us += 1_234_567;
                });
                let entry = ledger.update(&monitor.latch().expect("latch"));
                prop_assert_eq!(
                    entry,
                    Entry::Broken {
                        reason: Break::Reset,
                        reopened: false
                    }
                );
                let before = latched_us;
                history.close();
                let setup = plan.setup();
                let entry = ledger.update(&monitor.init(&setup).expect("init"));
                prop_assert_eq!(entry, Entry::Opened);
                let twice;
                (twice, latched_us) = middle(&handle);
                history.gap_us += latched_us - before;
                history.epochs += 1;
                history.begin(&setup, twice);
            }
            Event::Correct { .. } => {
                let board = corrected.next().expect("as many as events");
                let bus = history.models.each_ref().map(|model| model.bus_nv);
                history.close();
                for (model, bus) in history.models.iter_mut().zip(bus) {
                    model.bus_nv = bus;
                }
                history.boards.push(board);
                ledger.set_board(board);
                monitor.set_board(board);
            }
        }
        compare(&ledger, &history)?;
    }
    Ok(())
}

fn compare<const N: usize>(
    ledger: &Ledger<'_, N>,
    history: &History<'_, N>,
) -> Result<(), TestCaseError> {
    for channel in 0..N {
        let account = ledger.account(Channel::new(channel as u8)).expect("a rail");
        let got = [
            account.charge.as_nanocoulombs(),
            account.energy.as_nanojoules(),
            account.charge_by_part_clock.as_nanocoulombs(),
            account.energy_by_part_clock.as_nanojoules(),
        ];
        // Half a unit by rounding at the end, 2^-33 per segment by rounding to 2^-32; where there is a zero, its charge of 2^-33 nC at 65 V.
        let slack = ratio(1, 2) + ratio(100 * (history.models[channel].closed + 1), 1_u64 << 33);
        let open = history.segment(channel);
        for (place, got) in got.into_iter().enumerate() {
            let exact = &history.models[channel].totals[place] + &open[place];
            let off = ratio(got, 1) - &exact;
            prop_assert!(
                off <= slack && -&off <= slack,
                "channel {}, total {}: {} instead of {}",
                channel,
                place,
                got,
                exact.to_integer()
            );
        }
    }
    prop_assert_eq!(ledger.epoch(), history.epochs);
    let gap = ledger.gap();
    prop_assert!(
        gap.least_us <= history.gap_us && history.gap_us <= gap.greatest_us,
        "gap {:?}, truly {}",
        gap,
        history.gap_us
    );
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 200, failure_persistence: None, ..ProptestConfig::default() })]

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

/// A year at 2000 rounds a second and full scale, one frame every 9.2 h: each accumulator rolls over between frames, and not one code is lost.
/// The sense resistor of 100 µΩ makes it 655 A at 65.5 V, 1.35e12 J: more than 64 bits of nanojoules.
#[test]
fn a_year_at_full_scale_loses_nothing() {
    let board = board([rail(100_000, Current::from_amps(700))]);
    let handle = Handle::new();
    let mut monitor = handle.monitor(&board);
    let mut ledger = Ledger::new(&board, &SPEC);
    let setup = crate::stub::coarse();
    ledger.update(&monitor.init(&setup).expect("init"));
    let start_us = handle.change(|world| world.latched_us);
    let rounds = 66_000_000;
    for _ in 0..956 {
        handle.run(rounds, rounds * 500 - 1_000, [131_071; 4], [65_535; 4]);
        assert_eq!(
            ledger.update(&monitor.latch().expect("latch")),
            Entry::Added
        );
    }
    let us = handle.change(|world| world.latched_us) - start_us;
    assert!(us > 364 * 86_400 * 1_000_000);
    let account = ledger.account(Channel::C0).expect("a rail");
    // Constant codes: energy is power × time whatever the number of rounds. 131071 × 0.5 µV ÷ 100 µΩ = 655.355 A at 65.535 V.
    let nanocoulombs = ratio(131_071_u64 * 500, 100_000) * ratio(us, 1) * ratio(1_000, 1);
    let nanojoules = &nanocoulombs * ratio(65_535, 1_000);
    assert_eq!(
        account.charge.as_nanocoulombs().to_string(),
        nanocoulombs.round().to_integer().to_string()
    );
    assert_eq!(
        account.energy.as_nanojoules().to_string(),
        nanojoules.round().to_integer().to_string()
    );
    assert!(account.energy.as_nanojoules() > i128::from(u64::MAX));
    assert_eq!((ledger.epoch(), account.duration_us), (0, us));
    // 956 × 66e6 rounds of nominally 500 µs.
    let by_part =
        ratio(131_071_u64 * 500, 100_000) * ratio(956 * rounds * 500, 1) * ratio(1_000, 1);
    assert_eq!(
        account.charge_by_part_clock.as_nanocoulombs().to_string(),
        by_part.to_integer().to_string()
    );
}
