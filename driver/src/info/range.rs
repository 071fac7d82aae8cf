#[cfg(doc)]
use super::PartInfo;
use crate::units::Voltage;

/// One measuring range of an input.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct RangeInfo {
    /// LSB in units of [`PartInfo::sense_unit`] or [`PartInfo::rail_unit`].
    pub lsb_units: u8,
    /// The voltage of the greatest code in microvolts, rounded down: what the range reaches.
    pub full_scale_uv: u32,
    /// Least code.
    pub code_min: i32,
    /// Greatest code.
    pub code_max: i32,
}

impl RangeInfo {
    /// A range whose LSB is so many of a unit, with its least and its greatest code.
    #[must_use]
    pub const fn new(unit: Voltage, lsb_units: u8, code_min: i32, code_max: i32) -> Self {
        let mut range = Self {
            lsb_units,
            full_scale_uv: 0,
            code_min,
            code_max,
        };
        let uv = range.full_scale_nv(unit) / 1_000;
        range.full_scale_uv = if uv > u32::MAX as u64 {
            u32::MAX
        } else {
            uv as u32
        };
        range
    }

    /// Whether a code is one at which a converter stops: it stands for anything beyond, too. Zero
    /// is none, where it is the least.
    #[must_use]
    pub const fn is_end(&self, code: i32) -> bool {
        code == self.code_max || code == self.code_min && code != 0
    }

    /// One LSB in nanovolts, given the unit that the table counts in.
    #[must_use]
    pub const fn lsb_nv(&self, unit: Voltage) -> u64 {
        unit.as_nanovolts()
            .unsigned_abs()
            .saturating_mul(self.lsb_units as u64)
    }

    /// The voltage of the greatest code in nanovolts, exact, given the unit that the table counts
    /// in.
    pub(crate) const fn full_scale_nv(&self, unit: Voltage) -> u64 {
        self.lsb_nv(unit)
            .wrapping_mul(self.code_max.unsigned_abs() as u64)
    }
}

/// Limits of error of one measuring range, from the part's datasheet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct RangeErrors {
    /// Greatest gain error in either direction, in parts per million.
    pub gain_ppm: u32,
    /// Greatest offset error in either direction.
    pub offset: Voltage,
    /// Noise of one conversion, r.m.s.; one conversion is never further off than six times this.
    pub noise: Voltage,
}

impl RangeErrors {
    /// Greatest gain error in parts per million, greatest offset error, and r.m.s. noise of one
    /// conversion.
    #[must_use]
    pub const fn new(gain_ppm: u32, offset: Voltage, noise: Voltage) -> Self {
        Self {
            gain_ppm,
            offset,
            noise,
        }
    }
}
