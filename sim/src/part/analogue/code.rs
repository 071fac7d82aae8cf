/// A code, and whether the input was beyond its range.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Code {
    /// The code itself; the end of its range if clipped.
    pub value: i32,
    /// The input lay beyond the code's range.
    pub clipped: bool,
}

impl Code {
    /// The two's complement code of `bits` bits, from 1 to 32, that is nearest to `exact`, halves
    /// away from zero.
    #[inline]
    pub fn signed(exact: f64, bits: u32) -> Self {
        let greatest = (1_i64 << (bits.clamp(1, 32) - 1)) - 1;
        let code = nearest(exact);
        let value = code.clamp(-greatest - 1, greatest);
        Self {
            value: value as i32,
            clipped: value != code,
        }
    }

    /// The unsigned code of `bits` bits, from 1 to 31, that is nearest to `exact`, halves upwards.
    /// Below zero it is zero, and not clipped.
    #[inline]
    pub fn unsigned(exact: f64, bits: u32) -> Self {
        let greatest = (1_i64 << bits.clamp(1, 31)) - 1;
        let code = nearest(exact);
        Self {
            value: code.clamp(0, greatest) as i32,
            clipped: code > greatest,
        }
    }
}

/// To the nearest whole number, halves away from zero; the ends of i64 beyond it.
#[inline]
fn nearest(x: f64) -> i64 {
    if x < 0.0 {
        -((0.5 - x) as i64)
    } else {
        (x + 0.5) as i64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nearest_rounds_both_signs_alike() {
        let cases = [
            (0.0, 0),
            (0.49, 0),
            (0.5, 1),
            (-0.5, -1),
            (-0.49, 0),
            (2.5, 3),
            (-7500.4, -7500),
            (1e300, i64::MAX),
            (-1e300, -i64::MAX),
        ];
        for (x, whole) in cases {
            assert_eq!(nearest(x), whole, "{x}");
        }
        assert_eq!(nearest(f64::NAN), 0);
    }

    #[test]
    fn codes_end_where_their_bits_do() {
        let code = |value, clipped| Code { value, clipped };
        assert_eq!(Code::signed(2047.4, 12), code(2047, false));
        assert_eq!(Code::signed(2047.6, 12), code(2047, true));
        assert_eq!(Code::signed(-2048.4, 12), code(-2048, false));
        assert_eq!(Code::signed(-2048.6, 12), code(-2048, true));
        assert_eq!(Code::signed(-131_072.0, 18), code(-131_072, false));
        // One bit: its only weight is −1.
        assert_eq!(Code::signed(-1.0, 1), code(-1, false));
        assert_eq!(Code::signed(1.0, 1), code(0, true));
        assert_eq!(Code::unsigned(4095.4, 12), code(4095, false));
        assert_eq!(Code::unsigned(4095.6, 12), code(4095, true));
        assert_eq!(Code::unsigned(-3.0, 12), code(0, false));
        assert_eq!(Code::unsigned(65_535.0, 16), code(65_535, false));
    }
}
