//! Which output a flag reaches.

use alloc::format;

use crake::Channel;
use crake::config::{Kind, Limit, Outputs};

use super::alerts::{armed, at};
use super::events::{pair, within};
use crate::conformance::limits::names;
use crate::conformance::report::{Checked, Notes, not_applicable};
use crate::conformance::scene::Scene;
use crate::conformance::trial::Trial;

/// Each kind to each output alone, to both, and to none.
pub(super) fn masks(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let there = scene.info.alerts.outputs;
    if there.is_empty() {
        return not_applicable("PartInfo: no alert output");
    }
    let choices = [Outputs::A, Outputs::B, Outputs::all(), Outputs::empty()];
    for (kind, channel) in Kind::ALL
        .into_iter()
        .flat_map(|kind| [(kind, Channel::C0), (kind, scene.last())])
    {
        for wanted in choices {
            let limit = scene.limit(channel, kind, scene.middle(kind)).to(wanted);
            if !scene.by_part(&limit) {
                continue;
            }
            notes.tried();
            // On a part with one output, whatever is to reach any reaches that one.
            let reached = match wanted.is_empty() || there == Outputs::all() {
                true => wanted,
                false => there,
            };
            one_mask(scene, notes, &limit, reached)?;
        }
    }
    single_masks(scene, notes)
}

/// A flag of which no output is to tell, beside one of which an output is.
fn single_masks(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let [(open, ..), (silent, wanted, past)] = pair(scene);
    if !scene.by_part(&open) || !scene.by_part(&silent) {
        notes.leave_out("whether masks are single ones: the part compares one limit");
        return Ok(());
    }
    notes.tried();
    let output = scene.output();
    let mut trial = armed(scene, within(scene), &[open.to(output), silent])?;
    trial.apply(silent.channel(), past);
    trial.compared()?;
    let (single, low) = (scene.info.alerts.single_masks, trial.fixture.is_low(output));
    if low == Some(single) {
        let pulls = if single { "pulls" } else { "does not pull" };
        notes.find(format!(
            "PartInfo: alerts.single_masks is {single}, and {}, of which no output is to tell, \
             {pulls} the output of another",
            names(wanted)
        ))?;
    }
    Ok(())
}

fn one_mask(scene: &Scene<'_>, notes: &mut Notes, limit: &Limit, reached: Outputs) -> Checked {
    let kind = limit.kind();
    let mut trial = armed(scene, at(scene, kind, -2), &[*limit])?;
    let low = |trial: &Trial<'_>| {
        scene.outputs().try_fold(Outputs::empty(), |all, output| {
            let is_low = trial.fixture.is_low(output)?;
            Some(if is_low { all | output } else { all })
        })
    };
    let Some(before) = low(&trial) else {
        return not_applicable("the fixture does not show the outputs");
    };
    trial.apply(limit.channel(), at(scene, kind, 1));
    trial.compared()?;
    let during = low(&trial).unwrap_or_default();
    trial.apply_all(at(scene, kind, -2));
    trial.compared()?;
    trial.look()?;
    let after = low(&trial).unwrap_or_default();
    let (channel, to, none) = (limit.channel(), text(limit.outputs()), Outputs::empty());
    for (moment, low, expected) in [
        ("within its limit", before, none),
        ("beyond its limit", during, reached),
        ("back within its limit, told and cleared,", after, none),
    ] {
        if low != expected {
            let (low, expected) = (text(low), text(expected));
            notes.find(format!(
                "{kind} of {channel}, to output {to}: {moment} output {low} is low, expected \
                 {expected}"
            ))?;
        }
    }
    Ok(())
}

const fn text(outputs: Outputs) -> &'static str {
    match (outputs.contains(Outputs::A), outputs.contains(Outputs::B)) {
        (true, true) => "A and B",
        (true, false) => "A",
        (false, true) => "B",
        (false, false) => "none",
    }
}
