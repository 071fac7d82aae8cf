//! From codes to quantities: every code, against exact rational arithmetic.
//!
//! Ranges and widths of codes come from the datasheet. All codes are compared by integers,
//! multiplied out crosswise; a stated part of them by `num-rational` too.

use crake::Channel;
use crake::board::{Board, Factors, Rail, SenseResistor, rail_voltage};
use crake::config::{ChannelRange, Config, FullScale, Scan, ScanRate};
use crake::convert::{code_at_least, code_at_most};
use crake::part::corncrake::{Corncrake, INFO};
use crake::units::{Resistance, Tolerance, Voltage};
use crake_suite::datasheet::{Range, code, rail_ranges, sense_ranges};
use crake_suite::examples::{Example, examples};
use crake_suite::markdown::Document;
use num_bigint::BigInt;
use num_rational::BigRational;

/// From the least to the greatest that is supported, 100 µΩ to 10 Ω, round ones and awkward ones;
/// nΩ.
const RESISTANCES: [u64; 12] = [
    100_000,        // 100 µΩ
    333_333,        // a third of a milliohm
    1_000_000,      // 1 mΩ
    4_700_000,      // 4.7 mΩ
    6_800_000,      // 6.8 mΩ
    10_000_000,     // 10 mΩ
    24_576_000,     // one code in 96 of the coarse range lies on a half
    99_999_989,     // a prime
    1_234_567_891,  // 1.23 Ω, a prime
    3_999_999_979,  // 4 Ω, a prime
    9_999_999_999,  // 10 Ω less one step
    10_000_000_000, // 10 Ω
];

/// Codes between those that `num-rational` works out too. Prime, so that all residues turn up.
const STRIDE: usize = 61;

/// A rail and a configuration of it.
struct Way {
    board: Board<1>,
    range: ChannelRange,
}

impl Way {
    /// The finest ranges that reach what these do; full scales are asked for in whole microvolts.
    fn new(sense: &Range, rail: &Range, nanoohms: u64) -> Self {
        let greatest = |range: &Range| {
            let microvolts = (range.full_scale_nv - range.lsb_nv) / 1_000;
            Voltage::from_microvolts(i64::try_from(microvolts).expect("below 72 V"))
        };
        let resistor = SenseResistor::new(Resistance::from_nanoohms(nanoohms), Tolerance::ZERO);
        let full_scale = FullScale::new(greatest(sense), greatest(rail));
        let mut scan = Scan::NONE;
        Config::continuous([full_scale], ScanRate::per_second(1))
            .resolve(&INFO, &mut scan)
            .expect("full scales of the part");
        let range = *scan.range(Channel::C0).expect("enabled");
        assert_eq!((range.sense, range.rail), (sense.code, rail.code));
        Self {
            board: Corncrake::board(&[Rail::new(resistor)]),
            range,
        }
    }

    fn factors(&self) -> &Factors {
        let factors = self.board.factors(Channel::C0).expect("a rail");
        assert!(factors.is_usable());
        factors
    }

    fn nanoamps(&self, code: i64) -> i64 {
        let code = i32::try_from(code).expect("18 bits");
        self.factors().current(&self.range, code).as_nanoamps()
    }

    fn nanovolts(&self, code: i64) -> i64 {
        let code = u32::try_from(code).expect("16 bits");
        rail_voltage(&INFO, &self.range, code).as_nanovolts()
    }

    fn nanowatts(&self, code: i64) -> i64 {
        self.factors().power(&self.range, code, 0).as_nanowatts()
    }
}

fn ranges() -> (Document, Vec<Range>, Vec<Range>) {
    let document = Document::corncrake();
    let (sense, rail) = (sense_ranges(&document), rail_ranges(&document));
    (document, sense, rail)
}

