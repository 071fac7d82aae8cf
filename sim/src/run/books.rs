//! What the samples of a run come to, beside the truth.

use crake::board::{Mean, OperatingPoint, Rail};
use crake::config::Scan;
use crake::info::PartInfo;
use crake::totals::{Bounds, Margins, Totals};
use crake::units::{Current, Power, Tolerance, Voltage};
use crake::{Channel, NoReading, TimedSample};

use super::RunError;
use super::extremes::Extremes;
use super::firmware::{Observer, Setup};
use super::reading::{Operation, Row};
use super::report::{Figure, Parts, RailReport};
use crate::bench::Witness;
use crate::part::PartModel;
use crate::scenario::{PartPlan, RailPlan};

/// Totals and readings of a part's rails, and what really flowed.
pub(super) struct Books<'r, M, const N: usize> {
    pub(super) totals: Totals<'r, N, Bounds<'r, N>>,
    /// Samples so far.
    pub(super) samples: u64,
    witness: Witness<M>,
    part: &'r PartPlan,
    scan: &'r Scan<N>,
    read_every_ns: u64,
    rails: Vec<Watched<'r>>,
    /// Widths of the brackets of the first sample and of the last, in microseconds.
    widths_us: Option<(u64, u64)>,
}

/// What they come to.
#[derive(Clone, Debug, Default)]
pub(super) struct BookReport {
    pub(super) rails: Vec<RailReport>,
    pub(super) samples: u64,
    /// Time that is in no total, at least and at most, in seconds.
    pub(super) unaccounted_s: [f64; 2],
    pub(super) discontinuities: u32,
}

/// A rail, and what is known of it so far.
struct Watched<'r> {
    plan: &'r RailPlan,
    declared: &'r Rail,
    channel: Channel,
    extremes: Extremes,
}

impl<'r, M: PartModel, const N: usize> Books<'r, M, N> {
    pub(super) fn new(
        setup: &Setup<'r>,
        rails: &'r [Rail; N],
        scan: &'r Scan<N>,
        margins: &'r Margins<'r, N>,
        witness: Witness<M>,
    ) -> Self {
        let watched = setup.rails().filter_map(|plan| {
            let declared = rails.get(usize::from(plan.channel))?;
            Some(Watched {
                plan,
                declared,
                channel: Channel::new(plan.channel),
                extremes: Extremes::default(),
            })
        });
        Self {
            totals: Totals::with_bounds(margins),
            samples: 0,
            witness,
            part: setup.plan(),
            scan,
            read_every_ns: setup.scenario.host.read_every_ns,
            rails: watched.collect(),
            widths_us: None,
        }
    }

    /// Adds the last sample to the totals, and what really flowed until the middle of its bracket.
    pub(super) fn take<S: TimedSample<N> + ?Sized>(&mut self, sample: &S) {
        let update = self.totals.update(sample);
        self.witness.note(update);
        let width_us = sample.timestamp().width_us();
        let (first_us, _) = self.widths_us.unwrap_or((width_us, width_us));
        self.widths_us = Some((first_us, width_us));
        self.samples += 1;
    }

    /// Takes the readings of a sample that was given to the totals, the host's n-th; shows them.
    pub(super) fn read<S: TimedSample<N> + ?Sized>(
        &mut self,
        sample: &S,
        number: u64,
        observer: &mut dyn Observer,
    ) -> Result<(), RunError> {
        for rail in &mut self.rails {
            let (reading, clipped) = match sample.reading(rail.channel) {
                Ok(reading) => (reading, false),
                Err(NoReading::Clipped { reading, .. }) => (reading, true),
                Err(_) => continue,
            };
            rail.extremes.note(&reading);
            let totals = &self.totals;
            let both = totals.charge(rail.channel).zip(totals.energy(rail.channel));
            let range = self.scan.range(rail.channel);
            if let Some(((charge, energy), range)) = both.zip(range) {
                let row = Row {
                    number,
                    timestamp: sample.timestamp(),
                    rail: &rail.plan.name,
                    reading,
                    clipped,
                    charge,
                    energy,
                    truth: self.witness.truth(rail.channel.index()),
                    operation: Operation {
                        rail: rail.declared,
                        range: *range,
                        averaging_log2: self.part.averaging,
                        info: self.part.kind.info,
                    },
                };
                observer.reading(&row).map_err(RunError::Observer)?;
            }
        }
        Ok(())
    }
}

