//! The operations of a made-up part as bus steps: one order of stages, in which each operation has its way.

use super::made_up::Kept;
use super::{MadeUp, Registers, Sums};
use crate::Channel;
use crate::alert::{Cause, Causes, Judge, Kind, Outputs, Plan};
use crate::exchange::{Fault, Misuse, Step, Turn};
use crate::part::{Joint, Source};
use crate::sampling::Sampling;

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
const RESTART: u8 = 2;
// Under old limits nothing may come after the causes were read.
const MUTE: u8 = RESTART + LIST;
const DISARM: u8 = MUTE + 1;
const READ_CAUSES: u8 = DISARM + LIMITS_OF_ALL;
const CLEAR: u8 = READ_CAUSES + 1;
const CLEARED: u8 = CLEAR + 1;
const TRIGGER: u8 = CLEARED + 1;
const WAIT: u8 = TRIGGER + 1;
const READ: u8 = WAIT + 1;
// A change that stops half-way leaves the mark of a part that was never set up.
const UNMARK: u8 = READ + LIST;
const SET_UP: u8 = UNMARK + 1;
const LIMITS: u8 = SET_UP + LIST;
const UNMASK: u8 = LIMITS + LIMITS_OF_ALL;
const MARK: u8 = UNMASK + 1;

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
                    Way::Go(MUTE)
                }
                Job::Look(..) => Way::Go(READ_CAUSES),
            },
            IDENTIFIED => {
                R::identified(turn.block)?;
                match job {
                    Job::Attach(joint) => {
                        self.join(joint);
                        Way::Go(TRIGGER)
                    }
                    _ => Way::Go(RESTART),
                }
            }
            RESTART..MUTE => list(R::restart(at.wrapping_sub(RESTART)), SET_UP),
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
            TRIGGER => {
                turn.tries = 0;
                Way::Do(R::trigger())
            }
            WAIT => Way::Do(Step::Wait(R::CONVERSION_US)),
            READ..UNMARK => match R::read(at.wrapping_sub(READ)) {
                Some(step) => Way::Do(step),
                None => self.taken(turn, job)?,
            },
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

    /// A sample is in: is it the one asked for, and of our set-up? Then its limits are judged.
    fn taken(&mut self, turn: &mut Turn<'_>, job: &mut Job<'_>) -> Result<Way, Fault> {
        let state = R::state(turn.block);
        // Before anything else: a count of conversions that began anew may be any number.
        self.reset_seen = state.mark == 0;
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
        if let Some(fault) = fault {
            let wait = Step::Wait(R::CONVERSION_US);
            return turn
                .again(READ, wait, TRIES, fault)
                .map(|step| Way::Then(step, READ));
        }
        self.sequence = state.sequence;
        if state.mark != self.serial {
            return Err(Fault::SetUpChanged {
                expected: self.serial,
                got: state.mark,
            });
        }
        if let Some(next) = self.next.take() {
            self.now = next;
            self.sums.forget();
        }
        self.judge_all(turn.block);
        Ok(match job {
            Job::Init(_) | Job::Attach(_) | Job::Latch | Job::Look(..) => Way::Done,
            Job::Configure(_) => Way::Go(UNMARK),
            Job::Arm(_, _, found) => {
                **found |= self.judge.causes();
                self.judge = Judge::idle();
                Way::Go(UNMARK)
            }
        })
    }

    fn judge_all(&mut self, block: &[u8]) {
        for (channel, _) in Channel::first(u8::MAX).zip([(); N]) {
            let ranges = crate::part::Codec::ranges(self, block, channel);
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
                Way::Do(R::mark(0))
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
                Some(plan) => list(R::unmask(plan.mask(outputs::<R>()) & by_part), MARK),
                None => Way::Skip,
            },
            MARK => {
                self.serial = self.serial.wrapping_add(1).max(1);
                Way::Do(R::mark(self.serial))
            }
            _ => {
                let kept = Kept::of(sampling);
                match job {
                    Job::Init(_) => {
                        (self.now, self.next) = (kept, None);
                        (self.sums, self.judge) = (Sums::new(), Judge::idle());
                        (self.by_part, self.sequence) = (Causes::empty(), None);
                        return Way::Go(TRIGGER);
                    }
                    Job::Arm(_, plan, _) => {
                        (self.judge, self.by_part) = (Judge::of_driver(plan), by_part);
                    }
                    _ => {}
                }
                self.next = Some(kept);
                Way::Done
            }
        }
    }

    /// Of a part that runs nothing is known but its mark.
    fn join(&mut self, joint: &Joint) {
        *self = Self::new();
        self.serial = joint.serial;
    }
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
pub(in crate::part) fn possible(plan: &Plan<'_>) -> Result<(), Fault> {
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
