use super::Truth;
use super::exact::on_line;

/// A stretch of a rail over which current and voltage are straight.
///
/// Time in nanoseconds, current in nanoamperes, voltage in nanovolts, taken at the load's side of
/// the sense resistor. `to_ns` is after `from_ns`, by at most 1000 s; values are within ±10^12.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Piece {
    /// First instant.
    pub from_ns: u64,
    /// First instant of the next piece.
    pub to_ns: u64,
    /// Current at `from_ns`.
    pub start_na: i64,
    /// Current that the piece has come to at `to_ns`.
    pub end_na: i64,
    /// Voltage at `from_ns`.
    pub start_nv: i64,
    /// Voltage that the piece has come to at `to_ns`.
    pub end_nv: i64,
}

impl Piece {
    /// A piece without current and voltage.
    pub(super) const fn nothing(from_ns: u64, to_ns: u64) -> Self {
        Self {
            from_ns,
            to_ns,
            start_na: 0,
            end_na: 0,
            start_nv: 0,
            end_nv: 0,
        }
    }

    /// Charge and energy of the whole piece: (i0 + i1)·T halves, and T·(2·i0·v0 + i0·v1 + i1·v0 +
    /// 2·i1·v1) sixths. Exact.
    pub fn whole(&self) -> Truth {
        let length = i128::from(self.to_ns - self.from_ns);
        let (i0, i1) = (i128::from(self.start_na), i128::from(self.end_na));
        let (v0, v1) = (i128::from(self.start_nv), i128::from(self.end_nv));
        Truth {
            charge_half_na_ns: (i0 + i1) * length,
            energy_sixth_na_nv_ns: (i0 * (2 * v0 + v1) + i1 * (v0 + 2 * v1)) * length,
        }
    }

    /// Charge and energy from the beginning of the piece to `at_ns`, which is inside it or at its
    /// ends, each rounded to nearest in its unit, halves towards plus infinity.
    ///
    /// With x since the beginning, a and b the changes of current and voltage over the length T:
    /// charge is 2·i0·x + a·x²/T halves; energy is 6·i0·v0·x + 3·(i0·b + v0·a)·x²/T + 2·a·b·x³/T²
    /// sixths.
    pub fn until(&self, at_ns: u64) -> Truth {
        if at_ns == self.to_ns {
            return self.whole();
        }
        let length = i128::from(self.to_ns - self.from_ns);
        let x = i128::from(at_ns - self.from_ns);
        let (i0, v0) = (i128::from(self.start_na), i128::from(self.start_nv));
        let (a, b) = (i128::from(self.end_na) - i0, i128::from(self.end_nv) - v0);

        let share = Share { x, length };
        let curved = Quotient::whole(2 * a * b * x).times(share);
        Truth {
            charge_half_na_ns: 2 * i0 * x + Quotient::whole(a * x).times(share).rounded(length),
            energy_sixth_na_nv_ns: 6 * i0 * v0 * x
                + curved
                    .plus(3 * (i0 * b + v0 * a) * x)
                    .times(share)
                    .rounded(length),
        }
    }

    /// The piece up to `at_ns`, with values there rounded to nearest; at or before its beginning,
    /// that instant.
    pub(crate) fn cut(&self, at_ns: u64) -> Self {
        if at_ns >= self.to_ns {
            return *self;
        }
        let at_ns = at_ns.max(self.from_ns);
        let value =
            |start, end| on_line(start, end, at_ns - self.from_ns, self.to_ns - self.from_ns);
        Self {
            to_ns: at_ns,
            end_na: value(self.start_na, self.end_na),
            end_nv: value(self.start_nv, self.end_nv),
            ..*self
        }
    }

    /// Products of current and voltage at the ends, in nA·nV (10^-18 W).
    pub(super) fn powers(&self) -> [i128; 2] {
        [
            i128::from(self.start_na) * i128::from(self.start_nv),
            i128::from(self.end_na) * i128::from(self.end_nv),
        ]
    }
}

/// Longest piece. Six times 10^12 nA × 10^12 nV × this is 6·10^36, and 128 bits reach to 1.7·10^38.
pub(super) const PIECE_NS_MAX: u64 = 1_000_000_000_000;

/// x / T, from 0 to 1, T at most [`PIECE_NS_MAX`].
#[derive(Clone, Copy)]
struct Share {
    x: i128,
    length: i128,
}

/// The exact number `whole + over_t / T + over_tt / T²`, with both numerators at least 0 and below
/// T.
///
/// A product of the energy's cubic term alone would not fit in 128 bits; kept in this form, every
/// step does.
#[derive(Clone, Copy)]
struct Quotient {
    whole: i128,
    over_t: i128,
    over_tt: i128,
}

