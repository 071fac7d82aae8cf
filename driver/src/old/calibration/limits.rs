//! Limits as a calibration counts with them: whole numbers of 128 bits, for products of currents and resistances.

use crate::old::board::limits;
use crate::old::part::Spec;
pub(super) use crate::old::wide::over;
use crate::units::{Current, Voltage};

/// One, in parts per thousand million.
pub(super) const PPB: u128 = limits::PPB as u128;

/// As [`limits::compound`].
pub(super) fn compound<const F: usize, const D: usize>(
    factors_ppb: &[u128; F],
    divisors_ppb: &[u128; D],
) -> u128 {
    let cut = |ppb: u128| u64::try_from(ppb).unwrap_or(u64::MAX);
    u128::from(limits::compound(
        &factors_ppb.map(cut),
        &divisors_ppb.map(cut),
    ))
}

/// As [`limits::gain_max_ppb`].
pub(super) fn gain_max_ppb(spec: &Spec) -> u128 {
    u128::from(limits::gain_max_ppb(spec))
}

pub(super) fn ppb(ppm: u32) -> u128 {
    u128::from(limits::ppb(ppm))
}

pub(super) fn nanovolts(voltage: Voltage) -> u128 {
    u128::from(limits::magnitude_nv(voltage))
}

pub(super) fn nanoamps(current: Current) -> u128 {
    u128::from(current.as_nanoamps().unsigned_abs())
}
