//! What a test can ask of this Corncrake on its bench, beyond what it can ask of every part.

use alloc::rc::Rc;
use core::cell::RefCell;

use super::{Individual, Model, PartWatcher, Snapshot};
use crate::bench::{BenchError, Part};

/// What this Corncrake has of its own.
impl Part<Model> {
    /// The errors of this part.
    pub fn individual(&self) -> Individual {
        self.with(|model| model.individual().clone())
    }

    /// Bench only: sets a channel's accumulators, modulo their widths, to be near a rollover
    /// without waiting for it.
    ///
    /// # Errors
    /// A channel that the part does not have.
    pub fn preload(&self, channel: usize, charge: i64, energy: i64) -> Result<(), BenchError> {
        if self.with(|model| model.preload(channel, charge, energy)) {
            Ok(())
        } else {
            Err(BenchError::NoSuchChannel(channel))
        }
    }

    /// Bench only: sets ROUNDS, modulo its width.
    pub fn preload_rounds(&self, rounds: u32) {
        self.with(|model| model.preload_rounds(rounds));
    }

    /// The inside of the part.
    pub fn snapshot(&self) -> Snapshot {
        self.with(|model| model.snapshot())
    }

    /// Shows what happens in the part to `watcher`, from `from_ns` on, in place of a watcher
    /// before.
    pub fn watch(&self, from_ns: u64, watcher: Rc<RefCell<dyn PartWatcher>>) {
        self.with(|model| model.watch(from_ns, watcher));
    }
}