impl Quotient {
    const fn whole(whole: i128) -> Self {
        Self {
            whole,
            over_t: 0,
            over_tt: 0,
        }
    }

    const fn plus(self, whole: i128) -> Self {
        Self {
            whole: self.whole + whole,
            ..self
        }
    }

    /// This number × x / T. `over_tt` must be 0 before, which it is up to the second call.
    const fn times(self, Share { x, length }: Share) -> Self {
        let (quotient, remainder) = divide(self.whole, length);
        let (carried, over_tt) = divide(self.over_t * x, length);
        let (carry, over_t) = divide(remainder * x + carried, length);
        Self {
            whole: quotient * x + carry,
            over_t,
            over_tt,
        }
    }

    const fn rounded(self, length: i128) -> i128 {
        let half_or_more = 2 * (self.over_t * length + self.over_tt) >= length * length;
        self.whole + half_or_more as i128
    }
}

const fn divide(numerator: i128, denominator: i128) -> (i128, i128) {
    (
        numerator.div_euclid(denominator),
        numerator.rem_euclid(denominator),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::{CURRENT_NA_MAX, VOLTAGE_NV_MAX};
    use num_bigint::BigInt;
    use num_rational::BigRational;

    fn rational(value: impl Into<BigInt>) -> BigRational {
        BigRational::from_integer(value.into())
    }

    /// Charge and energy by integrating the two lines as exact rationals, rounded to nearest.
    fn by_rationals(piece: &Piece, at_ns: u64) -> Truth {
        let x = rational(at_ns - piece.from_ns);
        let length = rational(piece.to_ns - piece.from_ns);
        let slope = |start: i64, end: i64| (rational(end) - rational(start)) / &length;
        let (i0, v0) = (rational(piece.start_na), rational(piece.start_nv));
        let (a, b) = (
            slope(piece.start_na, piece.end_na),
            slope(piece.start_nv, piece.end_nv),
        );
        let charge = &i0 * &x + &a * &x * &x / rational(2);
        let energy = &i0 * &v0 * &x
            + (&i0 * &b + &v0 * &a) * &x * &x / rational(2)
            + &a * &b * &x * &x * &x / rational(3);
        let nearest = |value: BigRational, units: i64| {
            let half = BigRational::new(1.into(), 2.into());
            let rounded = (value * rational(units) + half).floor().to_integer();
            i128::try_from(rounded).unwrap()
        };
        Truth {
            charge_half_na_ns: nearest(charge, 2),
            energy_sixth_na_nv_ns: nearest(energy, 6),
        }
    }

    #[test]
    fn a_piece_is_cut_on_its_own_lines() {
        let piece = Piece {
            from_ns: 1_000,
            to_ns: 1_007,
            start_na: 0,
            end_na: -10,
            start_nv: 5,
            end_nv: 12,
        };
        let cut = |to_ns, end_na, end_nv| Piece {
            to_ns,
            end_na,
            end_nv,
            ..piece
        };
        // -20/7 = -2.86; 5 + 2.
        assert_eq!(piece.cut(1_002), cut(1_002, -3, 7));
        assert_eq!((piece.cut(1_007), piece.cut(2_000)), (piece, piece));
        assert_eq!(piece.cut(999), cut(1_000, 0, 5));
    }

    #[test]
    fn a_part_of_a_piece_is_its_integral_to_the_nearest_unit() {
        let pieces = [
            (7, [3, -8], [5, 11]),
            (
                1_000_003,
                [-17, 1_000_000_007],
                [3_300_000_001, 3_299_999_990],
            ),
            (
                PIECE_NS_MAX,
                [-CURRENT_NA_MAX, CURRENT_NA_MAX],
                [VOLTAGE_NV_MAX, -VOLTAGE_NV_MAX],
            ),
            (
                PIECE_NS_MAX - 1,
                [CURRENT_NA_MAX, CURRENT_NA_MAX - 1],
                [VOLTAGE_NV_MAX, VOLTAGE_NV_MAX],
            ),
        ];
        for (length, [start_na, end_na], [start_nv, end_nv]) in pieces {
            let piece = Piece {
                from_ns: 1_000,
                to_ns: 1_000 + length,
                start_na,
                end_na,
                start_nv,
                end_nv,
            };
            for x in [0, 1, 2, length / 3, length / 2, length - 1, length] {
                let at_ns = piece.from_ns + x;
                assert_eq!(
                    piece.until(at_ns),
                    by_rationals(&piece, at_ns),
                    "{piece:?} at {x}"
                );
            }
            assert_eq!(piece.until(piece.to_ns), piece.whole());
        }
    }
}
