//! What datasheet and board leave open of a stretch's charge and energy, by named parts.

use super::evaluate::{Flowed, PLACES, Stretch, Totals};
use crate::board::limits::{
    PPB, RailLimits, averaged, magnitude_nv, nanovolts, over, ppb,
};
use crate::board::{Flow, Rail};
use crate::bound::Parts;
use crate::part::{Source, Spec, Tally};
use crate::upper::Upper;
use crate::wide::{divided, times};

/// Limits of datasheet and board at one operating point. All magnitudes; nC and nJ, never less than the limit.
pub(super) struct Limits {
    /// Gain of sense, of bus, tolerance of the resistor and its temperature: parts per thousand million.
    gain_ppb: u64,
    bus_gain_ppb: u64,
    shunt_ppb: u64,
    thermal_ppb: u64,
    /// What counts for the charge, and for what was turned over.
    clock_ppb: u64,
    wander_ppb: u64,
    /// Charge that offset and bias, and noise, can feign.
    offset: Upper,
    noise: Upper,
    /// Greatest charge turned over whichever way, where current may flow both ways.
    turnover: Option<Upper>,
    /// Charge at the ends, and between conversions.
    ends: Upper,
    load: Upper,
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

/// What is alike for charge and energy: a total and what is open of it.
struct Open {
    total: Upper,
    gain_ppb: u64,
    /// One less the relative limits.
    rest_ppb: u64,
    offset: Upper,
    noise: Upper,
    turnover: Option<Upper>,
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
        let lasting = us
            .times(Upper::from(1_000))
            .over(rail.shunt().resistance().as_nanoohms());
        // A current in nA that lasts some µs, in nC.
        let flowing = |na: Upper, us: Upper| na.times(us).over(1_000_000);
        // What the part shows, times the gain of the calibration.
        let gain = u64::from(correction.gain.to_bits().unsigned_abs());
        let corrected = |charge: Upper| charge.times(Upper::from(gain)).shifted(-30);
        let greatest = Upper::from(load.greatest().as_nanoamps().unsigned_abs());
        // Each end is uncertain by one round and its bracket; the time it is put into shifts as much as what flows in it.
        let ends_us = u64::from(stretch.period_us)
            .saturating_mul(2)
            .saturating_add(stretch.bracket_us)
            .saturating_mul(2);
        let zero = Upper::from(u64::from(correction.zero.to_bits().unsigned_abs())).shifted(-8);
        let (least_nv, voltage_nv) = rail.voltage_span_nv(spec, bus);
        let bus_lsb_nv = bus.lsb_nv(spec.bus_unit_nv);
        let mean_nv = divided(
            times(&tally.twice_bus(), &u128::from(bus_lsb_nv)),
            u128::from(stretch.bus_rounds).saturating_mul(2),
        )
        .unwrap_or_default();
        let furthest_nv = mean_nv
            .saturating_sub(least_nv)
            .max(voltage_nv.saturating_sub(mean_nv));
        let bus_error_nv =
            nanovolts(bus.offset).saturating_add(over(&voltage_nv, &ppb(bus.gain_ppm), &PPB));
        let volts = |nv: Upper| nv.over(1_000_000_000);
        let clock_ppb = u64::from(stretch.clock_ppm).saturating_mul(1_000);
        let wander_ppb = u64::from(spec.oscillator.wander_ppm).saturating_mul(1_000);
        let (clock_ppb, wander_ppb) = match spec.sums {
            // A part of the run may lie at one end of the wander and the rest of it at the other.
            Source::Part => (clock_ppb, wander_ppb.saturating_mul(2)),
            // Each code was multiplied by time of the host's clock, which may go faster or slower meanwhile.
            Source::Driver => (0, clock_ppb),
        };
        Some(Self {
            gain_ppb: open.gain_ppb,
            bus_gain_ppb: u64::from(bus.gain_ppm).saturating_mul(1_000),
            shunt_ppb: open.shunt_ppb,
            thermal_ppb: open.thermal_ppb,
            clock_ppb,
            wander_ppb,
            offset: Upper::from(open.offset_nv)
                .times(lasting)
                .plus(corrected(flowing(Upper::from(open.bias_na), us))),
            noise: open.noise(conversions).times(lasting),
            turnover: (load.flow() == Flow::Both)
                .then(|| nanocoulombs(load.turnover(duration_us).as_nanocoulombs())),
            ends: flowing(greatest, Upper::from(ends_us)),
            load: nanocoulombs(
                load.between_conversions(duration_us, stretch.period_us)
                    .as_nanocoulombs(),
            ),
            zero: corrected(zero.times(lasting)),
            greatest: flowing(greatest, us),
            voltage: volts(Upper::from_wide(voltage_nv)),
            voltage_doubt: volts(Upper::from_wide(furthest_nv.saturating_add(bus_error_nv))),
            bus_offset: volts(Upper::from(magnitude_nv(bus.offset))),
            bus_noise: volts(averaged(magnitude_nv(bus.noise), bus_lsb_nv, conversions)),
        })
    }

