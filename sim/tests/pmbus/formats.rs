//! Words and values against part A's tables, and against exact rational arithmetic.

use core::cmp::Ordering;

use crake_sim::part::pmbus::{Coefficients, Exponent, Format};
use num_rational::Ratio;

use crate::pmbus::{
    desk::pec,
    document::{bytes, table, word},
};

const ANY: Format = Format::Linear11(Exponent::From(-16));

fn float(text: &str) -> f64 {
    text.parse().expect("a number")
}

/// The value of a LINEAR11 word by the rule of A2.1.
fn exact(word: u16) -> Ratio<i128> {
    let (mut n, mut y) = (i32::from(word >> 11), i128::from(word & 0x7FF));
    if n >= 16 {
        n -= 32;
    }
    if y >= 1024 {
        y -= 2048;
    }
    Ratio::from(y) * Ratio::from(2).pow(n)
}

#[test]
fn check_bytes_of_part_a() {
    let rows: Vec<_> = table("| transfer | address | bytes covered | PEC |");
    assert_eq!(rows.len(), 26);
    for row in rows {
        assert_eq!(pec(&bytes(row[2])), bytes(row[3])[0], "{}", row[0]);
    }
}

#[test]
fn linear11_decodes_as_in_part_a() {
    for row in table("| word | N | Y | X |") {
        assert_eq!(ANY.decode(word(row[0])), float(row[3]), "{}", row[0]);
    }
}

#[test]
fn linear11_encodes_with_the_least_exponent_as_in_part_a() {
    for row in table("| X | word |") {
        assert_eq!(ANY.encode(float(row[0])), word(row[1]), "{}", row[0]);
    }
}

#[test]
fn ulinear16_as_in_part_a() {
    for row in table("| X | N | VOUT_MODE | word | decoded |") {
        let format = Format::Ulinear16 {
            exponent: row[1].parse().expect("N"),
        };
        assert_eq!(format.encode(float(row[0])), word(row[3]), "{}", row[0]);
        assert_eq!(format.decode(word(row[3])), float(row[4]), "{}", row[0]);
    }
}

#[test]
fn direct_as_in_part_a() {
    for row in table("| m | b | R | X | Y | decoded |") {
        let [m, b, r, y] = [0, 1, 2, 4].map(|i| row[i].parse::<i16>().expect("a number"));
        let format = Format::Direct(Coefficients { m, b, r: r as i8 });
        assert_eq!(format.encode(float(row[3])), y as u16, "{}", row[3]);
        assert_eq!(format.decode(y as u16), float(row[5]), "{}", row[3]);
    }
}

#[test]
fn every_linear11_word_is_its_exact_value_and_comes_back_from_it() {
    for word in 0..=u16::MAX {
        let value = ANY.decode(word);
        assert_eq!(
            Ratio::from_float(value).map(|ratio| Ratio::new(
                ratio.numer().try_into().expect("fits"),
                ratio.denom().try_into().expect("fits")
            )),
            Some(exact(word))
        );
        let again = ANY.encode(value);
        assert_eq!(exact(again), exact(word), "{word:04X} {again:04X}");
        // The least exponent: one less would not hold the mantissa.
        let (n, y) = (again as i16 >> 11, (again << 5) as i16 >> 5);
        assert!(n == -16 || !(-512..=511).contains(&y), "{again:04X}");
    }
}

#[test]
fn linear11_words_compare_as_their_values_do() {
    for one in (0..=u16::MAX).step_by(37) {
        for other in (0..=u16::MAX).step_by(1_013) {
            let order = exact(one).cmp(&exact(other));
            assert_eq!(ANY.compare(one, other), order, "{one:04X} {other:04X}");
        }
    }
    assert_eq!(ANY.compare(0x0801, 0x0002), Ordering::Equal);
}

#[test]
fn direct_words_with_a_falling_slope_compare_the_other_way() {
    let falling = Format::Direct(Coefficients { m: -7, b: 3, r: 0 });
    assert_eq!(falling.compare(0xFFF0, 0x0010), Ordering::Greater);
    assert!(falling.decode(0xFFF0) > falling.decode(0x0010));
    assert_eq!(falling.encode(-1e9), 0x7FFF);
}

#[test]
fn what_does_not_fit_ends_at_the_formats_end() {
    let cases = [
        (ANY, 1e12, 0x7BFF),
        (ANY, -1e12, 0x7C00),
        (Format::Linear11(Exponent::Fixed(-6)), 100.0, 0xD3FF),
        (Format::Linear11(Exponent::Fixed(-6)), -100.0, 0xD400),
        (Format::Ulinear16 { exponent: -9 }, -1.0, 0),
        (Format::Ulinear16 { exponent: -9 }, 128.0, 0xFFFF),
        (
            Format::Direct(Coefficients {
                m: 800,
                b: 475,
                r: 0,
            }),
            41.0,
            0x7FFF,
        ),
        (
            Format::Direct(Coefficients {
                m: 800,
                b: 475,
                r: 0,
            }),
            -42.0,
            0x8000,
        ),
    ];
    for (format, value, word) in cases {
        assert_eq!(format.encode(value), word, "{format:?} {value}");
    }
}

// Exact halves, so that only the rule "halves to even" decides.
#[test]
fn halves_go_to_even_in_every_format() {
    let fixed = Format::Linear11(Exponent::Fixed(0));
    assert_eq!(
        [0.5, 1.5, -0.5, -1.5].map(|x| fixed.decode(fixed.encode(x))),
        [0.0, 2.0, 0.0, -2.0]
    );
    let unsigned = Format::Ulinear16 { exponent: -1 };
    assert_eq!([0.25, 0.75].map(|x| unsigned.encode(x)), [0, 2]);
    let direct = Format::Direct(Coefficients { m: 1, b: 0, r: -1 });
    assert_eq!(
        [5.0, 15.0, -5.0, -15.0].map(|x| direct.encode(x) as i16),
        [0, 2, 0, -2]
    );
}
