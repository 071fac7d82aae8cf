//! From codes to quantities: every code, against exact rational arithmetic.
//!
//! The ranges and code widths come from the datasheet. A result must be the exact value rounded to the unit, halves away from zero, which
//! is what `num-rational` calls `round`. All codes are compared by integers, multiplied out crosswise; a stated part of them by `num-rational` too.

use crake::old::scale::{Scale, code_at_least, code_at_most};
use crake_suite::{
    datasheet::{code, rail_ranges, sense_ranges},
    examples::{Example, examples},
    markdown::Document,
};
use num_bigint::BigInt;
use num_rational::{BigRational, Ratio};

/// From the least to the greatest that is supported, 100 µΩ to 10 Ω, round ones and awkward ones; nΩ.
const RESISTANCES: [u64; 12] = [
    100_000,        // 100 µΩ
    333_333,        // a third of a milliohm
    1_000_000,      // 1 mΩ
    4_700_000,      // 4.7 mΩ
    6_800_000,      // 6.8 mΩ
    10_000_000,     // 10 mΩ
    24_576_000, // a denominator of 96 for nanoamperes of the coarse range: one code in 96 lies on a half
    99_999_989, // a prime
    1_234_567_891, // 1.23 Ω, a prime
    3_999_999_979, // 4 Ω, a prime
    9_999_999_999, // 10 Ω less one step
    10_000_000_000, // 10 Ω
];

/// Codes between those that `num-rational` works out too. Prime, so that all residues of powers of two turn up.
const STRIDE: usize = 61;

#[test]
fn every_sense_code_gives_the_rounded_current() {
    let document = Document::old_corncrake();
    let width = code(&document, "sense");
    for range in sense_ranges(&document) {
        for resistance in RESISTANCES {
            // nV ÷ nΩ is A; a billion nA.
            let ratio = Exact::new(
                i128::from(range.lsb_nv) * 1_000_000_000,
                i128::from(resistance),
            );
            let scale = ratio.scale(width.bits);
            assert!(scale.is_exact(), "{range:?} over {resistance} nΩ");
            for (index, code) in (width.least()..=width.greatest()).enumerate() {
                let result = scale.apply(i32::try_from(code).expect("18 bits"));
                ratio.check(code, result);
                assert_eq!(
                    scale.apply_wide(code),
                    result,
                    "narrow and wide, code {code}"
                );
                if index % STRIDE == 0 || width.greatest() - code < 4 || code.abs() < 4 {
                    ratio.check_by_library(code, result);
                }
            }
        }
    }
}

#[test]
fn every_sense_and_bus_code_gives_its_voltage() {
    let document = Document::old_corncrake();
    let sense = sense_ranges(&document)
        .into_iter()
        .map(|range| (range, code(&document, "sense")));
    let bus = rail_ranges(&document)
        .into_iter()
        .map(|range| (range, code(&document, "bus")));
    for (range, width) in sense.chain(bus) {
        let ratio = Exact::new(i128::from(range.lsb_nv), 1);
        let scale = ratio.scale(width.bits);
        assert!(scale.is_exact(), "{range:?}");
        for code in width.least()..=width.greatest() {
            ratio.check(code, scale.apply(i32::try_from(code).expect("18 bits")));
        }
        // One code more than the greatest would be full scale.
        let end = scale.apply(i32::try_from(width.greatest() + 1).expect("18 bits"));
        assert_eq!(end, i64::try_from(range.full_scale_nv).expect("below 2^63"));
    }
}

