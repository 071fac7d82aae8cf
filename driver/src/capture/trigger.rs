use heapless::Deque;

/// The readings around an event: keeps the last ones until a trigger, goes on for a set number
/// after it, then stands still until taken.
///
/// `T` is whatever is recorded with each sample. `SIZE` is the room for all of it: before and after
/// the trigger together.
///
/// ```
/// use crake::capture::TriggerBuffer;
///
/// // Two after the trigger, so at most four up to and including it.
/// let mut around: TriggerBuffer<u32, 6> = TriggerBuffer::new(2);
/// for reading in 0..10 {
///     around.push(reading);
/// }
/// around.trigger(); // at the reading pushed last
/// around.push(10);
/// around.push(11);
/// assert!(around.is_complete());
/// let kept: Vec<_> = around.iter().copied().collect();
/// assert_eq!(kept, [6, 7, 8, 9, 10, 11]);
/// assert_eq!(around.trigger_place(), Some(3)); // 9
/// ```
#[derive(Clone, Debug)]
pub struct TriggerBuffer<T, const SIZE: usize> {
    ring: Deque<T, SIZE>,
    after: usize,
    state: State,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// The ring goes round.
    Armed,
    /// The trigger stands at `place`; so many readings are to come.
    Triggered { place: usize, to_come: usize },
}

impl<T, const SIZE: usize> TriggerBuffer<T, SIZE> {
    /// Armed, to keep `after` readings after the trigger: at most `SIZE - 1`, so that the trigger
    /// itself has room.
    #[must_use]
    pub const fn new(after: usize) -> Self {
        let most = SIZE.saturating_sub(1);
        Self {
            ring: Deque::new(),
            after: if after < most { after } else { most },
            state: State::Armed,
        }
    }

    /// Records a reading. Once all readings after a trigger are there, nothing is recorded; `false`
    /// says so.
    pub fn push(&mut self, reading: T) -> bool {
        match &mut self.state {
            State::Triggered { to_come: 0, .. } => return false,
            State::Triggered { to_come, .. } => *to_come = to_come.saturating_sub(1),
            // Room for what comes after a trigger is left free while armed.
            State::Armed => {
                if self.ring.len() >= SIZE.saturating_sub(self.after) {
                    self.ring.pop_front();
                }
            }
        }
        self.ring.push_back(reading).is_ok()
    }

    /// Marks the reading that was pushed last as the trigger. A second trigger before
    /// [`rearm`](Self::rearm) changes nothing; nor does one before any reading.
    pub fn trigger(&mut self) {
        if self.state == State::Armed
            && let Some(place) = self.ring.len().checked_sub(1)
        {
            self.state = State::Triggered {
                place,
                to_come: self.after,
            };
        }
    }

    /// Whether trigger and all readings after it are there.
    #[must_use]
    pub const fn is_complete(&self) -> bool {
        matches!(self.state, State::Triggered { to_come: 0, .. })
    }

    /// Place of the trigger among the readings, from 0; `None` while armed.
    #[must_use]
    pub const fn trigger_place(&self) -> Option<usize> {
        match self.state {
            State::Armed => None,
            State::Triggered { place, .. } => Some(place),
        }
    }

    /// The readings, oldest first.
    pub fn iter(&self) -> impl Iterator<Item = &T> {
        self.ring.iter()
    }

    /// Arms again; what was kept is dropped.
    pub fn rearm(&mut self) {
        self.ring.clear();
        self.state = State::Armed;
    }
}

#[cfg(feature = "defmt")]
impl<T, const SIZE: usize> defmt::Format for TriggerBuffer<T, SIZE> {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(
            f,
            "TriggerBuffer({=usize} of {=usize}, trigger at {})",
            self.ring.len(),
            SIZE,
            self.trigger_place()
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn few_readings_before_the_trigger_are_all_kept() {
        let mut around: TriggerBuffer<u8, 4> = TriggerBuffer::new(9); // cut to 3
        assert!(around.push(1));
        around.trigger();
        assert_eq!(around.trigger_place(), Some(0));
        for reading in 2..=4 {
            assert!(!around.is_complete());
            assert!(around.push(reading));
        }
        assert!(around.is_complete());
        assert!(!around.push(5), "all are there");
        around.trigger();
        assert!(around.iter().copied().eq([1, 2, 3, 4]));
        around.rearm();
        assert_eq!((around.iter().count(), around.trigger_place()), (0, None));
    }

    #[test]
    fn a_trigger_before_any_reading_changes_nothing() {
        let mut around: TriggerBuffer<u8, 2> = TriggerBuffer::new(1);
        around.trigger();
        assert_eq!(around.trigger_place(), None);
    }

    #[test]
    fn nothing_after_the_trigger() {
        let mut around: TriggerBuffer<u8, 3> = TriggerBuffer::new(0);
        for reading in 0..5 {
            around.push(reading);
        }
        around.trigger();
        assert!(around.is_complete());
        assert!(around.iter().copied().eq([2, 3, 4]));
    }
}
