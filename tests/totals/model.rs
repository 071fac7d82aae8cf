//! One rail in exact rational arithmetic.

use crake::board::Correction;
use num_bigint::BigInt;
use num_rational::BigRational;

/// LSBs of section 3.4 in nanovolts.
const SENSE_NV: [u32; 2] = [500, 200];
const RAIL_NV: [u32; 3] = [100_000, 250_000, 1_000_000];
/// Corncrake's sense unit in nanovolts: offsets are taken off in 256ths of it.
const UNIT_NV: i64 = 100;

/// Exact sums of one rail: the open stretch in codes, the closed ones in nC and nJ.
#[derive(Clone, Debug, Default)]
pub struct Model {
    /// Places of sense and rail range.
    pub ranges: Option<(u8, u8)>,
    pub charge: BigInt,
    pub energy: BigInt,
    /// Sum over the scans of the rail code that was read at their end.
    pub rail: BigInt,
    pub totals: [BigRational; 2],
    /// Sum of the magnitudes of all stretches: what a relative rounding is relative to.
    pub turned: [BigRational; 2],
    pub closed: u32,
}

pub fn ratio(numerator: impl Into<BigInt>, denominator: impl Into<BigInt>) -> BigRational {
    BigRational::new(numerator.into(), denominator.into())
}

/// Two to this power, which may be negative.
pub fn power_of_two(exponent: i32) -> BigRational {
    ratio(2, 1).pow(exponent)
}

impl Model {
    /// Charge and energy of the open stretch: Σ codes × weight ÷ scans × time, less the offset,
    /// times the gain.
    pub fn stretch(
        &self,
        nanoohms: u64,
        correction: &Correction,
        scans: u64,
        twice_us: u64,
    ) -> [BigRational; 2] {
        let Some((sense, rail)) = self.ranges.filter(|_| scans > 0) else {
            return Default::default();
        };
        let sense_nv = SENSE_NV[usize::from(sense)];
        let rail_nv = RAIL_NV[usize::from(rail)];
        let volts = ratio(1, 1_000_000_000);
        let ohms = ratio(nanoohms, 1_000_000_000);
        let gain = ratio(correction.gain.to_bits(), 1 << 30);
        // Rounded to the nearest 256th of a sense unit, halves away from zero.
        let bits = ratio(correction.offset.to_bits(), UNIT_NV).round();
        let offset = bits * ratio(UNIT_NV, 256) * &volts;
        let mean_rail = ratio(self.rail.clone() * rail_nv, scans) * &volts;
        let sense = ratio(self.charge.clone() * sense_nv, scans) * &volts;
        let power = ratio(self.energy.clone() * sense_nv * rail_nv, scans) * &volts * &volts;
        let amps = (sense - &offset) / &ohms * &gain;
        let watts = (power - offset * mean_rail) / ohms * gain;
        let time = ratio(twice_us, 2_000_000) * ratio(1_000_000_000, 1);
        [amps * &time, watts * time]
    }

    /// Adds the open stretch to the closed ones.
    pub fn close(&mut self, stretch: [BigRational; 2]) {
        for ((total, turned), more) in self.totals.iter_mut().zip(&mut self.turned).zip(stretch) {
            *total += &more;
            *turned += magnitude(more);
        }
        self.closed += 1;
        (self.charge, self.energy, self.rail) = Default::default();
    }

    /// How far a total may be off: half a unit by rounding at the end, 2^-20 of a unit for each
    /// stretch, and 2^-50 of each.
    pub fn slack(&self, open: &[BigRational; 2]) -> [BigRational; 2] {
        let units = ratio(1, 2) + ratio(self.closed + 1, 1) * power_of_two(-20);
        [0, 1].map(|place| {
            let turned = &self.turned[place] + magnitude(open[place].clone());
            &units + turned * power_of_two(-50)
        })
    }
}

pub fn magnitude(number: BigRational) -> BigRational {
    if number < ratio(0, 1) {
        -number
    } else {
        number
    }
}
