use crate::info::PartInfo;

/// How the last look at the flags went.
#[derive(Clone, Copy, Debug)]
pub(super) struct Look {
    /// It has not come to its end: what is pending may stand in the part still.
    pub(super) unsure: bool,
    /// It may have taken flags with it: the next sample is compared with the limits.
    pub(super) doubtful: bool,
    /// How many looks may have.
    pub(super) unread: u32,
}

impl Look {
    pub(super) const DONE: Self = Self {
        unsure: false,
        doubtful: false,
        unread: 0,
    };

    /// Flags are about to be read, which on some parts clears them: counted before, and taken back
    /// after by putting what was before in its place.
    #[inline(always)]
    pub(super) const fn begin(&mut self, info: &PartInfo) {
        self.unsure = true;
        if info.alerts.cleared_by_reading {
            self.doubtful = true;
            self.unread = self.unread.saturating_add(1);
        }
    }

    /// The same, where the look after it came to its end.
    pub(super) const fn and_done(mut self) -> Self {
        self.unsure = false;
        self
    }
}
