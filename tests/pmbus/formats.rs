//! Number formats against the tables of the document (A2.1) and against exact rational arithmetic.

use crake::part::pmbus::Format;
use crake_suite::markdown::{Document, Table};
use num_rational::Ratio;

type Exact = Ratio<i128>;

fn document() -> Document {
    Document::read("docs/pmbus-device.md")
}

fn table<'d>(document: &'d Document, columns: &[&str]) -> &'d Table {
    document.table("A2.1 ", columns)
}

/// A decimal number, exactly.
fn decimal(text: &str) -> Exact {
    let (whole, places) = text.split_once('.').unwrap_or((text, ""));
    let digits: i128 = format!("{whole}{places}").parse().unwrap();
    Exact::new(digits, 10_i128.pow(places.len() as u32))
}

fn word(text: &str) -> u16 {
    u16::from_str_radix(text.trim_matches('`'), 16).unwrap()
}

fn power_of_two(exponent: i32) -> Exact {
    let power = Exact::from_integer(1_i128 << exponent.unsigned_abs());
    if exponent < 0 { power.recip() } else { power }
}

/// The value of a word by its position.
fn value(format: Format, word: u16) -> Exact {
    let position = Exact::from_integer(format.position(word).into());
    match format {
        Format::Linear11 => position * power_of_two(-16),
        Format::Half => position * power_of_two(-24),
        Format::Linear16(exponent) => position * power_of_two(exponent.into()),
        Format::Direct { m, b, r } => {
            let ten = Exact::from_integer(10).pow(-i32::from(r));
            (position * ten - i128::from(b)) / i128::from(m)
        }
    }
}

/// Part II: Y × 2^N, taken apart by division alone.
fn linear11(word: u16) -> Exact {
    let signed = |field: i32, bits: u32| match field >= 1 << (bits - 1) {
        true => field - (1 << bits),
        false => field,
    };
    let exponent = signed(i32::from(word) / 2_048, 5);
    power_of_two(exponent) * i128::from(signed(i32::from(word) % 2_048, 11))
}

#[test]
fn linear11_of_the_document() {
    let document = document();
    for row in table(&document, &["word", "N", "Y", "X"]).rows() {
        assert_eq!(
            value(Format::Linear11, word(&row[0])),
            decimal(&row[3]),
            "{row:?}"
        );
    }
    // Encodings are not unique: what the words say is compared.
    let table = document.table("A2.1 ", &["X", "word"]);
    for row in table.rows() {
        let nearest = value(Format::Linear11, word(&row[1]));
        for over in [true, false] {
            let asked = decimal(&row[0]) * power_of_two(16);
            let position = if over { asked.floor() } else { asked.ceil() };
            let got = Format::Linear11.word(position.to_integer() as i64, over);
            let got = value(Format::Linear11, got.unwrap());
            let safe = if over {
                got <= decimal(&row[0])
            } else {
                got >= decimal(&row[0])
            };
            // The nearest word is the one below or the one above.
            let other = Format::Linear11
                .word(position.to_integer() as i64, !over)
                .unwrap();
            assert!(safe && (got == nearest || value(Format::Linear11, other) == nearest));
        }
    }
}

#[test]
fn linear16_and_direct_of_the_document() {
    let document = document();
    let table_16 = table(&document, &["X", "N", "VOUT_MODE", "word", "decoded"]);
    for row in table_16.rows() {
        let format = Format::Linear16(row[1].parse().unwrap());
        assert_eq!(value(format, word(&row[3])), decimal(&row[4]), "{row:?}");
    }
    let mut rows = 0;
    for row in table(&document, &["m", "b", "R", "X", "Y", "decoded"]).rows() {
        let (m, b, r) = (
            row[0].parse().unwrap(),
            row[1].parse().unwrap(),
            row[2].parse().unwrap(),
        );
        let y: i16 = row[4].parse().unwrap();
        let got = value(Format::Direct { m, b, r }, y as u16);
        // The last one is printed as f64 has it.
        let off = got - decimal(&row[5]);
        let most = Exact::new(1, 1_000_000_000_000_000);
        assert!(off <= most && off >= -most, "{row:?}");
        rows += 1;
    }
    assert_eq!(rows, 4);
}

/// All 65 536 words.
#[test]
fn every_linear11_word_is_its_mantissa_times_a_power_of_two() {
    for word in 0..=u16::MAX {
        assert_eq!(value(Format::Linear11, word), linear11(word), "{word:04X}");
    }
}

/// IEEE 754-2008, 3.4, binary16: sign, exponent of five bits with bias 15, ten bits of fraction.
/// Every finite word; and the marks of the format: 1, the least subnormal, the greatest number.
#[test]
fn every_half_precision_word() {
    for word in (0..=u16::MAX).filter(|word| word & 0x7C00 != 0x7C00) {
        let (exponent, fraction) = (i32::from(word >> 10 & 0x1F), i128::from(word & 0x3FF));
        let magnitude = match exponent {
            0 => power_of_two(-24) * fraction,
            _ => power_of_two(exponent - 25) * (1_024 + fraction),
        };
        let expected = if word & 0x8000 != 0 {
            -magnitude
        } else {
            magnitude
        };
        assert_eq!(value(Format::Half, word), expected, "{word:04X}");
    }
    assert_eq!(value(Format::Half, 0x3C00), Exact::from_integer(1));
    assert_eq!(value(Format::Half, 0x7BFF), Exact::from_integer(65_504));
    assert!(
        value(Format::Half, 0x7C00) > Exact::from_integer(65_504),
        "infinity"
    );
    assert!(
        value(Format::Half, 0x7E00) > Exact::from_integer(65_504),
        "no number"
    );
}

const FORMATS: [Format; 6] = [
    Format::Linear11,
    Format::Linear16(-9),
    Format::Direct {
        m: 800,
        b: 475,
        r: 0,
    },
    Format::Direct {
        m: -13,
        b: 3,
        r: -1,
    },
    Format::Half,
    Format::Linear16(3),
];

/// By search through all words: no word lies closer on the safe side; and beyond the ends there is
/// one on the safe side alone.
#[test]
fn limits_take_the_closest_word_on_their_safe_side() {
    for format in FORMATS {
        let finite = |word: &u16| format != Format::Half || word & 0x7C00 != 0x7C00;
        let words = (0..=u16::MAX).filter(finite);
        let mut positions: Vec<i64> = words.map(|word| format.position(word)).collect();
        positions.sort_unstable();
        positions.dedup();
        let (least, most) = (positions[0], positions[positions.len() - 1]);
        let mut asked: Vec<i64> = positions.iter().step_by(97).copied().collect();
        asked.extend([
            0,
            1,
            -1,
            least,
            most,
            least - 1,
            most + 1,
            i64::MIN / 4,
            i64::MAX / 4,
        ]);
        let near: Vec<i64> = asked
            .iter()
            .flat_map(|at| [at - 1, at + 1, at + 1_000])
            .collect();
        for asked in asked.into_iter().chain(near) {
            let below = positions.partition_point(|at| *at <= asked).checked_sub(1);
            let above = positions.partition_point(|at| *at < asked);
            for (over, expected) in [
                (true, below.map(|at| positions[at])),
                (false, positions.get(above).copied()),
            ] {
                let got = format.word(asked, over).map(|word| format.position(word));
                assert_eq!(got, expected, "{format:?}, {asked}, {over}");
            }
        }
        assert_eq!(format.position(format.end(true)), most, "{format:?}");
        assert_eq!(format.position(format.end(false)), least, "{format:?}");
    }
}
