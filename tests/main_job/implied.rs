//! The bound that the datasheet's limits and the board's imply at an operating point.

use crate::flow::Flow;
use crate::skiff::{Rail, Skiff};
use crake_suite::datasheet::{Accuracy, accuracy, code, common_limits};
use crake_suite::markdown::Document;

/// Named as in the report; coulombs or joules.
#[derive(Clone, Copy, Debug)]
pub struct Implied {
    pub gain: f64,
    pub offset: f64,
    pub bias: f64,
    pub noise: f64,
    pub quantisation: f64,
    pub resistor: f64,
    pub temperature: f64,
    pub clock: f64,
    pub load_steps: f64,
}

impl Implied {
    pub fn total(&self) -> f64 {
        self.named().iter().map(|part| part.1).sum()
    }

    pub fn named(&self) -> [(&'static str, f64); 9] {
        [
            ("gain", self.gain),
            ("offset", self.offset),
            ("bias", self.bias),
            ("noise", self.noise),
            ("quantisation", self.quantisation),
            ("resistor", self.resistor),
            ("temperature", self.temperature),
            ("clock", self.clock),
            ("load_steps", self.load_steps),
        ]
    }
}

/// Limits of charge and of energy for a rail through which `flow` went while the skiff's part
/// looked on.
///
/// First order: products of two errors are left out, which are 1 to 2 % of the whole here.
pub fn implied(skiff: &Skiff, rail: &Rail, flow: &Flow) -> [Implied; 2] {
    let datasheet = Document::corncrake();
    let rows = accuracy(&datasheet);
    let common = common_limits(&datasheet);
    // The finest whose greatest code (section 4) reaches what is to be measured.
    let finest = |input: &str, asked: f64| {
        let greatest = code(&datasheet, input).greatest() as f64;
        let reaching = rows
            .iter()
            .filter(|row| row.range.starts_with(input) && volts(row.lsb_nv) * greatest >= asked);
        reaching.min_by_key(|row| row.lsb_nv).expect("a range")
    };
    let sense = finest("sense", rail.sense_full_scale);
    let rail_range = finest("rail", rail.rail_full_scale);
    let ratio = |ppm: u32| f64::from(ppm) * 1e-6;

    let scans = skiff.scans_per_second * flow.time;
    // Noise is bounded at so many times its r.m.s.; so is rounding, which is LSB / sqrt(12) r.m.s.
    // (GUM, F.2.2.1), since noise stirs the codes of all these ranges.
    let averaged = f64::from(common.noise_factor) / scans.sqrt();
    let noise = |range: &Accuracy| averaged * volts(range.noise_nv);
    let rounding = |range: &Accuracy| averaged * volts(range.lsb_nv) / 12_f64.sqrt();
    let heat_w = rail.greatest * rail.greatest * rail.ohms;
    let temperature = rail.coefficient_per_k * (skiff.span_k + rail.thermal_k_per_w * heat_w);
    // The datasheet limits the departure from the mean over the *run*; a part of the run may lie at
    // one end of it and the rest at the other.
    let wander = 2.0 * ratio(common.oscillator_change_ppm);
    // Each end lies within half a scan, and half the time in which the latch is written, of where
    // it is taken to be: address, pointer, two bytes and the check byte of 9 clocks each.
    let scan = 1.0 / skiff.scans_per_second;
    let ends = (scan + 5.0 * 9.0 / skiff.bus_hz) * rail.greatest;
    let steps = rail.steps_per_hour / 3600.0 * flow.time + 1.0;

    let charge = Implied {
        gain: ratio(sense.gain_ppm) * flow.charge.abs(),
        offset: volts(sense.offset_nv) / rail.ohms * flow.time,
        bias: common.bias_na as f64 * 1e-9 * flow.time,
        noise: noise(sense) / rail.ohms * flow.time,
        quantisation: rounding(sense) / rail.ohms * flow.time,
        resistor: rail.tolerance * flow.charge.abs(),
        temperature: temperature * flow.throughput,
        clock: skiff.host_limit * flow.charge.abs() + wander * flow.throughput + ends,
        load_steps: steps * rail.step * scan / 2.0,
    };
    let voltage = flow.voltage();
    let energy = Implied {
        gain: (ratio(sense.gain_ppm) + ratio(rail_range.gain_ppm)) * flow.energy.abs(),
        offset: charge.offset * voltage + volts(rail_range.offset_nv) * flow.throughput,
        bias: charge.bias * voltage,
        noise: charge.noise * voltage + noise(rail_range) * flow.throughput,
        quantisation: charge.quantisation * voltage + rounding(rail_range) * flow.throughput,
        resistor: rail.tolerance * flow.energy.abs(),
        temperature: temperature * flow.turned_energy,
        clock: skiff.host_limit * flow.energy.abs() + wander * flow.turned_energy + ends * voltage,
        load_steps: charge.load_steps * voltage,
    };
    [charge, energy]
}

fn volts(nv: u64) -> f64 {
    nv as f64 * 1e-9
}