impl<M: PartModel, const N: usize> Books<'_, M, N> {
    /// All of it, by the configuration of the last sample.
    pub(super) fn reports(&self, info: &PartInfo, clock: Tolerance) -> BookReport {
        let gap = self.totals.gap();
        let rails = self.rails.iter();
        BookReport {
            rails: rails
                .filter_map(|rail| self.report(rail, info, clock))
                .collect(),
            samples: self.samples,
            unaccounted_s: [gap.least_us, gap.greatest_us].map(|us| us as f64 / 1e6),
            discontinuities: self.totals.epoch(),
        }
    }

    fn report(&self, rail: &Watched<'_>, info: &PartInfo, clock: Tolerance) -> Option<RailReport> {
        let (charge, energy) = (
            self.totals.charge(rail.channel)?,
            self.totals.energy(rail.channel)?,
        );
        let (coulombs, joules) = (
            charge.value.as_nanocoulombs() as f64 / 1e9,
            energy.value.as_nanojoules() as f64 / 1e9,
        );
        let duration_us = self.totals.counted_us();
        if duration_us == 0 {
            return None;
        }
        let duration_s = duration_us as f64 / 1e6;
        let part_clock = self.totals.part_clock_us() as f64 / duration_us as f64;

        let (first_us, last_us) = self.widths_us.unwrap_or_default();
        // Where the driver adds up, a sample is what a scan is elsewhere.
        let (scans, period_us) = match info.has_sums_by_driver() {
            true => (self.samples, (self.read_every_ns / 1_000) as u32),
            false => {
                let period_us = self.scan.period_us(info);
                let scans = self.totals.part_clock_us().checked_div(period_us.into());
                (scans.unwrap_or_default(), period_us)
            }
        };
        let nano = |value: f64| (value * 1e9) as i64;
        let (mean_current_a, mean_power_w) = (coulombs / duration_s, joules / duration_s);
        let voltage_v = rail.extremes.voltage.spread();
        let at = OperatingPoint {
            range: *self.scan.range(rail.channel)?,
            current: Current::from_nanoamps(nano(mean_current_a)),
            voltage: voltage_v.map_or(Voltage::ZERO, |spread| {
                Voltage::from_nanovolts(nano(spread.mean))
            }),
            power: Power::from_nanowatts(nano(mean_power_w)),
            mean: Mean::Stretch {
                scans,
                scan_period_us: period_us,
                duration_us,
                // Each lies anywhere in its bracket, half a width from the middle.
                ends_us: first_us.div_ceil(2) + last_us.div_ceil(2),
                clock,
            },
        };
        let current = rail.declared.current_budget(info, &at)?;
        let power = rail.declared.power_budget(info, &at)?;
        let (current, power) = (current.charge(duration_us), power.energy(duration_us));
        let truth = self.witness.truth(rail.channel.index());
        Some(RailReport {
            name: rail.plan.name.clone(),
            part: self.part.name.clone(),
            channel: rail.plan.channel,
            duration_s,
            energy_j: Figure::new(
                (joules, energy.bound.as_nanojoules() as f64 / 1e9),
                truth.energy_sixth_na_nv_ns as f64 / 6e27,
                part_clock,
                Parts::new(&power, |energy| energy.as_nanojoules() as f64 / 1e9),
                energy.saturation,
            ),
            charge_c: Figure::new(
                (coulombs, charge.bound.as_nanocoulombs() as f64 / 1e9),
                truth.charge_half_na_ns as f64 / 2e18,
                part_clock,
                Parts::new(&current, |charge| charge.as_nanocoulombs() as f64 / 1e9),
                charge.saturation,
            ),
            voltage_v,
            current_a: rail.extremes.current.spread(),
            power_w: rail.extremes.power.spread(),
            mean_current_a,
            mean_power_w,
        })
    }
}
