use super::Pmbus;
use super::declaration::Device;
use super::effort::effort;
use super::sample::Verdict;
use super::walk::{Next, Place};
use crate::alert::{Causes, Judge, Plan};
use crate::exchange::{Effort, Fault, Misuse, Step, Turn};
use crate::frame::Stamp;
use crate::part::make_up::{Kept, Sums, possible};
use crate::part::{Codec, Codes, Counters, Head, Joint, Part, Spec};
use crate::sampling::{Ranges, Sampling};
use crate::{Channel, Task};

/// What an operation consists of.
#[derive(Clone, Copy)]
enum Phase {
    Identify,
    MuteQuestions,
    FindQuery,
    Learn,
    Quiet,
    Sample,
    Verify,
    Unmark,
    Arm,
    Mark,
    Look,
}

enum Job<'j> {
    Init(&'j Sampling<'j>),
    Attach,
    Latch,
    Configure(&'j Sampling<'j>),
    Arm(&'j Sampling<'j>, &'j Plan<'j>, &'j mut Causes),
    Look(Causes, &'j mut Causes, &'j mut bool),
}

impl Job<'_> {
    const fn phases(&self) -> &'static [Phase] {
        use Phase::*;
        match self {
            Self::Init(_) => &[
                Identify,
                MuteQuestions,
                FindQuery,
                Learn,
                Quiet,
                Mark,
                Sample,
                Verify,
            ],
            Self::Attach => &[Identify, FindQuery, Learn, Sample, Verify],
            Self::Latch => &[Sample, Verify],
            Self::Configure(_) => &[Sample, Verify, Mark],
            // A change that stops half-way leaves the mark of a device that was never set up.
            Self::Arm(..) => &[Quiet, Sample, Verify, Unmark, Arm, Mark],
            Self::Look(..) => &[Look],
        }
    }
}

impl<D: Device, const N: usize> Pmbus<D, N> {
    fn run(&mut self, turn: &mut Turn<'_>, job: &mut Job<'_>) -> Result<Step, Fault> {
        if turn.stage == 0 {
            (turn.stage, self.at, self.suspect) = (1, Place::START, None);
        }
        loop {
            let phases = job.phases();
            let Some(phase) = phases.get(usize::from(self.at.phase)) else {
                return Ok(Step::Done);
            };
            match self.phase(*phase, turn, job)? {
                Next::Do(step) => return Ok(step),
                Next::Go => {}
                Next::Over => {
                    let phase = self.at.phase.wrapping_add(1); // below nine
                    self.at = Place {
                        phase,
                        ..Place::START
                    };
                }
                Next::Done => return Ok(Step::Done),
            }
        }
    }

    fn phase(
        &mut self,
        phase: Phase,
        turn: &mut Turn<'_>,
        job: &mut Job<'_>,
    ) -> Result<Next, Fault> {
        match (phase, job) {
            (Phase::Identify, _) => self.identify(turn),
            (Phase::FindQuery, _) => self.find_query(turn),
            (Phase::MuteQuestions, _) => self.mute_questions(turn),
            (Phase::Learn, _) => self.learn(turn),
            (Phase::Quiet, Job::Arm(_, plan, found)) => {
                possible(plan)?;
                self.quiet(turn, Some(found))
            }
            (Phase::Quiet, _) => self.quiet(turn, None),
            (Phase::Sample, _) => self.sample(turn),
            (Phase::Verify, job) => self.verified(turn, job),
            (Phase::Unmark, Job::Arm(_, plan, _)) => {
                // Old limits or new ones, until the change is through.
                self.by_part |= self.compared(plan);
                Ok(self.put_mark(None))
            }
            (Phase::Arm, Job::Arm(_, plan, _)) => self.arm_pages(turn, plan),
            (Phase::Mark, job) => Ok(self.mark_set_up(job)),
            (Phase::Look, Job::Look(interest, found, more)) => {
                let mut seen = Causes::empty();
                let next = self.look_pages(turn, *interest, &mut seen);
                **found |= seen;
                **more |= !seen.is_empty();
                next
            }
            (Phase::Unmark | Phase::Arm | Phase::Look, _) => Ok(Next::Over),
        }
    }

    /// A sample is in, and the mark behind it.
    fn verified(&mut self, turn: &mut Turn<'_>, job: &mut Job<'_>) -> Result<Next, Fault> {
        match self.verify(turn)? {
            Verdict::Open(step) => return Ok(Next::Do(step)),
            Verdict::Reset if matches!(job, Job::Init(_) | Job::Attach) => {
                return Err(Fault::ResetSeen);
            }
            // The frame says so itself.
            Verdict::Reset => return Ok(Next::Done),
            Verdict::Ours => {}
        }
        self.judge_all();
        if let Job::Arm(_, _, found) = job {
            **found |= self.judge.causes();
            self.judge = Judge::idle();
        }
        Ok(Next::Over)
    }

    fn put_mark(&mut self, serial: Option<u16>) -> Next {
        match D::DECLARATION.mark {
            Some(mark) if self.at.step == 0 => {
                self.at.step = 1;
                Next::Do(Step::Put(Self::marking(mark, serial)))
            }
            _ => Next::Over,
        }
    }

