//! Limits trip early, never late: at the edge of every code, against exact integer arithmetic.
//!
//! LSBs and code widths are the datasheet's (sections 3.4 and 4). A reading is code × LSB ÷ resistance, rounded to the nanoampere or nanowatt, halves away from zero, as
//! readings are documented; it is worked out here by integers, and never by the driver's scale.

mod alerts_desk;

use alerts_desk::{CAUSES, Desk, LIMITS, SETUP, board, bus_lsb_nv, sense_lsb_nv};
use crake::old::alert::{Cause, Causes, Judge, Kind, Limit, Plan, Station, Watch, Watches};
use crake::old::board::{Correction, Gain, Rail, Zero};
use crake::old::part::corncrake::{PACE_500, SPEC};
use crake::old::part::{BusRange, SenseRange};
use crake::old::units::{Current, Power, Voltage};
use crake::old::{Channel, Misuse, Mode, Ranges, Setup, ShuntMonitor};
use crake_sim::rng::Rng;
use num_bigint::BigInt;
use num_rational::BigRational;

const SENSE_LEAST: i64 = -131_072;
const SENSE_GREATEST: i64 = 131_071;
const BUS_GREATEST: i64 = 65_535;

fn setup(sense: u8, bus: u8) -> Setup<4> {
    let ranges = Ranges {
        sense: SenseRange(sense),
        bus: BusRange(bus),
    };
    Setup::all(ranges, Mode::Paced(PACE_500))
}

/// The code of a limit on channel 2, or why there is none.
fn code(rails: &[Rail], setup: &Setup<4>, limit: Limit) -> Result<i64, Misuse> {
    let watches = [Watch::new(Channel::C2, limit).silent()];
    let sampling = setup.view();
    let plan = Plan::new(&SPEC, rails, &sampling, Watches::limits(&watches))?;
    let code = plan.code(Channel::C2, limit.kind()).expect("it is watched");

    // What the code means: the strict comparison of section 3.6.
    let (on, beyond) = if limit.kind().is_over() {
        (code, code + 1)
    } else {
        (code, code - 1)
    };
    let cause = Causes::of(Cause::Limit(Channel::C2, limit.kind()));
    let mut judge: Judge<4> = Judge::new(&plan);
    judge.code(Channel::C2, limit.kind(), on);
    assert!(judge.causes().is_empty(), "{limit:?} trips on {on}");
    judge.code(Channel::C2, limit.kind(), beyond);
    assert_eq!(judge.causes(), cause, "{limit:?} misses {beyond}");
    Ok(code)
}

/// numerator ÷ denominator to nearest, halves away from zero.
fn rounded(numerator: i128, denominator: i128) -> i64 {
    let half = if numerator < 0 {
        -denominator / 2
    } else {
        denominator / 2
    };
    i64::try_from((numerator + half) / denominator).expect("within 63 bits")
}

/// The requested value on, just above and just below what `at` stands for: over-limits never lie above it, under-limits never below, and the next code is beyond.
fn check(
    rails: &[Rail],
    setup: &Setup<4>,
    (least, greatest): (i64, i64),
    at: i64,
    reading: impl Fn(i64) -> i64,
    over: impl Fn(i64) -> Limit,
    under: Option<&dyn Fn(i64) -> Limit>,
) {
    for wanted in [reading(at) - 1, reading(at), reading(at) + 1] {
        match code(rails, setup, over(wanted)) {
            Ok(found) => {
                assert!(
                    reading(found) <= wanted && reading(found + 1) > wanted,
                    "over {wanted}: {found}"
                );
                assert!(found >= least && found < greatest);
            }
            Err(misuse) => {
                assert_eq!(
                    misuse,
                    Misuse::LimitBeyondFullScale(Channel::C2, over(wanted).kind())
                );
                assert!(
                    reading(least) > wanted || reading(greatest) <= wanted,
                    "over {wanted} can be"
                );
            }
        }
        let Some(under) = under else { continue };
        match code(rails, setup, under(wanted)) {
            Ok(found) => {
                assert!(
                    reading(found) >= wanted && reading(found - 1) < wanted,
                    "under {wanted}: {found}"
                );
                assert!(found > least && found <= greatest);
            }
            Err(misuse) => {
                assert_eq!(
                    misuse,
                    Misuse::LimitBeyondFullScale(Channel::C2, under(wanted).kind())
                );
                assert!(
                    reading(greatest) < wanted || reading(least) >= wanted,
                    "under {wanted} can be"
                );
            }
        }
    }
}

#[test]
fn every_bus_code_of_every_range() {
    let board = board(10_000_000);
    for range in 0..3 {
        let setup = setup(0, range);
        let lsb_nv = bus_lsb_nv(BusRange(range));
        for at in 0..=BUS_GREATEST {
            check(
                board.rails(),
                &setup,
                (0, BUS_GREATEST),
                at,
                |code| code * lsb_nv,
                |nv| Limit::OverVoltage(Voltage::from_nanovolts(nv)),
                Some(&|nv| Limit::UnderVoltage(Voltage::from_nanovolts(nv))),
            );
        }
    }
}

