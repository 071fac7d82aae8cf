use super::{NANO, Rounding, rounded};

/// What COEFFICIENTS tells of a command: X = (Y × 10^-R − b) ÷ m.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Coefficients {
    m: i16,
    b: i16,
    r: i8,
}

impl Coefficients {
    /// Greatest magnitude of R that is taken. 10^12 codes a unit, or units a code, are beyond any device.
    pub const R_MAX: u8 = 12;

    /// Slope, offset and exponent; `None` for a slope of 0, or an R beyond [`R_MAX`](Self::R_MAX).
    #[must_use]
    pub const fn new(m: i16, b: i16, r: i8) -> Option<Self> {
        if m == 0 || r.unsigned_abs() > Self::R_MAX {
            return None;
        }
        Some(Self { m, b, r })
    }

    /// As COEFFICIENTS gives them: m and b low byte first, then R.
    #[must_use]
    pub const fn from_bytes([m0, m1, b0, b1, r]: [u8; 5]) -> Option<Self> {
        let (m, b) = (i16::from_le_bytes([m0, m1]), i16::from_le_bytes([b0, b1]));
        Self::new(m, b, r as i8)
    }

    /// The value of `codes ÷ count` codes, exactly: numerator in thousand-millionths, and denominator.
    ///
    /// One reading is one code by 1; a mean is a difference of counts by a number of samples. A `count` of 0 counts as 1; `codes` beyond 2^31 count as that.
    #[must_use]
    pub fn fraction(self, codes: i64, count: u32) -> (i128, u128) {
        let codes = codes.clamp(i64::from(i32::MIN), i64::from(i32::MAX));
        let count = count.max(1);
        let (up, down) = self.powers();
        // (codes ÷ count × 10^-R − b) ÷ m, with count, m and 10^R below. At most 2^31 × 2^40, or 2^15 × 2^40 × 2^32, times 2^30.
        let above = i128::from(codes).wrapping_mul(down);
        let offset = i128::from(self.b)
            .wrapping_mul(up)
            .wrapping_mul(i128::from(count));
        let numerator = above.wrapping_sub(offset).wrapping_mul(NANO);
        let denominator = up.wrapping_mul(i128::from(count)).unsigned_abs();
        let denominator = denominator.wrapping_mul(u128::from(self.m.unsigned_abs()));
        (
            if self.m < 0 {
                numerator.wrapping_neg()
            } else {
                numerator
            },
            denominator,
        )
    }

    /// Y = (m × X + b) × 10^R, rounded so that X goes the way it is told: with a falling slope Y goes the other.
    pub(super) fn word(self, nano: i128, rounding: Rounding) -> Option<u16> {
        let rounding = match (self.m < 0, rounding) {
            (true, Rounding::Down) => Rounding::Up,
            (true, Rounding::Up) => Rounding::Down,
            (_, as_it_is) => as_it_is,
        };
        let (up, down) = self.powers();
        // Beyond 128 bits it is beyond every word, too.
        let offset = i128::from(self.b).wrapping_mul(NANO);
        let numerator = nano
            .saturating_mul(i128::from(self.m))
            .saturating_add(offset)
            .saturating_mul(up);
        let denominator = down.wrapping_mul(NANO).unsigned_abs();
        let code = rounded(numerator, denominator, rounding);
        match (i16::try_from(code), rounding) {
            (Ok(code), _) => Some(code as u16),
            (Err(_), Rounding::Down) if code > 0 => Some(i16::MAX as u16),
            (Err(_), Rounding::Up) if code < 0 => Some(i16::MIN as u16),
            (Err(_), _) => None,
        }
    }

    pub(super) const fn end(self, greatest: bool) -> u16 {
        if greatest == (self.m > 0) {
            i16::MAX as u16
        } else {
            i16::MIN as u16
        }
    }

    pub(super) fn neighbour(self, word: u16, up: bool) -> Option<u16> {
        let code = word as i16;
        let next = if up == (self.m > 0) {
            code.checked_add(1)
        } else {
            code.checked_sub(1)
        };
        next.map(|code| code as u16)
    }

    /// 10^R as a fraction.
    fn powers(self) -> (i128, i128) {
        let power = 10_i128.saturating_pow(u32::from(self.r.unsigned_abs()));
        if self.r < 0 { (1, power) } else { (power, 1) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn slopes_of_zero_and_powers_beyond_reason_are_refused() {
        assert_eq!(Coefficients::new(0, 5, 1), None);
        assert_eq!(Coefficients::new(1, 0, 13), None);
        assert_eq!(Coefficients::new(1, 0, i8::MIN), None);
        let widest = Coefficients::from_bytes([0xFF, 0x7F, 0x00, 0x80, 0xF4]);
        assert_eq!(widest, Coefficients::new(i16::MAX, i16::MIN, -12));
    }
}
