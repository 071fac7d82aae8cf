//! What datasheet and board leave open of a stretch's charge and energy, by named parts.

use super::Bounds;
use super::evaluate::{Flowed, PLACES, Stretch};
use crate::old::board::limits::{PPB, RailLimits, averaged, magnitude_nv, ppb};
use crate::old::board::{Flow, Rail};
use crate::old::bound::Parts;
use crate::old::part::{RangeSpec, Source, Spec, Tally};
use crate::old::upper::Upper;
use crate::old::wide::chained;
use crate::units::Charge;

/// Limits of datasheet and board at one operating point. All magnitudes, never less than the limit.
pub(super) struct Limits {
    /// What is open of the charge in nC; [`add_to`](Self::add_to) makes it that of the energy.
    open: Open,
    bus_gain_ppb: u32,
    /// Charge that the zero took off.
    zero: Upper,
    /// Charge turned over at the greatest current, for what grows with its square.
    greatest: Upper,
    /// Greatest voltage as declared, else the range's end: readings are samples, and tell little of what the bus did between them. In volts, like the three below.
    voltage: Upper,
    /// How far the mean of the latched readings may be from that of all rounds.
    voltage_doubt: Upper,
    bus_offset: Upper,
    bus_noise: Upper,
}

/// What is open of a total: parts per thousand million of it, and magnitudes in its own unit.
struct Open {
    /// Gain, tolerance of the sense resistor.
    gain_ppb: u32,
    shunt_ppb: u32,
    /// Temperature of the sense resistor.
    thermal_ppb: u32,
    /// What counts for the total, and for what was turned over.
    clock_ppb: u32,
    wander_ppb: u32,
    /// What offset and bias, and noise, can feign.
    offset: Upper,
    noise: Upper,
    /// The greatest that was turned over whichever way, where current may flow both ways.
    turnover: Option<Upper>,
    /// At the ends, and between conversions.
    ends: Upper,
    load: Upper,
}

impl Limits {
    /// `None` where the channel was left out.
    #[inline(never)]
    pub(super) fn new(spec: &Spec, rail: &Rail, tally: &Tally, stretch: &Stretch) -> Option<Self> {
        let ranges = tally.ranges?;
        let open = RailLimits::new(spec, rail, ranges.sense)?;
        let bus = spec.bus_range(ranges.bus)?;
        let (correction, load) = (rail.correction(), rail.load());
        let duration_us = stretch.twice_us.div_ceil(2);
        let us = Upper::from(duration_us);
        let conversions = spec.conversions(stretch.rounds, stretch.period_us);
        // A sense voltage of 1 nV that lasts: nV ÷ nΩ × µs × 1e-6 × 1e9 nC. What `open` says is magnified by the calibration already.
        let nanoohms = rail.shunt().resistance().as_nanoohms();
        let lasting = us.times(Upper::from(1_000)).over(nanoohms);
        // A current in nA that lasts some µs, in nC.
        let flowing = |na: u64, us: Upper| Upper::from(na).times(us).over(1_000_000);
        // What the part shows, times the gain of the calibration.
        let gain = Upper::from(u64::from(correction.gain.to_bits().unsigned_abs())).shifted(-30);
        let bias = flowing(open.bias_na, us).times(gain);
        let greatest_na = load.greatest().as_nanoamps().unsigned_abs();
        // Each end is uncertain by one round and its bracket; the time it is put into shifts as much as what flows in it.
        let ends_us = u64::from(stretch.period_us)
            .saturating_mul(2)
            .saturating_add(stretch.bracket_us)
            .saturating_mul(2);
        let zero = Upper::from(u64::from(correction.zero.to_bits().unsigned_abs())).shifted(-8);
        let (least_nv, voltage_nv) = rail.voltage_span_nv(spec, bus);
        let mean_nv = mean_nv(spec, bus, tally, stretch);
        let furthest_nv = mean_nv
            .saturating_sub(least_nv)
            .max(voltage_nv.saturating_sub(mean_nv));
        let volts = |nv: u64| Upper::from(nv).over(1_000_000_000);
        let voltage = volts(voltage_nv);
        let bus_offset = volts(magnitude_nv(bus.offset));
        let bus_noise = averaged(
            magnitude_nv(bus.noise),
            bus.lsb_nv(spec.bus_unit_nv),
            conversions,
        );
        let clock_ppb = cut(ppb(stretch.clock_ppm));
        let wander_ppb = cut(ppb(spec.oscillator.wander_ppm));
        let (clock_ppb, wander_ppb) = match spec.sums {
            // A part of the run may lie at one end of the wander and the rest of it at the other.
            Source::Part => (clock_ppb, wander_ppb.saturating_mul(2)),
            // Each code was multiplied by time of the host's clock, which may go faster or slower meanwhile.
            Source::Driver => (0, clock_ppb),
        };
        let turnover = match load.flow() {
            Flow::Both => Some(nanocoulombs(load.turnover(duration_us))),
            Flow::Forward => None,
        };
        Some(Self {
            open: Open {
                gain_ppb: open.gain_ppb,
                shunt_ppb: open.shunt_ppb,
                thermal_ppb: open.thermal_ppb,
                clock_ppb,
                wander_ppb,
                offset: open.offset.times(lasting).plus(bias),
                noise: open.noise(conversions).times(lasting),
                turnover,
                ends: flowing(greatest_na, Upper::from(ends_us)),
                load: nanocoulombs(load.between_conversions(duration_us, stretch.period_us)),
            },
            bus_gain_ppb: cut(ppb(bus.gain_ppm)),
            zero: zero.times(lasting).times(gain),
            greatest: flowing(greatest_na, us),
            voltage,
            voltage_doubt: volts(furthest_nv)
                .plus(bus_offset)
                .plus(voltage.times(Upper::from(ppb(bus.gain_ppm))).over(PPB)),
            bus_offset,
            bus_noise: bus_noise.over(1_000_000_000),
        })
    }

