//! What the `PartInfo` says against what the datasheet says, figure by figure.

use alloc::{format, string::String, vec::Vec};
use core::fmt::Debug;

use crake::config::AlertFlags;
use crake::info::{PartInfo, RangeErrors, RangeInfo, Source, Undetectable};

use crate::conformance::report::{Checked, Notes};
use crate::conformance::scene::Scene;
use crate::conformance::{OverRange, Stated, StatedRange};

pub(super) fn info(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let mut differences = Differences::default();
    differences.compare(scene.info, &scene.stated);
    (0..differences.compared).for_each(|_| notes.tried());
    differences
        .found
        .into_iter()
        .try_for_each(|finding| notes.find(finding))
}

pub(crate) fn compare(info: &PartInfo, stated: &Stated) -> Vec<String> {
    let mut differences = Differences::default();
    differences.compare(info, stated);
    differences.found
}

#[derive(Default)]
struct Differences {
    compared: usize,
    found: Vec<String>,
}

impl Differences {
    fn same<T: PartialEq + Debug>(&mut self, what: &str, here: T, stated: T) {
        self.compared += 1;
        if here != stated {
            let text = format!("{what} is {here:?}, and the datasheet says {stated:?}");
            self.found.push(format!("PartInfo: {text}"));
        }
    }

    fn compare(&mut self, info: &PartInfo, stated: &Stated) {
        self.same("channels", info.channels, stated.channels);
        let unit = (
            info.sense_unit.as_nanovolts(),
            info.rail_unit.as_nanovolts(),
        );
        self.ranges(
            "sense",
            unit.0,
            info.sense_ranges,
            info.sense_errors,
            stated.sense,
        );
        self.ranges(
            "rail",
            unit.1,
            info.rail_ranges,
            info.rail_errors,
            stated.rail,
        );
        self.same("bias in nA", info.bias.as_nanoamps(), stated.bias_na.into());
        let stability = info.offset_stability.as_nanovolts();
        self.same(
            "offset_stability in nV",
            stability,
            stated.offset_stability_nv.into(),
        );
        self.same("scan_periods_us", info.scan_periods_us, stated.periods_us);
        self.same("conversion_ns", info.conversion_ns, stated.conversion_ns);
        let averaging = info.averaging_log2_max;
        self.same("averaging_log2_max", averaging, stated.averaging_log2_max);
        self.same("capture_max", info.capture_max, stated.capture);
        self.same("skew_us", info.skew_us, stated.skew_us);
        self.same("wake_us", info.wake_us, stated.wake_us);
        self.same("reset_us", info.reset_us, stated.reset_us);
        self.same(
            "oscillator.error_ppm",
            info.oscillator.error_ppm,
            stated.oscillator_ppm,
        );
        self.same(
            "oscillator.wander_ppm",
            info.oscillator.wander_ppm,
            stated.wander_ppm,
        );
        let by = |part: bool| if part { Source::Part } else { Source::Driver };
        self.same("power", info.power, by(stated.power));
        self.same("charge_sum", info.charge_sum, by(stated.charge_bits > 0));
        self.same("energy_sum", info.energy_sum, by(stated.energy_bits > 0));
        for (what, here, stated) in [
            ("sum_bits.energy", info.sum_bits.energy, stated.energy_bits),
            ("sum_bits.charge", info.sum_bits.charge, stated.charge_bits),
            ("sum_bits.scans", info.sum_bits.scans, stated.scans_bits),
        ] {
            if stated > 0 {
                self.same(what, here, stated);
            }
        }
        let alerts = &info.alerts;
        self.same("alerts.outputs", alerts.outputs, stated.outputs);
        self.same("alerts.kinds", alerts.kinds, stated.kinds);
        self.same(
            "alerts.debounce_max",
            alerts.debounce_max,
            stated.debounce_max,
        );
        self.same("alerts.following", alerts.following, stated.following);
        let ahead = alerts.own.contains(AlertFlags::ROLLOVER_AHEAD);
        self.same(
            "rollover ahead told",
            ahead,
            stated.rollover_ahead_eighths > 0,
        );
        self.same(
            "alerts.cleared_by_reading",
            alerts.cleared_by_reading,
            stated.cleared_by_reading,
        );
        let mut undetectable = Undetectable::empty();
        undetectable.set(Undetectable::RESET, !stated.tells_reset);
        undetectable.set(Undetectable::WRITES, !stated.tells_writes);
        undetectable.set(Undetectable::LOST_TRIGGER, !stated.tells_lost_trigger);
        undetectable.set(
            Undetectable::CHANGE_WHILE_READ,
            !stated.tells_change_while_read,
        );
        let sums = stated.charge_bits != 0 || stated.energy_bits != 0;
        undetectable.set(
            Undetectable::OVER_RANGE,
            stated.over_range == OverRange::EndCode && (sums || stated.averaging_log2_max != 0),
        );
        self.same("undetectable", info.undetectable, undetectable);
    }

    fn ranges(
        &mut self,
        input: &str,
        unit_nv: i64,
        ranges: &[RangeInfo],
        errors: &[RangeErrors],
        stated: &[StatedRange],
    ) {
        self.same(
            &format!("number of {input} ranges"),
            ranges.len(),
            stated.len(),
        );
        self.same(
            &format!("number of {input} errors"),
            errors.len(),
            stated.len(),
        );
        for (place, ((range, errors), stated)) in ranges.iter().zip(errors).zip(stated).enumerate()
        {
            let name = |what: &str| format!("{input} range {place}: {what}");
            // As full scales, so that an LSB that is no whole number of nanovolts is seen, too.
            let lsb_nv = unit_nv.unsigned_abs() * u64::from(range.lsb_units);
            let full_nv = lsb_nv * u64::from(stated.full_scale_codes);
            self.same(
                &name("full scale in nV by its LSB"),
                full_nv,
                stated.full_scale_nv,
            );
            self.same(&name("code_min"), range.code_min, stated.code_min);
            self.same(&name("code_max"), range.code_max, stated.code_max);
            let reach_uv = lsb_nv * u64::from(range.code_max.unsigned_abs()) / 1_000;
            self.same(&name("full_scale_uv"), range.full_scale_uv.into(), reach_uv);
            self.same(&name("gain_ppm"), errors.gain_ppm, stated.gain_ppm);
            let (offset, noise) = (errors.offset.as_nanovolts(), errors.noise.as_nanovolts());
            self.same(&name("offset in nV"), offset, stated.offset_nv.into());
            self.same(&name("noise in nV"), noise, stated.noise_nv.into());
        }
    }
}
