//! The bound that the datasheet's limits and the board's imply at an operating point.

use crate::flow::Flow;
use crate::skiff::{Rail, Skiff};
use crake_suite::datasheet::{accuracy, common_limits};
use crake_suite::markdown::Document;

/// Named as in the report; coulombs or joules.
#[derive(Clone, Copy, Debug)]
pub struct Implied {
    pub gain: f64,
    pub offset: f64,
    pub noise: f64,
    pub resistor: f64,
    pub thermal: f64,
    pub clock: f64,
    pub load: f64,
}

impl Implied {
    pub fn total(&self) -> f64 {
        self.named().iter().map(|part| part.1).sum()
    }

    pub fn named(&self) -> [(&'static str, f64); 7] {
        [
            ("gain", self.gain),
            ("offset", self.offset),
            ("noise", self.noise),
            ("resistor", self.resistor),
            ("thermal", self.thermal),
            ("clock", self.clock),
            ("load", self.load),
        ]
    }
}

/// Limits of charge and of energy for a rail through which `flow` went while the skiff's part looked on.
///
/// First order: products of two errors are left out, which are 1 to 2 % of the whole here.
pub fn implied(skiff: &Skiff, rail: &Rail, flow: &Flow) -> [Implied; 2] {
    let datasheet = Document::old_corncrake();
    let rows = accuracy(&datasheet);
    let common = common_limits(&datasheet);
    // The finest whose greatest code (section 4) reaches what is to be measured.
    let finest = |input: &str, code: f64, asked: f64| {
        let reaching = rows
            .iter()
            .filter(|row| row.range.starts_with(input) && row.lsb_nv as f64 * 1e-9 * code >= asked);
        reaching.min_by_key(|row| row.lsb_nv).expect("a range")
    };
    let sense = finest("sense ", 131_071.0, rail.sense_full_scale);
    let bus = finest("bus ", 65_535.0, rail.rail_full_scale);
    let (volts, ratio) = (|nv: u64| nv as f64 * 1e-9, |ppm: u32| f64::from(ppm) * 1e-6);

    let scans = skiff.scans_per_second * flow.time;
    let averaged = f64::from(common.noise_factor) / scans.sqrt();
    let amperes_feigned = volts(sense.offset_nv) / rail.ohms + common.bias_na as f64 * 1e-9;
    let heat_w = rail.greatest * rail.greatest * rail.ohms;
    let thermal = rail.coefficient_per_k * (skiff.span_k + rail.thermal_k_per_w * heat_w);
    // The datasheet limits the departure from the mean over the *run*; a part of the run may lie at one end of it and the rest at the other.
    let wander = 2.0 * ratio(common.oscillator_change_ppm);
    // Each end is uncertain by a scan and by the time in which the latch is written: address, pointer, two bytes and the check byte of 9 clocks each.
    let scan = 1.0 / skiff.scans_per_second;
    let ends = 2.0 * (scan + 5.0 * 9.0 / skiff.bus_hz) * rail.greatest;
    let load = rail.steps_per_hour / 3600.0 * flow.time * rail.step * scan / 2.0;

    let charge = Implied {
        gain: ratio(sense.gain_ppm) * flow.charge.abs(),
        offset: amperes_feigned * flow.time,
        noise: averaged * volts(sense.noise_nv) / rail.ohms * flow.time,
        resistor: rail.tolerance * flow.charge.abs(),
        thermal: thermal * flow.throughput,
        clock: skiff.host_limit * flow.charge.abs() + wander * flow.throughput + ends,
        load,
    };
    let voltage = flow.voltage();
    let energy = Implied {
        gain: (ratio(sense.gain_ppm) + ratio(bus.gain_ppm)) * flow.energy.abs(),
        offset: charge.offset * voltage + volts(bus.offset_nv) * flow.throughput,
        noise: charge.noise * voltage + averaged * volts(bus.noise_nv) * flow.throughput,
        resistor: rail.tolerance * flow.energy.abs(),
        thermal: thermal * flow.turned_energy,
        clock: skiff.host_limit * flow.energy.abs() + wander * flow.turned_energy + ends * voltage,
        load: load * voltage,
    };
    [charge, energy]
}