/// Power codes are too many to try all. Tried are the ends, both sides of zero, an even spread, and the codes whose power lies next to a half.
#[test]
fn power_codes_give_the_rounded_power() {
    let document = Document::old_corncrake();
    let width = code(&document, "power");
    let (sense_end, bus_end) = (
        code(&document, "sense").least(),
        code(&document, "bus").greatest(),
    );
    let mut inexact = 0;
    for sense in sense_ranges(&document) {
        for bus in rail_ranges(&document) {
            for resistance in RESISTANCES {
                // nV × nV ÷ nΩ is nW.
                let ratio = Exact::new(
                    i128::from(sense.lsb_nv) * i128::from(bus.lsb_nv),
                    i128::from(resistance),
                );
                let scale = ratio.scale(width.bits);
                // The rule that `Scale` states: 2^34 codes times twice the denominator is at most 2^64.
                assert_eq!(
                    scale.is_exact(),
                    ratio.denominator <= 1 << 29 || ratio.is_binary()
                );
                inexact += usize::from(!scale.is_exact());

                let check = |code: i64| {
                    let result = scale.apply_wide(code);
                    if scale.is_exact() {
                        ratio.check(code, result)
                    } else {
                        ratio.check_loosely(code, result)
                    }
                };
                let ends = [
                    width.least(),
                    width.greatest(),
                    sense_end * bus_end,
                    -(sense_end + 1) * bus_end,
                ];
                for code in (-8..=8)
                    .chain(ends)
                    .chain(ratio.next_to_halves(width.greatest()))
                {
                    check(code);
                    if scale.is_exact() {
                        ratio.check_by_library(code, scale.apply_wide(code));
                    }
                }
                // About 65 000 codes; the step is prime.
                (width.least()..=width.greatest())
                    .step_by(262_147)
                    .for_each(check);
            }
        }
    }
    assert!(inexact > 0, "both kinds were tried");
}

/// Section 10 of the datasheet: what was worked out there with another program.
#[test]
fn worked_examples_come_out() {
    let document = Document::old_corncrake();
    let mut seen = 0;
    for example in examples(&document) {
        for (name, unit_ratio, bits) in conversions(&document, &example) {
            let scale = unit_ratio.scale(bits);
            let code =
                i64::try_from(example.value("code").expect("a code")).expect("up to 34 bits");
            assert_eq!(
                i128::from(scale.apply_wide(code)),
                example.value(name).expect("a value"),
                "example {}: {name}",
                example.number
            );
            seen += 1;
        }
    }
    // 5 sense voltages with currents, 4 bus voltages, 3 powers.
    assert_eq!(seen, 17);
}

/// The way back: a code's own value finds the code; a value one unit beside it finds the code on the asked side.
#[test]
fn search_finds_the_code_on_the_asked_side() {
    let document = Document::old_corncrake();
    for example in examples(&document) {
        for (name, ratio, bits) in conversions(&document, &example) {
            let scale = ratio.scale(bits);
            let code =
                i64::try_from(example.value("code").expect("a code")).expect("up to 34 bits");
            let value = i64::try_from(example.value(name).expect("a value")).expect("below 2^63");
            let (first, last) = (-(1 << (bits - 1)), (1 << bits) - 1);
            let least = |value| code_at_least(first, last, value, |code| scale.apply_wide(code));
            let most = |value| code_at_most(first, last, value, |code| scale.apply_wide(code));
            let about = format!("example {}: {name}", example.number);
            // Several codes may share a value where a code is less than a unit.
            if ratio.numerator >= ratio.denominator {
                assert_eq!(
                    (least(value), most(value)),
                    (Some(code), Some(code)),
                    "{about}"
                );
                assert_eq!(
                    (least(value + 1), most(value - 1)),
                    (
                        Some(code + 1).filter(|&code| code <= last),
                        Some(code - 1).filter(|&code| code >= first)
                    ),
                    "{about}"
                );
            }
            for value in [value - 1, value, value + 1, 0, value / 3] {
                if let Some(code) = most(value) {
                    assert!(
                        scale.apply_wide(code) <= value
                            && (code == last || scale.apply_wide(code + 1) > value),
                        "{about}"
                    );
                }
                if let Some(code) = least(value) {
                    assert!(
                        scale.apply_wide(code) >= value
                            && (code == first || scale.apply_wide(code - 1) < value),
                        "{about}"
                    );
                }
            }
        }
    }
}

