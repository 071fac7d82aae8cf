//! One rail in exact rational arithmetic.

use crake::old::Ranges;
use crake::old::board::Correction;
use num_bigint::BigInt;
use num_rational::BigRational;

/// LSBs of section 3.4 in nanovolts.
const SENSE_NV: [u32; 2] = [500, 200];
pub const BUS_NV: [u32; 3] = [100_000, 250_000, 1_000_000];

/// Exact sums of one rail: the open segment in codes, the closed ones in nC and nJ.
#[derive(Clone, Debug, Default)]
pub struct Model {
    pub ranges: Option<Ranges>,
    pub charge: BigInt,
    pub energy: BigInt,
    /// Sum over the rounds of twice the bus voltage in nV, by trapezoids over the latched readings.
    pub twice_bus_nv: BigInt,
    pub bus_nv: Option<u64>,
    pub totals: [BigRational; 4],
    pub closed: u32,
}

pub fn ratio(numerator: impl Into<BigInt>, denominator: impl Into<BigInt>) -> BigRational {
    BigRational::new(numerator.into(), denominator.into())
}

impl Model {
    /// Charge and energy of the open segment by the host's clock, then by the part's: Σ codes × weight ÷ rounds × time, less the zero, times the gain.
    pub fn segment(
        &self,
        nanoohms: u64,
        correction: &Correction,
        rounds: u64,
        twice_us: u64,
        period_us: u64,
    ) -> [BigRational; 4] {
        let Some(ranges) = self.ranges.filter(|_| rounds > 0) else {
            return Default::default();
        };
        let sense_nv = SENSE_NV[usize::from(ranges.sense.0)];
        let bus_nv = BUS_NV[usize::from(ranges.bus.0)];
        let volts = ratio(1, 1_000_000_000);
        let ohms = ratio(nanoohms, 1_000_000_000);
        let gain = ratio(correction.gain.to_bits(), 1 << 30);
        let zero = ratio(correction.zero.to_bits(), 256) * &volts;
        let mean_bus = ratio(self.twice_bus_nv.clone(), 2 * rounds) * &volts;
        let sense = ratio(self.charge.clone() * sense_nv, rounds) * &volts;
        let power = ratio(self.energy.clone() * sense_nv * bus_nv, rounds) * &volts * &volts;
        let amps = (sense - &zero) / &ohms * &gain;
        let watts = (power - zero * mean_bus) / ohms * gain;
        let nano = BigRational::from_integer(1_000_000_000.into());
        let host = ratio(twice_us, 2_000_000) * &nano;
        let part = ratio(rounds * period_us, 1_000_000) * nano;
        [&amps * &host, &watts * &host, &amps * &part, &watts * &part]
    }
}
