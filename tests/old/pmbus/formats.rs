//! Number formats of PMBus against exact rational arithmetic, and against published and
//! independently computed values.
//!
//! Check values are of Python's `fractions`, where nothing else is said; 0xEAC0 = 88 is also
//! printed by a maker of converters as an example of the format.

use crake::old::part::pmbus::format::{
    Coefficients, Format, Rounding, Unit, VoutMode, linear11, linear16,
};
use crake::old::part::pmbus::{EnergyCount, Period};
use num_bigint::BigInt;
use num_rational::{BigRational, Ratio};

type Exact = Ratio<i128>;

/// Units from nano to more than whole ones, powers of ten and others.
const UNITS: [u32; 7] = [1, 7, 1_000, 100_000, 999_983, 1_000_000_000, u32::MAX];

fn exact((numerator, denominator): (i128, u128)) -> Exact {
    Exact::new(numerator, i128::try_from(denominator).unwrap()) / 1_000_000_000
}

fn power_of_two(exponent: i32) -> Exact {
    let power = Exact::from_integer(1_i128 << exponent.unsigned_abs());
    if exponent < 0 { power.recip() } else { power }
}

/// Y × 2^N, both two's complement, taken apart by division alone.
fn by_definition(word: u16) -> Exact {
    let signed = |field: i32, bits: u32| {
        if field >= 1 << (bits - 1) {
            field - (1 << bits)
        } else {
            field
        }
    };
    let (exponent, mantissa) = (
        signed(i32::from(word) / 2048, 5),
        signed(i32::from(word) % 2048, 11),
    );
    power_of_two(exponent) * i128::from(mantissa)
}

/// Nearest, ties to even: by the definition, from the whole number below.
fn nearest_even(value: Exact) -> i128 {
    let below = value.floor();
    let rest = value - below;
    let half = Exact::new(1, 2);
    let below = below.to_integer();
    if rest > half || (rest == half && below % 2 != 0) {
        below + 1
    } else {
        below
    }
}

/// All 65 536 words, exactly, and rounded once in every unit.
#[test]
fn every_linear11_word_is_its_mantissa_times_a_power_of_two() {
    for word in 0..=u16::MAX {
        let expected = by_definition(word);
        assert_eq!(exact(linear11(word)), expected, "{word:04X}");
        for unit in UNITS {
            let counted = nearest_even(expected * 1_000_000_000 / i128::from(unit));
            let shown = Format::Linear11.value(word, Unit::nano(unit));
            assert_eq!(i128::from(shown), counted, "{word:04X} in {unit}");
        }
    }
}

/// Each word's value finds its way back, whatever the exponent it was written with; and the words
/// around it lie where they must.
#[test]
fn every_linear11_value_has_a_word_of_its_own() {
    for word in 0..=u16::MAX {
        let value = by_definition(word);
        // Exactly representable in a unit of 2^-16 thousand-millionths alone; whole
        // thousand-millionths are those with few places.
        let nano = value * 1_000_000_000;
        if !nano.is_integer() {
            continue;
        }
        let nano = i64::try_from(nano.to_integer()).unwrap();
        for rounding in [Rounding::Down, Rounding::Nearest, Rounding::Up] {
            let back = Format::Linear11.word(nano, Unit::NANO, rounding).unwrap();
            assert_eq!(by_definition(back), value, "{word:04X} {rounding:?}");
        }
    }
}

