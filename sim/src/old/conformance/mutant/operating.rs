//! Mistakes in what a map does. Registers are those of one part, given by its table of mutants.

use crake::old::Task;
use crake::old::alert::Causes;
use crake::old::exchange::{Command, Read, Step, Turn};

use super::{Memory, Tamper};

/// A mistake in the steps of operations, or in what is made of what arrives.
#[derive(Clone, Copy, Debug)]
pub struct Operating {
    /// Its name.
    pub name: &'static str,
    /// The check that has to find it.
    pub found_by: &'static str,
    /// What is done.
    pub how: How,
}

/// A mistake, the check that has to find it, and what is done.
pub(super) const fn operating(name: &'static str, found_by: &'static str, how: How) -> Operating {
    Operating {
        name,
        found_by,
        how,
    }
}

/// What is done wrongly.
#[derive(Clone, Copy)]
pub enum How {
    /// Writes to these registers carry another value: what is made of the one meant, most significant byte first, and its width in bytes.
    Value(&'static [u8], fn(u64, u8) -> u64),
    /// Writes to one register go to another of the same width, and back.
    Exchanged(&'static [(u8, u8)]),
    /// What is put is written and never read back.
    NotReadBack,
    /// Reads are not verified.
    NotVerified,
    /// Waits are so many times shorter, if they are below so many microseconds.
    Impatient(u32, u32),
    /// Pieces of a block after the first are put one byte further on.
    PiecesAside,
    /// What arrives is patched before it is looked at.
    Patched(fn(&Memory, &mut [u8])),
    /// When a task is done, this is written.
    Last(Task, fn() -> Command),
    /// When a latch is done, registers are read into the block: pointer, bytes, place.
    Afterwards(&'static [(u8, u8, u8)]),
    /// The step that asks for a latch is not the one that is stamped.
    NotStamped,
    /// Services tell whatever is set, asked for or not.
    TellsEverything,
    /// Nothing is refused.
    TakesEverything,
    /// The effort is too small.
    Short,
}

impl Tamper for Operating {
    fn name(&self) -> (&'static str, &'static str) {
        (self.name, self.found_by)
    }

    fn takes_everything(&self) -> bool {
        matches!(self.how, How::TakesEverything)
    }

    fn is_short(&self) -> bool {
        matches!(self.how, How::Short)
    }

    fn interest(&self, interest: Causes) -> Causes {
        match self.how {
            How::TellsEverything => Causes::all(),
            _ => interest,
        }
    }

    fn instead(&self, _: Task, turn: &mut Turn<'_>) -> Option<Step> {
        match self.how {
            How::Last(..) => turn.stage.checked_sub(AFTER).map(|_| Step::Done),
            How::Afterwards(reads) => {
                let number = usize::from(turn.stage.checked_sub(AFTER)?);
                let Some(&(pointer, len, at)) = reads.get(number) else {
                    return Some(Step::Done);
                };
                Some(turn.next(Step::Read(Read {
                    pointer,
                    len,
                    at,
                    check: false,
                })))
            }
            _ => None,
        }
    }

    fn arrived(&self, memory: &Memory, block: &mut [u8]) {
        if let How::Patched(patch) = self.how {
            patch(memory, block);
        }
    }

    fn step(&self, task: Task, turn: &mut Turn<'_>, step: Step) -> Step {
        match (self.how, step) {
            (How::NotReadBack, Step::Put(command)) => Step::Write(command),
            (How::NotStamped, Step::WriteStamped(command)) if task == Task::Latch => {
                Step::Write(command)
            }
            (How::NotVerified, Step::Read(read)) => Step::Read(Read {
                check: false,
                ..read
            }),
            (How::Impatient(factor, below), Step::Wait(us)) if us < below => {
                Step::Wait(us / factor)
            }
            (How::PiecesAside, Step::Read(read))
                if read.at > 0
                    && usize::from(read.at) + usize::from(read.len) + 1 < turn.block.len() =>
            {
                Step::Read(Read {
                    at: read.at + 1,
                    ..read
                })
            }
            (How::Last(of, command), Step::Done) if task == of => {
                turn.then(AFTER, Step::Write(command()))
            }
            (How::Afterwards(..), Step::Done) if task == Task::Latch => {
                turn.then(AFTER, Step::Wait(1))
            }
            (How::Value(registers, wrong), step) => written(step, |command| {
                if !registers.contains(&command.pointer()) {
                    return command;
                }
                let data = command.data();
                let value = data
                    .iter()
                    .fold(0, |value, byte| value << 8 | u64::from(*byte));
                let width = data.len() as u8;
                Command::big_endian(command.pointer(), wrong(value, width), width)
            }),
            (How::Exchanged(pairs), step) => written(step, |command| {
                let other = pairs.iter().find_map(|(one, two)| match command.pointer() {
                    pointer if pointer == *one => Some(*two),
                    pointer if pointer == *two => Some(*one),
                    _ => None,
                });
                let Some(other) = other else { return command };
                let value = command
                    .data()
                    .iter()
                    .fold(0, |value, byte| value << 8 | u64::from(*byte));
                Command::big_endian(other, value, command.data().len() as u8)
            }),
            (_, step) => step,
        }
    }
}

/// A step with its command changed, if it has one.
fn written(step: Step, change: impl FnOnce(Command) -> Command) -> Step {
    match step {
        Step::Write(command) => Step::Write(change(command)),
        Step::WriteStamped(command) => Step::WriteStamped(change(command)),
        Step::WriteOnce(command) => Step::WriteOnce(change(command)),
        Step::Put(command) => Step::Put(change(command)),
        step @ (Step::Read(_) | Step::Ask(_) | Step::Wait(_) | Step::Done) => step,
    }
}

/// Stages past those of any operation.
const AFTER: u8 = 0xF0;

impl core::fmt::Debug for How {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str("How")
    }
}