#[test]
fn every_sense_code_of_every_range_over_several_resistors() {
    // 4.7 mΩ, a denominator that puts codes on a half, 10 Ω.
    for nanoohms in [4_700_000, 24_576_000, 10_000_000_000] {
        let board = board(nanoohms);
        for range in 0..2 {
            let setup = setup(range, 0);
            let lsb_nv = sense_lsb_nv(SenseRange(range));
            // nV ÷ nΩ is A.
            let reading = |code: i64| {
                rounded(
                    i128::from(code) * i128::from(lsb_nv) * 1_000_000_000,
                    i128::from(nanoohms),
                )
            };
            for at in SENSE_LEAST..=SENSE_GREATEST {
                check(
                    board.rails(),
                    &setup,
                    (SENSE_LEAST, SENSE_GREATEST),
                    at,
                    reading,
                    |na| Limit::OverCurrent(Current::from_nanoamps(na)),
                    Some(&|na| Limit::UnderCurrent(Current::from_nanoamps(na))),
                );
            }
        }
    }
}

#[test]
fn power_codes_densely_and_in_the_corners() {
    let (least, greatest) = (SENSE_LEAST * BUS_GREATEST, SENSE_GREATEST * BUS_GREATEST);
    let mut rng = Rng::new(3).stream("power codes");
    for nanoohms in [100_000, 4_700_000, 1_234_567_891, 10_000_000_000] {
        let board = board(nanoohms);
        for (sense, bus) in [(0, 0), (0, 1), (0, 2), (1, 0), (1, 1), (1, 2)] {
            let setup = setup(sense, bus);
            let unit = sense_lsb_nv(SenseRange(sense)) * bus_lsb_nv(BusRange(bus));
            // nV × nV ÷ nΩ is nW.
            let reading =
                |code: i64| rounded(i128::from(code) * i128::from(unit), i128::from(nanoohms));
            let corners = [least, least + 1, -1, 0, 1, greatest - 1, greatest];
            let powers = (0..33).flat_map(|bit| [1_i64 << bit, -(1 << bit), (1 << bit) - 1]);
            let drawn: Vec<i64> = (0..20_000).map(|_| rng.integer(least..=greatest)).collect();
            let all = corners.into_iter().chain(powers).chain(drawn);
            for at in all.filter(|at| (least..=greatest).contains(at)) {
                check(
                    board.rails(),
                    &setup,
                    (least, greatest),
                    at,
                    reading,
                    |nw| Limit::OverPower(Power::from_nanowatts(nw)),
                    None,
                );
            }
        }
    }
}

/// On a corrected rail the exact reading is (code × LSB − zero) × gain ÷ resistance; the driver's is documented to lie within 1 nA of it, and one LSB is at least 20 nA.
#[test]
fn limits_go_by_the_corrected_reading() {
    let nanoohms = 12_500_000_i64;
    let (zero_256ths, gain_bits) = (-1_234_567, 1_075_000_111);
    let correction = Correction {
        zero: Zero::from_bits(zero_256ths),
        gain: Gain::from_bits(gain_bits),
        ..Correction::NONE
    };
    let board = board(nanoohms.unsigned_abs())
        .corrected(&SPEC, Channel::C2, correction)
        .expect("a correction that can be");
    let ratio = |numerator: i64, denominator: i64| {
        BigRational::new(BigInt::from(numerator), BigInt::from(denominator))
    };
    let exact_na = |code: i64, lsb_nv: i64| {
        let nv = ratio(code * lsb_nv, 1) - ratio(zero_256ths.into(), 256);
        nv * ratio(gain_bits.into(), 1 << 30) * ratio(1_000_000_000, nanoohms)
    };
    let mut rng = Rng::new(4).stream("corrected");
    for range in 0..2 {
        let setup = setup(range, 0);
        let lsb_nv = sense_lsb_nv(SenseRange(range));
        let margin = ratio(1, 1);
        for _ in 0..5_000 {
            let wanted = rng.integer(-2_000_000_000..=2_000_000_000);
            let limit = ratio(wanted, 1);
            let over = code(
                board.rails(),
                &setup,
                Limit::OverCurrent(Current::from_nanoamps(wanted)),
            )
            .expect("within full scale");
            assert!(exact_na(over, lsb_nv) <= &limit + &margin);
            assert!(exact_na(over + 1, lsb_nv) > &limit - &margin);
            let under = code(
                board.rails(),
                &setup,
                Limit::UnderCurrent(Current::from_nanoamps(wanted)),
            )
            .expect("within full scale");
            assert!(exact_na(under, lsb_nv) >= &limit - &margin);
            assert!(exact_na(under - 1, lsb_nv) < &limit + &margin);
        }
    }
    // Power, with the zero's current at whatever voltage: no code beyond the limit at any voltage is permitted.
    let setup = setup(0, 1);
    for _ in 0..5_000 {
        let wanted = rng.integer(1_000_000..=60_000_000_000);
        let limit = Limit::OverPower(Power::from_nanowatts(wanted));
        let Ok(over) = code(board.rails(), &setup, limit) else {
            continue;
        };
        let (sense_nv, bus_nv) = (500, 250_000);
        for bus in [1, 1_000, 30_000, BUS_GREATEST] {
            // The greatest sense code that the limit permits at this voltage: what flows then, exactly, at most the limit (2 nW of rounding).
            let sense = over.div_euclid(bus).min(SENSE_GREATEST);
            let nw = exact_na(sense, sense_nv) * ratio(bus * bus_nv, 1_000_000_000);
            assert!(nw <= ratio(wanted + 2, 1), "{wanted} nW at bus code {bus}");
        }
    }
}

