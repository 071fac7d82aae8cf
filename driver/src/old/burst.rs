//! A burst: one channel's current at the part's fastest rate, in a bounded capture, with integer statistics.

use crate::old::board::Rail;
use crate::old::part::{SenseRange, Spec};
use crate::old::wide::{divided, plus, root, times};
use crate::units::{Charge, Current};

/// Codes of one burst, and how they become currents.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Burst<'a> {
    /// Sense codes, oldest first.
    pub codes: &'a [i32],
    /// The rail they were taken on.
    pub rail: &'a Rail,
    /// The range they were taken in.
    pub range: SenseRange,
    /// The part.
    pub spec: &'static Spec,
}

/// What a burst comes to. Times are the part's own: as far off as its oscillator.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Statistics {
    /// Number of conversions.
    pub count: u32,
    /// Least current of a conversion.
    pub least: Current,
    /// Greatest current of a conversion.
    pub greatest: Current,
    /// Mean, rounded towards zero.
    pub mean: Current,
    /// Root of the mean square, rounded down.
    pub rms: Current,
    /// Sum of current × conversion time, rounded towards zero.
    pub charge: Charge,
    /// Nanoseconds for which conversions were above the level.
    pub above_ns: u64,
    /// Length of the burst in nanoseconds.
    pub duration_ns: u64,
}

impl<'a> Burst<'a> {
    /// Current of each conversion, oldest first.
    pub fn currents(&self) -> impl Iterator<Item = Current> + 'a {
        let lsb = self
            .spec
            .sense_range(self.range)
            .map_or(0, |range| range.lsb_units as i32);
        let rail = self.rail;
        self.codes
            .iter()
            .map(move |code| rail.current(code.wrapping_mul(lsb))) // some 18 bits times a few units
    }

    /// Least, greatest, mean, RMS, charge, and time above `level`. All zero without conversions.
    #[must_use]
    pub fn statistics(&self, level: Current) -> Statistics {
        let mut statistics = Statistics {
            least: Current::MAX,
            greatest: Current::MIN,
            ..Statistics::default()
        };
        let (mut sum, mut squares, mut above) = (0_i128, 0_u128, 0_u64);
        for current in self.currents() {
            statistics.count = statistics.count.saturating_add(1);
            statistics.least = statistics.least.min(current);
            statistics.greatest = statistics.greatest.max(current);
            above = above.saturating_add(u64::from(current > level));
            let na = i128::from(current.as_nanoamps());
            // At most 2^63 a piece, 2^32 of them; squares 2^126 a piece at the type's end, 2^80 for a kiloampere.
            sum = sum.wrapping_add(na);
            squares = plus(squares, times(&na.unsigned_abs(), &na.unsigned_abs()));
        }
        let count = u64::from(statistics.count);
        let (Some(mean), Some(mean_square)) = (
            divided(sum.unsigned_abs(), u128::from(count)),
            divided(squares, u128::from(count)),
        ) else {
            return Statistics::default();
        };
        let conversion_ns = u64::from(self.spec.conversion_ns);
        let signed = |magnitude: u128| {
            let magnitude = magnitude as i128; // below 2^127
            if sum < 0 {
                magnitude.wrapping_neg()
            } else {
                magnitude
            }
        };
        statistics.mean = Current::from_nanoamps(signed(mean) as i64);
        statistics.rms =
            Current::from_nanoamps(i64::try_from(root(mean_square)).unwrap_or(i64::MAX));
        // Below 2^95 times 2^32.
        let product = times(&sum.unsigned_abs(), &u128::from(conversion_ns));
        let charge = divided(product, 1_000_000_000).unwrap_or_default();
        statistics.charge = Charge::from_nanocoulombs(signed(charge));
        statistics.above_ns = above.saturating_mul(conversion_ns);
        statistics.duration_ns = count.saturating_mul(conversion_ns);
        statistics
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::old::board::{Board, Load, Shunt};
    use crate::old::part::corncrake::{SENSE_65_MV, SPEC};
    use crate::units::{Resistance, Tolerance};

    #[test]
    fn a_square_wave_of_one_and_three_amperes() {
        // 10 mΩ, 500 nV: 50 µA a code. 20 000 codes are 1 A, 60 000 are 3 A.
        let shunt = Shunt::new(Resistance::from_milliohms(10), Tolerance::ZERO);
        let board = Board::new(
            &SPEC,
            [Rail::new(shunt, Load::smooth(Current::from_amps(6)))],
        )
        .unwrap();
        let codes = [20_000, 20_000, 60_000, 20_000];
        let burst = Burst {
            codes: &codes,
            rail: &board.rails()[0],
            range: SENSE_65_MV,
            spec: &SPEC,
        };
        let statistics = burst.statistics(Current::from_amps(2));
        assert_eq!(statistics.count, 4);
        assert_eq!(
            (statistics.least, statistics.greatest),
            (Current::from_amps(1), Current::from_amps(3))
        );
        assert_eq!(statistics.mean, Current::from_milliamps(1_500));
        // √((1 + 1 + 9 + 1) ÷ 4) = √3 A.
        assert_eq!(statistics.rms, Current::from_nanoamps(1_732_050_807));
        // 6 A × 62.5 µs.
        assert_eq!(statistics.charge, Charge::from_microcoulombs(375));
        assert_eq!(
            (statistics.above_ns, statistics.duration_ns),
            (62_500, 250_000)
        );
        let none = Burst {
            codes: &[],
            ..burst
        };
        assert_eq!(none.statistics(Current::ZERO), Statistics::default());
    }
}
