//! From a segment's sums in codes to charge, energy and their bounds: worked out when asked for, exactly, once.

use super::segment::Sums;
use crate::board::limits::{PPB, RailLimits, averaged_pv, nanoamps, nanovolts, ppb};
use crate::board::{Flow, Rail};
use crate::bound::Parts;
use crate::part::{RangeSpec, Spec};
use crate::sampling::Ranges;
use crate::wide::{divided, mul_div, over, plus, root, times};

/// Binary places that closed totals keep below the nanojoule and nanocoulomb, so that closing segments rounds nothing of note.
pub(super) const PLACES: u32 = 32;

/// What is common to all rails of a segment.
#[derive(Clone, Copy)]
pub(super) struct Stretch {
    /// Twice its length on the host's clock in microseconds: from the middle of one latch's bracket to the middle of the other's.
    pub(super) twice_us: u64,
    /// Rounds in it; not 0.
    pub(super) rounds: u64,
    /// Nominal round period.
    pub(super) period_us: u32,
    /// Sum of both brackets, and of what else is uncertain at its ends, in microseconds.
    pub(super) bracket_us: u64,
    /// Host clock's error, parts per million.
    pub(super) clock_ppm: u32,
}

/// One rail's result.
#[derive(Clone, Copy, Default, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Totals {
    /// 2^-32 nC.
    pub(super) charge: i128,
    /// 2^-32 nJ.
    pub(super) energy: i128,
    /// The same by the part's own clock.
    pub(super) charge_by_part: i128,
    /// The same by the part's own clock.
    pub(super) energy_by_part: i128,
    pub(super) charge_bound: Parts,
    pub(super) energy_bound: Parts,
    /// Twice the length on the host's clock, so that halves add up.
    pub(super) twice_us: u64,
    pub(super) sense_clipped: bool,
    pub(super) bus_clipped: bool,
}

impl Totals {
    pub(super) fn add(&mut self, other: &Self) {
        self.charge = self.charge.saturating_add(other.charge);
        self.energy = self.energy.saturating_add(other.energy);
        self.charge_by_part = self.charge_by_part.saturating_add(other.charge_by_part);
        self.energy_by_part = self.energy_by_part.saturating_add(other.energy_by_part);
        self.charge_bound.add(&other.charge_bound);
        self.energy_bound.add(&other.energy_bound);
        self.twice_us = self.twice_us.saturating_add(other.twice_us);
        self.sense_clipped |= other.sense_clipped;
        self.bus_clipped |= other.bus_clipped;
    }
}

/// One rail over one stretch; zeros where the channel was left out.
pub(super) fn evaluate(spec: &Spec, rail: &Rail, sums: &Sums, stretch: &Stretch) -> Totals {
    let Some((sense, bus, limits)) = sums.ranges.and_then(|ranges| {
        Some((
            spec.sense_range(ranges.sense)?,
            spec.bus_range(ranges.bus)?,
            Limits::new(spec, rail, sums, ranges, stretch)?,
        ))
    }) else {
        return Totals::default();
    };
    let by_part_twice_us = stretch
        .rounds
        .saturating_mul(u64::from(stretch.period_us))
        .saturating_mul(2);
    let (charge, energy) = totals(
        spec,
        rail,
        sums,
        sense,
        bus,
        stretch.rounds,
        stretch.twice_us,
    );
    let (charge_by_part, energy_by_part) = totals(
        spec,
        rail,
        sums,
        sense,
        bus,
        stretch.rounds,
        by_part_twice_us,
    );
    let charge_nc = (charge >> PLACES).unsigned_abs();
    let energy_nj = (energy >> PLACES).unsigned_abs();
    let (charge_bound, energy_bound) = limits.bounds(charge_nc, energy_nj);
    Totals {
        charge,
        energy,
        charge_by_part,
        energy_by_part,
        charge_bound,
        energy_bound,
        twice_us: stretch.twice_us,
        sense_clipped: sums.sense_clipped,
        bus_clipped: sums.bus_clipped,
    }
}

