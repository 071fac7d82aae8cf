//! A virtual I2C bus: bit-accurate times, several targets, open-drain arbitration between them, and a log.
//!
//! [`Bus::start`], [`send`](Bus::send), [`receive`](Bus::receive) and [`stop`](Bus::stop) are the wire;
//! [`Bus::transaction`] is a controller on it with `embedded-hal`'s meaning.

mod clock;
mod controller;
mod log;
mod timing;
mod wires;

use alloc::{rc::Rc, vec::Vec};
use core::cell::RefCell;

pub use clock::Clock;
pub use controller::{BusError, Restart};
pub use log::{Event, Logging, Stats, Transaction};
pub use timing::{Speed, Timing};
pub use wires::{Line, WireWatcher};

use crate::part::Target;
use log::Log;
use timing::CLOCKS_PER_BYTE;
use wires::Wires;

/// The wire, its targets, and the clock that every bit on it moves.
pub struct Bus {
    clock: Clock,
    timing: Timing,
    targets: Vec<Attached>,
    state: State,
    free_at_ns: u64,
    log: Log,
    wires: Wires,
}

impl Bus {
    /// A bus without targets that moves `clock`.
    pub fn new(clock: Clock, speed: Speed) -> Self {
        Self {
            clock,
            timing: Timing::of(speed),
            targets: Vec::new(),
            state: State::Free,
            free_at_ns: 0,
            log: Log::default(),
            wires: Wires::default(),
        }
    }

    /// Connects a target; it is advanced to the present moment.
    pub fn attach(&mut self, target: Rc<RefCell<dyn Target>>) {
        target.borrow_mut().advance(self.clock.now_ns());
        self.targets.push(Attached {
            target,
            takes_part: false,
        });
    }

    /// Transfers from now on take the times of `speed`.
    pub fn set_speed(&mut self, speed: Speed) {
        self.timing = Timing::of(speed);
    }

    /// Keeps transactions from now on, or stops keeping them; those already kept stay.
    pub fn set_logging(&mut self, logging: Logging) {
        self.log.logging = logging;
    }

    /// Shows the wires to `watcher` from the next START on a free bus, or to nobody any more.
    pub fn watch(&mut self, watcher: Option<Rc<RefCell<dyn WireWatcher>>>) {
        self.log.watched = watcher.is_some();
        self.wires.watch(watcher);
    }

    /// Counts since the bench began.
    pub fn stats(&self) -> Stats {
        self.log.stats
    }

    /// The transactions kept so far, oldest first; they are handed over and forgotten here.
    pub fn take_log(&mut self) -> Vec<Transaction> {
        core::mem::take(&mut self.log.transactions)
    }

    /// Moves the clock to `ns` with every target; a moment gone by has no effect.
    pub fn advance_to(&mut self, ns: u64) {
        self.clock.move_to(ns);
        let now = self.clock.now_ns();
        for attached in &self.targets {
            attached.target.borrow_mut().advance(now);
        }
    }

    /// START, after the bus-free time; within a transaction, a repeated START.
    pub fn start(&mut self) {
        let now = self.clock.now_ns();
        if self.state == State::Free {
            self.advance_to(self.free_at_ns);
            self.log.start(self.clock.now_ns());
            self.wires.until(self.clock.now_ns());
            self.wires.start(self.clock.now_ns(), &self.timing);
        } else {
            self.wires.until(now);
            self.wires.restart(now, &self.timing);
            self.advance_to(now + self.timing.low + self.timing.restart_setup);
            self.log.event(Event::Restart);
        }
        for attached in &mut self.targets {
            attached.target.borrow_mut().start();
            attached.takes_part = false;
        }
        self.state = State::Address;
        self.pass(self.timing.start_hold);
    }

