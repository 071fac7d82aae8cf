//! Another part, resets, restarts of the firmware, and writes of others.

use alloc::{format, vec::Vec};

use crake::bus::Fault;
use crake::config::{AlertFlags, Limits};
use crake::info::Undetectable;

use super::call::calls;
use super::events::{pair, within};
use super::faults::{came, ended, is};
use crate::conformance::limits::names;
use crate::conformance::probe::Spoil;
use crate::conformance::report::{Checked, Notes, Stop, not_applicable};
use crate::conformance::rig::{Answer, Asked, Face, Seen, Setup};
use crate::conformance::scene::{FEWER, Scene};
use crate::conformance::trial::{How, ONCE, PLAIN, Trial};

/// Another part answers: the first register read has one bit that is not the part's.
pub(super) fn identity(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    if !scene.stated.identity {
        return not_applicable("datasheet: nothing tells what the part is");
    }
    let sealed = scene.stated.check_byte;
    for call in [Asked::Init, Asked::Resume] {
        for bit in 0..8 {
            notes.tried();
            let mut trial = scene.running(PLAIN)?;
            let byte = 0;
            trial.tap.spoil(0, Spoil::Flipped { byte, bit, sealed });
            let answer = call.make(&mut trial);
            let wrote = trial.tap.log().iter().any(|transfer| transfer.read == 0);
            if !is(&answer, &[Fault::Identity]) || wrote {
                let came = came(&answer);
                let wrote = if wrote {
                    ", and registers were written"
                } else {
                    ""
                };
                notes.find(format!(
                    "bit {bit} of the identity is another part's; {call:?}: {came}{wrote}: is it \
                     read and compared first?"
                ))?;
            }
        }
    }
    Ok(())
}