    /// Adds the bounds of a charge and an energy as measured.
    #[inline(never)]
    pub(super) fn add_to(mut self, bounds: &mut Bounds, shown: &Flowed) {
        let turnover = self.open.add_to(&mut bounds.charge, shown.charge);
        // Noise of the bus is weighed by the current, and the sum of squares is at most the greatest current times the sum.
        let weight = turnover.times(self.greatest).root().max(turnover);
        let open = &mut self.open;
        open.gain_ppb = open.gain_ppb.saturating_add(self.bus_gain_ppb);
        for limit in [
            &mut open.offset,
            &mut open.noise,
            &mut open.ends,
            &mut open.load,
        ]
        .into_iter()
        .chain(&mut open.turnover)
        {
            *limit = limit.times(self.voltage);
        }
        open.offset = open
            .offset
            .plus(turnover.times(self.bus_offset))
            .plus(self.zero.times(self.voltage_doubt));
        open.noise = open.noise.plus(weight.times(self.bus_noise));
        open.add_to(&mut bounds.energy, shown.energy);
    }
}

impl Open {
    /// Adds what is open of a total, given in 2^-32 of its unit, and tells what was turned over at most.
    ///
    /// Measured = true × Π(1 + r) + o with the magnitudes of the r adding up to at most ρ, and |o| at most the sum of the absolute limits. Π(1 − |r|) is at
    /// least 1 − ρ, so |measured − true| ≤ (ρ |measured| + o) ÷ (1 − ρ), products of errors included. What changes while the current flows
    /// (temperature, oscillator) acts on the charge turned over, which is more than the charge where current flows both ways.
    #[inline(never)]
    fn add_to(&self, parts: &mut Parts, total: i128) -> Upper {
        let relative = [
            self.gain_ppb,
            self.shunt_ppb,
            self.thermal_ppb,
            self.clock_ppb,
            self.wander_ppb,
        ];
        let rest_ppb = relative
            .iter()
            .fold(PPB, |rest, ppb| rest.saturating_sub(u64::from(*ppb)));
        if rest_ppb == 0 {
            parts.add(&[Upper::MAX; 7]);
            return Upper::MAX;
        }
        let total = Upper::from_wide(total.unsigned_abs()).shifted((PLACES as i32).wrapping_neg());
        let unit = Upper::from(1).over(rest_ppb);
        let share = |limit, ppb| share(limit, unit, ppb);
        let whole = |limit| share(limit, PPB as u32);
        let turnover = self.turnover.unwrap_or_else(|| {
            let absolute = self.offset.plus(self.noise).plus(self.ends).plus(self.load);
            whole(total.plus(absolute))
        });
        parts.add(&[
            share(total, self.gain_ppb),
            whole(self.offset),
            whole(self.noise),
            share(total, self.shunt_ppb),
            share(turnover, self.thermal_ppb),
            share(total, self.clock_ppb)
                .plus(share(turnover, self.wander_ppb))
                .plus(self.ends),
            self.load,
        ]);
        turnover
    }
}

/// So many units of a limit, as a product whose code stands once.
#[inline(never)]
fn share(limit: Upper, unit: Upper, ppb: u32) -> Upper {
    limit.times(unit).times(Upper::from(u64::from(ppb)))
}

fn nanocoulombs(charge: Charge) -> Upper {
    Upper::from_wide(charge.as_nanocoulombs().unsigned_abs())
}

/// Mean of the latched readings of the bus, rounded down; 0 without any, or where no zero needs it.
fn mean_nv(spec: &Spec, bus: &RangeSpec, tally: &Tally, stretch: &Stretch) -> u64 {
    if stretch.bus_rounds == 0 {
        return 0;
    }
    let factors = &[bus.lsb_nv(spec.bus_unit_nv)];
    let (mean, _) = chained(tally.twice_bus(), factors, &[stretch.bus_rounds, 2]);
    u64::try_from(mean).unwrap_or(u64::MAX)
}

/// More than 100 % is as much as there can be.
fn cut(ppb: u64) -> u32 {
    u32::try_from(ppb).unwrap_or(u32::MAX)
}
