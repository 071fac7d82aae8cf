//! From a segment's sums in codes to charge, energy and their bounds: worked out when asked for, exactly, once.

use super::keep::Keep;
use crate::old::board::Rail;
use crate::old::part::{Spec, Tally};
use crate::old::wide::chained_signed;

/// Binary places that closed totals keep below the nanojoule and nanocoulomb, so that closing segments rounds nothing of note.
pub(super) const PLACES: u32 = 32;

/// What is common to all rails of a segment.
#[derive(Clone, Copy)]
pub struct Stretch {
    /// Twice its length on the host's clock in microseconds: from the middle of one latch's bracket to the middle of the other's.
    pub(super) twice_us: u64,
    /// Rounds in it; not 0.
    pub(super) rounds: u64,
    /// Those for which latched readings stand: what came before the first complete one is left out.
    pub(super) bus_rounds: u64,
    /// Nominal round period.
    pub(super) period_us: u32,
    /// Sum of both brackets, and of what else is uncertain at its ends, in microseconds.
    pub(super) bracket_us: u64,
    /// Host clock's error, parts per million.
    pub(super) clock_ppm: u32,
}

/// One rail's result, and what is kept with it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Totals<K> {
    pub(super) by_host: Flowed,
    /// Twice the length on the host's clock, so that halves add up.
    pub(super) twice_us: u64,
    pub(super) sense_clipped: bool,
    pub(super) bus_clipped: bool,
    pub(super) kept: K,
}

/// What flowed through a rail by one clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Flowed {
    /// 2^-32 nC.
    pub(super) charge: i128,
    /// 2^-32 nJ.
    pub(super) energy: i128,
}

impl Flowed {
    pub(super) const NOTHING: Self = Self {
        charge: 0,
        energy: 0,
    };

    #[inline(never)]
    pub(super) fn add(&mut self, other: &Self) {
        self.charge = self.charge.saturating_add(other.charge);
        self.energy = self.energy.saturating_add(other.energy);
    }
}

impl<K: Keep> Totals<K> {
    pub(super) const EMPTY: Self = Self {
        by_host: Flowed::NOTHING,
        twice_us: 0,
        sense_clipped: false,
        bus_clipped: false,
        kept: K::EMPTY,
    };

    /// Adds one stretch; nothing where the channel was left out.
    #[inline(never)]
    pub(super) fn add(&mut self, spec: &Spec, rail: &Rail, tally: &Tally, stretch: &Stretch) {
        if let Some(shown) = self.add_flowed(spec, rail, tally, stretch) {
            self.kept.add(spec, rail, tally, stretch, &shown);
        }
    }

    /// Adds what flowed by the host's clock alone, and tells how much that is.
    pub(super) fn add_flowed(
        &mut self,
        spec: &Spec,
        rail: &Rail,
        tally: &Tally,
        stretch: &Stretch,
    ) -> Option<Flowed> {
        let flowed = flowed(spec, rail, tally, stretch, stretch.twice_us)?;
        self.by_host.add(&flowed);
        self.twice_us = self.twice_us.saturating_add(stretch.twice_us);
        self.sense_clipped |= tally.sense_clipped;
        self.bus_clipped |= tally.bus_clipped;
        Some(flowed)
    }
}

/// Charge and energy in 2^-32 nC and nJ over `twice_us` half microseconds: sum of codes ÷ rounds × duration, times the weight of a code, less the zero.
#[inline(never)]
pub(super) fn flowed(
    spec: &Spec,
    rail: &Rail,
    tally: &Tally,
    stretch: &Stretch,
    twice_us: u64,
) -> Option<Flowed> {
    let ranges = tally.ranges?;
    let (sense, bus) = (spec.sense_range(ranges.sense)?, spec.bus_range(ranges.bus)?);
    let gain = u64::from(rail.correction().gain.to_bits().unsigned_abs());
    let nanoohms = rail.shunt().resistance().as_nanoohms();
    let (sense_nv, bus_nv) = (
        sense.lsb_nv(spec.sense_unit_nv),
        bus.lsb_nv(spec.bus_unit_nv),
    );

    // One place for all factors and divisors: each of its own would be as much stack again.
    // nC = codes × nV ÷ nΩ ÷ rounds × (twice µs ÷ 2e6) × 1e9; with gain in 2^-30 and the result in 2^-32: × 4.
    let mut factors = [sense_nv, 2_000, twice_us, gain];
    let mut divisors = [stretch.rounds, nanoohms, 1];
    let mut charge = chained_signed(tally.charge(), &factors, &divisors);
    // nJ = codes × nV × nV × 1e-18 ÷ (nΩ × 1e-9) ÷ rounds × (twice µs ÷ 2e6) × 1e9; × 4 as before.
    (factors[1], divisors[2]) = (bus_nv, 500_000);
    let mut energy = chained_signed(tally.energy(), &factors, &divisors);

    let zero = i128::from(rail.correction().zero.to_bits());
    if zero != 0 {
        // 256ths of nV ÷ nΩ × (twice µs ÷ 2e6) × 1e9 × 4 = × 125 ÷ 16.
        (factors, divisors) = ([125, 1, twice_us, gain], [nanoohms, 16, 1]);
        let zero_charge = chained_signed(zero, &factors, &divisors);
        charge = charge.saturating_sub(zero_charge);
        // Times the mean voltage, twice_bus × LSB ÷ (2 rounds that a reading stands for); nC × nV = 1e-9 nJ. No reading: nothing is taken off.
        let twice_bus = tally.twice_bus();
        divisors = [stretch.bus_rounds.max(1), 2_000_000_000, 1];
        for (half, unit) in [(twice_bus as u64, 1), ((twice_bus >> 64) as u64, 1 << 32)] {
            factors = [half, unit, unit, bus_nv];
            energy = energy.saturating_sub(chained_signed(zero_charge, &factors, &divisors));
        }
    }
    Some(Flowed { charge, energy })
}
