//! Limits trip early, never late: at the edge of every code, against exact integer arithmetic.
//!
//! LSBs and code widths are the datasheet's (sections 3.4 and 4). What a code stands for is exactly
//! code × LSB ÷ resistance, worked out here by integers and never by the driver's factors. A
//! reading is documented to be the nearest nanoampere or nanowatt to it, and a limit goes by the
//! reading.

use crake::alert::{
    AlertFlag, AlertFlags, AlertQueue, Compare, Kind, Limit, LimitError, LimitReason, Limits,
    SoftwareComparator, Threshold, limit_in_force,
};
use crake::board::{Board, Correction, Gain, LimitPlan, Offset};
use crake::config::{Config, FullScale, Scan, ScanRate};
use crake::part::corncrake::INFO;
use crake::units::{Current, Power, Voltage};
use crake::{Channel, ShuntMonitor};
use crake_sim::rng::Rng;
use num_bigint::BigInt;
use num_rational::BigRational;

use crate::fixture::{CONFIG, Fixture, board, rail_lsb_nv, sense_lsb_nv};

const SENSE_LEAST: i64 = -131_072;
const SENSE_GREATEST: i64 = 131_071;
const RAIL_GREATEST: i64 = 65_535;

/// A configuration in which every channel has these ranges (section 3.4).
fn config(sense: usize, rail: usize) -> Config<4> {
    let full_scale = FullScale::new(
        Voltage::from_millivolts([65, 26][sense]),
        Voltage::from_volts([6, 16, 65][rail]),
    );
    Config::continuous([full_scale; 4], ScanRate::per_second(500))
}

fn scan(sense: usize, rail: usize) -> Scan<4> {
    let mut scan = Scan::NONE;
    config(sense, rail)
        .resolve(&INFO, &mut scan)
        .expect("ranges that the part has");
    assert_eq!(usize::from(scan.ranges[0].sense), sense);
    assert_eq!(usize::from(scan.ranges[0].rail), rail);
    scan
}

/// The code of a limit on channel 2, or why there is none.
fn code(board: &Board<4>, scan: &Scan<4>, threshold: Threshold) -> Result<i64, LimitReason> {
    let limits = [Limit::new(Channel::C2, threshold).silent()];
    let limits = Limits::new(&limits);
    let plan = LimitPlan::new(&INFO, board, scan, &limits);
    plan.check().map_err(
        |LimitError {
             channel,
             kind,
             reason,
         }| {
            assert_eq!((channel, kind), (Channel::C2, threshold.kind()));
            reason
        },
    )?;
    let kind = threshold.kind();
    let code = plan.code(Channel::C2, kind).expect("there is a limit");

    // What the code means: the strict comparison of section 3.6.
    let (on, beyond) = if kind.is_over() {
        (code, code + 1)
    } else {
        (code, code - 1)
    };
    let flag = AlertFlags::of(AlertFlag::Limit(Channel::C2, kind));
    let mut comparator: SoftwareComparator<4> = SoftwareComparator::new();
    comparator.set_all(&plan);
    comparator.code(Channel::C2, kind, on);
    assert!(comparator.flags().is_empty(), "{threshold:?} trips on {on}");
    comparator.code(Channel::C2, kind, beyond);
    assert_eq!(comparator.flags(), flag, "{threshold:?} misses {beyond}");
    Ok(code)
}

/// numerator ÷ denominator to nearest, halves up.
fn rounded(numerator: i128, denominator: i128) -> i64 {
    let twice = 2 * numerator + denominator;
    i64::try_from(twice.div_euclid(2 * denominator)).expect("within 63 bits")
}

/// What codes stand for: so many nano-units for each code, as a fraction; and by how much a reading
/// may be further off than half a unit, as a fraction of one.
struct Exact {
    numerator: i128,
    denominator: i128,
    slack: i128,
}

impl Exact {
    /// Whether the reading of a code may be at most `wanted`; what is not may be above.
    fn may_be_at_most(&self, code: i64, wanted: i64) -> bool {
        self.twice(code) <= self.half_way(wanted) + self.denominator / self.slack
    }

    fn may_be_above(&self, code: i64, wanted: i64) -> bool {
        self.twice(code) >= self.half_way(wanted) - self.denominator / self.slack
    }

