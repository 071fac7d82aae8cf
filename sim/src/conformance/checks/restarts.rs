//! Another part, resets, restarts of the firmware, and writes of others.

use alloc::{format, string::String};

use crake::bus::Fault;
use crake::config::{AlertFlags, Kind, Limits};
use crake::info::Undetectable;
use crake::part::ResumeToken;

use super::call::CALLS;
use super::faults::{came, ended, is};
use crate::conformance::probe::Spoil;
use crate::conformance::report::{Checked, Notes, not_applicable};
use crate::conformance::rig::{Answer, Asked, Face, Setup};
use crate::conformance::scene::{Point, Scene, flag, names};
use crate::conformance::trial::{How, ONCE, PLAIN, Trial};

/// Another part answers: the first register read has one bit that is not the part's.
pub(super) fn identity(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    if !scene.stated.identity {
        return not_applicable("datasheet: nothing tells what the part is");
    }
    let sealed = scene.stated.check_byte;
    for call in [Asked::Init, Asked::Resume]
        .into_iter()
        .filter(|call| call.applies(scene))
    {
        for bit in 0..8 {
            notes.tried();
            let mut trial = scene.running(PLAIN)?;
            trial.tap.spoil(
                0,
                Spoil::Flipped {
                    byte: 0,
                    bit,
                    sealed,
                },
            );
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

/// A reset before a sample and at every transfer of one, and of every other call.
pub(super) fn reset(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    if scene
        .running(PLAIN)?
        .rig
        .undetectable()
        .contains(Undetectable::RESET)
    {
        return not_applicable("the map: nobody can find out a reset under this configuration");
    }
    for read_max in [u8::MAX, 16] {
        for call in CALLS.into_iter().filter(|call| call.applies(scene)) {
            for moment in 0.. {
                let mut trial = scene.running(How { read_max, ..ONCE })?;
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
                after_reset(scene, notes, &mut trial, call, moment, answer)?;
            }
        }
    }
    Ok(())
}

fn after_reset(
    scene: &Scene<'_>,
    notes: &mut Notes,
    trial: &mut Trial<'_>,
    call: Asked,
    moment: usize,
    answer: Answer<()>,
) -> Checked {
    let when = format!("the part was reset before transfer {moment} of {call:?}");
    let captures = matches!(call, Asked::StartCapture | Asked::FetchCapture);
    // What was copied before the reset is whole; then the next sample tells.
    let fetched = captures && answer.is_ok();
    let next = match fetched {
        true => trial.rig.fetch_capture(0, &mut [0; 4]).map(|_| None),
        false => trial.settled().map(Some),
    };
    match next {
        Err(error)
            if matches!(
                error.fault(),
                Fault::Reset | Fault::Changed | Fault::NotConfigured | Fault::Identity
            ) => {}
        // It set the part up after the reset, or was before it had anything to lose.
        Ok(Some(seen))
            if scene.wrong(&seen).is_none() && matches!(call, Asked::Init | Asked::Configure) => {}
        other => {
            let wrong = match &other {
                Ok(Some(seen)) => scene.wrong(seen).unwrap_or_default(),
                _ => String::new(),
            };
            notes.find(format!(
                "{when}, {}, and the next sample: {} {wrong}: is the note of a reset looked at, \
                 last of all?",
                came(&answer),
                came(&other)
            ))?;
        }
    }
    trial.init(&scene.fast())?;
    if let Some(wrong) = scene.wrong(&trial.settled()?) {
        notes.find(format!("{when}; initialised again: {wrong}"))?;
    }
    Ok(())
}

/// A restarted firmware goes on: sums go on, flags are still told.
pub(super) fn resume(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    if !scene.stated.tells_writes {
        return not_applicable("datasheet: the part does not tell whether somebody wrote to it");
    }
    notes.tried();
    let (kind, channel) = (Kind::OverCurrent, scene.last());
    let code = scene.middle(kind);
    let limit = scene.limit(channel, kind, code);
    let mut trial = scene.running(PLAIN)?;
    trial.apply_all(Point {
        sense: code,
        rail: 1,
    });
    trial.settle();
    trial.limits(&[limit])?;
    trial.apply(
        channel,
        Point {
            sense: scene.beyond(kind, code, 1),
            rail: 1,
        },
    );
    trial.compared()?;
    trial.apply_own();
    let before = trial.settled()?;
    let token = trial.restart();
    trial.fixture.run_for_ns(5 * scene.period_ns(&trial.setup));
    let setup = trial.setup.clone();
    let resumed = trial.rig.resume(&setup, token);
    let Ok(seen) = resumed else {
        let came = came(&resumed);
        return notes.find(format!(
            "resume of a part that nobody touched; {came}: does resume itself write to what counts?"
        ));
    };
    if let Some(wrong) = scene.wrong(&seen) {
        notes.find(format!("resumed: {wrong}"))?;
    }
    let passed_ns = (seen.stamp.before_us - before.stamp.after_us) * 1_000;
    let scans = u64::from(seen.scans.wrapping_sub(before.scans));
    let expected = passed_ns / scene.period_ns(&setup);
    if scene.counts_scans() && setup.rate.is_some() && scans + 2 < expected {
        notes.find(format!(
            "{scans} scans in the time of {expected}: resume stopped conversions"
        ))?;
    }
    let after = trial.rig.token();
    if after.writes != token.writes {
        notes.find(format!(
            "resume changed the count of writes to {}: it wrote",
            after.writes
        ))?;
    }
    let mut told = AlertFlags::empty();
    trial.rig.set_limits(&Limits::new(&[limit]), &mut told)?;
    if scene.by_part(&limit) && !told.contains(flag(channel, kind)) {
        let told = names(told & AlertFlags::LIMITS);
        notes.find(format!(
            "a flag stood over the restart; {told} is told: resume cleared it"
        ))?;
    }
    trial.reset();
    let token = trial.restart();
    let answer = trial.rig.resume(&setup, token);
    if !is(&answer, &[Fault::Reset, Fault::Changed]) {
        let came = came(&answer);
        notes.find(format!(
            "resume of a part that was reset; {came}: expected Reset"
        ))?;
    }
    Ok(())
}

/// Somebody else writes to the part.
pub(super) fn foreign_writes(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    if !scene.stated.tells_writes {
        return not_applicable("datasheet: the part does not tell whether somebody wrote to it");
    }
    let other_setups = [
        (
            "another averaging",
            Setup {
                averaging_log2: 1,
                ..scene.fast()
            },
        ),
        ("the same configuration", scene.fast()),
    ];
    for (what, other_setup) in other_setups {
        notes.tried();
        let mut trial = scene.running(PLAIN)?;
        trial.settled()?;
        let token = trial.rig.token();
        let mut other = scene.subject.rig(&trial.tap, Face::Blocking, u8::MAX, 1);
        if other_setup.averaging_log2 > scene.info.averaging_log2_max {
            continue;
        }
        other.init(&other_setup)?;
        trial.settle();
        let answer = trial.settled();
        let hint = "is the part's count of writes compared?";
        if !is(&answer, &[Fault::Changed]) {
            let came = came(&answer);
            notes.find(format!(
                "another host wrote {what}; the next sample: {came}: {hint}"
            ))?;
        }
        let setup = trial.setup.clone();
        trial.restart();
        let stale = ResumeToken { ..token };
        let answer = trial.rig.resume(&setup, stale);
        if !is(&answer, &[Fault::Changed]) {
            let came = came(&answer);
            notes.find(format!(
                "another host wrote {what}; resume by an old token: {came}: {hint}"
            ))?;
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
            let full = scene.full();
            let fresh = Point {
                sense: full.sense * turn / 5,
                rail: full.rail * turn / 5,
            };
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
