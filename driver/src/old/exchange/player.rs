use core::marker::PhantomData;

use super::{Asking, Command, Fault, Operation, Read, Step, Turn};
use crate::crc::Pec;

/// How the part is talked to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Link {
    /// 7-bit address.
    pub address: u8,
    /// Whether writes carry a check byte (PEC).
    pub checked: bool,
    /// Greatest number of bytes of a block that the controller reads in one transfer. Single registers are read whole.
    pub read_max: u8,
    /// How often a step that may be repeated is repeated after a failure.
    pub repeats: u8,
}

/// A plain transfer (or wait) for a shell to carry out.
#[derive(Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Action<'b> {
    /// Write these bytes in one transfer.
    Write(&'b [u8]),
    /// The same, with the clock read right before and right after: the moment of a latch.
    WriteStamped(&'b [u8]),
    /// Write the first, then, after a repeated START, read into the second.
    WriteRead(&'b [u8], &'b mut [u8]),
    /// Let at least this many microseconds pass.
    Wait(u32),
    /// The operation is complete.
    Done,
}

/// Plays an operation: asks it for steps, cuts them into transfers, judges what came.
///
/// Call [`poll`](Self::poll) for what to do, do it, then tell [`succeeded`](Self::succeeded) or
/// [`failed`](Self::failed), and so on until `Done` or an error. After an error the player must not be used again; the part's own state tells where it stands.
///
/// `A` says whether the operation [asks](Step::Ask). One that does not pays nothing for it.
pub struct Player<'o, A> {
    asking: PhantomData<A>,
    operation: &'o mut Operation<'o>,
    link: Link,
    stage: u8,
    tries: u8,
    repeats_left: u8,
    phase: Phase,
    step: Step,
    echo: [u8; ECHO],
}

/// Room for the read-back of the widest register and its check byte.
const ECHO: usize = 9;

#[derive(Clone, Copy, PartialEq, Eq)]
enum Phase {
    /// The operation is to be asked for its next step.
    Ask,
    /// The same, after a question that was not answered.
    InVain,
    /// The step's transfer is to be carried out.
    Send,
    /// What was put is to be read back.
    ReadBack,
}

impl<'o, A: Asking> Player<'o, A> {
    /// A player at the operation's first stage.
    pub fn new(operation: &'o mut Operation<'o>, link: Link) -> Self {
        Self {
            asking: PhantomData,
            operation,
            link,
            stage: 0,
            tries: 0,
            repeats_left: link.repeats,
            phase: Phase::Ask,
            step: Step::Done,
            echo: [0; ECHO],
        }
    }

    /// What to do next.
    ///
    /// # Errors
    /// Whatever the operation found; it is over then.
    pub fn poll<'b>(&'b mut self, block: &'b mut [u8]) -> Result<Action<'b>, Fault> {
        let in_vain = A::ASKS && self.phase == Phase::InVain;
        if self.phase == Phase::Ask || in_vain {
            let mut turn = Turn {
                stage: self.stage,
                tries: self.tries,
                answered: !in_vain,
                block: &mut *block,
            };
            // Taken where it is kept: a step is not copied.
            self.step = (self.operation)(&mut turn)?;
            self.stage = turn.stage;
            self.tries = turn.tries;
            self.repeats_left = self.link.repeats;
            if self.link.checked
                && let Step::Write(command)
                | Step::WriteStamped(command)
                | Step::WriteOnce(command)
                | Step::Put(command) = &mut self.step
            {
                command.check(self.link.address);
            }
            self.phase = Phase::Send;
        }
        Ok(match &self.step {
            Step::Put(command) if self.phase == Phase::ReadBack => {
                let len = self.echo_len(command);
                let (pointer, _) = command.bytes().split_at_checked(1).ok_or(Fault::NoRoom)?;
                Action::WriteRead(pointer, self.echo.get_mut(..len).ok_or(Fault::NoRoom)?)
            }
            Step::WriteStamped(command) => Action::WriteStamped(command.bytes()),
            Step::Write(command) | Step::WriteOnce(command) | Step::Put(command) => {
                Action::Write(command.bytes())
            }
            Step::Read(read) => {
                let pointer = core::slice::from_ref(&read.pointer);
                Action::WriteRead(pointer, room(block, *read)?)
            }
            Step::Ask(ask) if A::ASKS => Action::WriteRead(ask.bytes(), room(block, ask.read())?),
            Step::Ask(_) => return Err(Fault::NoRoom),
            Step::Wait(us) => Action::Wait(*us),
            Step::Done => Action::Done,
        })
    }

    /// The register that the transfer just handed out is about.
    #[must_use]
    pub const fn pointer(&self) -> u8 {
        match &self.step {
            Step::Write(command)
            | Step::WriteStamped(command)
            | Step::WriteOnce(command)
            | Step::Put(command) => command.pointer(),
            Step::Read(read) => read.pointer,
            Step::Ask(ask) if A::ASKS => ask.read().pointer,
            Step::Ask(_) | Step::Wait(_) | Step::Done => 0,
        }
    }