    fn twice(&self, code: i64) -> i128 {
        2 * i128::from(code) * self.numerator
    }

    fn half_way(&self, wanted: i64) -> i128 {
        (2 * i128::from(wanted) + 1) * self.denominator
    }
}

/// The requested value on, just above and just below what `at` stands for: over-limits never lie
/// above it, under-limits never below, and the next code is beyond.
fn check(
    board: &Board<4>,
    scan: &Scan<4>,
    (least, greatest): (i64, i64),
    at: i64,
    exact: &Exact,
    over: impl Fn(i64) -> Threshold,
    under: Option<&dyn Fn(i64) -> Threshold>,
) {
    let near = rounded(i128::from(at) * exact.numerator, exact.denominator);
    let at_most = |code, wanted| exact.may_be_at_most(code, wanted);
    let above = |code, wanted| exact.may_be_above(code, wanted);
    for wanted in [near - 1, near, near + 1] {
        match code(board, scan, over(wanted)) {
            Ok(found) => {
                assert!(at_most(found, wanted), "over {wanted}: {found}");
                assert!(above(found + 1, wanted), "over {wanted}: {found}");
                assert!(found >= least && found < greatest);
            }
            Err(reason) => {
                assert_eq!(reason, LimitReason::BeyondFullScale);
                let never = at_most(greatest, wanted);
                assert!(never || above(least, wanted), "over {wanted} can be");
            }
        }
        let Some(under) = under else { continue };
        match code(board, scan, under(wanted)) {
            Ok(found) => {
                assert!(above(found, wanted - 1), "under {wanted}: {found}");
                assert!(at_most(found - 1, wanted - 1), "under {wanted}: {found}");
                assert!(found > least && found <= greatest);
            }
            Err(reason) => {
                assert_eq!(reason, LimitReason::BeyondFullScale);
                let never = above(least, wanted - 1);
                assert!(
                    never || at_most(greatest, wanted - 1),
                    "under {wanted} can be"
                );
            }
        }
    }
}