/// The same edges on the part: one code beyond trips, the code itself does not.
#[test]
fn the_part_agrees_at_drawn_limits() {
    let nanoohms = 47_000_000;
    let desk = Desk::with_resistors(nanoohms);
    let mut monitor = desk.monitor();
    monitor.init(&SETUP).expect("a part that answers");
    let mut rng = Rng::new(5).stream("limits");
    for _ in 0..200 {
        let (sense_range, bus_range) = (rng.below(2) as u8, rng.below(3) as u8);
        let setup = setup(sense_range, bus_range);
        let sense_nv = sense_lsb_nv(SenseRange(sense_range));
        let bus_nv = bus_lsb_nv(BusRange(bus_range));
        let (sense, bus) = (rng.integer(-131_000..=131_000), rng.integer(1..=65_000));
        let current_na = rounded(
            i128::from(sense * sense_nv) * 1_000_000_000,
            i128::from(nanoohms),
        );
        let power_nw = rounded(
            i128::from(sense * bus) * i128::from(sense_nv * bus_nv),
            i128::from(nanoohms),
        );
        // The reading of a code, as a limit: that code is permitted, its neighbour is not.
        let (limit, beyond) = match Kind::ALL[rng.below(5) as usize] {
            Kind::OverVoltage => (
                Limit::OverVoltage(Voltage::from_nanovolts(bus * bus_nv)),
                (sense, bus + 1),
            ),
            Kind::UnderVoltage => (
                Limit::UnderVoltage(Voltage::from_nanovolts(bus * bus_nv)),
                (sense, bus - 1),
            ),
            Kind::OverCurrent => (
                Limit::OverCurrent(Current::from_nanoamps(current_na)),
                (sense + 1, bus),
            ),
            Kind::UnderCurrent => (
                Limit::UnderCurrent(Current::from_nanoamps(current_na)),
                (sense - 1, bus),
            ),
            Kind::OverPower => (
                Limit::OverPower(Power::from_nanowatts(power_nw)),
                (sense + 1, bus),
            ),
        };
        let set = |(sense, bus): (i64, i64)| {
            for hand in &desk.hands {
                // The middle of the code.
                let na = sense as f64 * sense_nv as f64 * 1e9 / nanoohms as f64;
                hand.set(na.round() as i64, bus * bus_nv);
            }
        };
        set((sense, bus));
        let watches = [Watch::new(Channel::C1, limit).silent()];
        let mut station: Station<'_, 4, 4> = Station::new(setup, Watches::limits(&watches));
        station.arm(&mut monitor).expect("watches that can be");
        desk.next_round();
        desk.next_round();
        assert_eq!(
            desk.register(CAUSES) & LIMITS,
            0,
            "{limit:?} at {sense}, {bus}"
        );
        set(beyond);
        desk.next_round();
        desk.next_round();
        let cause = Causes::of(Cause::Limit(Channel::C1, limit.kind()));
        assert_eq!(
            desk.register(CAUSES) & LIMITS,
            cause.bits(),
            "{limit:?} at {beyond:?}"
        );
    }
}

/// What can be read back is what the code stands for: never beyond the request, and less than one code from it.
#[test]
fn the_limit_in_force_is_the_codes_own_value() {
    let board = board(10_000_000);
    let setup = setup(0, 1);
    let watches = [
        Watch::new(
            Channel::C0,
            Limit::OverVoltage(Voltage::from_microvolts(3_300_100)),
        )
        .silent(),
        Watch::new(
            Channel::C0,
            Limit::UnderVoltage(Voltage::from_microvolts(3_000_100)),
        )
        .silent(),
        Watch::new(
            Channel::C0,
            Limit::OverCurrent(Current::from_microamps(3_200_010)),
        )
        .silent(),
    ];
    let sampling = setup.view();
    let plan = Plan::new(&SPEC, board.rails(), &sampling, Watches::limits(&watches))
        .expect("watches that can be");
    let in_force = |kind| plan.in_force(Channel::C0, kind);
    // 250 µV and 50 µA a code.
    assert_eq!(
        in_force(Kind::OverVoltage),
        Some(Limit::OverVoltage(Voltage::from_microvolts(3_300_000)))
    );
    assert_eq!(
        in_force(Kind::UnderVoltage),
        Some(Limit::UnderVoltage(Voltage::from_microvolts(3_000_250)))
    );
    assert_eq!(
        in_force(Kind::OverCurrent),
        Some(Limit::OverCurrent(Current::from_microamps(3_200_000)))
    );
    assert_eq!(in_force(Kind::OverPower), None);
}
