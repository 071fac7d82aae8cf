use crate::FastCapture;
use crate::convert::{divided, root, times};
use crate::units::{Charge, Current};

/// Adds up codes of a fast capture, in one piece or in several.
///
/// ```
/// use crake::capture::Tally;
/// use crake::units::Current;
/// use crake::{Channel, Error, ShuntMonitor};
///
/// /// Greatest current of channel 1, and for how long it was above 2 A, in nanoseconds.
/// fn inrush<M: ShuntMonitor<4>>(
///     monitor: &mut M,
/// ) -> Result<Option<(Current, u64)>, Error<M::BusError>> {
///     monitor.start_capture(Channel::C1)?;
///     let mut tally = Tally::new(Current::from_amps(2));
///     let mut codes = [0; 64];
///     let mut statistics = None;
///     for first in (0..monitor.info().capture_max).step_by(codes.len()) {
///         let piece = monitor.fetch_capture(first, &mut codes)?;
///         tally.add(&piece);
///         statistics = tally.statistics(&piece);
///     }
///     Ok(statistics.map(|of| (of.greatest, of.above_ns)))
/// }
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Tally {
    level: Current,
    count: u32,
    clipped: u32,
    above: u32,
    least: i32,
    greatest: i32,
    sum: i64,
    squares: u64,
}

/// What a fast capture comes to. Times are the part's own: as far off as its oscillator.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Statistics {
    /// Number of conversions.
    pub count: u32,
    /// Number of conversions at either end of the range, where they may have been cut: if not 0, the
    /// other figures are of what was left, not of what flowed.
    pub clipped: u32,
    /// Least current of a conversion.
    pub least: Current,
    /// Greatest current of a conversion.
    pub greatest: Current,
    /// Mean. Like the two below it is good to a 256th of the part's sense unit across the resistor.
    pub mean: Current,
    /// Root of the mean square.
    pub rms: Current,
    /// Standard deviation, of these conversions as a whole: the root of the mean square about the mean.
    pub deviation: Current,
    /// Mean × duration, rounded towards zero.
    pub charge: Charge,
    /// Nanoseconds for which conversions were above the level.
    pub above_ns: u64,
    /// Nanoseconds that all conversions took.
    pub duration_ns: u64,
}

impl Tally {
    /// Nothing yet; time above `level` is counted.
    #[must_use]
    pub const fn new(level: Current) -> Self {
        Self {
            level,
            count: 0,
            clipped: 0,
            above: 0,
            least: i32::MAX,
            greatest: i32::MIN,
            sum: 0,
            squares: 0,
        }
    }

    /// Adds all codes of a piece.
    pub fn add(&mut self, piece: &FastCapture<'_>) {
        let (least, greatest) = piece.ends();
        for &code in piece.codes() {
            // No part's codes have more than 24 bits: sums of 2^16 of them fit.
            self.count = self.count.saturating_add(1);
            self.least = self.least.min(code);
            self.greatest = self.greatest.max(code);
            self.sum = self.sum.wrapping_add(i64::from(code));
            let magnitude = u64::from(code.unsigned_abs());
            self.squares = self.squares.wrapping_add(magnitude.wrapping_mul(magnitude));
            if code <= least || code >= greatest {
                self.clipped = self.clipped.wrapping_add(1);
            }
            if piece.current(code) > self.level {
                self.above = self.above.wrapping_add(1);
            }
        }
    }

    /// What was added so far comes to; `of` is any piece of the same capture, which knows what a code is.
    ///
    /// `None` without any conversion, and with more than fit: number × greatest magnitude of a code is
    /// below 2^32, which is 32 captures of Corncrake's at full scale.
    #[must_use]
    pub fn statistics(&self, of: &FastCapture<'_>) -> Option<Statistics> {
        let magnitude = self.least.unsigned_abs().max(self.greatest.unsigned_abs());
        let count = u64::from(self.count);
        if count == 0 || count.checked_mul(u64::from(magnitude))? >> 32 != 0 {
            return None;
        }
        // All below 2^64, for a sum of squares is at most number × magnitude².
        let sum = self.sum.unsigned_abs();
        let spread = count
            .wrapping_mul(self.squares)
            .wrapping_sub(sum.wrapping_mul(sum));
        // Root of the spread ÷ number, with as many places as there are.
        let places = spread.leading_zeros() & 0b11_1110;
        let scaled_root = root(spread.unbounded_shl(places));
        let by = count << (places / 2);
        let code_256ths = of.code_256ths();
        let deviation = divided(times(u64::from(scaled_root), code_256ths), by).0 as u64;
        // To nearest, halves away from zero.
        let twice = times(sum << 1, code_256ths).wrapping_add(u128::from(count));
        let mean = divided(twice, count << 1).0 as i64;
        let mean = if self.sum < 0 {
            mean.wrapping_neg()
        } else {
            mean
        };
        let mean = mean.wrapping_sub(i64::from(of.offset_256ths()));
        // Both below 2^31.
        let square = |of: u64| of.wrapping_mul(of);
        let rms = root(square(mean.unsigned_abs()).wrapping_add(square(deviation)));

        let mean = of.current_of(mean as i32);
        let duration_ns = count.wrapping_mul(u64::from(of.info().conversion_ns));
        let charge = self.charge(mean, of.info().conversion_ns);
        Some(Statistics {
            count: self.count,
            clipped: self.clipped,
            least: of.current(self.least),
            greatest: of.current(self.greatest),
            mean,
            rms: of.current_of(rms as i32),
            deviation: of.current_of(deviation as i32),
            charge,
            above_ns: u64::from(self.above).wrapping_mul(u64::from(of.info().conversion_ns)),
            duration_ns,
        })
    }

    fn charge(&self, mean: Current, conversion_ns: u32) -> Charge {
        // nA × ns = 1e-18 C. Number × current is below 2^63 for 2^22 conversions of a kiloampere.
        let na = mean.as_nanoamps();
        let product = na.unsigned_abs().wrapping_mul(u64::from(self.count));
        let nc = divided(times(product, conversion_ns), 1_000_000_000).0 as i128;
        Charge::from_nanocoulombs(if na < 0 { nc.wrapping_neg() } else { nc })
    }
}