    /// A further set-up: its serial goes to the mark, then it is remembered.
    fn mark_set_up(&mut self, job: &Job<'_>) -> Next {
        let serial = self.serial.wrapping_add(1).max(1);
        self.coming = Some(serial);
        let next = self.put_mark(self.coming);
        if !matches!(next, Next::Over) {
            return next;
        }
        (self.serial, self.coming) = (serial, None);
        match job {
            Job::Init(sampling) => {
                (self.now, self.next) = (Kept::of(sampling), None);
                (self.sums, self.judge) = (Sums::new(), Judge::idle());
                self.by_part = Causes::empty();
                self.shown = [super::Shown::NOTHING; N];
            }
            Job::Configure(sampling) => self.next = Some(Kept::of(sampling)),
            Job::Arm(sampling, plan, _) => {
                self.by_part = self.compared(plan);
                self.judge = Judge::of(plan, plan.watched().difference(self.by_part));
                self.next = Some(Kept::of(sampling));
            }
            Job::Attach | Job::Latch | Job::Look(..) => {}
        }
        Next::Over
    }
}

impl<D: Device, const N: usize> Codec for Pmbus<D, N> {
    fn spec(&self) -> &'static Spec {
        &D::DECLARATION.spec
    }

    fn head(&self, _block: &[u8]) -> Head {
        Head {
            serial: self.serial,
            mode: self.now.mode,
            averaging: 0,
            reset_seen: self.reset_seen,
            complete: self.complete,
            rounds: self.sums.elapsed_us(),
        }
    }

    fn ranges(&self, _block: &[u8], channel: Channel) -> Option<Ranges> {
        let page = D::DECLARATION.pages.get(channel.index())?;
        self.is_enabled(channel).then_some(page.ranges)
    }

    fn codes(&self, _block: &[u8], channel: Channel) -> Codes {
        self.shown
            .get(channel.index())
            .filter(|_| self.is_enabled(channel))
            .map_or_else(Codes::default, |shown| shown.codes)
    }

    fn counters(&self, _block: &[u8], channel: Channel) -> Counters {
        self.sums.counters(channel)
    }
}

impl<D: Device, const N: usize> Part for Pmbus<D, N> {
    /// Room for one answer; what is made of it is kept decoded.
    type Block = [u8; 8];
    const EMPTY: Self::Block = [0; 8];
    const CHECKED: bool = D::DECLARATION.checked;
    const ASKS: bool = true;

    fn check(&self, sampling: &Sampling<'_>) -> Result<(), Fault> {
        sampling
            .check(&D::DECLARATION.spec)
            .map_err(Fault::Misuse)?;
        let asked = Channel::first(u8::MAX).zip(D::DECLARATION.pages);
        for ((channel, page), ranges) in asked.zip(sampling.channels) {
            let misuse = match ranges {
                Some(ranges) if ranges.sense != page.ranges.sense => {
                    Misuse::NoSuchSenseRange(channel)
                }
                Some(ranges) if ranges.bus != page.ranges.bus => Misuse::NoSuchBusRange(channel),
                _ => continue,
            };
            return Err(Fault::Misuse(misuse));
        }
        Ok(())
    }

    fn init(
        &mut self,
        turn: &mut Turn<'_>,
        sampling: &Sampling<'_>,
        _read_max: u8,
    ) -> Result<Step, Fault> {
        self.run(turn, &mut Job::Init(sampling))
    }

    fn attach(&mut self, turn: &mut Turn<'_>, joint: &Joint, _read_max: u8) -> Result<Step, Fault> {
        if turn.stage == 0 {
            if D::DECLARATION.mark.is_none() {
                return Err(Fault::ResetSeen);
            }
            *self = Self::new();
            self.serial = joint.serial;
        }
        self.run(turn, &mut Job::Attach)
    }

    fn latch(&mut self, turn: &mut Turn<'_>, _read_max: u8) -> Result<Step, Fault> {
        self.run(turn, &mut Job::Latch)
    }

    fn configure(
        &mut self,
        turn: &mut Turn<'_>,
        sampling: &Sampling<'_>,
        _read_max: u8,
    ) -> Result<Step, Fault> {
        self.run(turn, &mut Job::Configure(sampling))
    }

    fn arm(
        &mut self,
        turn: &mut Turn<'_>,
        sampling: &Sampling<'_>,
        plan: &Plan<'_>,
        found: &mut Causes,
        _read_max: u8,
    ) -> Result<Step, Fault> {
        self.run(turn, &mut Job::Arm(sampling, plan, found))
    }

    fn look(
        &mut self,
        turn: &mut Turn<'_>,
        interest: Causes,
        found: &mut Causes,
        more: &mut bool,
    ) -> Result<Step, Fault> {
        *found |= self.judged(interest);
        self.run(turn, &mut Job::Look(interest, found, more))
    }

    fn judged(&mut self, interest: Causes) -> Causes {
        let seen = self.judge.causes() & interest;
        self.judge.clear(seen);
        seen
    }

    /// There is never a burst: [`check`](Self::check) refuses its set-up.
    fn fetch(
        &mut self,
        _turn: &mut Turn<'_>,
        _codes: &mut [i32],
        _count: &mut usize,
    ) -> Result<Step, Fault> {
        Ok(Step::Done)
    }

    fn effort(task: Task, _read_max: u8) -> Effort {
        effort::<D, N>(task)
    }

    fn joint(&self) -> Joint {
        Joint {
            serial: self.serial,
        }
    }

    fn settle(&mut self, task: Task, _block: &mut [u8], stamp: Stamp) -> Stamp {
        if self.reset_seen {
            return stamp;
        }
        self.complete = task != Task::Init;
        let mut sums = self.sums;
        sums.add(stamp, |channel| self.taken(channel));
        self.sums = sums;
        self.keep_counts();
        stamp
    }
}
