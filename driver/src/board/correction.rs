use fixed::types::{I2F30, I24F8};

use crate::units::{Tolerance, Voltage};

/// Correction of one rail by calibration: what is taken off, what it is then multiplied by, and
/// what remains unknown.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Correction {
    /// Sense voltage that the part shows with no current.
    pub offset: Offset,
    /// True current over shown current, after the offset.
    pub gain: Gain,
    /// How well the offset is known, in either direction; `None`: not calibrated, the part's own
    /// limit holds.
    pub offset_bound: Option<Voltage>,
    /// How well the gain is known, in either direction; `None`: not calibrated, the limits of part
    /// and resistor hold.
    pub gain_bound: Option<Tolerance>,
    /// Place of the sense range in which the gain was measured: the part's gain is another in each.
    ///
    /// Where another range is in force, or this is `None` (not known), bounds take in the part's
    /// gain limits in both ranges. The offset is the same in all.
    pub gain_range: Option<u8>,
}

/// A sense voltage in nanovolts with eight binary places: ±8.388 mV in steps of 1/256 nV.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Offset(I24F8);

/// A factor between −2 and 2 with thirty binary places, close to 1.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Gain(I2F30);

impl Correction {
    /// No correction, nothing known beyond what makers state.
    pub const NONE: Self = Self {
        offset: Offset::NONE,
        gain: Gain::ONE,
        offset_bound: None,
        gain_bound: None,
        gain_range: None,
    };

    /// Whether nothing is changed by it, and nothing more known.
    pub(crate) const fn is_none(&self) -> bool {
        self.offset.to_bits() == 0
            && self.gain.to_bits() == Gain::ONE.to_bits()
            && self.offset_bound.is_none()
            && self.gain_bound.is_none()
    }
}

impl Offset {
    /// Nothing is taken off.
    pub const NONE: Self = Self(I24F8::ZERO);

    /// From 256ths of a nanovolt.
    #[must_use]
    pub const fn from_bits(nv_256ths: i32) -> Self {
        Self(I24F8::from_bits(nv_256ths))
    }

    /// In 256ths of a nanovolt.
    #[must_use]
    pub const fn to_bits(self) -> i32 {
        self.0.to_bits()
    }

    /// Rounded to the nearest nanovolt.
    #[must_use]
    pub const fn voltage(self) -> Voltage {
        Voltage::from_nanovolts(self.0.saturating_round().to_bits() as i64 >> 8)
    }
}

impl Gain {
    /// Nothing is changed.
    pub const ONE: Self = Self(I2F30::ONE);

    /// From units of 2^-30.
    #[must_use]
    pub const fn from_bits(bits: i32) -> Self {
        Self(I2F30::from_bits(bits))
    }

    /// In units of 2^-30.
    #[must_use]
    pub const fn to_bits(self) -> i32 {
        self.0.to_bits()
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Offset {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "Offset({=i32}/256 nV)", self.to_bits());
    }
}

#[cfg(feature = "defmt")]
impl defmt::Format for Gain {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(f, "Gain({=i32}/2^30)", self.to_bits());
    }
}
