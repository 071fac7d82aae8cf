use alloc::rc::Rc;
use core::cell::Cell;

/// The bench's one clock, as a handle: all clones show the same time.
///
/// Nanoseconds since the bench began; it stands still until something that takes time moves it. It
/// also serves the driver as its host's clock, one without error, in whole microseconds rounded
/// down; wrap it to make it fast or slow.
#[derive(Clone, Debug, Default)]
pub struct Clock(Rc<Cell<u64>>);

impl Clock {
    /// Nanoseconds since the bench began.
    pub fn now_ns(&self) -> u64 {
        self.0.get()
    }

    pub(crate) fn move_to(&self, ns: u64) {
        self.0.set(ns.max(self.0.get()));
    }
}

impl crake::Clock for Clock {
    fn now_us(&mut self) -> u64 {
        self.now_ns() / 1_000
    }
}
