use crate::convert::divide;

/// How a device writes a quantity in two bytes (PMBus Part II, data formats).
///
/// VID, a voltage as a code of a processor's own table, is not among them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Format {
    /// Exponent N of 5 bits above a mantissa Y of 11, both two's complement: Y × 2^N.
    Linear11,
    /// Unsigned mantissa V of 16 bits with the exponent N that VOUT_MODE tells, −16 to 15: V × 2^N.
    Linear16(i8),
    /// Y, two's complement: (Y × 10^−R − b) ÷ m. The slope m is not 0, and R is −12 to 12.
    Direct {
        /// Slope.
        m: i16,
        /// Offset.
        b: i16,
        /// Exponent of ten.
        r: i8,
    },
    /// Half precision floating point, binary16 of IEEE 754 (Part II from revision 1.3 on). Infinity
    /// and what is not a number count as beyond every number.
    Half,
}

impl Format {
    /// A whole number that goes with the value of a word: of LINEAR11 the value in 2^-16, of half
    /// precision in 2^-24, otherwise the mantissa, which falls as the value rises where the slope
    /// of DIRECT is negative. At most 2^41.
    #[must_use]
    pub const fn position(self, word: u16) -> i64 {
        let mantissa = match self {
            Self::Linear11 => (((word << 5) as i16) >> 5) as i64,
            Self::Linear16(_) => word as i64,
            Self::Direct { .. } => word as i16 as i64,
            Self::Half => {
                let implied = if word & 0x7C00 == 0 { 0 } else { 0x400 };
                let magnitude = (word & 0x3FF | implied) as i64;
                if word & 0x8000 == 0 {
                    magnitude
                } else {
                    magnitude.wrapping_neg()
                }
            }
        };
        mantissa << self.step_log2(word)
    }

    /// The word with the greatest [`position`](Self::position) not above one, or, with `down`
    /// false, with the least not below it. `None` where there is none.
    #[must_use]
    pub fn word(self, position: i64, down: bool) -> Option<u16> {
        let [least, greatest] = [false, true].map(|top| self.position(self.end(top)));
        if down && position < least || !down && position > greatest {
            return None;
        }
        let position = position.max(least).min(greatest);
        // What a mantissa may lie below 0, of 2^11 in all.
        let (number, below, down) = match self {
            Self::Linear16(_) | Self::Direct { .. } => return Some(position as u16),
            Self::Linear11 => (position, 1_024, down),
            Self::Half => (position.abs(), 0, down == (position >= 0)),
        };
        // The least exponent with which it fits has the finest step.
        let (mut exponent, mut mantissa) = (0_u16, number);
        while mantissa.wrapping_add(below) >> 11 != 0 {
            exponent = exponent.wrapping_add(1);
            mantissa = shifted(number, exponent.into(), down);
        }
        Some(match self {
            // The first bit of a mantissa that has all 11 carries into the exponent.
            Self::Half => {
                let sign = u16::from(position < 0) << 15;
                sign | (exponent << 10).wrapping_add(mantissa as u16)
            }
            _ => (exponent ^ 16) << 11 | mantissa as u16 & 0x07FF,
        })
    }

    /// The word at an end of the positions: as a limit, one that nothing passes.
    #[must_use]
    pub const fn end(self, top: bool) -> u16 {
        match (self, top) {
            (Self::Linear11 | Self::Half, true) => 0x7BFF,
            (Self::Linear11, false) => 0x7C00,
            (Self::Half, false) => 0xFBFF,
            (Self::Linear16(_), true) => 0xFFFF,
            (Self::Linear16(_), false) => 0,
            (Self::Direct { .. }, true) => 0x7FFF,
            (Self::Direct { .. }, false) => 0x8000,
        }
    }

    /// Whether a word is at that end; of LINEAR11 with any exponent, for a device may have one of
    /// its own.
    pub(super) const fn is_end(self, top: bool, word: u16) -> bool {
        let counts = match self {
            Self::Linear11 => 0x07FF,
            _ => 0xFFFF,
        };
        (word ^ self.end(top)) & counts == 0
    }

    /// What is to stand for a limit that was written and reads back like this, for a device may
    /// keep it in another form, rounded: what it kept, if that is not above the limit (with `down`
    /// false: not below), else the next step. `None`: it kept something else.
    pub(super) fn kept(self, down: bool, wrote: u16, read: u16) -> Option<u16> {
        let (wanted, got) = (self.position(wrote), self.position(read));
        let step = 1_i64 << self.step_log2(read);
        let is_near = got.abs_diff(wanted) < step.unsigned_abs();
        if !is_near && !self.is_end(wanted > got, read) {
            return None;
        }
        match down {
            true if got > wanted => self.word(got.wrapping_sub(step), down),
            false if got < wanted => self.word(got.wrapping_add(step), down),
            _ => Some(read),
        }
    }

