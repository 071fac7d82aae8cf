use core::sync::atomic::AtomicBool;
use core::sync::atomic::Ordering::Relaxed;

use crake::old::alert::{Causes, Plan};
use crake::old::exchange::{Effort, Fault, Step, Turn};
use crake::old::part::{Codec, Codes, Counters, Head, Joint, Part, Spec};
use crake::old::{Channel, Ranges, Sampling, Stamp, Task};

use super::{Memory, Tamper};

/// Whether the effort of the map that is tried is too small. No object could say so of itself, and
/// a type of its own would compile the whole kit once more for each part.
pub(super) static IS_SHORT: AtomicBool = AtomicBool::new(false);

/// A map with a mistake.
#[derive(Debug)]
pub struct Mutant<P> {
    inner: P,
    tamper: &'static dyn Tamper,
    memory: Memory,
}

impl<P> Mutant<P> {
    /// A good map with a mistake in it.
    pub const fn new(inner: P, tamper: &'static dyn Tamper) -> Self {
        let memory = Memory {
            last: Step::Done,
            latch: Step::Done,
        };
        Self {
            inner,
            tamper,
            memory,
        }
    }
}

impl<P: Part> Mutant<P> {
    /// One call of an operation of the inner map, with what arrives and what is handed out tampered
    /// with.
    fn played(
        &mut self,
        task: Task,
        turn: &mut Turn<'_>,
        operation: impl FnOnce(&mut P, &mut Turn<'_>) -> Result<Step, Fault>,
    ) -> Result<Step, Fault> {
        if let Some(step) = self.tamper.instead(task, turn) {
            return Ok(step);
        }
        self.tamper.arrived(&self.memory, turn.block);
        let step = operation(&mut self.inner, turn)?;
        let step = self.tamper.step(task, turn, step);
        self.memory.last = step;
        if matches!(step, Step::WriteStamped(_)) {
            self.memory.latch = step;
        }
        Ok(step)
    }
}

impl<P: Part> Codec for Mutant<P> {
    fn spec(&self) -> &'static Spec {
        self.tamper.spec(self.inner.spec())
    }

    fn head(&self, block: &[u8]) -> Head {
        self.tamper.head(self.inner.head(block))
    }

    fn ranges(&self, block: &[u8], channel: Channel) -> Option<Ranges> {
        self.tamper.ranges(&self.inner, block, channel)
    }

    fn codes(&self, block: &[u8], channel: Channel) -> Codes {
        self.tamper.codes(&self.inner, block, channel)
    }

    fn counters(&self, block: &[u8], channel: Channel) -> Counters {
        self.tamper.counters(self.inner.counters(block, channel))
    }
}

impl<P: Part> Part for Mutant<P> {
    type Block = P::Block;
    const EMPTY: Self::Block = P::EMPTY;
    const CHECKED: bool = P::CHECKED;
    const ASKS: bool = P::ASKS;

    fn check(&self, sampling: &Sampling<'_>) -> Result<(), Fault> {
        if self.tamper.takes_everything() {
            Ok(())
        } else {
            self.inner.check(sampling)
        }
    }

    fn init(
        &mut self,
        turn: &mut Turn<'_>,
        sampling: &Sampling<'_>,
        read_max: u8,
    ) -> Result<Step, Fault> {
        self.played(Task::Init, turn, |part, turn| {
            part.init(turn, sampling, read_max)
        })
    }

    fn attach(&mut self, turn: &mut Turn<'_>, joint: &Joint, read_max: u8) -> Result<Step, Fault> {
        self.played(Task::Attach, turn, |part, turn| {
            part.attach(turn, joint, read_max)
        })
    }

    fn latch(&mut self, turn: &mut Turn<'_>, read_max: u8) -> Result<Step, Fault> {
        self.played(Task::Latch, turn, |part, turn| part.latch(turn, read_max))
    }

    fn configure(
        &mut self,
        turn: &mut Turn<'_>,
        sampling: &Sampling<'_>,
        read_max: u8,
    ) -> Result<Step, Fault> {
        self.played(Task::Configure, turn, |part, turn| {
            part.configure(turn, sampling, read_max)
        })
    }

    fn arm(
        &mut self,
        turn: &mut Turn<'_>,
        sampling: &Sampling<'_>,
        plan: &Plan<'_>,
        found: &mut Causes,
        read_max: u8,
    ) -> Result<Step, Fault> {
        self.played(Task::Arm, turn, |part, turn| {
            part.arm(turn, sampling, plan, found, read_max)
        })
    }

    fn look(
        &mut self,
        turn: &mut Turn<'_>,
        interest: Causes,
        found: &mut Causes,
        more: &mut bool,
    ) -> Result<Step, Fault> {
        let interest = self.tamper.interest(interest);
        self.played(Task::Look, turn, |part, turn| {
            part.look(turn, interest, found, more)
        })
    }

    fn judged(&mut self, interest: Causes) -> Causes {
        self.inner.judged(self.tamper.interest(interest))
    }

    fn fetch(
        &mut self,
        turn: &mut Turn<'_>,
        codes: &mut [i32],
        count: &mut usize,
    ) -> Result<Step, Fault> {
        self.played(Task::Fetch, turn, |part, turn| {
            part.fetch(turn, codes, count)
        })
    }

    fn effort(task: Task, read_max: u8) -> Effort {
        let effort = P::effort(task, read_max);
        if IS_SHORT.load(Relaxed) && task == Task::Arm {
            // As if limits were not read back.
            return Effort {
                transfers: effort.transfers / 2,
                restarts: effort.restarts / 2,
                ..effort
            };
        }
        effort
    }

    fn joint(&self) -> Joint {
        self.inner.joint()
    }

    fn settle(&mut self, task: Task, block: &mut [u8], stamp: Stamp) -> Stamp {
        self.inner.settle(task, block, stamp)
    }
}
