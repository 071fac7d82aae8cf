//! Numbers as 16-bit words (docs/pmbus-device.md, A2.1).

use core::cmp::Ordering;

use crate::part::fields::fields;

/// How a page says a quantity in a word; the quantity is in its base unit, V, A or W.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// 5 bits of exponent, 11 of mantissa, both two's complement.
    Linear11(Exponent),
    /// 16 bits, unsigned, times 2^`exponent`; for output voltages.
    Ulinear16 {
        /// −16 to 15.
        exponent: i8,
    },
    /// 16 bits, two's complement.
    Direct(Coefficients),
}

/// Which exponent a LINEAR11 word is made with. Words with any other are understood as well.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exponent {
    /// The least, from this one to 15, whose mantissa fits.
    From(i8),
    /// Always this one; the mantissa is cut off at its ends.
    Fixed(i8),
}

/// Word = (`m` × value + `b`) × 10^`r`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Coefficients {
    /// Slope, not 0.
    pub m: i16,
    /// Offset.
    pub b: i16,
    /// Exponent of ten, −6 to 6.
    pub r: i8,
}

impl Format {
    /// The word of a value, rounded to nearest, halves to even; the format's end beyond it.
    pub fn encode(self, value: f64) -> u16 {
        match self {
            Self::Linear11(Exponent::Fixed(exponent)) => {
                linear11(exponent, mantissa(value, exponent).clamp(LEAST, GREATEST))
            }
            Self::Linear11(Exponent::From(least)) => {
                let fitting = (least..15).find_map(|exponent| {
                    let y = mantissa(value, exponent);
                    (LEAST..=GREATEST)
                        .contains(&y)
                        .then(|| linear11(exponent, y))
                });
                fitting.unwrap_or_else(|| linear11(15, mantissa(value, 15).clamp(LEAST, GREATEST)))
            }
            Self::Ulinear16 { exponent } => mantissa(value, exponent).clamp(0, 0xFFFF) as u16,
            Self::Direct(coefficients) => coefficients
                .code(value)
                .clamp(i64::from(i16::MIN), i64::from(i16::MAX))
                as u16,
        }
    }

    /// The value of a word; exact but for DIRECT, where it is rounded as f64 is.
    pub fn decode(self, word: u16) -> f64 {
        match self {
            Self::Linear11(_) => {
                let (exponent, y) = parts(word);
                f64::from(y) * two_to(exponent)
            }
            Self::Ulinear16 { exponent } => f64::from(word) * two_to(exponent),
            Self::Direct(Coefficients { m, b, r }) => {
                (ten_to(f64::from(word as i16), -r) - f64::from(b)) / f64::from(m)
            }
        }
    }

    /// Compares what two words say, exactly.
    pub fn compare(self, one: u16, other: u16) -> Ordering {
        match self {
            Self::Linear11(_) => sixty_five_thousandths(one).cmp(&sixty_five_thousandths(other)),
            Self::Ulinear16 { .. } => one.cmp(&other),
            Self::Direct(Coefficients { m, .. }) => {
                let shown = |word| i32::from(word as i16) * i32::from(m.signum());
                shown(one).cmp(&shown(other))
            }
        }
    }

    /// The word that a limit is kept as: only a fixed exponent changes one.
    pub(super) fn kept(self, word: u16) -> u16 {
        match self {
            Self::Linear11(Exponent::Fixed(_)) => self.encode(self.decode(word)),
            _ => word,
        }
    }

    /// The word of the greatest value.
    pub(super) fn greatest(self) -> u16 {
        self.ends().1
    }

    /// The word of the least value.
    pub(super) fn least(self) -> u16 {
        self.ends().0
    }

    fn ends(self) -> (u16, u16) {
        match self {
            Self::Linear11(Exponent::From(_)) => (linear11(15, LEAST), linear11(15, GREATEST)),
            Self::Linear11(Exponent::Fixed(exponent)) => {
                (linear11(exponent, LEAST), linear11(exponent, GREATEST))
            }
            Self::Ulinear16 { .. } => (0, 0xFFFF),
            Self::Direct(Coefficients { m, .. }) if m < 0 => (0x7FFF, 0x8000),
            Self::Direct(_) => (0x8000, 0x7FFF),
        }
    }

    /// Whether exponents and coefficients are within what the standard's fields hold.
    pub(super) fn is_sound(self) -> bool {
        match self {
            Self::Linear11(Exponent::From(exponent) | Exponent::Fixed(exponent))
            | Self::Ulinear16 { exponent } => (-16..=15).contains(&exponent),
            Self::Direct(coefficients) => coefficients.is_sound(),
        }
    }
}