/// By search through all words: no word lies closer on the safe side.
#[test]
fn limits_take_the_closest_word_on_their_safe_side() {
    let mut values: Vec<Exact> = (0..=u16::MAX).map(by_definition).collect();
    values.sort_unstable();
    values.dedup();
    let asked = [
        0,
        1,
        -1,
        15_258,
        15_259,
        -15_258,
        3_300_000_000,
        -1_500_000_000,
        11_999_999_999,
        12_000_000_001,
        1_023_000_000_000,
        1_023_000_000_001,
        1_024_000_000_000,
        63_937_500_001,
        -63_937_500_001,
        33_521_664_000_000_000,
        33_521_664_000_000_001,
        i64::MAX,
        -33_554_432_000_000_000,
        -33_554_432_000_000_001,
        i64::MIN,
        -1_279_296_875,
        -1_279_296_876,
        999_999_999_999_999,
    ];
    for nano in asked {
        let wanted = Exact::from_integer(i128::from(nano)) / 1_000_000_000;
        let below = values
            .partition_point(|value| *value <= wanted)
            .checked_sub(1)
            .map(|place| values[place]);
        let above = values
            .get(values.partition_point(|value| *value < wanted))
            .copied();
        let word = |rounding| {
            Format::Linear11
                .word(nano, Unit::NANO, rounding)
                .map(by_definition)
        };
        assert_eq!(word(Rounding::Down), below, "{nano}");
        assert_eq!(word(Rounding::Up), above, "{nano}");
    }
}

#[test]
fn linear11_check_values() {
    let values: [(u16, i128, i128); 14] = [
        (0xEAC0, 88, 1),
        (0xD200, 8, 1),
        (0xDBC0, 30, 1),
        (0xCA80, 5, 1),
        (0xE3FF, 639_375, 10_000),
        (0xBD71, -1_279_296_875, 1_000_000_000),
        (0x0801, 2, 1),
        (0x7BFF, 33_521_664, 1),
        (0x7C00, -33_554_432, 1),
        (0x8001, 1, 65_536), // 1.52587890625e-5
        (0x8400, -15_625, 1_000_000),
        (0x07FF, -1, 1),
        (0xFFFF, -1, 2),
        (0x0000, 0, 1),
    ];
    for (word, numerator, denominator) in values {
        assert_eq!(
            exact(linear11(word)),
            Exact::new(numerator, denominator),
            "{word:04X}"
        );
    }
}

/// Least exponent that fits, mantissa rounded half to even.
#[test]
fn linear11_encodings() {
    for (microunits, word) in [
        (12_000_000, 0xD300),
        (100_000_000, 0xEB20),
        (230_000_000, 0xF398),
        (3_300_000, 0xC34D),
        (-1_500_000, 0xBD00),
        (-100_000, 0x9CCD),
        (50_000, 0x9333),
        (1_023_000_000, 0x03FF),
        (1_024_000_000, 0x0A00),
        (1_000_000_000_000, 0x53D1),
    ] {
        let found = Format::Linear11.word(microunits, Unit::nano(1_000), Rounding::Nearest);
        assert_eq!(found, Some(word), "{microunits}");
    }
    assert_eq!(
        exact(linear11(0xC34D)),
        Exact::new(330_078_125, 100_000_000)
    );
    assert_eq!(exact(linear11(0x53D1)), Exact::from_integer(1_000_448));
}

#[test]
fn linear16_check_values() {
    for (mode, word, nanovolts_scaled, scale) in [
        (0x17, 0x069A, 330_078_125_i128, 100_000_000_i128),
        (0x14, 0x1333, 1_199_951_171_875, 1_000_000_000_000),
        (0x17, 0x1800, 12, 1),
    ] {
        let VoutMode::Linear(exponent) = VoutMode::from_byte(mode) else {
            panic!("linear")
        };
        assert_eq!(
            exact(linear16(word, exponent)),
            Exact::new(nanovolts_scaled, scale)
        );
    }
    for (millivolts, exponent, word) in [
        (3_300, -9, 0x069A),
        (1_200, -12, 0x1333),
        (12_000, -9, 0x1800),
        (900, -13, 0x1CCD),
    ] {
        let found =
            Format::Linear16(exponent).word(millivolts, Unit::nano(1_000_000), Rounding::Nearest);
        assert_eq!(found, Some(word), "{millivolts}");
    }
}