    /// k of the step 2^k from a word to the next one with its exponent.
    const fn step_log2(self, word: u16) -> u32 {
        match self {
            Self::Linear11 => (word >> 11 ^ 16) as u32,
            Self::Half => ((word >> 10 & 0x1F) as u32).saturating_sub(1),
            Self::Linear16(_) | Self::Direct { .. } => 0,
        }
    }
}

/// A number by 2^`places`, rounded down or up.
const fn shifted(number: i64, places: u32, down: bool) -> i64 {
    if down {
        number >> places
    } else {
        (number.wrapping_neg() >> places).wrapping_neg()
    }
}

/// From words of a format to codes, all in constants: code = (position × `rise` + `offset`) ÷
/// `divisor`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Scale {
    pub(super) format: Format,
    rise: i32,
    offset: i32,
    /// 0 where there is no such scale.
    divisor: i32,
}

impl Scale {
    /// Of what is not there.
    pub(super) const NONE: Self = Self {
        format: Format::Linear11,
        rise: 1,
        offset: 0,
        divisor: 0,
    };

    /// Codes of `lsb` ÷ `per` volts, amperes or watts. With a format that cannot be, or an LSB so
    /// crooked that a factor takes more than 31 bits, there is none.
    pub(super) const fn new(format: Format, lsb: u128, per: u128) -> Self {
        // The value is (position × up ÷ down − b) ÷ m.
        let (up, down, m, b) = match format {
            Format::Linear11 => (1, 1 << 16, 1, 0),
            Format::Half => (1, 1 << 24, 1, 0),
            Format::Linear16(exponent @ 0..16) => (1 << exponent, 1, 1, 0),
            Format::Linear16(exponent @ -16..0) => (1, 1 << exponent.unsigned_abs(), 1, 0),
            Format::Direct {
                m,
                b,
                r: r @ 0..=12,
            } => (1, ten_to(r), m as i128, b as i128),
            Format::Direct {
                m,
                b,
                r: r @ -12..0,
            } => (ten_to(r), 1, m as i128, b as i128),
            Format::Linear16(_) | Format::Direct { .. } => (1, 1, 0, 0),
        };
        // What overflows saturates, and is found too great below.
        let per = (per as i128).saturating_mul(m.signum());
        let rise = per.saturating_mul(up);
        let offset = per.saturating_mul(b).saturating_mul(down).saturating_neg();
        let divisor = (lsb as i128)
            .saturating_mul(m.saturating_abs())
            .saturating_mul(down);
        let common = greatest_divisor(greatest_divisor(rise, offset), divisor);
        const MAX: i128 = i32::MAX as i128;
        const MIN: i128 = -MAX;
        if let Some(rise @ MIN..=MAX) = rise.checked_div(common)
            && let Some(offset @ MIN..=MAX) = offset.checked_div(common)
            && let Some(divisor @ 1..=MAX) = divisor.checked_div(common)
            // A position of 42 bits leaves this much.
            && (rise < 1 << 21 || matches!(format, Format::Linear16(_) | Format::Direct { .. }))
        {
            return Self {
                format,
                rise: rise as i32,
                offset: offset as i32,
                divisor: divisor as i32,
            };
        }
        Self::NONE
    }

    pub(super) const fn is_there(&self) -> bool {
        self.divisor != 0
    }

    /// Whether positions go down from a limit of this kind to its safe side.
    pub(super) const fn down(&self, over: bool) -> bool {
        over == (self.rise > 0)
    }

    /// The code of a word: rounded to the nearest, halves to even, once.
    pub(super) fn code(&self, word: u16) -> i64 {
        self.mean(self.format.position(word), 1)
    }

    /// The code of a mean likewise: a sum of positions over so many.
    pub(super) fn mean(&self, sum: i64, count: u32) -> i64 {
        let of_all = |one: i32| i64::from(one).wrapping_mul(count.into());
        let numerator = sum.wrapping_mul(self.rise.into());
        let numerator = numerator.wrapping_add(of_all(self.offset));
        quotient(numerator, of_all(self.divisor), Rounding::Nearest)
    }

    /// The position of a code, times the magnitude of `rise`.
    const fn back(&self, code: i64) -> i64 {
        let numerator = code.wrapping_mul(self.divisor as i64);
        let numerator = numerator.wrapping_sub(self.offset as i64);
        numerator.wrapping_mul(self.rise.signum() as i64)
    }

