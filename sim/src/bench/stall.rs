use alloc::{
    string::{String, ToString},
    vec::Vec,
};
use core::{fmt, time::Duration};

use super::Bench;

/// The tasks of a bench cannot go on: why, and what each of them waits for. Time stands where it
/// was found.
///
/// ```
/// # fn main() -> Result<(), Box<dyn core::error::Error>> {
/// use crake_sim::{bench::Bench, part::corncrake::{Corncrake, Output}};
/// use embedded_hal_async::digital::Wait;
///
/// let bench = Bench::new(1);
/// let part = bench.part(Corncrake::new(0x32))?;
/// let mut alert = bench.alert(&part, Output::A);
/// let stall = bench.block_on(async { alert.wait_for_low().await }).unwrap_err();
/// assert_eq!(
///     stall.to_string(),
///     "deadlock at 0 ns: main waits for a low level of 0x32 output A (no flag reaches it)"
/// );
/// # Ok(())
/// # }
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stall {
    /// Why.
    pub reason: StallReason,
    /// When, in nanoseconds of the bench's clock.
    pub at_ns: u64,
    /// The tasks that are not over, in the order in which they run.
    pub tasks: Vec<StalledTask>,
}

/// Why tasks cannot go on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum StallReason {
    /// Every task waits, none of them for a moment, and no part will ever change what they wait
    /// for.
    Deadlock,
    /// Every task waits, none of them for a moment, and in this time no part has changed what they
    /// wait for.
    Patience(Duration),
    /// Tasks keep each other busy and no time passes.
    Spinning,
    /// The bench's time has come to its end.
    EndOfTime,
}

/// A task that is not over.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StalledTask {
    /// The name it was spawned with.
    pub name: String,
    /// What it waits for on the bench, in words; empty if it waits for something else, such as
    /// another task.
    pub waits_for: Vec<String>,
}

impl Stall {
    pub(super) fn new<'n>(
        bench: &Bench,
        reason: StallReason,
        tasks: impl Iterator<Item = (usize, &'n str)>,
    ) -> Self {
        let tasks = tasks.map(|(index, name)| {
            let mut waits_for = Vec::new();
            bench
                .waits
                .of_task(index, |what| waits_for.push(what.to_string()));
            StalledTask {
                name: String::from(name),
                waits_for,
            }
        });
        Self {
            reason,
            at_ns: bench.now_ns(),
            tasks: tasks.collect(),
        }
    }
}

impl fmt::Display for Stall {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.reason {
            StallReason::Deadlock => f.write_str("deadlock")?,
            StallReason::Patience(patience) => write!(f, "nothing to do for {patience:?}")?,
            StallReason::Spinning => f.write_str("tasks spin and no time passes")?,
            StallReason::EndOfTime => f.write_str("end of the bench's time")?,
        }
        write!(f, " at {} ns", self.at_ns)?;
        for (index, task) in self.tasks.iter().enumerate() {
            f.write_str(if index == 0 { ": " } else { "; " })?;
            task.fmt(f)?;
        }
        Ok(())
    }
}

impl fmt::Display for StalledTask {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} waits for ", self.name)?;
        if self.waits_for.is_empty() {
            return f.write_str("something that is not on the bench");
        }
        f.write_str(&self.waits_for.join(" and "))
    }
}

impl core::error::Error for Stall {}
