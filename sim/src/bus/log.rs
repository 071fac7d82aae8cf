use alloc::vec::Vec;
use core::fmt;

/// What went over the bus since the bench began.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Stats {
    /// Transfers from START to STOP; a repeated START does not begin a new one.
    pub transactions: u64,
    /// Bytes on the wire, address bytes included.
    pub bytes: u64,
    /// Nanoseconds from START to STOP, summed; bus-free times are not in it.
    pub busy_ns: u64,
}

/// How much of the traffic is kept. [`Stats`] are counted always.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Logging {
    /// Nothing: right for runs of hours.
    #[default]
    Off,
    /// Every transaction with its bytes.
    Full,
}

/// One transaction as it stood on the wire.
///
/// Its display is the datasheet's notation, with `~` after each byte that the target should have
/// acknowledged and did not: `S 64 07 04 18~ P`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Transaction {
    /// Edge of START, nanoseconds of the bench's clock.
    pub start_ns: u64,
    /// Edge of STOP.
    pub stop_ns: u64,
    /// What stood between them, START and STOP left out.
    pub events: Vec<Event>,
}

/// A piece of a transaction.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Event {
    /// A byte from the controller, address bytes included.
    Sent {
        /// The eight bits.
        byte: u8,
        /// Whether a target acknowledged it.
        acknowledged: bool,
    },
    /// A byte from a target.
    Received {
        /// The eight bits.
        byte: u8,
        /// Whether the controller acknowledged it, that is, asked for more.
        acknowledged: bool,
    },
    /// A repeated START.
    Restart,
    /// A byte broken off by START or STOP.
    Incomplete,
}

impl fmt::Display for Transaction {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("S")?;
        for event in &self.events {
            match *event {
                Event::Sent {
                    byte,
                    acknowledged: true,
                }
                | Event::Received { byte, .. } => write!(f, " {byte:02X}")?,
                Event::Sent {
                    byte,
                    acknowledged: false,
                } => write!(f, " {byte:02X}~")?,
                Event::Restart => f.write_str(" Sr")?,
                Event::Incomplete => f.write_str(" ..")?,
            }
        }
        f.write_str(" P")
    }
}

/// Counts, and the transactions if asked for.
#[derive(Debug, Default)]
pub(super) struct Log {
    pub(super) logging: Logging,
    pub(super) stats: Stats,
    pub(super) transactions: Vec<Transaction>,
    /// Somebody else wants to see whole transactions too.
    pub(super) watched: bool,
    start_ns: u64,
    events: Vec<Event>,
}

impl Log {
    pub(super) fn start(&mut self, at_ns: u64) {
        self.start_ns = at_ns;
        self.events.clear();
    }

    pub(super) fn event(&mut self, event: Event) {
        if matches!(event, Event::Sent { .. } | Event::Received { .. }) {
            self.stats.bytes += 1;
        }
        if self.watched || self.logging == Logging::Full {
            self.events.push(event);
        }
    }

    /// The transaction that is over; without its events if nobody wants to see it.
    pub(super) fn stop(&mut self, at_ns: u64) -> Transaction {
        self.stats.transactions += 1;
        self.stats.busy_ns += at_ns - self.start_ns;
        Transaction {
            start_ns: self.start_ns,
            stop_ns: at_ns,
            events: core::mem::take(&mut self.events),
        }
    }

    pub(super) fn keep(&mut self, transaction: Transaction) {
        if self.logging == Logging::Full {
            self.transactions.push(transaction);
        }
    }
}