/// Half a nanoampere, and 2^-17 of one more: the promise of `CurrentFactor`.
#[test]
fn every_sense_code_gives_the_nearest_current() {
    let (document, senses, rails) = ranges();
    let width = code(&document, "sense");
    for sense in &senses {
        for resistance in RESISTANCES {
            let way = Way::new(sense, &rails[0], resistance);
            // nV ÷ nΩ is A; a billion nA.
            let exact = Exact::new(
                i128::from(sense.lsb_nv) * 1_000_000_000,
                i128::from(resistance),
            );
            for (index, code) in (width.least()..=width.greatest()).enumerate() {
                let result = way.nanoamps(code);
                exact.check(code, result, exact.denominator >> 16);
                if index % STRIDE == 0 || width.greatest() - code < 4 || code.abs() < 4 {
                    exact.check_by_library(code, result);
                }
            }
        }
    }
}

#[test]
fn every_rail_code_gives_its_voltage() {
    let (document, senses, rails) = ranges();
    let width = code(&document, "rail");
    for rail in &rails {
        let way = Way::new(&senses[0], rail, 10_000_000);
        let lsb_nv = i64::try_from(rail.lsb_nv).expect("1 mV at most");
        for code in width.least()..=width.greatest() {
            assert_eq!(way.nanovolts(code), code * lsb_nv, "{rail:?}");
        }
    }
}

/// Power codes are too many to try all. Tried are the ends, both sides of zero, an even spread, and
/// the codes whose power lies next to a half.
#[test]
fn power_codes_give_the_nearest_power() {
    let (document, senses, rails) = ranges();
    let width = code(&document, "power");
    let sense_end = code(&document, "sense").least();
    let rail_end = code(&document, "rail").greatest();
    for sense in &senses {
        for rail in &rails {
            for resistance in RESISTANCES {
                let way = Way::new(sense, rail, resistance);
                // nV × nV ÷ nΩ is nW.
                let lsb = i128::from(sense.lsb_nv) * i128::from(rail.lsb_nv);
                let exact = Exact::new(lsb, i128::from(resistance));
                let ends = [
                    width.least(),
                    width.greatest(),
                    sense_end * rail_end,
                    -(sense_end + 1) * rail_end,
                ];
                // 256ths of 100 nV times 50 µV (sections 3.4 and 7: all LSBs are multiples).
                let products = 256 * lsb / (100 * 50_000);
                let spread = (width.least()..=width.greatest()).step_by(262_147);
                for code in (-8..=8)
                    .chain(ends)
                    .chain(exact.next_to_halves(width.greatest()))
                    .chain(spread)
                {
                    // The last binary place of the factor, and that of the product.
                    let product = i128::from(code).abs() * products;
                    let slack = ((product * exact.denominator) >> 63) + (exact.denominator >> 30);
                    exact.check(code, way.nanowatts(code), slack);
                }
            }
        }
    }
}

/// Section 10 of the datasheet: what was worked out there with another program.
#[test]
fn worked_examples_come_out() {
    let document = Document::corncrake();
    let mut seen = 0;
    for example in examples(&document) {
        let Some((way, code)) = way_of(&example) else {
            continue;
        };
        type Convert = fn(&Way, i64) -> i64;
        let conversions: [(_, Convert); 3] = [
            ("current", Way::nanoamps),
            ("voltage", Way::nanovolts),
            ("power", Way::nanowatts),
        ];
        for (name, convert) in conversions {
            if let Some(value) = example.value(name) {
                let got = i128::from(convert(&way, code));
                assert_eq!(got, value, "example {}: {name}", example.number);
                seen += 1;
            }
        }
    }
    // Examples 10 to 18 and 21 to 23: five currents, four voltages, three powers.
    assert_eq!(seen, 12);
}

/// The way back: a code's own value finds the code; a value one unit beside it finds the code on
/// the asked side.
#[test]
fn search_finds_the_code_on_the_asked_side() {
    for example in examples(&Document::corncrake()) {
        let Some((way, code)) = way_of(&example) else {
            continue;
        };
        let Some(value) = example.value("current") else {
            continue;
        };
        let value = i64::try_from(value).expect("below 2^63");
        let (first, last) = (-131_072, 131_071);
        let least = |value| code_at_least(first, last, value, |code| way.nanoamps(code));
        let most = |value| code_at_most(first, last, value, |code| way.nanoamps(code));
        let about = format!("example {}", example.number);
        assert_eq!(
            (least(value), most(value)),
            (Some(code), Some(code)),
            "{about}"
        );
        let beyond = Some(code + 1).filter(|&code| code <= last);
        let before = Some(code - 1).filter(|&code| code >= first);
        assert_eq!(
            (least(value + 1), most(value - 1)),
            (beyond, before),
            "{about}"
        );
    }
}

