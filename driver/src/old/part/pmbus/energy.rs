use super::format::Coefficients;

/// How an energy count goes on after its greatest value, 7FFF.
///
/// Part II counts a rollover as 32 767; a plain counter that goes from 7FFF to 0 has come round by 32 768. Devices differ, so it is declared.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Period {
    /// A rollover is 32 767 counts, as the standard's formula has it.
    Counts32767,
    /// A rollover is 32 768 counts.
    Counts32768,
}

impl Period {
    /// Counts of one rollover.
    #[must_use]
    pub const fn counts(self) -> u32 {
        match self {
            Self::Counts32767 => 32_767,
            Self::Counts32768 => 32_768,
        }
    }
}

/// One reading of READ_EIN or READ_EOUT: power codes summed up, once a sample.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct EnergyCount {
    accumulator: u16,
    rollovers: u8,
    samples: u32,
}

/// A mean as two whole numbers: a sum of power codes, over a number of samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Mean {
    /// Sum of power codes, below 2^23.
    pub codes: u32,
    /// Number of samples, 1 to 2^24 − 1.
    pub samples: u32,
}

impl EnergyCount {
    /// Data bytes of the block, the count byte not included.
    pub const LEN: usize = 6;
    /// With the count byte.
    pub(super) const BLOCK_LEN: u8 = 7;

    /// From the block's data: accumulator low byte first, rollover count, sample count low byte first.
    #[must_use]
    pub const fn from_bytes([a0, a1, rollovers, s0, s1, s2]: [u8; Self::LEN]) -> Self {
        Self {
            accumulator: u16::from_le_bytes([a0, a1]),
            rollovers,
            samples: u32::from_le_bytes([s0, s1, s2, 0]),
        }
    }

    /// How many samples it has counted, modulo 2^24.
    #[must_use]
    pub const fn samples(&self) -> u32 {
        self.samples
    }

    /// What came between an `earlier` count and this one; `None` if no sample did.
    ///
    /// The rollover count wraps at 256, the sample count at 2^24; differences are taken modulo these, so the two must lie less than 256 rollovers apart: at full power, 256 samples.
    /// How far apart that is in time the device's own sample period decides.
    ///
    /// # Source
    /// PMBus Part II rev 1.2, READ_EIN.
    ///
    /// ```
    /// use crake::old::part::pmbus::{EnergyCount, Period};
    ///
    /// let last = EnergyCount::from_bytes([0x88, 0x70, 0x01, 0x45, 0x01, 0x00]);
    /// let now = EnergyCount::from_bytes([0x1A, 0x7E, 0x01, 0x57, 0x01, 0x00]);
    /// let mean = now.since(last, Period::Counts32767).ok_or("no sample between")?;
    /// assert_eq!((mean.codes, mean.samples), (3_474, 18)); // 193 on average
    /// # Ok::<(), &str>(())
    /// ```
    #[must_use]
    pub const fn since(self, earlier: Self, period: Period) -> Option<Mean> {
        let samples = self.samples.wrapping_sub(earlier.samples) & 0x00FF_FFFF;
        if samples == 0 {
            return None;
        }
        let round = period.counts().wrapping_mul(256);
        // Accumulators of a device of the shorter period stay below it; one that does not is wrapped with the rest.
        let apart = self
            .counts(period)
            .wrapping_add(round.wrapping_mul(2))
            .wrapping_sub(earlier.counts(period));
        Some(Mean {
            codes: match apart.checked_rem(round) {
                Some(codes) => codes,
                None => 0,
            },
            samples,
        })
    }

    /// Below 2^24: 255 rollovers and an accumulator of 16 bits.
    const fn counts(self, period: Period) -> u32 {
        (self.rollovers as u32)
            .wrapping_mul(period.counts())
            .wrapping_add(self.accumulator as u32)
    }
}

impl Mean {
    /// The mean power in watts, exactly: numerator in thousand-millionths, and denominator.
    ///
    /// By the coefficients that the device tells for the count: the mean of codes is a code, but for its fraction.
    #[must_use]
    pub fn watts(self, coefficients: Coefficients) -> (i128, u128) {
        coefficients.fraction(i64::from(self.codes), self.samples)
    }
}