    /// The transfer just handed out went through.
    ///
    /// # Errors
    /// A wrong check byte or a wrong read-back, when no repeat is left.
    pub fn succeeded(&mut self, block: &[u8]) -> Result<(), Fault> {
        match (&self.step, self.phase) {
            (Step::Put(_), Phase::Send) => self.phase = Phase::ReadBack,
            (Step::Put(command), Phase::ReadBack) => {
                let verdict = self.read_back(command);
                self.settle(verdict)?;
            }
            (Step::Read(read), _) if read.check => {
                let (from, to) = read.extent();
                let verdict = verify(
                    self.link.address,
                    read.pointer,
                    block.get(from..to).ok_or(Fault::NoRoom)?,
                );
                self.settle(verdict)?;
            }
            (Step::Ask(ask), _) if A::ASKS && ask.read().check => {
                let (from, to) = ask.read().extent();
                let verdict = verify_answer(
                    self.link.address,
                    ask.bytes(),
                    block.get(from..to).ok_or(Fault::NoRoom)?,
                );
                self.settle(verdict)?;
            }
            _ => self.phase = Phase::Ask,
        }
        Ok(())
    }

    /// The transfer just handed out failed on the bus. `true`: poll again, it will be repeated. `false`: give up.
    #[must_use]
    pub const fn failed(&mut self) -> bool {
        if self.repeats_left == 0 || matches!(self.step, Step::WriteOnce(_)) {
            if A::ASKS && matches!(&self.step, Step::Ask(ask) if !ask.is_required()) {
                self.phase = Phase::InVain;
                return true;
            }
            return false;
        }
        self.repeats_left = self.repeats_left.wrapping_sub(1); // not zero here
        self.phase = Phase::Send;
        true
    }

    /// Goes on after a good verdict, repeats after a bad one while repeats are left.
    fn settle(&mut self, verdict: Result<(), Fault>) -> Result<(), Fault> {
        match verdict {
            Ok(()) => self.phase = Phase::Ask,
            Err(fault) if !self.failed() => return Err(fault),
            Err(_) => {}
        }
        Ok(())
    }

    /// Bytes of a read-back: as many as were written after the pointer, check byte included where there is one.
    fn echo_len(&self, command: &Command) -> usize {
        command.data().len()
    }

    fn read_back(&self, command: &Command) -> Result<(), Fault> {
        let len = self.echo_len(command);
        if self.link.checked {
            verify(
                self.link.address,
                command.pointer(),
                self.echo.get(..len).ok_or(Fault::NoRoom)?,
            )?;
        }
        let data = len.saturating_sub(usize::from(self.link.checked));
        for (wrote, read) in command.data().iter().zip(&self.echo).take(data) {
            if wrote != read {
                return Err(Fault::ReadBack {
                    wrote: *wrote,
                    read: *read,
                });
            }
        }
        Ok(())
    }
}

impl Read {
    /// Where in the block the data and their check byte lie.
    fn extent(self) -> (usize, usize) {
        let from = usize::from(self.at);
        let to = from
            .saturating_add(usize::from(self.len))
            .saturating_add(usize::from(self.check));
        (from, to)
    }
}

/// Where in the block a read's bytes go.
fn room(block: &mut [u8], read: Read) -> Result<&mut [u8], Fault> {
    let (from, to) = read.extent();
    block
        .get_mut(from..to)
        .filter(|room| !room.is_empty())
        .ok_or(Fault::NoRoom)
}

/// Compares the last of `bytes` with the check byte of a read with a repeated START.
///
/// Source: SMBus specification, packet error checking: every byte from START on, address bytes included.
fn verify(address: u8, pointer: u8, bytes: &[u8]) -> Result<(), Fault> {
    let Some((got, data)) = bytes.split_last() else {
        return Ok(());
    };
    let write = address << 1;
    let mut pec = Pec::new();
    match data.split_first() {
        // Four bytes at once cost less than one by one.
        Some((first, rest)) => {
            pec.add_all(&[write, pointer, write | 1, *first]);
            pec.add_all(rest);
        }
        None => pec.add_all(&[write, pointer, write | 1]),
    }
    compare(pec, *got)
}

/// The same for a read before whose repeated START more than a pointer was written.
fn verify_answer(address: u8, written: &[u8], bytes: &[u8]) -> Result<(), Fault> {
    let Some((got, data)) = bytes.split_last() else {
        return Ok(());
    };
    let write = address << 1;
    let mut pec = Pec::new();
    pec.add(write);
    pec.add_all(written);
    pec.add(write | 1);
    pec.add_all(data);
    compare(pec, *got)
}

fn compare(pec: Pec, got: u8) -> Result<(), Fault> {
    let expected = pec.value();
    if expected == got {
        Ok(())
    } else {
        Err(Fault::CheckByte { expected, got })
    }
}

#[cfg(feature = "defmt")]
impl<A> defmt::Format for Player<'_, A> {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(
            f,
            "Player {{ link: {}, stage: {=u8}, step: {} }}",
            self.link,
            self.stage,
            self.step
        );
    }
}

#[cfg(test)]
mod tests;
