//! Resets, at any moment.

use alloc::{format, vec::Vec};

use crake::bus::Fault;
use crake::config::AlertFlags;
use crake::info::Undetectable;

use super::call::calls;
use super::faults::{came, ended, is};
use crate::conformance::report::{Checked, Notes, Stop, not_applicable};
use crate::conformance::rig::{Answer, Asked, Setup};
use crate::conformance::scene::Scene;
use crate::conformance::trial::{How, ONCE, PLAIN, Trial};

/// A reset before a sample and at every transfer of one, and of every other call but a resume.
pub(super) fn reset(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let Some(setup) = resets_show(scene, notes)? else {
        return not_applicable("the map: nobody can find out a reset under any configuration");
    };
    for call in calls(scene).filter(|call| *call != Asked::Resume) {
        reset_during(scene, notes, &setup, call)?;
    }
    // A single-shot beside a scan rate is read otherwise.
    if let Some(single) = scene.single().filter(|_| setup.rate.is_some()) {
        let mut trial = scene.trial(PLAIN);
        trial.init(&single)?;
        if !trial.rig.undetectable().contains(Undetectable::RESET) {
            reset_during(scene, notes, &single, Asked::Sample)?;
            reset_during(scene, notes, &single, Asked::ReadAlerts)?;
        }
    }
    reset_in_a_look(scene, notes, &setup)
}

/// A look that finds a reset gives the flags that it has read by then, which are nowhere else any
/// more: with the flag that says so, not with a failure of its own.
fn reset_in_a_look(scene: &Scene<'_>, notes: &mut Notes, setup: &Setup) -> Checked {
    for moment in 0.. {
        let mut trial = scene.running_in(ONCE, setup)?;
        trial.limits(&[])?;
        let (fixture, answers_ns) = (trial.fixture.clone(), scene.reset_ns());
        trial.tap.between(move |number| {
            if number == Some(moment) {
                fixture.reset();
                fixture.run_for_ns(answers_ns);
            }
        });
        let mut seen = AlertFlags::empty();
        let answer = trial.rig.read_alerts(&mut seen);
        if moment >= trial.tap.log().len() {
            return Ok(());
        }
        notes.tried();
        if is(&answer, &[Fault::Reset]) && !seen.contains(AlertFlags::RESET_SEEN) {
            notes.find(format!(
                "the part was reset before transfer {moment} of a look; {}, and RESET_SEEN is not \
                 among the flags: what the look had read is dropped",
                came(&answer)
            ))?;
        }
    }
    Ok(())
}

/// A configuration under which a reset shows. A reset leaves one, which alone can be mistaken for
/// what it leaves.
pub(super) fn resets_show(scene: &Scene<'_>, notes: &mut Notes) -> Result<Option<Setup>, Stop> {
    let (mut shows, mut hidden) = (None, Vec::new());
    for (what, setup) in [("all of it", scene.fast())]
        .into_iter()
        .chain(scene.others())
    {
        let mut trial = scene.trial(PLAIN);
        trial.init(&setup)?;
        match trial.rig.undetectable().contains(Undetectable::RESET) {
            true => hidden.push(what),
            false => shows = shows.or(Some(setup)),
        }
    }
    if let [one, other, ..] = hidden[..]
        && scene.stated.tells_reset
    {
        notes.find(format!(
            "the map says of two configurations ({one}, {other}) that nobody can find out a reset: \
             a reset leaves one configuration alone"
        ))?;
    }
    Ok(shows)
}

/// The same in one call.
pub(super) fn reset_during(
    scene: &Scene<'_>,
    notes: &mut Notes,
    setup: &Setup,
    call: Asked,
) -> Checked {
    for read_max in [u8::MAX, 16] {
        for moment in 0.. {
            let mut trial = scene.running_in(How { read_max, ..ONCE }, setup)?;
            trial.settled()?;
            call.prepare(&mut trial)?;
            let (fixture, answers_ns) = (trial.fixture.clone(), scene.reset_ns());
            trial.tap.between(move |number| {
                if number == Some(moment) {
                    fixture.reset();
                    fixture.run_for_ns(answers_ns);
                }
            });
            let answer = call.make(&mut trial);
            ended(&answer, "with a reset on the way")?;
            let is_over = moment >= trial.tap.log().len();
            trial.tap.begin();
            if is_over {
                break;
            }
            notes.tried();
            after_reset(notes, &mut trial, call, moment, answer)?;
        }
    }
    Ok(())
}

fn after_reset(
    notes: &mut Notes,
    trial: &mut Trial<'_>,
    call: Asked,
    moment: usize,
    answer: Answer<()>,
) -> Checked {
    let when = format!("the part was reset before transfer {moment} of {call:?}");
    // What was copied before the reset is whole; then the next sample tells.
    let fetched = call.is_capture() && answer.is_ok();
    let next = match fetched {
        true => trial.rig.fetch_capture(0, &mut [0; 4]).map(|_| None),
        false => trial.next_wrong().map(Some),
    };
    match next {
        Err(error)
            if matches!(
                error.fault(),
                Fault::Reset | Fault::Changed | Fault::NotConfigured | Fault::Identity
            ) => {}
        // It set the part up after the reset, or was before it had anything to lose.
        Ok(Some(None)) if matches!(call, Asked::Init | Asked::Configure) => {}
        other => {
            let came_next = came(&other);
            let wrong = other.ok().flatten().flatten().unwrap_or_default();
            notes.find(format!(
                "{when}, {}, and the next sample: {came_next} {wrong}: is the note of a reset \
                 looked at, last of all, and set up anew by no trigger?",
                came(&answer)
            ))?;
        }
    }
    let setup = trial.setup.clone();
    trial.init(&setup)?;
    if let Some(wrong) = trial.next_wrong()? {
        notes.find(format!("{when}; initialised again: {wrong}"))?;
    }
    Ok(())
}