impl Coefficients {
    /// The code of a value, rounded to nearest, halves to even; not cut off.
    pub(super) fn code(self, value: f64) -> i64 {
        nearest_even(ten_to(
            f64::from(self.m) * value + f64::from(self.b),
            self.r,
        ))
    }

    /// As COEFFICIENTS sends them.
    pub(super) fn bytes(self) -> [u8; 5] {
        let ([m0, m1], [b0, b1], [r]) = (
            self.m.to_le_bytes(),
            self.b.to_le_bytes(),
            self.r.to_le_bytes(),
        );
        [m0, m1, b0, b1, r]
    }

    pub(super) fn is_sound(self) -> bool {
        self.m != 0 && (-6..=6).contains(&self.r)
    }
}

fn linear11(exponent: i8, y: i64) -> u16 {
    let (exponent, y) = (exponent as u8 & 0x1F, y as u16 & 0x7FF);
    fields(&[(exponent.into(), 5), (y.into(), 11)]) as u16
}

/// Ends of the mantissa of a LINEAR11 word.
const LEAST: i64 = -1024;
const GREATEST: i64 = 1023;

/// Exponent and mantissa of a LINEAR11 word.
fn parts(word: u16) -> (i8, i16) {
    ((word as i16 >> 11) as i8, (word << 5) as i16 >> 5)
}

/// The value of a LINEAR11 word in units of 2^−16, of which each is a whole number.
fn sixty_five_thousandths(word: u16) -> i64 {
    let (exponent, y) = parts(word);
    i64::from(y) << (exponent + 16)
}

/// Value ÷ 2^exponent, rounded.
fn mantissa(value: f64, exponent: i8) -> i64 {
    nearest_even(value * two_to(-exponent))
}

/// Exact: an f64 has the exponent in its bits from 52 on, more by 1023 (IEEE 754).
fn two_to(exponent: i8) -> f64 {
    f64::from_bits(((1_023 + i16::from(exponent)) as u64) << 52)
}

/// x × 10^r by one multiplication or division, by an exact power.
fn ten_to(x: f64, r: i8) -> f64 {
    let power = (0..r.unsigned_abs()).fold(1.0, |power, _| power * 10.0);
    if r.is_negative() {
        x / power
    } else {
        x * power
    }
}

/// To the nearest whole number, halves to even; the ends of i64 beyond it.
fn nearest_even(x: f64) -> i64 {
    let towards_zero = x as i64;
    let rest = x - towards_zero as f64;
    let odd = towards_zero % 2 != 0;
    if rest > 0.5 || rest == 0.5 && odd {
        towards_zero.saturating_add(1)
    } else if rest < -0.5 || rest == -0.5 && odd {
        towards_zero.saturating_sub(1)
    } else {
        towards_zero
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A2.1: five bits of exponent, two's complement; r from -6 to 6, and a slope that is not 0.
    #[test]
    fn formats_are_sound_as_far_as_their_fields_hold() {
        for (exponent, sound) in [(-17, false), (-16, true), (15, true), (16, false)] {
            let fixed = Format::Linear11(Exponent::Fixed(exponent));
            let from = Format::Linear11(Exponent::From(exponent));
            for format in [fixed, from, Format::Ulinear16 { exponent }] {
                assert_eq!(format.is_sound(), sound, "{format:?}");
            }
        }
        for (m, r, sound) in [(1, -7, false), (-1, -6, true), (1, 6, true), (1, 7, false)] {
            let format = Format::Direct(Coefficients { m, b: 0, r });
            assert_eq!(format.is_sound(), sound, "{format:?}");
        }
        assert!(!Format::Direct(Coefficients { m: 0, b: 1, r: 0 }).is_sound());
    }

    // IEEE 754 round-half-to-even, by hand; the ends are those of `as`.
    #[test]
    fn halves_go_to_even() {
        let cases = [
            (0.5, 0),
            (1.5, 2),
            (2.5, 2),
            (-0.5, 0),
            (-1.5, -2),
            (-2.5, -2),
            (2.500001, 3),
            (-0.51, -1),
            (7.0, 7),
        ];
        for (x, whole) in cases {
            assert_eq!(nearest_even(x), whole, "{x}");
        }
        assert_eq!(nearest_even(1e300), i64::MAX);
        assert_eq!(nearest_even(f64::NAN), 0);
    }
}
