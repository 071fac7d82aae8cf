use core::num::Saturating;

use super::limits::{PPB, SenseLimits, VoltageLimits, pv};
use super::operating::{Magnitude, Weights, scaled, signed, volts, watts};
use super::{OperatingPoint, Rail};
use crate::info::PartInfo;
use crate::units::{Current, Power, Voltage};

/// How far the values of a reading may lie from the truth, either way, for every part and board
/// within their limits. The truth is what flowed during the conversions' apertures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ReadingBound {
    /// Of the voltage.
    pub voltage: Voltage,
    /// Of the current.
    pub current: Current,
    /// Of the power.
    pub power: Power,
}

impl Rail {
    /// Bound of a reading as shown on this rail: the sums of
    /// [`current_budget`](Self::current_budget) and its like, in a fraction of their code and time.
    /// `None` where the part has no such ranges.
    ///
    /// Of a mean over a stretch it is what the instrument leaves open: no clock is in it, and no
    /// steps.
    #[must_use]
    pub fn reading_bound(&self, info: &PartInfo, at: &OperatingPoint) -> Option<ReadingBound> {
        let sense = SenseLimits::new(info, self, at.range.sense)?;
        let rail = VoltageLimits::new(info, at.range.rail)?;
        let weights = Weights::new(info, self, at)?;
        let (na, nv) = (at.shown_na(), at.shown_nv());
        let nw = Saturating(at.power.as_nanowatts().unsigned_abs());
        let conversions = at.mean.scans();

        let noise_na = self.amps(sense.magnified(sense.noise.of_mean(conversions)));
        let constant_na = self.amps(sense.magnified(sense.offset_pv.saturating_add(sense.bias_pv)));
        let noise_nv = volts(rail.noise.of_mean(conversions));
        let constant_nv = volts(rail.offset_pv);
        let single_na = self.amps(sense.absolute_pv(1));
        let single_nv = constant_nv + volts(rail.noise.of_mean(1));

        let mut current = constant_na + noise_na + Saturating(1);
        let mut voltage = constant_nv + noise_nv;
        let mut power = watts(constant_na, nv)
            + watts(noise_na, weights.nv)
            + watts(na, constant_nv)
            + watts(weights.na, noise_nv)
            + watts(single_na, single_nv)
            + Saturating(1);
        if at.mean.is_rounded() {
            let half_code_nv = volts(rail.noise.half_code_pv);
            current += self.amps(sense.magnified(sense.noise.half_code_pv));
            voltage += half_code_nv;
            power += watts(self.rounded_power_na(&sense), half_code_nv);
        }
        let sense_ppb = sense.relative_ppb();
        let rail_ppb = u64::from(rail.gain_ppb);
        let both_ppb = sense_ppb.saturating_add(rail_ppb);
        Some(ReadingBound {
            voltage: Voltage::from_nanovolts(bounded(nv, rail_ppb, voltage)),
            current: Current::from_nanoamps(bounded(na, sense_ppb, current)),
            power: Power::from_nanowatts(bounded(nw, both_ppb, power)),
        })
    }

    /// What half a rail code makes of the power of a mean that the part rounds: half a power code
    /// is a sense code times that, and the offset is taken off with a rounded voltage.
    pub(super) fn rounded_power_na(&self, sense: &SenseLimits) -> Magnitude {
        let taken_off_pv = pv(self.correction().offset.voltage()).saturating_add(1_000);
        let code_pv = sense.noise.half_code_pv.saturating_mul(2);
        self.amps(sense.magnified(code_pv.saturating_add(taken_off_pv)))
    }
}

/// `(ρ × shown + o) ÷ (1 − ρ)`, rounded up.
fn bounded(shown: Magnitude, open_ppb: u64, absolute: Magnitude) -> i64 {
    let rest_ppb = PPB.saturating_sub(open_ppb);
    signed(scaled(
        scaled(shown, open_ppb, PPB) + absolute,
        PPB,
        rest_ppb,
    ))
}
