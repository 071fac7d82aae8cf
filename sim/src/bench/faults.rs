use alloc::{rc::Rc, vec::Vec};
use core::{
    cell::{Cell, RefCell},
    fmt,
    time::Duration,
};

use embedded_hal::i2c::Operation;

use super::{
    Bench, BenchError,
    line::Lines,
    step::{SomePart, Steps},
};
use crate::{
    bus::{Clock, Disturbance},
    fault::{Fault, FaultKind, Strikes},
};

/// A fault that was brought about; it goes on when this is dropped.
#[derive(Clone)]
pub struct Injected {
    faults: Rc<Faults>,
    place: usize,
}

impl Injected {
    /// How often it has struck so far, and when.
    pub fn strikes(&self) -> Strikes {
        self.faults.entry(self.place, |entry| entry.strikes)
    }

    /// Ends it now. No effect on one that is over.
    pub fn mend(&self) {
        self.faults.finish(self.place, self.faults.clock.now_ns());
        self.faults.settle();
    }
}

/// The fault, and how often it has struck.
impl fmt::Debug for Injected {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let fault = self.faults.entry(self.place, |entry| entry.fault);
        write!(f, "Injected({fault:?}, {:?})", self.strikes())
    }
}

impl Bench {
    /// Brings a fault about, from its moment on or, if that has gone by, from now on.
    ///
    /// # Errors
    /// A part, a channel, a rail or a line that is not there; put it on the bench first. Nothing
    /// has changed then.
    pub fn fault(&self, fault: Fault) -> Result<Injected, BenchError> {
        let faults = &self.faults;
        let fault = faults.located(fault)?;
        faults.entries.borrow_mut().push(Entry {
            fault,
            passed: 0,
            state: State::Waits,
            strikes: Strikes::default(),
        });
        faults.act(self.now_ns());
        Ok(Injected {
            faults: faults.clone(),
            place: faults.entries.borrow().len() - 1,
        })
    }
}

/// The faults of a bench, and what they are about.
pub(super) struct Faults {
    entries: RefCell<Vec<Entry>>,
    parts: Rc<Steps>,
    lines: Rc<Lines>,
    /// When one begins or ends by the clock next.
    next_ns: Cell<u64>,
    clock: Clock,
}

struct Entry {
    fault: Fault,
    /// Transfers that it could have struck and did not, for they came first.
    passed: u64,
    state: State,
    strikes: Strikes,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum State {
    Waits,
    /// It lasts.
    Holds,
    Over,
}

impl Entry {
    /// Whether a transfer brings it about, and not the clock.
    fn comes_with_a_transfer(&self) -> bool {
        let fault = &self.fault;
        fault.kind.is_of_transfers() || fault.after > 0 || fault.register.is_some()
    }

    /// When the clock changes it next.
    fn next_ns(&self) -> u64 {
        match self.state {
            State::Waits if !self.comes_with_a_transfer() => nanoseconds(self.fault.from),
            State::Holds => self.fault.until.map_or(u64::MAX, nanoseconds),
            _ => u64::MAX,
        }
    }

    /// Whether this transfer is struck; counts it if it could be.
    fn is_due(&mut self, at_ns: u64, address: u8, operations: &[Operation<'_>]) -> bool {
        let fault = &self.fault;
        let in_time = nanoseconds(fault.from) <= at_ns
            && fault.until.is_none_or(|until| at_ns < nanoseconds(until));
        if self.state != State::Waits || !in_time || !fault.is_about(address, operations) {
            return false;
        }
        let passes = self.passed < fault.after;
        self.passed += u64::from(passes);
        !passes && fault.times.is_none_or(|times| self.strikes.times < times)
    }

    fn note(&mut self, at_ns: u64) {
        self.strikes.times += 1;
        self.strikes.first_ns.get_or_insert(at_ns);
        self.strikes.last_ns = Some(at_ns);
    }
}

impl Faults {
    pub(super) fn new(clock: Clock, parts: Rc<Steps>, lines: Rc<Lines>) -> Self {
        Self {
            entries: RefCell::default(),
            parts,
            lines,
            next_ns: Cell::new(u64::MAX),
            clock,
        }
    }

    fn entry<R>(&self, place: usize, ask: impl FnOnce(&Entry) -> R) -> R {
        ask(&self.entries.borrow()[place])
    }

    /// The fault with the part that it is about, if it is there with all that it is about.
    fn located(&self, mut fault: Fault) -> Result<Fault, BenchError> {
        if fault.kind.is_of_transfers() {
            return Ok(fault);
        }
        let address = match fault.part {
            Some(address) => address,
            None => self.parts.only_address().ok_or(BenchError::WhichPart)?,
        };
        fault.part = Some(address);
        let part = self.parts.at(address).ok_or(BenchError::NoPart(address))?;
        if let Some(channel) = fault.kind.channel() {
            let mut part = part.borrow_mut();
            if channel >= part.channels() {
                return Err(BenchError::NoSuchChannel(channel));
            }
            part.resistor(channel).ok_or(BenchError::NoRail(channel))?;
        }
        if let FaultKind::LineStuck { output, .. } = fault.kind
            && self.lines.named(address, output).is_empty()
        {
            return Err(BenchError::NoLine(output));
        }
        Ok(fault)
    }

