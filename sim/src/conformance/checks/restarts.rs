//! Another part, restarts of the firmware, and writes of others.

use alloc::{format, vec::Vec};

use crake::bus::Fault;
use crake::config::{AlertFlags, Limits};
use crake::info::Undetectable;

use super::events::{pair, within};
use super::faults::{came, is};
use super::resets::{reset_during, resets_show};
use crate::conformance::limits::names;
use crate::conformance::probe::Spoil;
use crate::conformance::report::{Checked, Notes, not_applicable};
use crate::conformance::rig::{Asked, Face, Seen};
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

/// A restarted firmware goes on: sums go on, flags are still told, and nothing is written but a
/// latch. With a part that is otherwise than it was left, or was reset, it does not go on.
pub(super) fn resume(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    resume_in_a_shot(scene, notes)?;
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

/// Firmware restarts right after it triggered a single-shot, the longest there is.
fn resume_in_a_shot(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let Some(single) = scene.single() else {
        return Ok(());
    };
    notes.tried();
    let setup = single.means(scene.info.averaging_log2_max);
    let how = How {
        face: Face::Async,
        ..ONCE
    };
    let mut trial = scene.running_in(how, &setup)?;
    let log = trial.log_of(|trial| Ok(trial.rig.sample().map(drop)?))?;
    let Some(trigger) = log.iter().rposition(|transfer| transfer.read == 0) else {
        return Ok(());
    };
    trial.tap.spoil(trigger, Spoil::Dropped { arrived: true });
    let _ = trial.rig.sample();
    trial.tap.begin();
    let answer = trial.resumed();
    if answer.is_err() {
        notes.find(format!(
            "firmware restarted right after it triggered a single-shot; resume; {}: is the end of \
             what may be in progress waited for?",
            came(&answer)
        ))?;
    }
    Ok(())
}

/// Somebody else writes to the part.
pub(super) fn foreign_writes(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    if !scene.stated.tells_writes {
        return foreign_configurations(scene, notes);
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

/// Of a part that does not tell of writes: whoever configures it otherwise is found out, or what
/// comes is right all the same.
fn foreign_configurations(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    if !scene.stated.reads_back {
        return not_applicable("datasheet: the configuration cannot be read back");
    }
    let (setup, others) = (resets_show(scene, &mut Notes::default())?, scene.others());
    let Some(setup) = setup.filter(|_| !others.is_empty()) else {
        return not_applicable("datasheet: the part does not tell whether somebody wrote to it");
    };
    notes.leave_out("what leaves the configuration as it was: the part does not tell of writes");
    for (what, theirs) in others {
        notes.tried();
        let mut trial = scene.running_in(PLAIN, &setup)?;
        trial.apply_all(within(scene));
        trial.settled()?;
        let mut other = scene.subject.rig(&trial.tap, Face::Blocking, u8::MAX, 1);
        other.init(&theirs)?;
        trial.apply_own();
        trial.settle();
        let next = trial.next_wrong();
        let wrong = next.as_ref().ok().and_then(|wrong| wrong.as_ref());
        if let Some(wrong) = wrong {
            notes.find(format!(
                "another host configured {what}, and the next sample came through: {wrong}: is \
                 the configuration read back with it?"
            ))?;
        }
    }
    Ok(())
}