/// The conversions that a worked example shows: name of the value, ratio of value to code, bits of the code.
fn conversions(document: &Document, example: &Example) -> Vec<(&'static str, Exact, u32)> {
    let range_lsb = |name, ranges: Vec<crake_suite::datasheet::Range>| {
        let code = example.value(name)?;
        ranges
            .into_iter()
            .find(|range| i128::from(range.code) == code)
            .map(|range| i128::from(range.lsb_nv))
    };
    let sense = range_lsb("sense range", sense_ranges(document));
    let bus = range_lsb("bus range", rail_ranges(document));
    let resistance = example.value("resistance");
    let mut found = Vec::new();
    let mut push = |name, quantity, numerator: Option<i128>, denominator: Option<i128>| {
        if let (Some(numerator), Some(denominator), Some(_)) =
            (numerator, denominator, example.value(name))
        {
            found.push((
                name,
                Exact::new(numerator, denominator),
                code(document, quantity).bits,
            ));
        }
    };
    push("sense voltage", "sense", sense, Some(1));
    push(
        "current",
        "sense",
        sense.map(|lsb| lsb * 1_000_000_000),
        resistance,
    );
    push("voltage", "bus", bus, Some(1));
    push(
        "power",
        "power",
        sense.zip(bus).map(|(sense, bus)| sense * bus),
        resistance,
    );
    found
}

/// An exact ratio in lowest terms.
struct Exact {
    numerator: i128,
    denominator: i128,
}

impl Exact {
    fn new(numerator: i128, denominator: i128) -> Self {
        let ratio = Ratio::new(numerator, denominator);
        Self {
            numerator: *ratio.numer(),
            denominator: *ratio.denom(),
        }
    }

    /// The scale under test, from a fraction that is not in lowest terms.
    fn scale(&self, bits: u32) -> Scale {
        let (numerator, denominator) = (
            self.numerator.unsigned_abs() * 6,
            self.denominator.unsigned_abs() * 6,
        );
        Scale::new(numerator, denominator, bits).expect("a ratio of the datasheet")
    }

    /// Twice the error of a result, in denominators of a unit; positive when the result's magnitude is too great.
    fn twice_error(&self, code: i64, result: i64) -> i128 {
        let sign = if code < 0 { -1 } else { 1 };
        2 * sign * (i128::from(result) * self.denominator - i128::from(code) * self.numerator)
    }

    /// The result is the nearest whole number, and of two equally near the one farther from zero.
    fn check(&self, code: i64, result: i64) {
        let error = self.twice_error(code, result);
        assert!(
            -self.denominator < error && error <= self.denominator,
            "code {code} × {}/{}: {result}",
            self.numerator,
            self.denominator
        );
    }

    /// The result is within 1/2 + |code|·2^-64 of the exact value.
    fn check_loosely(&self, code: i64, result: i64) {
        let error = self.twice_error(code, result).abs();
        let slack = ((2 * i128::from(code).abs() * self.denominator) >> 64) + 1;
        assert!(
            error <= self.denominator + slack,
            "code {code} × {}/{}: {result}",
            self.numerator,
            self.denominator
        );
    }

    /// The same as [`check`](Self::check) by big rationals of a library.
    fn check_by_library(&self, code: i64, result: i64) {
        let ratio = BigRational::new(BigInt::from(self.numerator), BigInt::from(self.denominator));
        let expected = (BigRational::from(BigInt::from(code)) * ratio).round();
        assert_eq!(
            expected,
            BigRational::from(BigInt::from(result)),
            "code {code} × {}/{}",
            self.numerator,
            self.denominator
        );
    }

    /// Whether the denominator is a power of two, so that a binary mantissa holds the ratio itself.
    fn is_binary(&self) -> bool {
        self.denominator.count_ones() == 1
    }

    /// The codes up to `greatest` whose product lies a half or next to a half: the hardest to round. Solved from
    /// code · numerator ≡ (denominator ± 1) / 2 modulo the denominator.
    fn next_to_halves(&self, greatest: i64) -> Vec<i64> {
        let modulus = self.denominator;
        let inverse = inverse(self.numerator % modulus, modulus);
        let residues = [(modulus - 1) / 2, modulus / 2, (modulus + 1) / 2];
        let firsts = residues.map(|residue| (residue % modulus) * inverse % modulus);
        let all = firsts.into_iter().flat_map(|first| {
            [
                first,
                first + (i128::from(greatest) - first) / modulus * modulus,
            ]
        });
        all.filter_map(|code| i64::try_from(code).ok())
            .filter(|&code| code <= greatest)
            .flat_map(|code| [code, -code])
            .collect()
    }
}

/// The number that times `value` leaves 1 modulo `modulus`, by the extended Euclidean algorithm; 0 modulo 1.
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