/// Charge and energy in 2^-32 nC and nJ: sum of codes ÷ rounds × duration, times the weight of a code, less the zero.
///
/// Saturates where not even 128 bits hold the result, which no rail reaches.
fn totals(
    spec: &Spec,
    rail: &Rail,
    sums: &Sums,
    sense: &RangeSpec,
    bus: &RangeSpec,
    rounds: u64,
    twice_us: u64,
) -> (i128, i128) {
    // Widths: a year at 2000 rounds a second is 2^36 rounds and 2^46 half microseconds. Sum of sense codes 2^53, of power codes 2^69;
    // LSBs and units 2^11 and 2^30; gain 2^31; resistance 2^34. Left factors stay below 2^100, right ones below 2^80.
    let gain = i128::from(rail.correction().gain.to_bits());
    let nanoohms = u128::from(rail.shunt().resistance().as_nanoohms());
    let rounds_nanoohms = u128::from(rounds).saturating_mul(nanoohms);
    let time_gain = i128::from(twice_us).saturating_mul(gain);

    // nC = codes × nV ÷ nΩ ÷ rounds × (twice µs ÷ 2e6) × 1e9; with gain in 2^-30 and the result in 2^-32: × 4.
    let codes = sums
        .charge
        .saturating_mul(i128::from(sense.lsb_nv(spec.sense_unit_nv)));
    let shown_charge =
        mul_div(codes.saturating_mul(2_000), time_gain, rounds_nanoohms).unwrap_or(i128::MAX);
    // nJ = codes × nV × nV × 1e-18 ÷ (nΩ × 1e-9) ÷ rounds × (twice µs ÷ 2e6) × 1e9; × 4 as before.
    let lsbs = sense
        .lsb_nv(spec.sense_unit_nv)
        .saturating_mul(bus.lsb_nv(spec.bus_unit_nv));
    let codes = sums.energy.saturating_mul(i128::from(lsbs));
    let shown_energy = mul_div(
        codes,
        time_gain.saturating_mul(2),
        rounds_nanoohms.saturating_mul(1_000_000),
    )
    .unwrap_or(i128::MAX);

    let zero = i128::from(rail.correction().zero.to_bits());
    if zero == 0 {
        return (shown_charge, shown_energy);
    }
    // 256ths of nV ÷ nΩ × (twice µs ÷ 2e6) × 1e9 × 4 = × 125 ÷ 16.
    let zero_charge = mul_div(
        zero.saturating_mul(125),
        time_gain,
        nanoohms.saturating_mul(16),
    )
    .unwrap_or(i128::MAX);
    // Mean voltage in nV = twice_bus × unit ÷ (2 rounds that a reading stands for); nC × nV = 1e-9 nJ. No reading: nothing is taken off.
    let twice_bus_nv = sums.twice_bus.saturating_mul(u128::from(spec.bus_unit_nv));
    let zero_energy = mul_div(
        zero_charge,
        i128::try_from(twice_bus_nv).unwrap_or(i128::MAX),
        u128::from(sums.bus_rounds.max(1)).saturating_mul(2_000_000_000),
    )
    .unwrap_or(i128::MAX);
    (
        shown_charge.saturating_sub(zero_charge),
        shown_energy.saturating_sub(zero_energy),
    )
}

/// Limits of datasheet and board at one operating point. All magnitudes; nC and nJ, rounded up.
struct Limits {
    /// Gain of sense, of bus, tolerance of the resistor and its temperature: parts per thousand million.
    gain_ppb: u128,
    bus_gain_ppb: u128,
    shunt_ppb: u128,
    thermal_ppb: u128,
    /// Charge that offset and bias, and noise, can feign.
    offset_nc: u128,
    noise_nc: u128,
    /// Greatest charge turned over whichever way, where current may flow both ways.
    turnover_nc: Option<u128>,
    /// Charge at the ends, and between conversions.
    ends_nc: u128,
    load_nc: u128,
    /// Charge that the zero took off.
    zero_nc: u128,
    /// Charge turned over at the greatest current, for what grows with its square.
    greatest_nc: u128,
    /// Greatest voltage as declared, else the range's end: readings are samples, and tell little of what the bus did between them.
    voltage_nv: u128,
    /// How far the mean of the latched readings may be from that of all rounds.
    voltage_doubt_nv: u128,
    bus_offset_nv: u128,
    bus_noise_nv: u128,
    clock_ppb: u128,
    wander_ppb: u128,
}

