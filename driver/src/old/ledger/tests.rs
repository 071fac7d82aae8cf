//! A part whose sums the driver keeps, made by hand: counts are microseconds of the host's clock.

use super::*;
use crate::old::board::{Load, Shunt};
use crate::old::part::corncrake::{BUS_6_V, SENSE_65_MV, SPEC};
use crate::old::part::{Accumulators, Codec, Codes, Counters, Head, Pace, PaceSpec, Source};
use crate::old::sampling::Ranges;
use crate::units::{Current, Resistance, Tolerance};

/// Corncrake's ranges and limits (section 7 of its datasheet: noise 2.5 µV r.m.s., LSB 0.5 µV), but no sums of its own.
static BY_HAND: Spec = Spec {
    sums: Source::Driver,
    accumulators: Accumulators {
        energy_bits: 63,
        charge_bits: 63,
        rounds_bits: 32,
    },
    paces: &[
        PaceSpec { period_us: 50_000 },
        PaceSpec {
            period_us: 1_000_000,
        },
    ],
    ..SPEC
};
const SECOND: Mode = Mode::Paced(Pace(1));
const PERIOD_US: u64 = 1_000_000;
/// How long a latch takes on the host's clock.
const BRACKET_US: u64 = 200;

struct Hand {
    us: u32,
    sums: Counters,
}

impl Codec for Hand {
    fn spec(&self) -> &'static Spec {
        &BY_HAND
    }

    fn head(&self, _: &[u8]) -> Head {
        Head {
            serial: 0,
            mode: SECOND,
            averaging: 0,
            reset_seen: false,
            complete: true,
            rounds: self.us,
        }
    }

    fn ranges(&self, _: &[u8], _: Channel) -> Option<Ranges> {
        Some(Ranges {
            sense: SENSE_65_MV,
            bus: BUS_6_V,
        })
    }

    fn codes(&self, _: &[u8], _: Channel) -> Codes {
        Codes::default()
    }

    fn counters(&self, _: &[u8], _: Channel) -> Counters {
        self.sums
    }
}

/// One rail of 10 mΩ without tolerance; 1 A at most, either way.
fn board() -> Board<1> {
    let shunt = Shunt::new(Resistance::from_milliohms(10), Tolerance::ZERO);
    let load = Load::smooth(Current::from_amps(1)).both_ways();
    Board::new(&BY_HAND, [Rail::new(shunt, load)])
        .unwrap()
        .with_clock(Tolerance::from_ppm(100))
}

impl Hand {
    const fn new() -> Self {
        Self {
            // Close to the wrap of both.
            us: u32::MAX - 1_000,
            sums: Counters {
                charge: (1 << 62) - 1_000,
                energy: 0,
            },
        }
    }

    /// So many microseconds at this sense code.
    fn run(&mut self, us: u32, code: i64) {
        self.us = self.us.wrapping_add(us);
        self.sums.charge = (self.sums.charge + code * i64::from(us)) << 1 >> 1;
    }

    fn give<K: Keep>(&self, ledger: &mut Ledger<'_, 1, K>, before_us: u64) -> Entry {
        ledger.update(&Frame {
            codec: self,
            block: &[],
            rails: &[],
            stamp: Stamp {
                before_us,
                after_us: before_us + BRACKET_US,
            },
            condition: Condition::Steady,
            complete: true,
            rounds: self.us,
            mode: SECOND,
            unbroken: true,
            joined: false,
            turns: 7,
        })
    }
}

/// Hundred thousand stretches of 0.9 s at +1 A and at −1 A in turn, or all at +1 A; 20 000 codes of 0.5 µV are 1 A in 10 mΩ.
fn a_day(turning: bool) -> (Account, f64) {
    let (board, mut hand) = (board(), Hand::new());
    let mut ledger = Ledger::new(&board, &BY_HAND);
    let mut now_us = 5_000;
    assert_eq!(hand.give(&mut ledger, now_us), Entry::Opened);
    for turn in 0..100_000 {
        hand.run(
            900_000,
            if turning && turn % 2 == 1 {
                -20_000
            } else {
                20_000
            },
        );
        now_us += 900_000;
        assert_eq!(hand.give(&mut ledger, now_us), Entry::Added, "turn {turn}");
    }
    (ledger.account(Channel::C0).unwrap(), 90_000.0)
}

