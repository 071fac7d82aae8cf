//! Operations as sequences of bus steps, without a bus and without a clock.
//!
//! A part says, stage by stage, which step comes next ([`Step`]) and is told what came of it ([`Turn`]). The
//! [`Player`] turns steps into plain transfers: it adds and verifies check bytes, reads back and
//! compares, and repeats what may be repeated. A shell carries the transfers out.

mod ask;
mod command;
mod effort;
mod fault;
mod player;

pub use ask::{Ask, Asking};
pub use command::Command;
pub use effort::Effort;
pub use fault::{Fault, Misuse};
pub use player::{Action, Link, Player};

/// The next bus step of an operation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Step {
    /// Write; repeated if the bus failed, so a repeat must be harmless.
    Write(Command),
    /// Write, and let the host's clock be read right before and right after: this is the moment a latch is taken. May be repeated;
    /// the bracket then spans all attempts.
    WriteStamped(Command),
    /// Write once and never again, whatever comes: for writes whose repeat would lose counts or events.
    WriteOnce(Command),
    /// Write, read the same register back and compare; the whole is repeated if the bus failed or the values differ.
    Put(Command),
    /// Read into the operation's block; repeated if the bus or the check byte failed.
    Read(Read),
    /// Ask for something that the part may not have: a failure, on the bus or of the check byte, is an answer, too, and does not end the operation. [`Turn::answered`] tells;
    /// repeated like a read before it counts as none.
    /// For parts that say so ([`Part::ASKS`](crate::old::part::Part::ASKS)) alone.
    Ask(Ask),
    /// Let at least this many microseconds pass.
    Wait(u32),
    /// The operation is complete.
    Done,
}

/// A read of one register, or of a stretch of a window.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Read {
    /// Pointer (command code) to select.
    pub pointer: u8,
    /// Number of data bytes.
    pub len: u8,
    /// Where in the block they go.
    pub at: u8,
    /// Whether a check byte follows them; it needs one more byte of the block's room, which is left overwritten.
    pub check: bool,
}

/// What an operation sees at each of its stages.
#[derive(Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Turn<'a> {
    /// 0 at first; whatever the operation set it to since.
    pub stage: u8,
    /// How many tries of [`again`](Self::again) have failed; 0 at first.
    pub tries: u8,
    /// Whether the step before went through; `false` after an [`Ask`](Step::Ask) that was not answered alone. The block holds nothing of it then.
    pub answered: bool,
    /// The operation's block: reads arrive here.
    pub block: &'a mut [u8],
}

impl Turn<'_> {
    /// Goes on to `stage` after `step`.
    #[must_use]
    pub const fn then(&mut self, stage: u8, step: Step) -> Step {
        self.stage = stage;
        step
    }

    /// Goes on to the following stage after `step`.
    #[must_use]
    pub const fn next(&mut self, step: Step) -> Step {
        self.stage = self.stage.wrapping_add(1);
        step
    }

    /// Goes back to `stage` for another try, unless this one was the last of `tries`; then `fault`.
    ///
    /// # Errors
    /// `fault`, when there have been `tries` tries, the first included.
    pub const fn again(
        &mut self,
        stage: u8,
        step: Step,
        tries: u8,
        fault: Fault,
    ) -> Result<Step, Fault> {
        self.tries = self.tries.saturating_add(1);
        if self.tries >= tries {
            return Err(fault);
        }
        self.stage = stage;
        Ok(step)
    }
}

/// An operation: called for the next step each time the step before has succeeded.
pub type Operation<'a> = dyn FnMut(&mut Turn<'_>) -> Result<Step, Fault> + 'a;