    /// Adds the bounds of a charge and an energy as measured.
    #[inline(never)]
    pub(super) fn add_to(&self, totals: &mut Totals, shown: &Flowed) {
        let magnitude = |value: i128| {
            Upper::from_wide(value.unsigned_abs()).shifted((PLACES as i32).wrapping_neg())
        };
        let relative = self
            .gain_ppb
            .saturating_add(self.shunt_ppb)
            .saturating_add(self.thermal_ppb)
            .saturating_add(self.clock_ppb)
            .saturating_add(self.wander_ppb);
        let rest_ppb = (PPB as u64).saturating_sub(relative);
        let turnover = self.add_open(
            &mut totals.charge_bound,
            &Open {
                total: magnitude(shown.charge),
                gain_ppb: self.gain_ppb,
                rest_ppb,
                offset: self.offset,
                noise: self.noise,
                turnover: self.turnover,
                ends: self.ends,
                load: self.load,
            },
        );
        // Noise of the bus is weighed by the current, and the sum of squares is at most the greatest current times the sum.
        let weight = turnover.times(self.greatest).root().max(turnover);
        let at_voltage = |charge: Upper| charge.times(self.voltage);
        self.add_open(
            &mut totals.energy_bound,
            &Open {
                total: magnitude(shown.energy),
                gain_ppb: self.gain_ppb.saturating_add(self.bus_gain_ppb),
                rest_ppb: rest_ppb.saturating_sub(self.bus_gain_ppb),
                offset: at_voltage(self.offset)
                    .plus(turnover.times(self.bus_offset))
                    .plus(self.zero.times(self.voltage_doubt)),
                noise: at_voltage(self.noise).plus(weight.times(self.bus_noise)),
                turnover: self.turnover.map(at_voltage),
                ends: at_voltage(self.ends),
                load: at_voltage(self.load),
            },
        );
    }

    /// Adds what is open of a total, and tells what was turned over at most.
    ///
    /// Measured = true × Π(1 + r) + o with the magnitudes of the r adding up to at most ρ, and |o| at most the sum of the absolute limits. Π(1 − |r|) is at
    /// least 1 − ρ, so |measured − true| ≤ (ρ |measured| + o) ÷ (1 − ρ), products of errors included. What changes while the current flows
    /// (temperature, oscillator) acts on the charge turned over, which is more than the charge where current flows both ways.
    #[inline(never)]
    fn add_open(&self, parts: &mut Parts, open: &Open) -> Upper {
        if open.rest_ppb == 0 {
            parts.add(&[Upper::MAX; 7]);
            return Upper::MAX;
        }
        let unit = Upper::from(1).over(open.rest_ppb);
        let share = |limit: Upper, ppb: u64| limit.times(Upper::from(ppb)).times(unit);
        let whole = |limit: Upper| share(limit, PPB as u64);
        let turnover = match open.turnover {
            Some(turnover) => turnover,
            None => {
                let absolute = open.offset.plus(open.noise).plus(open.ends).plus(open.load);
                whole(open.total.plus(absolute))
            }
        };
        parts.add(&[
            share(open.total, open.gain_ppb),
            whole(open.offset),
            whole(open.noise),
            share(open.total, self.shunt_ppb),
            share(turnover, self.thermal_ppb),
            share(open.total, self.clock_ppb)
                .plus(share(turnover, self.wander_ppb))
                .plus(open.ends),
            open.load,
        ]);
        turnover
    }
}

fn nanocoulombs(charge: i128) -> Upper {
    Upper::from_wide(charge.unsigned_abs())
}