#[test]
fn counts_are_time() {
    let (account, _) = a_day(false);
    assert_eq!(account.duration_us, 90_000_000_000);
    assert_eq!(account.charge, Charge::from_coulombs(90_000));
    assert_eq!(account.charge_by_part_clock, account.charge);
}

/// Noise averages over conversions, of which there is one in each pace at least: 6 × 2.5 µV and 6/√12 LSB, over √90 000, in 10 mΩ for 90 000 s.
#[test]
fn noise_averages_over_frames_not_over_microseconds() {
    let (account, seconds) = a_day(false);
    let noise = (6.0 * 2.5e-6 + 6.0 / 12_f64.sqrt() * 0.5e-6) / seconds.sqrt() / 10e-3 * seconds;
    let got = account.charge_bound.noise.as_nanocoulombs() as f64 * 1e-9;
    assert!(
        (1.0..1.05).contains(&(got / noise)),
        "{got} C for {noise} C"
    );
}

/// Time of the host's clock went into the sums: where its rate may change meanwhile, 100 ppm of all that was turned over are open, whatever is left of it in the end;
/// the part's oscillator has no part in it. Each end is uncertain by a pace and a bracket, see `Limits::new`.
#[test]
fn the_hosts_clock_acts_on_what_is_turned_over() {
    for turning in [true, false] {
        let (account, seconds) = a_day(turning);
        assert_eq!(account.charge == Charge::ZERO, turning);
        let clock = 100e-6 * seconds;
        let ends = 2.0 * (2.0 * 1.0 + 2.0 * BRACKET_US as f64 * 1e-6 + 150e-6);
        let got = account.charge_bound.clock.as_nanocoulombs() as f64 * 1e-9;
        let ratio = got / (clock + ends);
        assert!(
            (1.0..1.01).contains(&ratio),
            "{got} C for {clock} C and {ends} C"
        );
    }
}

/// The pace is the promise: to the microsecond, by the host's clock.
#[test]
fn a_frame_later_than_its_pace_ends_the_epoch() {
    let board = board();
    for late_us in [0, 1] {
        let mut hand = Hand::new();
        let mut ledger = Ledger::new(&board, &BY_HAND);
        hand.give(&mut ledger, 5_000);
        let by_us = ledger.next_read_by_us();
        assert_eq!(by_us, Some(5_000 + PERIOD_US));
        let us = PERIOD_US - BRACKET_US + late_us;
        hand.run(us as u32, 1);
        let entry = hand.give(&mut ledger, 5_000 + us);
        let expected = match late_us {
            0 => Entry::Added,
            _ => Entry::Broken {
                reason: Break::TooLate,
                reopened: true,
            },
        };
        assert_eq!(entry, expected);
    }
}

/// Before the first frame under a set-up the fastest pace is assumed.
#[test]
fn the_fastest_pace_holds_until_the_set_up_is_known() {
    let board = board();
    let mut ledger = Ledger::new(&board, &BY_HAND);
    let hand = Hand::new();
    let stamp = Stamp {
        before_us: 1_000,
        after_us: 1_000 + BRACKET_US,
    };
    ledger.update(&Frame {
        codec: &hand,
        block: &[],
        rails: &[],
        stamp,
        condition: Condition::Boundary,
        complete: true,
        rounds: hand.us,
        mode: SECOND,
        unbroken: true,
        joined: false,
        turns: 7,
    });
    assert_eq!(ledger.next_read_by_us(), Some(51_000));
}

/// Two latches half a second apart, each somewhere in its bracket.
#[test]
fn microseconds_that_do_not_fit_the_brackets_end_the_epoch() {
    let board = board();
    for (us, fits) in [
        (499_799, false),
        (499_800, true),
        (500_200, true),
        (500_201, false),
    ] {
        let mut hand = Hand::new();
        let mut ledger = Ledger::new(&board, &BY_HAND);
        hand.give(&mut ledger, 5_000);
        hand.run(us, 1);
        let entry = hand.give(&mut ledger, 505_000);
        let expected = match fits {
            true => Entry::Added,
            false => Entry::Broken {
                reason: Break::Rounds {
                    counted: us,
                    expected: 500_200,
                },
                reopened: true,
            },
        };
        assert_eq!(entry, expected, "{us} µs");
    }
}
