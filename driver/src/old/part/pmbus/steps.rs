use super::Pmbus;
use super::declaration::Device;
use super::effort::effort;
use super::sample::{Marking, ONLY_MARK, Verdict};
use super::walk::{Next, Place};
use crate::old::alert::{Causes, Judge, Plan};
use crate::old::exchange::{Effort, Fault, Misuse, Step, Turn};
use crate::old::frame::Stamp;
use crate::old::part::make_up::{Kept, Sums, possible};
use crate::old::part::{Codec, Codes, Counters, Head, Joint, Part, Spec};
use crate::old::sampling::{Ranges, Sampling};
use crate::old::{Channel, Task};

/// What an operation consists of.
#[derive(Clone, Copy)]
enum Phase {
    Identify,
    /// Counts on from the mark that is there.
    Recall,
    /// The interim mark: a set-up is being changed.
    Open,
    MuteQuestions,
    FindQuery,
    Learn,
    Quiet,
    Sample,
    Verify,
    Arm,
    /// Is the mark still there?
    Confirm,
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
                Recall,
                Open,
                MuteQuestions,
                FindQuery,
                Learn,
                Quiet,
                Confirm,
                Mark,
                Sample,
                Verify,
            ],
            Self::Attach => &[Identify, FindQuery, Learn, Sample, Verify],
            Self::Latch => &[Sample, Verify],
            Self::Configure(_) => &[Sample, Verify, Mark],
            // A change that stops anywhere half-way leaves a mark that nobody takes for a set-up, and a reset on the way is found by its absence.
            Self::Arm(..) => &[Confirm, Open, Quiet, Sample, Verify, Arm, Confirm, Mark],
            Self::Look(..) => &[Look],
        }
    }
}

impl<D: Device, const N: usize> Pmbus<D, N> {
    fn run(&mut self, turn: &mut Turn<'_>, job: &mut Job<'_>) -> Result<Step, Fault> {
        if turn.stage == 0 {
            (turn.stage, self.at) = (1, Place::START);
            (self.suspect, self.change) = (None, None);
            if let Job::Arm(_, plan, _) = job {
                possible(plan)?;
            }
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
                    let phase = self.at.phase.wrapping_add(1); // at most eleven
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
            (Phase::Recall, _) => self.recall(turn),
            (Phase::Open, job) => {
                let serial = self.change.unwrap_or(after(self.serial));
                self.change = Some(serial);
                self.put_mark(turn, job, Marking::Interim(serial))
            }
            (Phase::Quiet, Job::Arm(_, _, found)) => self.quiet(turn, Some(found)),
            (Phase::Quiet, _) => self.quiet(turn, None),
            (Phase::Sample, _) => self.sample(turn),
            (Phase::Verify, job) => self.verified(turn, job),
            (Phase::Confirm, job) => self.confirmed(turn, job),
            (Phase::Arm, Job::Arm(_, plan, _)) => self.arm_pages(turn, plan),
            (Phase::Mark, job) => self.mark_set_up(turn, job),
            (Phase::Look, Job::Look(interest, found, more)) => {
                let mut seen = Causes::empty();
                let next = self.look_pages(turn, *interest, &mut seen);
                **found |= seen;
                **more |= !seen.is_empty();
                next
            }
            (Phase::Arm | Phase::Look, _) => Ok(Next::Over),
        }
    }

    /// A sample is in, and the mark behind it.
    fn verified(&mut self, turn: &mut Turn<'_>, job: &mut Job<'_>) -> Result<Next, Fault> {
        let next = self.verdict(turn, job)?;
        if matches!(next, Next::Over) {
            self.judge_all();
            if let Job::Arm(_, _, found) = job {
                **found |= self.judge.causes();
                self.judge = Judge::idle();
            }
        }
        Ok(next)
    }

    /// The mark alone.
    fn confirmed(&mut self, turn: &mut Turn<'_>, job: &Job<'_>) -> Result<Next, Fault> {
        if D::DECLARATION.mark.is_none() {
            return Ok(Next::Over);
        }
        self.at.step = self.at.step.max(ONLY_MARK);
        self.verdict(turn, job)
    }

    fn verdict(&mut self, turn: &mut Turn<'_>, job: &Job<'_>) -> Result<Next, Fault> {
        match self.verify(turn)? {
            Verdict::Open(step) => Ok(Next::Do(step)),
            Verdict::Reset => Self::reset(job),
            Verdict::Ours => Ok(Next::Over),
        }
    }

    fn reset(job: &Job<'_>) -> Result<Next, Fault> {
        match job {
            Job::Init(_) | Job::Attach => Err(Fault::ResetSeen),
            // The frame says so itself.
            _ => Ok(Next::Done),
        }
    }

    /// Another host that runs this driver may have set the device up: its serial is not put a second time.
    fn recall(&mut self, turn: &mut Turn<'_>) -> Result<Next, Fault> {
        let Some(mark) = D::DECLARATION.mark else {
            return Ok(Next::Over);
        };
        if self.at.step == 0 {
            self.at.step = 1;
            return Ok(Next::Do(Self::read_mark(mark)));
        }
        let found = match Self::mark_read(turn, mark)? {
            Ok(Marking::Whole(serial) | Marking::Interim(serial)) => serial,
            Ok(Marking::None) | Err(_) => self.serial,
        };
        self.change = Some(after(found));
        Ok(Next::Over)
    }

    /// Written, and read back. Not a [`Step::Put`], which would write once more over the zeros of a reset.
    fn put_mark(
        &mut self,
        turn: &mut Turn<'_>,
        job: &Job<'_>,
        marking: Marking,
    ) -> Result<Next, Fault> {
        let Some(mark) = D::DECLARATION.mark else {
            return Ok(Next::Over);
        };
        let step = self.at.step;
        self.at.step = step.wrapping_add(1); // below four
        match step {
            0 => Ok(Next::Do(Step::Write(Self::marking(mark, marking)))),
            1 => Ok(Next::Do(Self::read_mark(mark))),
            _ => match Self::mark_read(turn, mark)? {
                Ok(found) if found == marking => Ok(Next::Over),
                Ok(Marking::None) => {
                    self.reset_seen = true;
                    Self::reset(job)
                }
                _ => {
                    // Its last byte but one: it differs between serials that follow each other, and between the two kinds.
                    let [wrote, _] = marking.words().1.to_le_bytes();
                    let read = super::byte(turn.block, 3);
                    Err(Fault::ReadBack { wrote, read })
                }
            },
        }
    }

    /// A further set-up: its serial goes to the mark, then it is remembered.
    fn mark_set_up(&mut self, turn: &mut Turn<'_>, job: &Job<'_>) -> Result<Next, Fault> {
        let serial = self.change.unwrap_or(after(self.serial));
        self.coming = Some(serial);
        let next = self.put_mark(turn, job, Marking::Whole(serial))?;
        if !matches!(next, Next::Over) {
            return Ok(next);
        }
        (self.serial, self.coming, self.change) = (serial, None, None);
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
        Ok(Next::Over)
    }
}

/// Serials go from 1 to 65 535 and begin anew.
fn after(serial: u16) -> u16 {
    serial.wrapping_add(1).max(1)
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
