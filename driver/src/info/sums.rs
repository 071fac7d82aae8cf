use super::RangeInfo;

/// k of the 2^k µs that count as a scan in sums that the driver keeps: fine against any time
/// between samples, and so coarse that 18 bits at full scale last for a hundred years.
pub(crate) const TICK_LOG2: u8 = 6;

/// Widths of running sums in bits, and for how many scans they last.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive] // `new` works the last one out
pub struct SumBits {
    /// Sum of power codes, sign included.
    pub energy: u8,
    /// Sum of sense codes, sign included.
    pub charge: u8,
    /// Count of scans, unsigned.
    pub scans: u8,
    /// k of 2^k scans in which no sum can go round unseen, whatever flows within full scale, which
    /// is rounded up to a power of two.
    pub safe_log2: u8,
    /// What counts as a scan where the part counts none: so many microseconds of the host's clock.
    /// 0 where it does.
    pub tick_us: u8,
}

impl SumBits {
    /// Nobody keeps sums: there are no totals.
    pub const NONE: Self = Self {
        energy: 0,
        charge: 0,
        scans: 0,
        safe_log2: 0,
        tick_us: 0,
    };

    /// Widths in bits of the sum of power codes, of the sum of sense codes (both with their sign,
    /// at most 64) and of the count of scans (unsigned, at most 32), for codes from these ranges.
    #[must_use]
    pub const fn new(
        energy: u8,
        charge: u8,
        scans: u8,
        sense_ranges: &[RangeInfo],
        rail_ranges: &[RangeInfo],
    ) -> Self {
        let sense = code_log2(sense_ranges);
        let power = sense.saturating_add(code_log2(rail_ranges));
        // Up to half the span a difference cannot be mistaken.
        let mut safe_log2 = charge.saturating_sub(1).saturating_sub(sense);
        let others = [energy.saturating_sub(1).saturating_sub(power), scans];
        let mut rest: &[u8] = &others;
        while let [other, more @ ..] = rest {
            if *other < safe_log2 {
                safe_log2 = *other;
            }
            rest = more;
        }
        Self {
            energy,
            charge,
            scans,
            safe_log2,
            tick_us: 0,
        }
    }

    /// Of sums that the driver keeps by the time between samples, in a
    /// [`SoftwareSums`](crate::part::SoftwareSums).
    #[must_use]
    pub const fn by_driver(sense_ranges: &[RangeInfo], rail_ranges: &[RangeInfo]) -> Self {
        let mut bits = Self::new(64, 64, 32, sense_ranges, rail_ranges);
        bits.tick_us = 1 << TICK_LOG2;
        bits
    }
}

/// Least k of which 2^k is at least the magnitude of every code.
const fn code_log2(ranges: &[RangeInfo]) -> u8 {
    let (mut all, mut rest) = (0, ranges);
    while let [range, more @ ..] = rest {
        // Below zero there is one code more.
        all |= range.code_max | (range.code_min ^ (range.code_min >> 31));
        rest = more;
    }
    32_u32.saturating_sub(all.leading_zeros()) as u8
}
