//! A virtual I2C bus: bit-accurate times, several targets, open-drain arbitration between them, and
//! a log.
//!
//! [`Bus::start`], [`send`](Bus::send), [`receive`](Bus::receive) and [`stop`](Bus::stop) are the
//! wire; [`Bus::transaction`] is a controller on it with `embedded-hal`'s meaning.

mod clock;
mod controller;
mod log;
mod timing;
mod upset;
mod watcher;
mod wires;

use alloc::{rc::Rc, vec::Vec};
use core::cell::RefCell;

pub use clock::Clock;
pub use controller::{BusError, Restart};
pub use log::{Event, Logging, Stats, Transaction};
pub use timing::{Speed, Timing};
pub use wires::{Line, WireWatcher};

use crate::part::Target;
pub(crate) use controller::{Conditions, play};
use log::Log;
pub(crate) use upset::Disturbance;
use upset::{Fate, Upset};
pub(crate) use watcher::Watcher;
use wires::Wires;

/// The wire, its targets, and the clock that every bit on it moves.
pub struct Bus {
    clock: Clock,
    timing: Timing,
    targets: Vec<Attached>,
    state: State,
    /// What was last done on the bus, its hold time included, is over; after STOP, the bus-free
    /// time.
    ready_at_ns: u64,
    log: Log,
    watcher: Option<Rc<dyn Watcher>>,
    wires: Wires,
    disturbance: Option<Rc<dyn Disturbance>>,
    upset: Upset,
}

impl Bus {
    /// A bus without targets that moves `clock`.
    pub fn new(clock: Clock, speed: Speed) -> Self {
        Self {
            clock,
            timing: Timing::of(speed),
            targets: Vec::new(),
            state: State::Free,
            ready_at_ns: 0,
            log: Log::default(),
            watcher: None,
            wires: Wires::default(),
            disturbance: None,
            upset: Upset::default(),
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
        let ns = ns.max(self.clock.now_ns());
        while self.advance_to_change(ns) {}
        self.live_until(ns);
        self.look();
    }

    /// START, after the bus-free time; within a transaction, a repeated START.
    pub fn start(&mut self) {
        self.advance_to(self.start_at_ns());
        self.start_edge();
        self.advance_to(self.ready_at_ns);
    }

    /// A byte from the controller; true if a target acknowledged it. After START it is an address
    /// byte, seen by all.
    ///
    /// On a free bus nothing happens, and nobody acknowledges.
    pub fn send(&mut self, byte: u8) -> bool {
        if self.is_free() {
            return false;
        }
        self.advance_to(self.bits_at_ns(u8::BITS));
        let acknowledged = self.send_edge(byte);
        self.advance_to(self.ready_at_ns);
        acknowledged
    }

    /// A byte from the targets; `acknowledge` asks for a further one. 0xFF when no target drives
    /// the bus, or when it is free.
    ///
    /// The bus is open-drain, most significant bit first: the first target to send a zero where
    /// another sends a one goes on alone, so the least of the bytes offered stands on the wire.
    pub fn receive(&mut self, acknowledge: bool) -> u8 {
        if self.is_free() {
            return 0xFF;
        }
        let offered = self.offered();
        self.advance_to(self.bits_at_ns(u8::BITS));
        let wire = self.receive_edge(offered, acknowledge);
        self.advance_to(self.ready_at_ns);
        wire
    }

    /// Breaks a byte off after `bits` clocks (at most 8); a START or STOP has to follow.
    pub fn break_off(&mut self, bits: u8) {
        if self.is_free() {
            return;
        }
        self.advance_to(self.bits_at_ns(u32::from(bits.min(8))));
        self.break_edge();
    }

    /// STOP. The clock then stands at its edge; the bus-free time passes before the next START
    /// only.
    pub fn stop(&mut self) {
        if self.is_free() {
            return;
        }
        self.advance_to(self.stop_at_ns());
        self.stop_edge();
    }

    /// Ends at once what a controller has begun, with whatever bits of a byte have gone, by STOP.
    pub(crate) fn abandon(&mut self) {
        if self.is_free() {
            return;
        }
        self.upset = Upset::default();
        if self.clock.now_ns() > self.ready_at_ns {
            self.break_edge();
        }
        self.stop();
    }
}

/// The moments at which something happens on the wire, and what happens there: whoever waits for
/// the one may do the other, and let other things happen meanwhile.
impl Bus {
    /// Whether no transaction is in progress.
    pub(crate) fn is_free(&self) -> bool {
        self.state == State::Free
    }

    /// When what was last done is over.
    pub(crate) fn ready_at_ns(&self) -> u64 {
        self.ready_at_ns.max(self.clock.now_ns())
    }

    pub(crate) fn start_at_ns(&self) -> u64 {
        let set_up = if self.is_free() {
            0
        } else {
            self.timing.low + self.timing.restart_setup
        };
        self.ready_at_ns() + set_up
    }

    /// When `bits` of the next byte have gone. A target decides when it has all eight.
    pub(crate) fn bits_at_ns(&self, bits: u32) -> u64 {
        self.ready_at_ns() + u64::from(bits) * self.timing.clock
    }