/// The rail and the code that a worked example is about.
fn way_of(example: &Example) -> Option<(Way, i64)> {
    let (_, senses, rails) = ranges();
    let named = |ranges: &[Range], name| {
        let code = example.value(name).unwrap_or(0);
        let found = ranges.iter().find(|range| i128::from(range.code) == code);
        found.cloned().expect("a range")
    };
    let code = i64::try_from(example.value("code")?).ok()?;
    let resistance = example.value("resistance").unwrap_or(10_000_000);
    let resistance = u64::try_from(resistance).expect("a resistance");
    let (sense, rail) = (named(&senses, "sense range"), named(&rails, "rail range"));
    Some((Way::new(&sense, &rail, resistance), code))
}

/// An exact ratio of a quantity to a code.
struct Exact {
    numerator: i128,
    denominator: i128,
}

impl Exact {
    const fn new(numerator: i128, denominator: i128) -> Self {
        Self {
            numerator,
            denominator,
        }
    }

    /// The result is the nearest whole number, but for `slack` 2·denominators of a unit.
    fn check(&self, code: i64, result: i64, slack: i128) {
        let off = i128::from(result) * self.denominator - i128::from(code) * self.numerator;
        assert!(
            2 * off.abs() <= self.denominator + slack,
            "code {code} × {}/{}: {result}",
            self.numerator,
            self.denominator
        );
    }

    /// Rounded by big rationals of a library, which takes halves away from zero where the driver
    /// takes them up.
    fn check_by_library(&self, code: i64, result: i64) {
        let ratio = BigRational::new(BigInt::from(self.numerator), BigInt::from(self.denominator));
        let exact = BigRational::from(BigInt::from(code)) * ratio;
        let half = BigRational::new(BigInt::from(1), BigInt::from(2));
        let near_a_half = BigRational::new(BigInt::from(1), BigInt::from(1_u32 << 16));
        let from_half = (&exact - exact.floor() - half).reduced();
        if from_half > near_a_half || -from_half > near_a_half {
            let result = BigRational::from(BigInt::from(result));
            assert_eq!(exact.round(), result, "code {code}");
        }
    }

    /// Codes up to `greatest` whose product lies on a half or next to one: the hardest to round.
    /// Solved from code · numerator ≡ (denominator ± 1) / 2 modulo the denominator.
    fn next_to_halves(&self, greatest: i64) -> Vec<i64> {
        let common = gcd(self.numerator, self.denominator);
        let (numerator, modulus) = (self.numerator / common, self.denominator / common);
        let inverse = inverse(numerator % modulus, modulus);
        let residues = [(modulus - 1) / 2, modulus / 2, (modulus + 1) / 2];
        let firsts = residues.map(|residue| (residue % modulus) * inverse % modulus);
        let all = firsts.into_iter().flat_map(|first| {
            let last = first + (i128::from(greatest) - first) / modulus * modulus;
            [first, last]
        });
        all.filter_map(|code| i64::try_from(code).ok())
            .filter(|&code| code <= greatest)
            .flat_map(|code| [code, -code])
            .collect()
    }
}

fn gcd(a: i128, b: i128) -> i128 {
    if b == 0 { a } else { gcd(b, a % b) }
}

/// The number that times `value` leaves 1 modulo `modulus`, by the extended Euclidean algorithm; 0
/// modulo 1.
fn inverse(value: i128, modulus: i128) -> i128 {
    let (mut rest, mut next) = (modulus, value);
    let (mut factor, mut next_factor) = (0, 1);
    while next != 0 {
        let quotient = rest / next;
        (rest, next) = (next, rest - quotient * next);
        (factor, next_factor) = (next_factor, factor - quotient * next_factor);
    }
    factor.rem_euclid(modulus)
}