    /// More than the value of a code adds to a count.
    pub(super) const fn above(&self, code: i64) -> i64 {
        match self.back(code).checked_div(self.rise.unsigned_abs() as i64) {
            Some(position) => position.wrapping_add(1),
            None => i64::MAX,
        }
    }

    /// The word of a limit's code on its safe side, which is [`down`](Self::down) or up; `None`
    /// where there is none.
    pub(super) fn limit(&self, code: i64, down: bool) -> Option<u16> {
        let rounding = if down { Rounding::Down } else { Rounding::Up };
        let position = quotient(self.back(code), self.rise.unsigned_abs().into(), rounding);
        self.format.word(position, down)
    }
}

/// By the magnitude of an exponent.
const fn ten_to(exponent: i8) -> i128 {
    10_i128.saturating_pow(exponent.unsigned_abs() as u32)
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Rounding {
    Down,
    Nearest,
    Up,
}

/// A fraction above a divisor greater than 0, rounded; halves to even.
#[inline(never)] // linked once
fn quotient(numerator: i64, divisor: i64, rounding: Rounding) -> i64 {
    let (magnitude, divisor) = (numerator.unsigned_abs(), divisor as u64);
    let mut words = [magnitude as u32, (magnitude >> 32) as u32];
    let rest = divide(&mut words, divisor);
    let [low, high] = words;
    let quotient = u64::from(high) << 32 | u64::from(low);
    let missing = divisor.wrapping_sub(rest);
    let further = match rounding {
        Rounding::Nearest => rest > missing || rest == missing && low & 1 != 0,
        _ => rest != 0 && (numerator < 0) == (rounding == Rounding::Down),
    };
    let quotient = quotient.wrapping_add(further.into()) as i64;
    if numerator < 0 {
        quotient.wrapping_neg()
    } else {
        quotient
    }
}

const fn greatest_divisor(mut a: i128, mut b: i128) -> i128 {
    while b != 0 {
        (a, b) = match a.checked_rem(b) {
            Some(rest) => (b, rest),
            None => (a, 0),
        };
    }
    a.saturating_abs()
}

#[cfg(test)]
mod tests {
    extern crate std;

    use num_rational::BigRational;

    use super::*;

    /// Page 1 of Gallinule keeps limits with exponent −6, rounded to nearest: example 33 of
    /// docs/pmbus-device.md, and what it does with others.
    #[test]
    fn limits_that_a_device_keeps_in_a_form_of_its_own() {
        let linear = Format::Linear11;
        let kept = |over, wrote, read| linear.kept(over, wrote, read);
        // 3.30078125 A written, 3.296875 A kept: below an over-limit, which is safe; above an
        // under-limit it would have to be: 212 × 2^-6 is 106 × 2^-5 or 848 × 2^-8.
        assert_eq!(kept(true, 0xC34D, 0xD0D3), Some(0xD0D3));
        assert_eq!(kept(false, 0xC34D, 0xD0D3), Some(0xC350));
        // 3.30859375 A (847 × 2^-8) kept as 3.3125: the step below is 844 × 2^-8.
        assert_eq!(kept(true, 0xC34F, 0xD0D4), Some(0xC34C));
        // Nothing was kept: the old limit of 2 A stands.
        assert_eq!(kept(true, 0xC34D, 0xD080), None);
        // The end of the scale with another exponent is an end all the same.
        assert_eq!(kept(true, 0x7BFF, 0xD3FF), Some(0xD3FF));
        assert_eq!(kept(false, 0x7C00, 0xD400), Some(0xD400));
        assert_eq!(kept(true, 0x7BFF, 0xD3FE), None);
        let linear = Format::Linear16(-9);
        assert_eq!(linear.kept(true, 100, 100), Some(100));
        assert_eq!(linear.kept(true, 100, 99), None);
        let direct = Format::Direct { m: -10, b: 0, r: 0 };
        assert_eq!(direct.kept(false, 100, 100), Some(100));
        assert_eq!(direct.kept(false, 100, 101), None);
    }

    /// Page 2 of Gallinule: (Y × 10 + 1200) ÷ 5000 V in mV, (Y − 475) ÷ 800 A in 500 µA. Quotients
    /// by hand, halves to even.
    #[test]
    fn codes_are_rounded_once() {
        let scale = |m, b, r, lsb| Scale::new(Format::Direct { m, b, r }, lsb, 1_000_000_000);
        let volts = scale(5_000, -1_200, -1, 1_000_000);
        assert_eq!(volts.code(0x5D48), 48_000); // example 11
        assert_eq!(volts.code(0xFF88), 0);
        let amps = scale(800, 475, 0, 500_000);
        assert_eq!(amps.code(0xFDF3), -2_500); // example 13
        assert_eq!(amps.code(476), 2); // 2.5
        assert_eq!(amps.code(478), 8); // 7.5
        assert_eq!(amps.code(474), -2); // -2.5
        // 1001 codes of 500 µA are 0.5005 A: Y = 875.4.
        assert_eq!(amps.limit(1_001, true), Some(875));
        assert_eq!(amps.limit(1_001, false), Some(876));
        assert_eq!(amps.limit(-1_001, true), Some(74));
        assert_eq!(amps.limit(-1_001, false), Some(75));
        // A slope that falls: (Y − 475) ÷ −800.
        let falling = scale(-800, 475, 0, 500_000);
        assert_eq!(falling.code(476), -2);
        assert_eq!(falling.limit(1_001, falling.down(true)), Some(75));
        assert_eq!(falling.limit(1_001, falling.down(false)), Some(74));
        // 3.30078125 V in 500 µV: 6601.5625; of a mean of 10 samples of 38 counts of 0.1 W.
        let linear = Scale::new(Format::Linear16(-9), 500_000, 1_000_000_000);
        assert_eq!(linear.code(0x069A), 6_602);
        let watts = scale(1, 0, 1, 250);
        assert_eq!(watts.mean(385, 10), 15_400_000);
        assert_eq!(scale(800, 475, 0, 500_000).mean(9_510, 20), 1); // 0.5 ÷ 800 A, 1.25 codes
    }

    #[test]
    fn scales_that_cannot_be() {
        let sound = |format| Scale::new(format, 1_000, 1_000_000_000).is_there();
        assert!(!sound(Format::Direct { m: 0, b: 5, r: 1 }));
        assert!(!sound(Format::Direct { m: 1, b: 0, r: 13 }));
        assert!(!sound(Format::Direct {
            m: 1,
            b: 0,
            r: i8::MIN
        }));
        assert!(!sound(Format::Linear16(16)) && !sound(Format::Linear16(-17)));
        assert!(!Scale::new(Format::Linear11, 123_456_787, 1_000_000_000).is_there());
        assert!(sound(Format::Linear11) && sound(Format::Half) && sound(Format::Linear16(-9)));
    }

    /// Slopes of both signs, offsets and exponents of every size, and every exponent of ULINEAR16:
    /// codes by the definition (A2.1 of docs/pmbus-device.md) in exact rationals, halves to even;
    /// and of a limit the closest word on its safe side.
    #[test]
    fn codes_and_limits_by_definition() {
        let whole = |number: i64| BigRational::from_integer(number.into());
        let power = |base: i64, exponent: i8| whole(base).pow(exponent.into());
        let mut formats: std::vec::Vec<_> = (-16..16).map(Format::Linear16).collect();
        for m in [1, -1, 7, 850, -800, i16::MAX, i16::MIN] {
            for b in [0, 1, -3, 20_475, i16::MAX, i16::MIN] {
                formats.extend((-12..=12).map(|r| Format::Direct { m, b, r }));
            }
        }
        let mut tried = 0;
        for format in formats {
            // In codes of 500 µV.
            let scale = Scale::new(format, 500_000, 1_000_000_000);
            let value = |position: i64| match format {
                Format::Direct { m, b, r } => {
                    let value = whole(position) * power(10, -r) - whole(b.into());
                    value / whole(m.into()) * whole(2_000)
                }
                Format::Linear16(exponent) => whole(position) * power(2, exponent) * whole(2_000),
                _ => unreachable!(),
            };
            let words = [0, 1, 475, 960, 20_000, 0x7FFF, 0x8000, 0xFBFF, 0xFFFF];
            for word in words.into_iter().filter(|_| scale.is_there()) {
                tried += 1;
                let exact = value(format.position(word));
                let (below, half) = (exact.floor(), whole(1) / whole(2));
                let odd = !(&below / whole(2)).is_integer();
                let up = &exact - &below > half || &exact - &below == half && odd;
                let nearest = if up { below + whole(1) } else { below };
                assert_eq!(whole(scale.code(word)), nearest, "{format:?} {word:04X}");
                for (over, sign) in [(true, 1), (false, -1)] {
                    let code = scale.code(word).clamp(-60_000, 60_000) / 2 + sign;
                    let beyond = |at| (value(at) - whole(code)) * whole(sign) > whole(0);
                    let down = scale.down(over);
                    let ends = [!down, down].map(|end| format.position(format.end(end)));
                    let closest = scale.limit(code, down).map_or(beyond(ends[0]), |word| {
                        let at = format.position(word);
                        let next = if down { at + 1 } else { at - 1 };
                        !beyond(at) && (at == ends[1] || beyond(next))
                    });
                    assert!(closest, "{format:?} {code} {over}");
                }
            }
        }
        assert!(tried > 2_500, "{tried}");
    }
}