    /// It begins to last, or has struck for good.
    fn start(&self, place: usize, at_ns: u64) {
        let mut entries = self.entries.borrow_mut();
        let entry = &mut entries[place];
        let gone_by = entry
            .fault
            .until
            .is_some_and(|until| nanoseconds(until) <= at_ns);
        if gone_by {
            entry.state = State::Over;
            return;
        }
        entry.note(at_ns);
        let fault = entry.fault;
        if fault.kind == FaultKind::Reset {
            entry.state = State::Over;
        } else {
            entry.state = State::Holds;
            entry.strikes.last_ns = None;
        }
        drop(entries);
        if fault.kind == FaultKind::Reset
            && let Some(part) = self.part_of(&fault)
        {
            let mut part = part.borrow_mut();
            if part.is_powered() {
                part.power_loss();
                part.power_up();
            }
        }
        self.apply(&fault);
    }

    fn finish(&self, place: usize, at_ns: u64) {
        let mut entries = self.entries.borrow_mut();
        let entry = &mut entries[place];
        let held = core::mem::replace(&mut entry.state, State::Over) == State::Holds;
        if held {
            entry.strikes.last_ns = Some(at_ns);
            let fault = entry.fault;
            drop(entries);
            self.apply(&fault);
        }
    }

    /// Makes of what a fault is about whatever the faults that hold now make of it together.
    fn apply(&self, about: &Fault) {
        let entries = self.entries.borrow();
        let holding = || {
            let holding = entries.iter().filter(|entry| entry.state == State::Holds);
            holding
                .map(|entry| entry.fault)
                .filter(|fault| fault.part == about.part)
        };
        let Some(part) = self.part_of(about) else {
            return;
        };
        match about.kind {
            FaultKind::NoSupply => {
                let mut part = part.borrow_mut();
                if holding().any(|fault| fault.kind == FaultKind::NoSupply) {
                    part.power_loss();
                } else {
                    part.power_up();
                }
            }
            FaultKind::LineStuck { output, .. } => {
                let mut level = holding().filter_map(|fault| match fault.kind {
                    FaultKind::LineStuck {
                        output: other,
                        level,
                    } if other == output => Some(level),
                    _ => None,
                });
                let level = level.next_back();
                let address = part.borrow().own_address();
                for line in self.lines.named(address, output) {
                    line.stick(level);
                }
            }
            kind => {
                let mut part = part.borrow_mut();
                let resistor = kind.channel().and_then(|channel| part.resistor(channel));
                if let Some(resistor) = resistor {
                    let faults = holding().filter(|fault| fault.kind.channel() == kind.channel());
                    let nominal = resistor.nominal_nano_ohms() as f64;
                    resistor.set_scale(faults.map(|fault| scale(fault.kind, nominal)).product());
                }
            }
        }
    }

    fn part_of(&self, fault: &Fault) -> Option<SomePart> {
        self.parts.at(fault.part?)
    }

    fn settle(&self) {
        let entries = self.entries.borrow();
        let next_ns = entries.iter().map(Entry::next_ns).min();
        self.next_ns.set(next_ns.unwrap_or(u64::MAX));
    }

    fn count(&self) -> usize {
        self.entries.borrow().len()
    }
}

impl Disturbance for Faults {
    fn next_ns(&self) -> u64 {
        self.next_ns.get()
    }

    fn act(&self, at_ns: u64) {
        for place in 0..self.count() {
            let (is_due, state) =
                self.entry(place, |entry| (entry.next_ns() <= at_ns, entry.state));
            match state {
                State::Waits if is_due => self.start(place, at_ns),
                State::Holds if is_due => self.finish(place, at_ns),
                _ => {}
            }
        }
        self.settle();
    }

    fn strike(&self, at_ns: u64, address: u8, operations: &[Operation<'_>]) -> Option<FaultKind> {
        let mut struck = None;
        for place in 0..self.count() {
            let mut entries = self.entries.borrow_mut();
            let entry = &mut entries[place];
            if !entry.comes_with_a_transfer() || !entry.is_due(at_ns, address, operations) {
                continue;
            }
            if !entry.fault.kind.is_of_transfers() {
                drop(entries);
                self.start(place, at_ns);
                self.settle();
            } else if struck.is_none() {
                entry.note(at_ns);
                struck = Some(entry.fault.kind);
            }
        }
        struck
    }
}

/// What the part's inputs see of a sense resistor with this fault, in terms of the sound one.
fn scale(kind: FaultKind, nominal_nano_ohms: f64) -> f64 {
    match kind {
        FaultKind::SenseValue { nano_ohms, .. } => nano_ohms as f64 / nominal_nano_ohms,
        FaultKind::SenseDrift { ppm, .. } => 1.0 + f64::from(ppm) / 1e6,
        FaultKind::SenseOpen { .. } => 0.0,
        FaultKind::SenseSwapped { .. } => -1.0,
        _ => 1.0,
    }
}

fn nanoseconds(moment: Duration) -> u64 {
    u64::try_from(moment.as_nanos()).unwrap_or(u64::MAX)
}