    /// A byte from the controller; true if a target acknowledged it. After START it is an address byte, seen by all.
    ///
    /// On a free bus nothing happens, and nobody acknowledges.
    pub fn send(&mut self, byte: u8) -> bool {
        if self.state == State::Free {
            return false;
        }
        self.draw_bits(byte, CLOCKS_PER_BYTE - 1);
        // The target decides when it has all eight bits.
        self.pass((CLOCKS_PER_BYTE - 1) * self.timing.clock);
        let mut acknowledged = false;
        for attached in &mut self.targets {
            if self.state == State::Address {
                attached.takes_part = attached.target.borrow_mut().address(byte);
                acknowledged |= attached.takes_part;
            } else if attached.takes_part {
                acknowledged |= attached.target.borrow_mut().write(byte);
            }
        }
        self.state = State::Data;
        self.log.event(Event::Sent { byte, acknowledged });
        self.draw_acknowledge(acknowledged);
        self.pass(self.timing.clock);
        acknowledged
    }

    /// A byte from the targets; `acknowledge` asks for a further one. 0xFF when no target drives the bus, or when it is free.
    ///
    /// The bus is open-drain, most significant bit first: the first target to send a zero where another sends a one goes on alone, so the
    /// least of the bytes offered stands on the wire.
    pub fn receive(&mut self, acknowledge: bool) -> u8 {
        if self.state == State::Free {
            return 0xFF;
        }
        let taking_part = || self.targets.iter().filter(|attached| attached.takes_part);
        let wire = taking_part()
            .map(|attached| attached.target.borrow_mut().offer())
            .min()
            .unwrap_or(0xFF);
        self.draw_bits(wire, CLOCKS_PER_BYTE - 1);
        self.pass((CLOCKS_PER_BYTE - 1) * self.timing.clock);
        for attached in self.targets.iter().filter(|attached| attached.takes_part) {
            attached.target.borrow_mut().settle(wire);
        }
        self.log.event(Event::Received {
            byte: wire,
            acknowledged: acknowledge,
        });
        self.draw_acknowledge(acknowledge);
        self.pass(self.timing.clock);
        wire
    }

    /// Breaks a byte off after `bits` clocks (at most 8), all ones; a START or STOP has to follow.
    pub fn break_off(&mut self, bits: u8) {
        if self.state == State::Free {
            return;
        }
        let bits = u64::from(bits.min(8));
        self.draw_bits(0xFF, bits);
        self.pass(bits * self.timing.clock);
        for attached in self.targets.iter().filter(|attached| attached.takes_part) {
            attached.target.borrow_mut().incomplete_byte();
        }
        self.log.event(Event::Incomplete);
    }

    /// STOP. The clock then stands at its edge; the bus-free time passes before the next START only.
    pub fn stop(&mut self) {
        if self.state == State::Free {
            return;
        }
        self.wires.until(self.clock.now_ns());
        self.wires.stop(self.clock.now_ns(), &self.timing);
        self.pass(self.timing.low + self.timing.stop_setup);
        for attached in &mut self.targets {
            attached.target.borrow_mut().stop();
            attached.takes_part = false;
        }
        let now = self.clock.now_ns();
        self.state = State::Free;
        self.free_at_ns = now + self.timing.bus_free;
        let transaction = self.log.stop(now);
        self.wires.end(&transaction);
        self.log.keep(transaction);
    }

    fn draw_bits(&mut self, byte: u8, count: u64) {
        let now = self.clock.now_ns();
        self.wires.until(now);
        self.wires.bits(now, &self.timing, byte, count);
    }

    fn draw_acknowledge(&mut self, acknowledged: bool) {
        let now = self.clock.now_ns();
        self.wires.until(now);
        self.wires.acknowledge(now, &self.timing, acknowledged);
    }

    fn pass(&mut self, ns: u64) {
        self.advance_to(self.clock.now_ns() + ns);
    }
}

struct Attached {
    target: Rc<RefCell<dyn Target>>,
    takes_part: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    Free,
    /// START was made: an address byte comes.
    Address,
    Data,
}
