use core::time::Duration;

use crate::FastCapture;
use crate::convert::{divided, root, times};
use crate::info::PartInfo;
use crate::units::{Charge, Current};

/// Figures of a fast capture, from codes in one piece or in several.
///
/// Sums are whole numbers of codes; figures are worked out when asked for, given any piece of the
/// same capture, which knows what a code is. Without a conversion all are zero.
///
/// ```
/// use crake::capture::Tally;
/// use crake::units::Current;
/// use crake::{Channel, Error, ShuntMonitor};
///
/// /// Greatest current of channel 1, and for how many conversions it was above 2 A.
/// fn inrush<M: ShuntMonitor<4>>(
///     monitor: &mut M,
/// ) -> Result<(Current, usize), Error<M::BusError>> {
///     monitor.start_capture(Channel::C1)?;
///     let (mut tally, mut greatest, mut above) = (Tally::new(), Current::ZERO, 0);
///     let mut codes = [0; 64];
///     for first in (0..monitor.info().capture_max).step_by(codes.len()) {
///         let piece = monitor.fetch_capture(first, &mut codes)?;
///         above += piece.currents().filter(|current| *current > Current::from_amps(2)).count();
///         assert!(tally.add(&piece));
///         greatest = tally.greatest(&piece);
///     }
///     Ok((greatest, above))
/// }
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Tally {
    count: u32,
    least: i32,
    greatest: i32,
    sum: i64,
    squares: u64,
}

impl Tally {
    /// Conversions that it takes: sums of so many codes of 20 bits fit.
    pub const COUNT_MAX: u32 = 4_096;

    /// Nothing yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            count: 0,
            least: 0,
            greatest: 0,
            sum: 0,
            squares: 0,
        }
    }

    /// Adds all codes of a piece; `false` if not all have room, which is on the fifth capture of
    /// 1024.
    #[must_use]
    pub fn add(&mut self, piece: &FastCapture<'_>) -> bool {
        for code in piece.codes() {
            if self.count == 0 {
                (self.least, self.greatest) = (*code, *code);
            }
            if self.count >= Self::COUNT_MAX {
                return false;
            }
            let magnitude = u64::from(code.unsigned_abs());
            self.count = self.count.wrapping_add(1);
            self.least = self.least.min(*code);
            self.greatest = self.greatest.max(*code);
            self.sum = self.sum.wrapping_add(i64::from(*code));
            self.squares = self.squares.wrapping_add(magnitude.wrapping_mul(magnitude));
        }
        true
    }

    /// Number of conversions.
    #[must_use]
    pub const fn count(&self) -> u32 {
        self.count
    }

    /// Whether a conversion lies at either end of the range, where it may have been cut: figures
    /// are then of what was left, not of what flowed.
    #[must_use]
    pub fn is_clipped(&self, of: &FastCapture<'_>) -> bool {
        let (least, greatest) = of.ends();
        self.least <= least || self.greatest >= greatest
    }

    /// Least current of a conversion, to the nearest nanoampere.
    #[must_use]
    pub fn least(&self, of: &FastCapture<'_>) -> Current {
        of.current(self.least)
    }

    /// Greatest current of a conversion, likewise.
    #[must_use]
    pub fn greatest(&self, of: &FastCapture<'_>) -> Current {
        of.current(self.greatest)
    }

    /// Mean current, good to a 256th of the part's sense unit across the resistor.
    #[must_use]
    pub fn mean(&self, of: &FastCapture<'_>) -> Current {
        of.current_of(self.mean_256ths(of))
    }

    /// Standard deviation of these conversions as a whole, the root of the mean square about the
    /// mean: good to a code over the number of conversions, rounded down.
    #[must_use]
    pub fn deviation(&self, of: &FastCapture<'_>) -> Current {
        of.current_of(self.deviation_256ths(of))
    }

    /// Root of the mean square of the current, as good as the two before.
    #[must_use]
    pub fn rms(&self, of: &FastCapture<'_>) -> Current {
        let square = |of: i32| u64::from(of.unsigned_abs()).wrapping_mul(of.unsigned_abs().into());
        // Both below 2^29.
        let squares = square(self.mean_256ths(of)).wrapping_add(square(self.deviation_256ths(of)));
        of.current_of(root(squares) as i32)
    }

    /// How long all conversions took, as right as the part's oscillator.
    #[must_use]
    pub const fn duration(&self, info: &PartInfo) -> Duration {
        Duration::from_nanos((self.count as u64).wrapping_mul(info.conversion_ns as u64))
    }

    /// Mean × duration, rounded towards zero.
    #[must_use]
    pub fn charge(&self, of: &FastCapture<'_>) -> Charge {
        // nA × ns = 1e-18 C. Number × current is below 2^52 for a kiloampere.
        let na = self.mean(of).as_nanoamps();
        let product = na.unsigned_abs().wrapping_mul(u64::from(self.count));
        let nc = divided(times(product, of.info().conversion_ns), 1_000_000_000).0 as i128;
        Charge::from_nanocoulombs(if na < 0 { nc.wrapping_neg() } else { nc })
    }

    /// Mean in 256ths of the part's sense unit, offset taken off.
    #[inline(never)] // stands once, as the next one
    fn mean_256ths(&self, of: &FastCapture<'_>) -> i32 {
        let mean = self.per_conversion(self.sum.unsigned_abs(), of);
        let mean = if self.sum < 0 {
            mean.wrapping_neg()
        } else {
            mean
        };
        mean.wrapping_sub(of.factors().offset_256ths())
    }

    #[inline(never)]
    fn deviation_256ths(&self, of: &FastCapture<'_>) -> i32 {
        let sum = self.sum.unsigned_abs();
        // Number × sum of squares is below (2^12 × 2^20)², and never less than the square of the
        // sum.
        let spread = u64::from(self.count)
            .wrapping_mul(self.squares)
            .wrapping_sub(sum.wrapping_mul(sum));
        self.per_conversion(u64::from(root(spread)), of)
    }

    /// So many codes over the number of conversions, in 256ths of the part's sense unit, rounded
    /// down.
    fn per_conversion(&self, codes: u64, of: &FastCapture<'_>) -> i32 {
        // 32 by 16 bits.
        let sum = codes.wrapping_mul(u64::from(of.code_256ths().unsigned_abs()));
        divided(u128::from(sum), u64::from(self.count.max(1))).0 as i32
    }
}
