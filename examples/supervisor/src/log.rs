use heapless::Deque;

use crate::{Event, Record};

/// The last events that nobody has read yet, oldest first: at most `SIZE`.
///
/// What comes while it is full is dropped and counted: what came first is what explains the rest.
#[derive(Clone, Debug)]
pub struct Log<const SIZE: usize> {
    records: Deque<Record, SIZE>,
    dropped: u32,
}

impl<const SIZE: usize> Default for Log<SIZE> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const SIZE: usize> Log<SIZE> {
    /// Nothing in it.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            records: Deque::new(),
            dropped: 0,
        }
    }

    /// Adds an event that became known at `at_us` on the host's clock.
    pub fn add(&mut self, at_us: u64, event: Event) {
        if self.records.push_back(Record { at_us, event }).is_err() {
            self.dropped = self.dropped.saturating_add(1);
        }
    }

    /// Takes the oldest out.
    pub fn take(&mut self) -> Option<Record> {
        self.records.pop_front()
    }

    /// How many were dropped since the log was made.
    #[must_use]
    pub const fn dropped(&self) -> u32 {
        self.dropped
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_full_log_keeps_what_came_first_and_counts_the_rest() {
        let mut log: Log<2> = Log::new();
        for at_us in 1..=5 {
            log.add(at_us, Event::Reachable);
        }
        assert_eq!(log.dropped(), 3);
        assert_eq!(log.take().map(|record| record.at_us), Some(1));
        log.add(6, Event::Reachable);
        assert_eq!(log.take().map(|record| record.at_us), Some(2));
        assert_eq!(log.take().map(|record| record.at_us), Some(6));
        assert_eq!(log.take(), None);
    }
}
