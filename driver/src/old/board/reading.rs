//! How far a current may lie from the truth, by named parts: at an operating point, before or after a calibration.

use super::Rail;
use super::limits::{PPB, RailLimits};
use crate::old::bound::Bound;
use crate::old::part::{SenseRange, Spec};
use crate::old::upper::Upper;
use crate::units::Current;

impl Rail {
    /// Bound of `current` as shown on this rail: a mean over `rounds` rounds (at least 1) in a sense range; `None` where the part has no such range.
    ///
    /// The truth is the mean of what flowed during the conversions' apertures, by exact arithmetic on the codes (the part's running sums); what the load does
    /// between conversions has no part in it, and neither has a clock, so `clock` and `load` are nothing. The rail's correction is taken as it is: ask a rail of the board before
    /// and one of the board after a calibration to see what the calibration brought.
    ///
    /// Rounded up to whole nanoamperes; 1 nA in `noise` is for the rounding of the current itself.
    ///
    /// ```
    /// use crake::old::board::{Load, Rail, Shunt};
    /// use crake::old::part::corncrake::{SENSE_26_MV, SPEC};
    /// use crake::old::units::{Current, Resistance, Tolerance};
    ///
    /// let rail = Rail::new(
    ///     Shunt::new(Resistance::from_ohms(1), Tolerance::from_ppm(5_000)),
    ///     Load::smooth(Current::from_milliamps(20)),
    /// );
    /// let bound = rail
    ///     .current_bound(&SPEC, SENSE_26_MV, Current::from_milliamps(10), 2_000)
    ///     .ok_or("no such range")?;
    /// // The part's offset of 10 µV over 1 Ω, its bias current of 20 nA, and 0.7 % of them for gain and resistor.
    /// assert_eq!(bound.offset, Current::from_nanoamps(10_091));
    /// # Ok::<(), &str>(())
    /// ```
    #[must_use]
    pub fn current_bound(
        &self,
        spec: &Spec,
        sense: SenseRange,
        current: Current,
        rounds: u64,
    ) -> Option<Bound<Current>> {
        let limits = RailLimits::new(spec, self, sense)?;
        Some(self.bound_within(&limits, current, limits.noise(rounds)))
    }

    /// As [`current_bound`](Self::current_bound) for a mean over 2^k rounds that the part itself has rounded to a code.
    pub(crate) fn part_mean_bound(
        &self,
        spec: &Spec,
        sense: SenseRange,
        current: Current,
        k: u8,
    ) -> Option<Bound<Current>> {
        let limits = RailLimits::new(spec, self, sense)?;
        let rounds = 1_u64.checked_shl(u32::from(k)).unwrap_or(u64::MAX);
        // The code of a single round is rounded once, which its noise covers.
        let noise = match k {
            0 => limits.noise(rounds),
            _ => limits.noise(rounds).plus(limits.half_code()),
        };
        Some(self.bound_within(&limits, current, noise))
    }