/// Every exponent, the ends and what lies between, against the definition; both safe sides by their
/// neighbours.
#[test]
fn linear16_in_every_mode() {
    for exponent in -16..=15_i8 {
        let (format, step) = (
            Format::Linear16(exponent),
            power_of_two(i32::from(exponent)),
        );
        for word in (0..=u16::MAX).step_by(257) {
            let value = step * i128::from(word);
            assert_eq!(exact(linear16(word, exponent)), value);
            let nano = value * 1_000_000_000;
            assert_eq!(
                i128::from(format.value(word, Unit::NANO)),
                nearest_even(nano)
            );
            let (below, above) = (
                i64::try_from(nano.floor().to_integer()).unwrap(),
                i64::try_from(nano.ceil().to_integer()).unwrap(),
            );
            // A thousand-millionth to the side is another word, unless steps are finer than that;
            // they never are: 2^-16.
            assert_eq!(format.word(above, Unit::NANO, Rounding::Down), Some(word));
            assert_eq!(format.word(below, Unit::NANO, Rounding::Up), Some(word));
            let one_down = format.word(below - 1, Unit::NANO, Rounding::Down);
            assert_eq!(one_down, word.checked_sub(1), "{word:04X} {exponent}");
            let one_up = format.word(above + 1, Unit::NANO, Rounding::Up);
            assert_eq!(one_up, word.checked_add(1), "{word:04X} {exponent}");
        }
        assert_eq!(
            format.word(i64::MAX, Unit::nano(u32::MAX), Rounding::Down),
            Some(u16::MAX)
        );
        assert_eq!(format.word(-1, Unit::NANO, Rounding::Up), Some(0));
        assert_eq!(
            format.word(i64::MIN, Unit::nano(u32::MAX), Rounding::Up),
            Some(0)
        );
        assert_eq!(format.word(-1, Unit::NANO, Rounding::Down), None);
    }
}

#[test]
fn direct_check_values() {
    let format = |m, b, r| Format::Direct(Coefficients::new(m, b, r).unwrap());
    let micro = Unit::nano(1_000);
    let twelve = format(800, 0, -1);
    assert_eq!(twelve.value(960, micro), 12_000_000);
    let offset = format(850, 20_475, -1);
    assert_eq!(offset.value(2_260, micro), 2_500_000);
    assert_eq!(offset.value(1_941, Unit::NANO), -1_252_941_176);
    let hundreds = format(4, -3, 2);
    assert_eq!(hundreds.value(2_624, micro), 7_310_000);
    for rounding in [Rounding::Down, Rounding::Nearest, Rounding::Up] {
        assert_eq!(twelve.word(12_000_000, micro, rounding), Some(960));
        assert_eq!(offset.word(2_500_000, micro, rounding), Some(2_260));
        assert_eq!(hundreds.word(7_310_000, micro, rounding), Some(2_624));
    }
    // −1.25: 1941.25.
    assert_eq!(
        offset.word(-1_250_000, micro, Rounding::Nearest),
        Some(1_941)
    );
    assert_eq!(offset.word(-1_250_000, micro, Rounding::Up), Some(1_942));
}

/// Slopes of both signs, offsets and exponents of every size, against X = (Y × 10^-R − b) ÷ m; the
/// way back against its neighbours.
#[test]
fn direct_against_its_definition() {
    let ten = |exponent: i32| {
        let power = BigRational::from_integer(BigInt::from(10).pow(exponent.unsigned_abs()));
        if exponent < 0 { power.recip() } else { power }
    };
    let whole = |number: i128| BigRational::from_integer(BigInt::from(number));
    for m in [1, -1, 7, 850, -800, i16::MAX, i16::MIN] {
        for b in [0, 1, -3, 20_475, i16::MAX, i16::MIN] {
            for r in [-12, -5, -1, 0, 1, 2, 6, 12_i8] {
                let coefficients = Coefficients::new(m, b, r).unwrap();
                let format = Format::Direct(coefficients);
                for code in [i16::MIN, -32_767, -1_025, -1, 0, 1, 960, 20_000, i16::MAX] {
                    for count in [1, 3, 0x00FF_FFFF] {
                        let mean = whole(i128::from(code)) / whole(i128::from(count));
                        let value = (mean * ten(-i32::from(r)) - whole(i128::from(b)))
                            / whole(i128::from(m));
                        let (numerator, denominator) =
                            coefficients.fraction(i64::from(code), count);
                        let found = whole(numerator)
                            / whole(i128::try_from(denominator).unwrap())
                            / whole(1_000_000_000);
                        assert_eq!(found, value, "{m} {b} {r} {code} {count}");
                    }
                    let nano = format.value(code as u16, Unit::NANO);
                    // The way back, where codes lie further apart than the rounding of their
                    // values.
                    let fine = format.value((code ^ 1) as u16, Unit::NANO).abs_diff(nano) < 4;
                    if fine || nano == i64::MAX || nano == i64::MIN {
                        continue;
                    }
                    let at_most = format.word(nano + 1, Unit::NANO, Rounding::Down);
                    let at_least = format.word(nano - 1, Unit::NANO, Rounding::Up);
                    assert_eq!(at_most, Some(code as u16), "{m} {b} {r} {code}");
                    assert_eq!(at_least, Some(code as u16), "{m} {b} {r} {code}");
                }
            }
        }
    }
}