    pub(crate) fn stop_at_ns(&self) -> u64 {
        self.ready_at_ns() + self.timing.low + self.timing.stop_setup
    }

    pub(crate) fn start_edge(&mut self) {
        let now_ns = self.clock.now_ns();
        if self.is_free() {
            self.log.start(now_ns);
            self.wires.until(now_ns);
            self.wires.start(now_ns, &self.timing);
        } else {
            let began_ns = now_ns.saturating_sub(self.timing.low + self.timing.restart_setup);
            self.wires.until(began_ns);
            self.wires.restart(began_ns, &self.timing);
            self.log.event(Event::Restart);
        }
        for attached in &mut self.targets {
            attached.target.borrow_mut().start();
            attached.takes_part = false;
        }
        self.state = State::Address;
        self.busy_for(self.timing.start_hold);
    }

    pub(crate) fn send_edge(&mut self, byte: u8) -> bool {
        let is_address = self.state == State::Address;
        self.state = State::Data;
        let fate = self.upset.sends(byte, is_address);
        let byte = if let Fate::Heard(heard) = fate {
            heard
        } else {
            byte
        };
        self.draw_bits(byte);
        let mut acknowledged = match fate {
            Fate::Heard(_) => self.tell(byte, is_address),
            Fate::Swallowed => true,
            Fate::Refused => false,
            Fate::BrokenOff(ns) => {
                self.log.event(Event::Incomplete);
                self.busy_for(ns);
                return false;
            }
        };
        let held = (is_address && acknowledged).then(|| self.upset.held());
        let (held_ns, too_long) = held.flatten().unwrap_or_default();
        acknowledged &= !too_long;
        self.log.event(Event::Sent { byte, acknowledged });
        self.draw_acknowledge(acknowledged);
        self.busy_for(self.timing.clock + held_ns);
        acknowledged
    }

    /// Shows a byte to the targets; true if one acknowledges it.
    fn tell(&mut self, byte: u8, is_address: bool) -> bool {
        let mut acknowledged = false;
        for attached in &mut self.targets {
            if is_address {
                attached.takes_part = attached.target.borrow_mut().address(byte);
                acknowledged |= attached.takes_part;
            } else if attached.takes_part {
                acknowledged |= attached.target.borrow_mut().write(byte);
            }
        }
        acknowledged
    }

    /// The byte that the targets begin to send.
    pub(crate) fn offered(&self) -> u8 {
        let taking_part = self.targets.iter().filter(|attached| attached.takes_part);
        taking_part
            .map(|attached| attached.target.borrow_mut().offer())
            .min()
            .unwrap_or(0xFF)
    }

    /// The byte has come: what stands on the wire of it.
    pub(crate) fn receive_edge(&mut self, offered: u8, acknowledge: bool) -> u8 {
        let wire = self.upset.receives(offered);
        self.draw_bits(wire);
        for attached in self.targets.iter().filter(|attached| attached.takes_part) {
            attached.target.borrow_mut().settle(offered);
        }
        self.log.event(Event::Received {
            byte: wire,
            acknowledged: acknowledge,
        });
        self.draw_acknowledge(acknowledge);
        self.busy_for(self.timing.clock);
        wire
    }

    /// A byte ends after as many of its clocks as have gone, all ones.
    fn break_edge(&mut self) {
        let (began_ns, timing) = (self.ready_at_ns, &self.timing);
        let clocks = self.clock.now_ns().saturating_sub(began_ns) / timing.clock;
        self.wires.until(began_ns);
        self.wires.bits(began_ns, timing, 0xFF, clocks);
        for attached in self.targets.iter().filter(|attached| attached.takes_part) {
            attached.target.borrow_mut().incomplete_byte();
        }
        self.log.event(Event::Incomplete);
        self.busy_for(0);
    }

    pub(crate) fn stop_edge(&mut self) {
        let now_ns = self.clock.now_ns();
        let began_ns = now_ns.saturating_sub(self.timing.low + self.timing.stop_setup);
        self.wires.until(began_ns);
        self.wires.stop(began_ns, &self.timing);
        for attached in &mut self.targets {
            attached.target.borrow_mut().stop();
        }
        self.state = State::Free;
        let transaction = self.log.stop(now_ns);
        self.wires.end(&transaction);
        self.log.keep(transaction);
        self.busy_for(self.timing.bus_free);
    }

    /// The eight clocks of a byte, which have just gone.
    fn draw_bits(&mut self, byte: u8) {
        let bits = u64::from(u8::BITS);
        let began_ns = self.clock.now_ns().saturating_sub(bits * self.timing.clock);
        self.wires.until(began_ns);
        self.wires.bits(began_ns, &self.timing, byte, bits);
    }

    /// The clock of the acknowledge, which begins now.
    fn draw_acknowledge(&mut self, acknowledged: bool) {
        let now_ns = self.clock.now_ns();
        self.wires.acknowledge(now_ns, &self.timing, acknowledged);
    }

    fn busy_for(&mut self, ns: u64) {
        self.ready_at_ns = self.clock.now_ns() + ns;
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