    fn bound_within(&self, limits: &RailLimits, current: Current, noise: Upper) -> Bound<Current> {
        let nanoohms = self.shunt().resistance().as_nanoohms();
        // nV ÷ nΩ = A.
        let flowing = |nv: Upper| nv.times(Upper::from(1_000_000_000)).over(nanoohms);
        let shown = Upper::from(current.as_nanoamps().unsigned_abs());
        let rest = limits.rest_ppb();
        let offset = flowing(limits.offset).plus(Upper::from(limits.bias_na));
        let noise = flowing(noise).plus(Upper::from(1));
        let part = |limit: Upper, ppb: u64| {
            let na = limit.times(Upper::from(ppb)).over(rest).whole();
            Current::from_nanoamps(i64::try_from(na).unwrap_or(i64::MAX))
        };
        Bound {
            gain: part(shown, u64::from(limits.gain_ppb)),
            offset: part(offset, PPB),
            noise: part(noise, PPB),
            shunt: part(shown, u64::from(limits.shunt_ppb)),
            thermal: part(shown, u64::from(limits.thermal_ppb)),
            clock: Current::ZERO,
            load: Current::ZERO,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::old::board::{Correction, Load, Shunt};
    use crate::old::part::corncrake::{SENSE_26_MV, SENSE_65_MV, SPEC};
    use crate::units::{Resistance, Tolerance, Voltage};

    fn rail(correction: Correction) -> Rail {
        let shunt = Shunt::new(Resistance::from_ohms(1), Tolerance::from_ppm(5_000))
            .with_temperature(50, 20_000);
        let mut rail = Rail::new(shunt, Load::smooth(Current::from_milliamps(20)));
        rail.correction = correction;
        rail
    }

    /// Section 7 at 10 mA in 1 Ω (10 mV): gain 0.2 %, resistor 0.5 %, 50 ppm/K × 20 K = 0.1 %, offset 10 µV and 20 nA, noise 169.9 nV and 1 nA;
    /// each over 1 − 0.8 %, rounded up.
    #[test]
    fn before_calibration() {
        let bound = rail(Correction::NONE)
            .current_bound(&SPEC, SENSE_26_MV, Current::from_milliamps(10), 2_000)
            .unwrap();
        let nanoamps = Current::from_nanoamps;
        assert_eq!(bound.gain, nanoamps(20_162)); // 20 000 ÷ 0.992 = 20 161.3
        assert_eq!(bound.shunt, nanoamps(50_404)); // 50 000 ÷ 0.992 = 50 403.2
        assert_eq!(bound.thermal, nanoamps(10_081)); // 10 000 ÷ 0.992 = 10 080.6
        assert_eq!(bound.offset, nanoamps(10_101)); // 10 020 ÷ 0.992 = 10 100.8
        assert_eq!(bound.noise, nanoamps(173)); // 171 ÷ 0.992 = 172.4
        assert_eq!((bound.clock, bound.load), (Current::ZERO, Current::ZERO));
        assert_eq!(bound.total(), nanoamps(90_921));
    }

    /// The same with a zero known to 122 nV (and 50 nV of stability) and a gain known to 300 ppm, over 1 − 0.13 %.
    #[test]
    fn after_calibration() {
        let rail = rail(Correction {
            zero_bound: Some(Voltage::from_nanovolts(122)),
            gain_bound: Some(Tolerance::from_ppm(300)),
            gain_range: Some(SENSE_26_MV),
            ..Correction::NONE
        });
        let at = |sense, milliamps| {
            rail.current_bound(&SPEC, sense, Current::from_milliamps(milliamps), 2_000)
        };
        let bound = at(SENSE_26_MV, -10).unwrap();
        let nanoamps = Current::from_nanoamps;
        assert_eq!(bound.gain, nanoamps(3_004)); // 3 000 ÷ 0.9987 = 3 003.9
        assert_eq!(bound.shunt, Current::ZERO);
        assert_eq!(bound.thermal, nanoamps(10_014)); // 10 000 ÷ 0.9987 = 10 013.02
        assert_eq!(bound.offset, nanoamps(173)); // 172 ÷ 0.9987 = 172.2
        assert_eq!(bound.noise, nanoamps(172)); // 171 ÷ 0.9987 = 171.2

        // In the other range the gain is open again, twice: about 0.43 % of 10 mA.
        let other = at(SENSE_65_MV, -10).unwrap();
        assert!(other.gain > nanoamps(43_000) && other.gain < nanoamps(44_000));
        assert_eq!(at(SenseRange(2), 10), None);
    }

    /// A mean of 16 rounds: 7 600 nV ÷ 4, half a code of 200 nV for the part's rounding, and 1 nA; without the half code from the running sums.
    #[test]
    fn a_mean_that_the_part_rounds_costs_half_a_code() {
        let shunt = Shunt::new(Resistance::from_ohms(1), Tolerance::ZERO);
        let rail = Rail::new(shunt, Load::smooth(Current::from_milliamps(20)));
        let noise = |bound: Option<Bound<Current>>| bound.unwrap().noise.as_nanoamps();
        let part = |k| noise(rail.part_mean_bound(&SPEC, SENSE_26_MV, Current::ZERO, k));
        assert_eq!(part(4), 2_006); // 2 001 × 1 ÷ 0.998 = 2 005.01
        assert_eq!(part(0), 7_617); // 7 601 ÷ 0.998 = 7 616.2
        let exact = noise(rail.current_bound(&SPEC, SENSE_26_MV, Current::ZERO, 16));
        assert_eq!(exact, 1_905); // 1 901 ÷ 0.998 = 1 904.8
    }
}
