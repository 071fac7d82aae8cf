//! The `Spec` held against what the datasheet says in its own terms.

use alloc::format;

use crake::old::part::{Part, RangeSpec};

use crate::old::conformance::report::{Notes, Stop};
use crate::old::conformance::scene::Scene;
use crate::old::conformance::suspect::volts;
use crate::old::conformance::{StatedRange, Subject};

type Checked = Result<(), Stop>;

pub(super) fn spec<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let (spec, stated) = (scene.spec, &scene.stated);
    let widths = spec.accumulators;
    let numbers = [
        ("channels", spec.channels.into(), stated.channels.into()),
        (
            "channels of this subject's type",
            N as u64,
            stated.channels.into(),
        ),
        (
            "greatest k of averaging",
            spec.averaging_max.into(),
            stated.averaging_max.into(),
        ),
        (
            "bits of the energy sum",
            widths.energy_bits.into(),
            stated.energy_bits.into(),
        ),
        (
            "bits of the charge sum",
            widths.charge_bits.into(),
            stated.charge_bits.into(),
        ),
        (
            "bits of the count of rounds",
            widths.rounds_bits.into(),
            stated.rounds_bits.into(),
        ),
        (
            "greatest debounce",
            spec.alerts.debounce_max.into(),
            stated.debounce_max.into(),
        ),
        (
            "alert outputs, as bits",
            spec.alerts.outputs.bits().into(),
            stated.outputs.bits().into(),
        ),
        (
            "error of the oscillator in ppm",
            spec.oscillator.error_ppm.into(),
            stated.oscillator_ppm.into(),
        ),
        (
            "paces",
            spec.paces.len() as u64,
            stated.periods_us.len() as u64,
        ),
        (
            "kinds of limits",
            spec.alerts.kinds.len() as u64,
            stated.kinds.len() as u64,
        ),
        (
            "check byte",
            S::Part::CHECKED.into(),
            stated.check_byte.into(),
        ),
    ];
    for (what, said, expected) in numbers {
        notes.tried();
        if said != expected {
            notes.find(format!(
                "{what}: {said} by the Spec, {expected} by the datasheet"
            ))?;
        }
    }
    for (place, (pace, period_us)) in spec.paces.iter().zip(stated.periods_us).enumerate() {
        notes.tried();
        if pace.period_us != *period_us {
            notes.find(format!(
                "period of pace {place}: {} µs by the Spec, {period_us} by the datasheet",
                pace.period_us
            ))?;
        }
    }
    for kind in stated
        .kinds
        .iter()
        .filter(|kind| !spec.alerts.kinds.contains(kind))
    {
        notes.find(format!(
            "{kind}: compared by the part by its datasheet, and not by the Spec"
        ))?;
    }
    ranges(notes, "sense", spec.sense, spec.sense_unit_nv, stated.sense)?;
    ranges(notes, "bus", spec.bus, spec.bus_unit_nv, stated.bus)
}

fn ranges(
    notes: &mut Notes,
    what: &str,
    said: &[RangeSpec],
    unit_nv: u32,
    stated: &[StatedRange],
) -> Checked {
    if said.len() != stated.len() {
        notes.find(format!(
            "{what} ranges: {} by the Spec, {} by the datasheet",
            said.len(),
            stated.len()
        ))?;
    }
    for (place, (range, stated)) in said.iter().zip(stated).enumerate() {
        notes.tried();
        if range.code_max != stated.code_max {
            notes.find(format!(
                "{what} range {place}: greatest code {} by the Spec, {} by the datasheet",
                range.code_max, stated.code_max
            ))?;
        }
        // LSB × unit × codes, against the full scale: exact.
        let lsb_nv = u128::from(range.lsb_units) * u128::from(unit_nv);
        let full_nv = lsb_nv * u128::from(stated.full_scale_codes);
        if full_nv != u128::from(stated.full_scale_nv) {
            let full_nv = i64::try_from(full_nv).unwrap_or(i64::MAX);
            notes.find(format!(
                "{what} range {place}: an LSB of {lsb_nv} nV by the Spec makes a full scale of {}, {} by the datasheet",
                volts(full_nv, false),
                volts(stated.full_scale_nv as i64, false)
            ))?;
        }
    }
    Ok(())
}