fn mean(last: [u8; 6], now: [u8; 6], period: Period) -> Option<(u32, u32)> {
    let between = EnergyCount::from_bytes(now).since(EnergyCount::from_bytes(last), period)?;
    Some((between.codes, between.samples))
}

/// The pairs of two public programs that read a supply's count, worked out again; the second shows
/// the difference between the two periods.
#[test]
fn energy_counts_check_values() {
    let first = (
        [0x88, 0x70, 0x01, 0x45, 0x01, 0x00],
        [0x1A, 0x7E, 0x01, 0x57, 0x01, 0x00],
    );
    let second = (
        [0x53, 0x65, 0x0B, 0x4E, 0x0C, 0x00],
        [0x1F, 0x39, 0x0C, 0xFB, 0x0C, 0x00],
    );
    let own = (
        [0x34, 0x12, 0x05, 0x10, 0x27, 0x00],
        [0x78, 0x56, 0x07, 0x10, 0x2B, 0x00],
    );
    let wrapping = (
        [0xF0, 0x7F, 0xFF, 0xF0, 0xFF, 0xFF],
        [0x10, 0x00, 0x01, 0x10, 0x00, 0x00],
    );
    let (standard, counter) = (Period::Counts32767, Period::Counts32768);
    assert_eq!(mean(first.0, first.1, standard), Some((3_474, 18))); // 193
    assert_eq!(mean(second.0, second.1, standard), Some((21_451, 173))); // 123.994
    assert_eq!(mean(second.0, second.1, counter), Some((21_452, 173))); // 124
    assert_eq!(mean(own.0, own.1, standard), Some((83_010, 1_024))); // 81.064453125
    assert_eq!(mean(own.0, own.1, counter), Some((83_012, 1_024))); // 81.06640625
    assert_eq!(mean(wrapping.0, wrapping.1, counter), Some((32_800, 32))); // 1025
    assert_eq!(mean(own.0, own.0, standard), None);
    // m = 1, b = 0, R = 0: plain watts.
    let plain = Coefficients::new(1, 0, 0).unwrap();
    let between = EnergyCount::from_bytes(own.1)
        .since(EnergyCount::from_bytes(own.0), counter)
        .unwrap();
    assert_eq!(
        exact(between.watts(plain)),
        Exact::new(8_106_640_625, 100_000_000)
    );
}

/// A counter stepped sample by sample with constant power, in each kind of device: differences
/// across every wrap give the power back.
#[test]
fn energy_counts_across_their_wraps() {
    for (period, kind) in [
        (32_767_u32, Period::Counts32767),
        (32_768, Period::Counts32768),
    ] {
        for power in [0, 1, 4_097, 32_766] {
            let at = |sample: u32| {
                let total = u64::from(power) * u64::from(sample);
                let rollovers = (total / u64::from(period) % 256) as u8;
                let [a0, a1, ..] = (total % u64::from(period)).to_le_bytes();
                let [s0, s1, s2, _] = sample.to_le_bytes();
                [a0, a1, rollovers, s0, s1, s2]
            };
            for first in [0, 1, 255, 60_000, 0x00FF_FF80, 0x00FF_FFFF] {
                for step in [1, 17, 255] {
                    let expected = Some((power * step, step));
                    assert_eq!(
                        mean(at(first), at(first + step), kind),
                        expected,
                        "{power} from {first} by {step}"
                    );
                }
            }
        }
    }
}