#[test]
fn every_rail_code_of_every_range() {
    let board = board(10_000_000);
    for range in 0..3 {
        let scan = scan(0, range);
        // Exact, whatever the code.
        let exact = Exact {
            numerator: rail_lsb_nv(range).into(),
            denominator: 1,
            slack: 2,
        };
        for at in 0..=RAIL_GREATEST {
            check(
                board,
                &scan,
                (0, RAIL_GREATEST),
                at,
                &exact,
                |nv| Threshold::OverVoltage(Voltage::from_nanovolts(nv)),
                Some(&|nv| Threshold::UnderVoltage(Voltage::from_nanovolts(nv))),
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
            let scan = scan(range, 0);
            // nV ÷ nΩ is A. Documented: half a nanoampere and 2^-17 nA.
            let exact = Exact {
                numerator: i128::from(sense_lsb_nv(range)) * 1_000_000_000,
                denominator: i128::from(nanoohms),
                slack: 1 << 16,
            };
            for at in SENSE_LEAST..=SENSE_GREATEST {
                check(
                    board,
                    &scan,
                    (SENSE_LEAST, SENSE_GREATEST),
                    at,
                    &exact,
                    |na| Threshold::OverCurrent(Current::from_nanoamps(na)),
                    Some(&|na| Threshold::UnderCurrent(Current::from_nanoamps(na))),
                );
            }
        }
    }
}

#[test]
fn power_codes_densely_and_in_the_corners() {
    let (least, greatest) = (SENSE_LEAST * RAIL_GREATEST, SENSE_GREATEST * RAIL_GREATEST);
    let mut rng = Rng::new(3).stream("power codes");
    for nanoohms in [100_000, 4_700_000, 1_234_567_891, 10_000_000_000] {
        let board = board(nanoohms);
        for (sense, rail) in [(0, 0), (0, 1), (0, 2), (1, 0), (1, 1), (1, 2)] {
            let scan = scan(sense, rail);
            // nV × nV ÷ nΩ is nW. Documented: half a nanowatt and what the factor's last binary
            // place makes of the product, 2^62 × 2^-65 at most.
            let exact = Exact {
                numerator: i128::from(sense_lsb_nv(sense) * rail_lsb_nv(rail)),
                denominator: i128::from(nanoohms),
                slack: 4,
            };
            let corners = [least, least + 1, -1, 0, 1, greatest - 1, greatest];
            let powers = (0..33).flat_map(|bit| [1_i64 << bit, -(1 << bit), (1 << bit) - 1]);
            let drawn: Vec<i64> = (0..20_000).map(|_| rng.integer(least..=greatest)).collect();
            let all = corners.into_iter().chain(powers).chain(drawn);
            for at in all.filter(|at| (least..=greatest).contains(at)) {
                check(
                    board,
                    &scan,
                    (least, greatest),
                    at,
                    &exact,
                    |nw| Threshold::OverPower(Power::from_nanowatts(nw)),
                    None,
                );
            }
        }
    }
}

/// On a corrected rail the exact reading is (code × LSB − offset) × gain ÷ resistance; the driver's
/// is documented to lie within 1 nA of it, and one LSB is at least 16 nA.
#[test]
fn limits_go_by_the_corrected_reading() {
    let nanoohms = 12_500_000_i64;
    let (offset_256ths, gain_bits) = (-1_234_567, 1_075_000_111);
    let correction = Correction {
        offset: Offset::from_bits(offset_256ths),
        gain: Gain::from_bits(gain_bits),
        ..Correction::NONE
    };
    let board = board(nanoohms.unsigned_abs()).corrected(Channel::C2, &correction);
    let ratio = |numerator: i64, denominator: i64| {
        BigRational::new(BigInt::from(numerator), BigInt::from(denominator))
    };
    let exact_na = |code: i64, lsb_nv: i64| {
        let nv = ratio(code * lsb_nv, 1) - ratio(offset_256ths.into(), 256);
        nv * ratio(gain_bits.into(), 1 << 30) * ratio(1_000_000_000, nanoohms)
    };
    let mut rng = Rng::new(4).stream("corrected");
    // The offset is kept in 256ths of 100 nV: 0.2 nV and a rounding, 16 nA of current.
    let margin = ratio(17, 1);
    for range in 0..2 {
        let scan = scan(range, 0);
        let lsb_nv = sense_lsb_nv(range);
        for _ in 0..5_000 {
            let wanted = rng.integer(-2_000_000_000..=2_000_000_000);
            let limit = ratio(wanted, 1);
            let current = Current::from_nanoamps(wanted);
            let over =
                code(&board, &scan, Threshold::OverCurrent(current)).expect("within full scale");
            assert!(exact_na(over, lsb_nv) <= &limit + &margin);
            assert!(exact_na(over + 1, lsb_nv) > &limit - &margin);
            let under =
                code(&board, &scan, Threshold::UnderCurrent(current)).expect("within full scale");
            assert!(exact_na(under, lsb_nv) >= &limit - &margin);
            assert!(exact_na(under - 1, lsb_nv) < &limit + &margin);
        }
    }
    // Power, with the offset's current at whatever voltage: no code beyond the limit at any voltage
    // is permitted.
    let scan = scan(0, 1);
    let mut tried = 0;
    for _ in 0..5_000 {
        let wanted = rng.integer(1_000_000..=60_000_000_000);
        let limit = Threshold::OverPower(Power::from_nanowatts(wanted));
        let Ok(over) = code(&board, &scan, limit) else {
            continue;
        };
        tried += 1;
        let (sense_nv, rail_nv) = (500, 250_000);
        for rail in [1, 1_000, 30_000, RAIL_GREATEST] {
            // The greatest sense code that the limit permits at this voltage: what flows then,
            // exactly, at most the limit (and 17 nA at 16.4 V).
            let sense = over.div_euclid(rail).min(SENSE_GREATEST);
            let nw = exact_na(sense, sense_nv) * ratio(rail * rail_nv, 1_000_000_000);
            assert!(
                nw <= ratio(wanted + 280, 1),
                "{wanted} nW at rail code {rail}"
            );
        }
    }
    assert!(tried > 1_000, "{tried}");
}

/// The same edges on the part: one code beyond trips, the code itself does not.
#[test]
fn the_part_agrees_at_drawn_limits() {
    let nanoohms = 47_000_000;
    let fixture = Fixture::with_resistors(nanoohms);
    let mut monitor = fixture.monitor();
    monitor.init(&CONFIG).expect("a part that answers");
    let mut rng = Rng::new(5).stream("limits");
    for _ in 0..200 {
        let (sense_range, rail_range) = (rng.below(2) as usize, rng.below(3) as usize);
        monitor
            .configure(&config(sense_range, rail_range))
            .expect("a part that answers");
        let (sense_nv, rail_nv) = (sense_lsb_nv(sense_range), rail_lsb_nv(rail_range));
        let (sense, rail) = (rng.integer(-131_000..=131_000), rng.integer(1..=65_000));
        let current_na = rounded(
            i128::from(sense * sense_nv) * 1_000_000_000,
            i128::from(nanoohms),
        );
        let power_nw = rounded(
            i128::from(sense * rail) * i128::from(sense_nv * rail_nv),
            i128::from(nanoohms),
        );
        // The reading of a code, as a limit: that code is permitted, its neighbour is not.
        let (voltage, current) = (
            Voltage::from_nanovolts(rail * rail_nv),
            Current::from_nanoamps(current_na),
        );
        let (threshold, beyond) = match Kind::ALL[rng.below(5) as usize] {
            Kind::OverVoltage => (Threshold::OverVoltage(voltage), (sense, rail + 1)),
            Kind::UnderVoltage => (Threshold::UnderVoltage(voltage), (sense, rail - 1)),
            Kind::OverCurrent => (Threshold::OverCurrent(current), (sense + 1, rail)),
            Kind::UnderCurrent => (Threshold::UnderCurrent(current), (sense - 1, rail)),
            Kind::OverPower => (
                Threshold::OverPower(Power::from_nanowatts(power_nw)),
                (sense + 1, rail),
            ),
        };
        let set = |(sense, rail): (i64, i64)| {
            for hand in &fixture.hands {
                // The middle of the code.
                let na = sense as f64 * sense_nv as f64 * 1e9 / nanoohms as f64;
                hand.set(na.round() as i64, rail * rail_nv);
            }
        };
        set((sense, rail));
        let limits = [Limit::new(Channel::C1, threshold).silent()];
        let limits = Limits::new(&limits);
        let mut queue: AlertQueue<'_, 4> = AlertQueue::new();
        queue
            .set_limits(&mut monitor, &limits)
            .expect("limits that can be");
        fixture.scans(2);
        assert_eq!(fixture.flags(), 0, "{threshold:?} at {sense}, {rail}");
        set(beyond);
        fixture.scans(2);
        assert_eq!(
            fixture.flags(),
            limits.enabled().bits(),
            "{threshold:?} at {beyond:?}"
        );
    }
}

/// What can be read back is what the code stands for: never beyond the request, and less than one
/// code from it.
#[test]
fn the_limit_in_force_is_the_codes_own_value() {
    let fixture = Fixture::with_resistors(10_000_000);
    let mut monitor = fixture.monitor();
    monitor.init(&config(0, 1)).expect("a part that answers");
    let in_force = |threshold| limit_in_force(monitor.last_sample(), Channel::C0, threshold);
    // 250 µV and 50 µA a code.
    let voltage = Voltage::from_microvolts;
    assert_eq!(
        in_force(Threshold::OverVoltage(voltage(3_300_100))),
        Some(Threshold::OverVoltage(voltage(3_300_000)))
    );
    assert_eq!(
        in_force(Threshold::UnderVoltage(voltage(3_000_100))),
        Some(Threshold::UnderVoltage(voltage(3_000_250)))
    );
    assert_eq!(
        in_force(Threshold::OverCurrent(Current::from_microamps(3_200_010))),
        Some(Threshold::OverCurrent(Current::from_microamps(3_200_000)))
    );
    assert_eq!(in_force(Threshold::OverVoltage(voltage(17_000_000))), None);
    let elsewhere = Channel::new(7);
    let limit = Threshold::OverVoltage(voltage(3_300_000));
    assert_eq!(
        limit_in_force(monitor.last_sample(), elsewhere, limit),
        None
    );
}
