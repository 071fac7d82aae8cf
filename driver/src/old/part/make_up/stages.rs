//! The operations of a made-up part as bus steps: one order of stages, in which each operation has its way.

use super::made_up::{Coming, Own};
use super::{MadeUp, Registers, Sums};
use crate::old::Channel;
use crate::old::alert::{Cause, Causes, Judge, Kind, Outputs, Plan};
use crate::old::exchange::{Fault, Misuse, Step, Turn};
use crate::old::part::{Joint, Source};
use crate::old::sampling::Sampling;

/// What is being done.
pub(super) enum Job<'j> {
    Init(&'j Sampling<'j>),
    Attach(&'j Joint),
    Latch,
    Configure(&'j Sampling<'j>),
    Arm(&'j Sampling<'j>, &'j Plan<'j>, &'j mut Causes),
    Look(Causes, &'j mut Causes, &'j mut bool),
}

/// A porter's list has at most so many steps.
pub(super) const LIST: u8 = 32;
const KINDS: u8 = Kind::ALL.len() as u8;
/// Channels whose limits have stages: as many as there are causes for.
const LIMITS_OF_ALL: u8 = 12 * KINDS;

const IDENTITY: u8 = 0;
const IDENTIFIED: u8 = 1;
const OLD_MARK: u8 = 2;
const RESTART: u8 = OLD_MARK + 1;
// From here on until the end the part has a mark that no firmware joins.
const INTERIM: u8 = RESTART + LIST;
// Under old limits nothing may come after the causes were read.
const MUTE: u8 = INTERIM + 1;
const DISARM: u8 = MUTE + 1;
const READ_CAUSES: u8 = DISARM + LIMITS_OF_ALL;
const CLEAR: u8 = READ_CAUSES + 1;
const CLEARED: u8 = CLEAR + 1;
const TRIGGER: u8 = CLEARED + 1;
const WAIT: u8 = TRIGGER + 1;
const READ: u8 = WAIT + 1;
const UNMARK: u8 = READ + LIST;
const SET_UP: u8 = UNMARK + 1;
const LIMITS: u8 = SET_UP + LIST;
const UNMASK: u8 = LIMITS + LIMITS_OF_ALL;
// A reset in the middle has taken the interim mark, and with it whatever was set up.
const CHECK: u8 = UNMASK + 1;
const MARK: u8 = CHECK + 1;
const MARKED: u8 = MARK + 1;
const READ_BACK: u8 = MARKED + 1;

/// How often results are read, or waited for, before the operation gives up.
pub(super) const TRIES: u8 = 3;
/// How it goes on.
enum Way {
    /// The step, then the following stage.
    Do(Step),
    /// The step, then this stage.
    Then(Step, u8),
    /// The following stage at once.
    Skip,
    /// This stage at once.
    Go(u8),
    Done,
}

impl<R: Registers, const N: usize> MadeUp<R, N> {
    pub(super) fn stage(&mut self, turn: &mut Turn<'_>, job: &mut Job<'_>) -> Result<Step, Fault> {
        loop {
            match self.way(turn, job)? {
                Way::Do(step) => return Ok(turn.next(step)),
                Way::Then(step, stage) => return Ok(turn.then(stage, step)),
                Way::Skip => turn.stage = turn.stage.wrapping_add(1), // far from the last
                Way::Go(stage) => turn.stage = stage,
                Way::Done => return Ok(Step::Done),
            }
        }
    }

    fn way(&mut self, turn: &mut Turn<'_>, job: &mut Job<'_>) -> Result<Way, Fault> {
        let at = turn.stage;
        Ok(match at {
            IDENTITY => match job {
                Job::Init(_) | Job::Attach(_) => Way::Do(R::identity()),
                Job::Latch | Job::Configure(_) => Way::Go(TRIGGER),
                Job::Arm(_, plan, _) => {
                    possible(plan)?;
                    Way::Then(read_mark::<R>(), OLD_MARK)
                }
                Job::Look(..) => Way::Go(READ_CAUSES),
            },
            IDENTIFIED => {
                R::identified(turn.block)?;
                match job {
                    Job::Attach(_) => Way::Go(TRIGGER),
                    _ => Way::Then(read_mark::<R>(), OLD_MARK),
                }
            }
            OLD_MARK => self.marked_before(R::state(turn.block).mark, job)?,
            RESTART..INTERIM => list(R::restart(at.wrapping_sub(RESTART)), UNMARK),
            INTERIM => Way::Do(R::mark(interim(self.serial))),
            MUTE => list(R::unmask(Causes::empty()), DISARM),
            DISARM..READ_CAUSES => {
                let (channel, kind) = numbered(at.wrapping_sub(DISARM));
                limit::<R>(channel, kind, None)
            }
            READ_CAUSES => match R::read_causes() {
                Some(step) => Way::Do(step),
                None => after_causes(job),
            },
            CLEAR => self.clear(turn, job),
            CLEARED => after_causes(job),
            // One that was asked for and never waited for may be in progress still, and a part may ignore another until it is over.
            TRIGGER if core::mem::take(&mut self.asked) => {
                Way::Then(Step::Wait(R::CONVERSION_US), TRIGGER)
            }
            TRIGGER => {
                (turn.tries, self.asked) = (0, true);
                Way::Do(R::trigger())
            }
            WAIT => Way::Do(Step::Wait(R::CONVERSION_US)),
            READ..UNMARK => match R::read(at.wrapping_sub(READ)) {
                Some(step) => Way::Do(step),
                None => self.taken(turn, job)?,
            },
            MARK => self.mark(R::state(turn.block).mark, job)?,
            READ_BACK => self.changed(R::state(turn.block).mark, job)?,
            _ => self.set_up(at, job),
        })
    }

    /// What was read of causes is told and cleared: for a look what is asked for, before a change all.
    fn clear(&mut self, turn: &Turn<'_>, job: &mut Job<'_>) -> Way {
        let set = R::causes(turn.block);
        let cleared = match job {
            Job::Look(interest, found, more) => {
                let seen = set & self.by_part & *interest;
                // Before it is cleared: should the clearing fail, it may have taken effect nevertheless.
                **found |= seen;
                **more = !seen.is_empty();
                seen
            }
            Job::Arm(_, _, found) => {
                **found |= set & self.by_part;
                set
            }
            _ => Causes::empty(),
        };
        match R::clear(cleared) {
            Some(step) if !cleared.is_empty() => Way::Then(step, CLEARED),
            _ => after_causes(job),
        }
    }

    /// What mark the part had before: a new one counts on from it, and a change begins from ours alone, or from one of ours that stopped half-way.
    fn marked_before(&mut self, mark: u16, job: &Job<'_>) -> Result<Way, Fault> {
        if let Job::Init(_) = job {
            // Two bits away from it at the least, and never what another firmware's restart would make of its own.
            self.serial = mark.wrapping_add(0x0100);
            return Ok(Way::Go(RESTART));
        }
        self.settle_mark(mark);
        self.reset_seen = mark == 0;
        if self.reset_seen {
            Ok(Way::Done)
        } else if mark == self.serial || mark == interim(self.serial) {
            Ok(Way::Go(INTERIM))
        } else {
            Err(self.foreign(mark))
        }
    }

    /// A mark whose writing came to no end is found after all: that set-up is in force.
    fn settle_mark(&mut self, mark: u16) {
        if let Some(coming) = self.coming.take_if(|coming| coming.serial == mark) {
            (self.serial, self.now, self.next) = (mark, coming.own, None);
            (self.judge, self.by_part) = (coming.judge, coming.by_part);
            self.sums.forget();
        }
    }

    const fn foreign(&self, mark: u16) -> Fault {
        Fault::SetUpChanged {
            expected: self.serial,
            got: mark,
        }
    }

    /// A sample is in: is it the one asked for, and of our set-up? Then its limits are judged.
    fn taken(&mut self, turn: &mut Turn<'_>, job: &mut Job<'_>) -> Result<Way, Fault> {
        let state = R::state(turn.block);
        self.settle_mark(state.mark);
        // Before anything else: a count of conversions that began anew may be any number. A change that stopped half-way has left nothing to go on from.
        let arming = matches!(job, Job::Arm(..));
        let half_way = state.mark == interim(self.serial) && !arming;
        self.reset_seen = state.mark == 0 || half_way;
        if self.reset_seen {
            return match job {
                Job::Init(_) | Job::Attach(_) => Err(Fault::ResetSeen),
                _ => Ok(Way::Done),
            };
        }
        let fault = match (self.sequence, state.sequence) {
            _ if state.busy => Some(Fault::Busy),
            (Some(last), Some(now)) if last == now => Some(Fault::Stale {
                expected: now.wrapping_add(1) as u8,
                got: now as u8,
            }),
            _ => None,
        };
        let wait = Step::Wait(R::CONVERSION_US);
        if let Some(fault) = fault {
            let again = turn.again(READ, wait, TRIES, fault);
            return again.map(|step| Way::Then(step, READ));
        }
        let expected = match job {
            Job::Attach(joint) => joint.serial,
            Job::Arm(..) => interim(self.serial),
            _ => self.serial,
        };
        if state.mark != expected {
            let got = state.mark;
            return Err(Fault::SetUpChanged { expected, got });
        }
        if let Job::Attach(joint) = job {
            self.join(joint, turn.block);
        }
        if let Some(next) = self.next.take() {
            self.now = next;
            self.sums.forget();
        }
        if !self.in_our_ranges(turn.block) {
            let again = turn.again(READ, wait, TRIES, self.foreign(state.mark));
            return again.map(|step| Way::Then(step, READ));
        }
        (self.sequence, self.asked, self.coming) = (state.sequence, false, None);
        self.judge_all(turn.block);
        Ok(match job {
            Job::Init(_) | Job::Attach(_) | Job::Latch | Job::Look(..) => Way::Done,
            Job::Configure(_) => Way::Go(UNMARK),
            Job::Arm(_, _, found) => {
                **found |= self.judge.causes();
                self.judge = Judge::idle();
                Way::Go(SET_UP)
            }
        })
    }

    /// Whether every enabled channel was converted in the ranges that were put into the part.
    fn in_our_ranges(&self, block: &[u8]) -> bool {
        Channel::first(u8::MAX)
            .zip(&self.now.ranges)
            .filter(|(channel, _)| self.is_enabled(*channel))
            .all(|(channel, ranges)| {
                ranges.is_none_or(|ranges| ranges == R::ranges(block, channel))
            })
    }

    fn judge_all(&mut self, block: &[u8]) {
        for (channel, _) in Channel::first(u8::MAX).zip([(); N]) {
            let ranges = crate::old::part::Codec::ranges(self, block, channel);
            let codes = self.results(block, channel);
            self.judge.channel(channel, ranges, &codes);
        }
    }

    fn set_up(&mut self, at: u8, job: &mut Job<'_>) -> Way {
        let (sampling, plan) = match job {
            Job::Init(sampling) | Job::Configure(sampling) => (*sampling, None),
            Job::Arm(sampling, plan, _) => (*sampling, Some(*plan)),
            Job::Attach(_) | Job::Latch | Job::Look(..) => return Way::Done,
        };
        let by_part = plan.map_or(Causes::empty(), |plan| plan.judged_by(Source::Part));
        match at {
            UNMARK => {
                // Old limits or new ones, until the change is through.
                self.by_part |= by_part;
                Way::Do(R::mark(interim(self.serial)))
            }
            SET_UP..LIMITS => list(R::set_up(at.wrapping_sub(SET_UP), sampling), LIMITS),
            LIMITS..UNMASK => {
                let (channel, kind) = numbered(at.wrapping_sub(LIMITS));
                match plan.and_then(|plan| plan.code(channel, kind)) {
                    Some(code) if by_part.contains(Causes::of(Cause::Limit(channel, kind))) => {
                        limit::<R>(channel, kind, Some(code))
                    }
                    _ => Way::Skip,
                }
            }
            UNMASK => match plan {
                Some(plan) => list(R::unmask(plan.mask(outputs::<R>()) & by_part), CHECK),
                None => Way::Skip,
            },
            _ => Way::Do(read_mark::<R>()), // CHECK, MARKED
        }
    }

    /// The interim mark is there still, or whatever was set up is gone; then the new one.
    fn mark(&mut self, found: u16, job: &Job<'_>) -> Result<Way, Fault> {
        self.reset_seen = found == 0;
        match job {
            Job::Init(_) if self.reset_seen => return Err(Fault::ResetSeen),
            _ if self.reset_seen => return Ok(Way::Done),
            _ if found != interim(self.serial) => return Err(self.foreign(found)),
            _ => {}
        }
        let serial = self.serial.wrapping_add(1).max(1);
        let (own, judge, by_part) = match job {
            Job::Init(sampling) => (Own::of(sampling), Judge::idle(), Causes::empty()),
            Job::Configure(sampling) => (Own::of(sampling), self.judge, self.by_part),
            Job::Arm(sampling, plan, _) => {
                let by_part = plan.judged_by(Source::Part);
                (Own::of(sampling), Judge::of_driver(plan), by_part)
            }
            Job::Attach(_) | Job::Latch | Job::Look(..) => return Ok(Way::Done),
        };
        self.coming = Some(Coming {
            serial,
            own,
            judge,
            by_part,
        });
        // Written and then read, and not put: what is put is written again where it does not read back, which would cover a reset's zero.
        Ok(Way::Do(match R::mark(serial) {
            Step::Put(command) => Step::Write(command),
            step => step,
        }))
    }

    /// Where the new mark reads back the change is through, and takes over with the next sample.
    fn changed(&mut self, found: u16, job: &Job<'_>) -> Result<Way, Fault> {
        let Some(coming) = self.coming.take_if(|coming| coming.serial == found) else {
            self.reset_seen = found == 0;
            return match job {
                Job::Init(_) if self.reset_seen => Err(Fault::ResetSeen),
                _ if self.reset_seen => Ok(Way::Done),
                _ => Err(self.foreign(found)),
            };
        };
        self.serial = coming.serial;
        (self.judge, self.by_part) = (coming.judge, coming.by_part);
        if let Job::Init(_) = job {
            (self.now, self.next) = (coming.own, None);
            (self.sums, self.sequence, self.asked) = (Sums::new(), None, false);
            return Ok(Way::Go(TRIGGER));
        }
        self.next = Some(coming.own);
        Ok(Way::Done)
    }

    /// Of a part that runs nothing is known but its mark and what it shows.
    fn join(&mut self, joint: &Joint, block: &[u8]) {
        *self = Self::new();
        self.serial = joint.serial;
        for (channel, ranges) in Channel::first(u8::MAX).zip(&mut self.now.ranges) {
            *ranges = Some(R::ranges(block, channel));
        }
    }
}

/// Between two marks of ours: neither of them, nor a reset's.
const fn interim(serial: u16) -> u16 {
    match serial ^ 0x8181 {
        0 => 0x4242,
        mark => mark,
    }
}

/// Reads the mark to its own place: the last of the porter's reads.
pub(super) fn read_mark<R: Registers>() -> Step {
    (0..LIST).map_while(R::read).last().unwrap_or(Step::Done)
}

/// A look is over with its causes; a change goes on with the sample that ends the set-up before.
fn after_causes(job: &Job<'_>) -> Way {
    match job {
        Job::Look(..) => Way::Done,
        _ => Way::Go(TRIGGER),
    }
}

/// The step, or where its list ends.
fn list(step: Option<Step>, past: u8) -> Way {
    step.map_or(Way::Go(past), Way::Do)
}

fn limit<R: Registers>(channel: Channel, kind: Kind, code: Option<i64>) -> Way {
    if channel.number() >= R::SPEC.channels || !R::SPEC.alerts.kinds.contains(&kind) {
        return Way::Skip;
    }
    R::limit(channel, kind, code).map_or(Way::Skip, Way::Do)
}

/// The outputs whose causes the part's own output stands for: on a part with one, both.
fn outputs<R: Registers>() -> Outputs {
    Outputs::A | Outputs::B.difference(R::SPEC.alerts.outputs)
}

/// Channel and kind of a limit, counted through all channels.
fn numbered(number: u8) -> (Channel, Kind) {
    let kind = Kind::ALL.get(usize::from(number % KINDS));
    (
        Channel::new(number / KINDS),
        kind.copied().unwrap_or(Kind::OverVoltage),
    )
}

/// Refuses what no such part can tell.
pub(in crate::old::part) fn possible(plan: &Plan<'_>) -> Result<(), Fault> {
    let watches = plan.watches();
    let own = [
        (Cause::RolloverAhead, watches.rollover_ahead),
        (Cause::RoundDone, watches.round_done),
        (Cause::ResetSeen, watches.reset_seen),
    ];
    let asked = own.into_iter().find(|(_, outputs)| !outputs.is_empty());
    match asked {
        Some((cause, _)) => Err(Fault::Misuse(Misuse::NotTold(cause))),
        None => Ok(()),
    }
}