/// A reset before a sample and at every transfer of one, and of every other call but a resume.
pub(super) fn reset(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let Some(setup) = resets_show(scene, notes)? else {
        return not_applicable("the map: nobody can find out a reset under any configuration");
    };
    for call in calls(scene).filter(|call| *call != Asked::Resume) {
        reset_during(scene, notes, &setup, call)?;
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
fn resets_show(scene: &Scene<'_>, notes: &mut Notes) -> Result<Option<Setup>, Stop> {
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

fn reset_during(scene: &Scene<'_>, notes: &mut Notes, setup: &Setup, call: Asked) -> Checked {
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
                 looked at, last of all?",
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

/// A restarted firmware goes on: sums go on, flags are still told, and nothing is written but a
/// latch. With a part that is otherwise than it was left, or was reset, it does not go on.
pub(super) fn resume(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    notes.tried();
    let [(limit, wanted, past), _] = pair(scene);
    let mut trial = scene.at(PLAIN, within(scene))?;
    trial.limits(&[limit])?;
    trial.passes(limit.channel(), past, within(scene))?;
    trial.tap.begin();
    let before = trial.settled()?;
    let latches = writes(&trial);
    let setup = trial.setup.clone();
    trial.apply_own();
    trial.settle();
    trial.fixture.run_for_ns(5 * scene.period_ns(&setup));
    trial.tap.begin();
    let resumed = trial.resumed();
    let Ok(seen) = resumed else {
        let came = came(&resumed);
        return notes.find(format!(
            "resume of a part that nobody touched; {came}: does resume itself write to what counts?"
        ));
    };
    if let Some(register) = writes(&trial).into_iter().find(|it| !latches.contains(it)) {
        notes.find(format!(
            "resume writes to register 0x{register:02X}, to which no sample does: it is to disturb \
             nothing"
        ))?;
    }
    if let Some(wrong) = trial.wrong(&seen) {
        notes.find(format!(
            "inputs changed while firmware was away, and resume reads: {wrong}"
        ))?;
    }
    let passed_ns = (seen.stamp.before_us - before.stamp.after_us) * 1_000;
    let scans = u64::from(seen.scans.wrapping_sub(before.scans));
    let expected = passed_ns / scene.period_ns(&setup);
    if scene.counts_scans() && setup.rate.is_some() && scans + 2 < expected {
        notes.find(format!(
            "{scans} scans in the time of {expected}: resume stopped conversions"
        ))?;
    }
    let mut told = AlertFlags::empty();
    trial.rig.set_limits(&Limits::new(&[limit]), &mut told)?;
    if scene.by_part(&limit) && !told.contains(wanted) {
        let told = names(told & AlertFlags::LIMITS);
        notes.find(format!(
            "a flag stood over the restart; {told} is told: resume cleared it"
        ))?;
    }
    for (what, other) in scene.others() {
        for (stands, asked) in [(&other, &setup), (&setup, &other)] {
            notes.tried();
            let mut trial = scene.running_in(PLAIN, stands)?;
            trial.settled()?;
            let token = trial.restart();
            let answer = trial.rig.resume(asked, token);
            // Some parts convert all their channels, whatever is asked for.
            let goes_on = |seen: &Seen| what == FEWER && scene.wrong(asked, seen).is_none();
            if !is(&answer, &[Fault::Reset, Fault::Changed]) && !answer.as_ref().is_ok_and(goes_on)
            {
                let came = came(&answer);
                notes.find(format!(
                    "resume with another configuration than stands in the part ({what}); {came}: \
                     is what stands there compared?"
                ))?;
            }
        }
    }
    match resets_show(scene, &mut Notes::default())? {
        Some(setup) => reset_during(scene, notes, &setup, Asked::Resume),
        None => Ok(()),
    }
}

/// Registers that were written since the tap was told to begin.
fn writes(trial: &Trial<'_>) -> Vec<u8> {
    let log = trial.tap.log().into_iter();
    let writes = log.filter(|transfer| transfer.read == 0);
    writes.map(|transfer| transfer.register).collect()
}

/// Somebody else writes to the part.
pub(super) fn foreign_writes(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    if !scene.stated.tells_writes {
        return not_applicable("datasheet: the part does not tell whether somebody wrote to it");
    }
    let same = ("the same configuration", scene.fast());
    for (what, setup) in scene.others().into_iter().chain([same]) {
        notes.tried();
        let mut trial = scene.running(PLAIN)?;
        trial.settled()?;
        let token = trial.rig.token();
        let mut other = scene.subject.rig(&trial.tap, Face::Blocking, u8::MAX, 1);
        other.init(&setup)?;
        trial.settle();
        let sample = trial.settled();
        trial.restart();
        let setup = trial.setup.clone();
        let resumed = trial.rig.resume(&setup, token);
        for (call, answer) in [("the next sample", sample), ("resume", resumed)] {
            if !is(&answer, &[Fault::Changed]) {
                let came = came(&answer);
                notes.find(format!(
                    "another host wrote {what}; {call}: {came}: is the part's count of writes \
                     compared?"
                ))?;
            }
        }
    }
    Ok(())
}

/// A trigger or latch that is lost on its way: the results before must not come as new ones.
pub(super) fn lost_latch(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    for setup in [Some(scene.fast()), scene.single()].into_iter().flatten() {
        let mut trial = scene.trial(ONCE);
        trial.init(&setup)?;
        if trial
            .rig
            .undetectable()
            .contains(Undetectable::LOST_TRIGGER)
        {
            notes.leave_out("a lost trigger of a single-shot, which nobody can find out");
            continue;
        }
        let log = trial.log_of(|trial| Ok(trial.settled().map(drop)?))?;
        let writes = log
            .iter()
            .enumerate()
            .filter(|(_, transfer)| transfer.read == 0);
        for ((number, transfer), turn) in
            writes.flat_map(|write| [(write, 1), (write, 2), (write, 3)])
        {
            notes.tried();
            let fresh = scene.share(turn, 5);
            trial.apply_all(fresh);
            trial.settle();
            trial.tap.spoil(number, Spoil::Lost);
            let answer = trial.rig.sample();
            trial.tap.begin();
            if let Ok(seen) = &answer
                && scene.channels().any(|channel| {
                    let codes = seen.codes[channel.index()];
                    codes.is_some() && !scene.shows(channel, codes, fresh)
                })
            {
                notes.find(format!(
                    "the write to register 0x{:02X} of a sample was lost, and results of before \
                     come as new ones: is the tag, or what else tells, compared?",
                    transfer.register
                ))?;
            }
            let next = trial.settled()?;
            for channel in scene.channels() {
                scene.judge(notes, &next, channel, scene.first(channel), fresh)?;
            }
        }
    }
    Ok(())
}
