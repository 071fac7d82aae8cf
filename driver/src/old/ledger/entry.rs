/// Time that is not accounted for, as a bracket, in true microseconds: what the host clock may be off by is in it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Gap {
    /// At least this long.
    pub least_us: u64,
    /// At most this long.
    pub greatest_us: u64,
}

/// What became of a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Entry {
    /// Its counts were added.
    Added,
    /// Its counts were added, and the next segment begins with it: nothing is lost.
    Turned,
    /// It begins an account; nothing to add yet.
    Opened,
    /// Counts were lost or may have been: the epoch ended with the frame before. `reopened`: this frame begins the next one.
    Broken {
        /// Why.
        reason: Break,
        /// Whether the frame could begin another epoch.
        reopened: bool,
    },
    /// The part does not run; nothing to add, and nothing was open.
    Idle,
}

/// Why an epoch ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Break {
    /// The part was reset.
    Reset,
    /// The part's supply is declared off.
    Unpowered,
    /// The frame came later than [`Ledger::next_read_by_us`](super::Ledger::next_read_by_us): a rollover cannot be told from none.
    TooLate,
    /// The set-up is not the one that ran before, and no boundary lies between.
    SetUpChanged,
    /// The host's clock began anew, and nobody knows how long it had stood.
    Clock,
    /// The count of rounds does not fit the host's clock.
    Rounds {
        /// As the part counted.
        counted: u32,
        /// As the host's clock has it, at nominal pace.
        expected: u64,
    },
}