impl Limits {
    fn new(
        spec: &Spec,
        rail: &Rail,
        sums: &Sums,
        ranges: Ranges,
        stretch: &Stretch,
    ) -> Option<Self> {
        let open = RailLimits::new(spec, rail, ranges.sense)?;
        let bus = spec.bus_range(ranges.bus)?;
        let nanoohms = u128::from(rail.shunt().resistance().as_nanoohms());
        let us = u128::from(stretch.twice_us.div_ceil(2));
        let correction = rail.correction();
        let gain = u128::from(correction.gain.to_bits().unsigned_abs());
        // What the part shows, in nC, times the gain of the calibration.
        let corrected = |nc: u128| over(&nc, &gain, &(1 << 30));
        // A sense voltage in nV that lasts: nV ÷ nΩ × µs × 1e-6 × 1e9 nC. What `open` says is magnified by the calibration already.
        let lasting = |nv: u128| over(&times(&nv, &us), &1_000, &nanoohms.max(1));
        // A current in nA that lasts some µs, in nC.
        let flowing = |na: u128, us: u128| over(&na, &us, &1_000_000);
        let load = rail.load();
        let greatest_na = nanoamps(load.greatest());
        // Each end is uncertain by one round and its bracket; the time it is put into shifts as much as what flows in it.
        let ends_us = u128::from(stretch.period_us)
            .saturating_mul(2)
            .saturating_add(u128::from(stretch.bracket_us))
            .saturating_mul(2);
        let (least_nv, voltage_nv) = rail.voltage_span_nv(spec, bus);
        let twice_rounds = u128::from(sums.bus_rounds).saturating_mul(2);
        let twice_bus_nv = times(&sums.twice_bus, &u128::from(spec.bus_unit_nv));
        let mean_nv = divided(twice_bus_nv, twice_rounds).unwrap_or_default();
        let furthest_nv = mean_nv
            .saturating_sub(least_nv)
            .max(voltage_nv.saturating_sub(mean_nv));
        let bus_error_nv =
            nanovolts(bus.offset).saturating_add(over(&voltage_nv, &ppb(bus.gain_ppm), &PPB));
        let zero = u128::from(correction.zero.to_bits().unsigned_abs());
        Some(Self {
            gain_ppb: open.gain_ppb,
            bus_gain_ppb: ppb(bus.gain_ppm),
            shunt_ppb: open.shunt_ppb,
            thermal_ppb: open.thermal_ppb,
            zero_nc: over(&corrected(lasting(zero)), &1, &256),
            greatest_nc: flowing(greatest_na, us),
            offset_nc: lasting(open.offset_nv).saturating_add(corrected(flowing(open.bias_na, us))),
            noise_nc: over(&lasting(open.noise_pv(stretch.rounds)), &1, &1_000),
            turnover_nc: (load.flow() == Flow::Both).then(|| {
                load.turnover(stretch.twice_us.div_ceil(2))
                    .as_nanocoulombs()
                    .unsigned_abs()
            }),
            ends_nc: flowing(greatest_na, ends_us),
            load_nc: load
                .between_conversions(stretch.twice_us.div_ceil(2), stretch.period_us)
                .as_nanocoulombs()
                .unsigned_abs(),
            voltage_nv,
            voltage_doubt_nv: furthest_nv.saturating_add(bus_error_nv),
            bus_offset_nv: nanovolts(bus.offset),
            bus_noise_nv: over(
                &averaged_pv(
                    nanovolts(bus.noise),
                    u128::from(bus.lsb_nv(spec.bus_unit_nv)),
                    stretch.rounds,
                ),
                &1,
                &1_000,
            ),
            clock_ppb: ppb(stretch.clock_ppm),
            // A part of the run may lie at one end of the wander and the rest of it at the other.
            wander_ppb: ppb(spec.oscillator.wander_ppm).saturating_mul(2),
        })
    }

