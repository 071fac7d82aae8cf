//! What the tasks of a bench wait for.
// Without tasks nobody tells, and nobody asks.
#![cfg_attr(not(target_has_atomic = "ptr"), allow(dead_code))]

use alloc::collections::{BTreeMap, VecDeque};
use core::{
    cell::{Cell, RefCell},
    fmt,
    future::Future,
    pin::Pin,
    task::{Context, Poll, Waker},
};

use super::{
    Bench, Line,
    line::{Counts, Watch},
};

/// Everything that is waited for on a bench, in the order in which the waiting began.
#[derive(Default)]
pub(super) struct Waits {
    entries: RefCell<BTreeMap<u64, Entry>>,
    next_id: Cell<u64>,
    /// The task that is being polled.
    task: Cell<usize>,
    /// Who has the bus, and behind it who wants it.
    turns: RefCell<VecDeque<u64>>,
}

struct Entry {
    task: usize,
    what: What,
    waker: Waker,
    /// It has come, and the task was told.
    told: bool,
}

/// What a task can wait for.
#[derive(Clone)]
pub(super) enum What {
    /// A moment, in nanoseconds of the bench's clock.
    Moment(u64),
    /// A level or an edge of a line, since the counts were these.
    Line(Line, Wanted, Counts),
    /// The bus, with this ticket.
    Turn(u64),
}

/// What may be waited for on a line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Wanted {
    Low,
    High,
    Falling,
    Rising,
    Any,
}

impl What {
    fn has_come(&self, bench: &Bench) -> bool {
        match self {
            Self::Moment(ns) => *ns <= bench.now_ns(),
            Self::Line(line, wanted, since) => {
                line.look();
                let counts = line.counts();
                let (fell, rose) = (counts.falls > since.falls, counts.rises > since.rises);
                match wanted {
                    Wanted::Low => fell || line.level() == embedded_hal::digital::PinState::Low,
                    Wanted::High => rose || line.level() == embedded_hal::digital::PinState::High,
                    Wanted::Falling => fell,
                    Wanted::Rising => rose,
                    Wanted::Any => fell || rose,
                }
            }
            Self::Turn(ticket) => bench.waits.turns.borrow().front() == Some(ticket),
        }
    }
}

impl fmt::Display for What {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Moment(ns) => write!(f, "the moment {ns} ns"),
            Self::Line(line, wanted, _) => {
                let wanted = match wanted {
                    Wanted::Low => "a low level",
                    Wanted::High => "a high level",
                    Wanted::Falling => "a falling edge",
                    Wanted::Rising => "a rising edge",
                    Wanted::Any => "an edge",
                };
                write!(f, "{wanted} of {line}")
            }
            Self::Turn(_) => f.write_str("the bus"),
        }
    }
}

impl Waits {
    /// Who is polled from now on.
    pub(super) fn set_task(&self, task: usize) {
        self.task.set(task);
    }

    /// Tells the tasks for which what they wait for has come.
    pub(super) fn tell(&self, bench: &Bench) {
        for entry in self.entries.borrow_mut().values_mut() {
            if !entry.told && entry.what.has_come(bench) {
                entry.told = true;
                entry.waker.wake_by_ref();
            }
        }
    }

    /// The next moment that anybody waits for.
    pub(super) fn next_moment_ns(&self) -> Option<u64> {
        let entries = self.entries.borrow();
        let open = entries.values().filter(|entry| !entry.told);
        let moments = open.filter_map(|entry| match entry.what {
            What::Moment(ns) => Some(ns),
            What::Line(..) | What::Turn(_) => None,
        });
        moments.min()
    }

    /// Whether anybody waits for a line.
    pub(super) fn any_line(&self) -> bool {
        let entries = self.entries.borrow();
        let mut open = entries.values().filter(|entry| !entry.told);
        open.any(|entry| matches!(entry.what, What::Line(..)))
    }

    /// Whether anybody waits for a line that may change by itself.
    pub(super) fn any_line_is_alive(&self) -> bool {
        let entries = self.entries.borrow();
        entries.values().any(
            |entry| matches!(&entry.what, What::Line(line, ..) if !entry.told && line.is_alive()),
        )
    }

    /// Calls `say` with everything that a task waits for on the bench.
    pub(super) fn of_task(&self, task: usize, mut say: impl FnMut(&What)) {
        let entries = self.entries.borrow();
        for entry in entries.values().filter(|entry| entry.task == task) {
            say(&entry.what);
        }
    }

    /// Whether a transfer that takes its time has the bus.
    pub(super) fn bus_is_taken(&self) -> bool {
        !self.turns.borrow().is_empty()
    }

    fn id(&self) -> u64 {
        let id = self.next_id.get();
        self.next_id.set(id + 1);
        id
    }
}

/// Waits until a moment; one that has gone by is no wait.
pub(super) fn moment(bench: &Bench, ns: u64) -> Waiting {
    Waiting::new(bench, What::Moment(ns))
}

/// Waits for a line. What counts is what happens from here on, or for a level, what holds now.
pub(super) async fn line(line: &Line, wanted: Wanted) {
    let _watch: Watch = line.watch();
    line.look();
    let what = What::Line(line.clone(), wanted, line.counts());
    Waiting::new(line.bench(), what).await;
}

/// The right to the bus, in the order of asking; given back when it is dropped.
pub(super) struct Turn {
    bench: Bench,
    ticket: u64,
}

impl Turn {
    pub(super) async fn come(bench: &Bench) -> Self {
        let ticket = bench.waits.id();
        bench.waits.turns.borrow_mut().push_back(ticket);
        // From here on a drop leaves the queue.
        let turn = Self {
            bench: bench.clone(),
            ticket,
        };
        Waiting::new(bench, What::Turn(ticket)).await;
        turn
    }
}

impl Drop for Turn {
    fn drop(&mut self) {
        let mut turns = self.bench.waits.turns.borrow_mut();
        turns.retain(|&ticket| ticket != self.ticket);
    }
}

/// One wait. Dropped before it is over, it leaves nothing behind.
pub(super) struct Waiting {
    bench: Bench,
    what: What,
    id: Option<u64>,
}

impl Waiting {
    fn new(bench: &Bench, what: What) -> Self {
        Self {
            bench: bench.clone(),
            what,
            id: None,
        }
    }
}

impl Future for Waiting {
    type Output = ();

    fn poll(mut self: Pin<&mut Self>, context: &mut Context<'_>) -> Poll<()> {
        if self.what.has_come(&self.bench) {
            return Poll::Ready(());
        }
        let waits = &self.bench.waits;
        let id = self.id.unwrap_or_else(|| waits.id());
        let entry = Entry {
            task: waits.task.get(),
            what: self.what.clone(),
            waker: context.waker().clone(),
            told: false,
        };
        waits.entries.borrow_mut().insert(id, entry);
        self.id = Some(id);
        Poll::Pending
    }
}

impl Drop for Waiting {
    fn drop(&mut self) {
        if let Some(id) = self.id {
            let removed = self.bench.waits.entries.borrow_mut().remove(&id);
            drop(removed);
        }
    }
}