    /// Bounds of a charge and an energy as measured.
    ///
    /// Measured = true × Π(1 + r) + o with the magnitudes of the r adding up to at most ρ, and |o| at most the sum of the absolute limits. Π(1 − |r|) is at
    /// least 1 − ρ, so |measured − true| ≤ (ρ |measured| + o) ÷ (1 − ρ), products of errors included. What changes while the current flows
    /// (temperature, oscillator) acts on the charge turned over, which is more than the charge where current flows both ways.
    fn bounds(&self, charge_nc: u128, energy_nj: u128) -> (Parts, Parts) {
        let relative = self
            .gain_ppb
            .saturating_add(self.shunt_ppb)
            .saturating_add(self.thermal_ppb)
            .saturating_add(self.clock_ppb)
            .saturating_add(self.wander_ppb);
        let rest = PPB.saturating_sub(relative);
        let turnover = self.turnover_nc.unwrap_or_else(|| {
            let absolute = self.offset_nc.saturating_add(self.noise_nc);
            let absolute = absolute.saturating_add(self.ends_nc);
            over(
                &(charge_nc
                    .saturating_add(absolute)
                    .saturating_add(self.load_nc)),
                &PPB,
                &rest,
            )
        });
        let charge = Parts([
            over(&charge_nc, &self.gain_ppb, &rest),
            over(&self.offset_nc, &PPB, &rest),
            over(&self.noise_nc, &PPB, &rest),
            over(&charge_nc, &self.shunt_ppb, &rest),
            over(&turnover, &self.thermal_ppb, &rest),
            over(&charge_nc, &self.clock_ppb, &rest)
                .saturating_add(over(&turnover, &self.wander_ppb, &rest))
                .saturating_add(self.ends_nc),
            self.load_nc,
        ]);

        let rest = rest.saturating_sub(self.bus_gain_ppb);
        let gain = self.gain_ppb.saturating_add(self.bus_gain_ppb);
        let at_voltage = |nc: u128| over(&nc, &self.voltage_nv, &PPB);
        let offset = at_voltage(self.offset_nc)
            .saturating_add(over(&turnover, &self.bus_offset_nv, &PPB))
            .saturating_add(over(&self.zero_nc, &self.voltage_doubt_nv, &PPB));
        // Noise of the bus is weighed by the current, and the sum of squares is at most the greatest current times the sum.
        let weight = root_of_product(turnover, self.greatest_nc).max(turnover);
        let noise =
            at_voltage(self.noise_nc).saturating_add(over(&weight, &self.bus_noise_nv, &PPB));
        let turned = match self.turnover_nc {
            Some(turnover_nc) => at_voltage(turnover_nc),
            None => {
                let absolute = offset.saturating_add(noise);
                let absolute =
                    absolute.saturating_add(at_voltage(self.ends_nc.saturating_add(self.load_nc)));
                over(&energy_nj.saturating_add(absolute), &PPB, &rest)
            }
        };
        let energy = Parts([
            over(&energy_nj, &gain, &rest),
            over(&offset, &PPB, &rest),
            over(&noise, &PPB, &rest),
            over(&energy_nj, &self.shunt_ppb, &rest),
            over(&turned, &self.thermal_ppb, &rest),
            over(&energy_nj, &self.clock_ppb, &rest)
                .saturating_add(over(&turned, &self.wander_ppb, &rest))
                .saturating_add(at_voltage(self.ends_nc)),
            at_voltage(self.load_nc),
        ]);
        (charge, energy)
    }
}

/// √(a × b), rounded up.
fn root_of_product(a: u128, b: u128) -> u128 {
    match times(&a, &b) {
        u128::MAX => times(&plus(root(a), 1), &plus(root(b), 1)),
        product => plus(root(product), 1),
    }
}
