use alloc::rc::Rc;
use core::cell::RefCell;

use super::{Timing, Transaction, timing::CLOCKS_PER_BYTE};

/// One of the two wires of the bus.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Line {
    /// The clock.
    Scl,
    /// The data.
    Sda,
}

/// Sees the two wires of a bus edge by edge, and every transaction as a whole when it is over.
///
/// It is called while the bus is at work and must not use the bench from there. All moments are
/// nanoseconds of the bench's clock. Edges come in the order of their moments, but a piece of a
/// transfer at a time: when it has been made, with what belongs to its last edge ahead of the
/// clock. Both wires are high before the first edge.
pub trait WireWatcher {
    /// All that happened on the bench before `now_ns` has been told, by the bus and by every part.
    fn until(&mut self, now_ns: u64);

    /// A transaction begins; `start_ns` is the edge of its START, which is told as an edge besides.
    fn begin(&mut self, start_ns: u64);

    /// A wire changes to this level.
    fn edge(&mut self, at_ns: u64, line: Line, high: bool);

    /// A transaction is over; its STOP has been told as an edge.
    fn end(&mut self, transaction: &Transaction);
}

/// Draws transfers for a watcher, in the same pieces of time that the bus lets pass for them.
///
/// Each clock begins with the falling edge: low for [`Timing::low`], high for the rest of the
/// period. SDA changes in the middle of `low`, as far from both edges of SCL as can be.
#[derive(Default)]
pub(super) struct Wires {
    watcher: Option<Rc<RefCell<dyn WireWatcher>>>,
    /// A START came after the watcher: transactions are drawn from then on.
    drawing: bool,
    sda: bool,
}

impl Wires {
    pub(super) fn watch(&mut self, watcher: Option<Rc<RefCell<dyn WireWatcher>>>) {
        self.watcher = watcher;
        self.drawing = false;
        self.sda = true;
    }

    /// All targets have lived until `now_ns`.
    pub(super) fn until(&self, now_ns: u64) {
        if let Some(watcher) = &self.watcher {
            watcher.borrow_mut().until(now_ns);
        }
    }

    /// START at `at_ns`, on a free bus.
    pub(super) fn start(&mut self, at_ns: u64, timing: &Timing) {
        if let Some(watcher) = &self.watcher {
            watcher.borrow_mut().begin(at_ns);
            self.drawing = true;
            self.fall(at_ns, timing);
        }
    }

    /// A repeated START, which began to be made at `now_ns`.
    pub(super) fn restart(&mut self, now_ns: u64, timing: &Timing) {
        self.sda_within_low(now_ns, timing, true);
        self.edge(now_ns + timing.low, Line::Scl, true);
        self.fall(now_ns + timing.low + timing.restart_setup, timing);
    }

    /// The first `count` bits of a byte, the most significant first.
    pub(super) fn bits(&mut self, now_ns: u64, timing: &Timing, byte: u8, count: u64) {
        for i in 0..count.min(CLOCKS_PER_BYTE - 1) {
            self.clock(now_ns + i * timing.clock, timing, byte << i & 0x80 != 0);
        }
    }

    /// The clock of the acknowledge.
    pub(super) fn acknowledge(&mut self, now_ns: u64, timing: &Timing, acknowledged: bool) {
        self.clock(now_ns, timing, !acknowledged);
    }

    /// STOP, which began to be made at `now_ns`.
    pub(super) fn stop(&mut self, now_ns: u64, timing: &Timing) {
        self.sda_within_low(now_ns, timing, false);
        self.edge(now_ns + timing.low, Line::Scl, true);
        self.sda(now_ns + timing.low + timing.stop_setup, true);
    }

    /// STOP was made.
    pub(super) fn end(&mut self, transaction: &Transaction) {
        if let (Some(watcher), true) = (&self.watcher, self.drawing) {
            watcher.borrow_mut().end(transaction);
        }
    }

    /// SDA falls while SCL is high, and SCL after it.
    fn fall(&mut self, at_ns: u64, timing: &Timing) {
        self.sda(at_ns, false);
        self.edge(at_ns + timing.start_hold, Line::Scl, false);
    }

    /// One clock, whose falling edge has been made.
    fn clock(&mut self, from_ns: u64, timing: &Timing, sda: bool) {
        self.sda_within_low(from_ns, timing, sda);
        self.edge(from_ns + timing.low, Line::Scl, true);
        self.edge(from_ns + timing.clock, Line::Scl, false);
    }

    fn sda_within_low(&mut self, from_ns: u64, timing: &Timing, high: bool) {
        self.sda(from_ns + timing.low / 2, high);
    }

    fn sda(&mut self, at_ns: u64, high: bool) {
        if self.sda != high {
            self.sda = high;
            self.edge(at_ns, Line::Sda, high);
        }
    }

    fn edge(&self, at_ns: u64, line: Line, high: bool) {
        if let (Some(watcher), true) = (&self.watcher, self.drawing) {
            watcher.borrow_mut().edge(at_ns, line, high);
        }
    }
}

#[cfg(test)]
mod tests {
    use alloc::{format, string::String, vec, vec::Vec};

    use super::*;
    use crate::bus::{Bus, Clock, Speed};

    #[derive(Default)]
    struct Seen(Vec<String>);

    impl WireWatcher for Seen {
        fn until(&mut self, now_ns: u64) {
            self.0.push(format!("until {now_ns}"));
        }
        fn begin(&mut self, start_ns: u64) {
            self.0.push(format!("begin {start_ns}"));
        }
        fn edge(&mut self, at_ns: u64, line: Line, high: bool) {
            let level = if high { "high" } else { "low" };
            self.0.push(format!("{line:?} {level} {at_ns}"));
        }
        fn end(&mut self, transaction: &Transaction) {
            self.0.push(format!("end {}", transaction.stop_ns));
        }
    }

    /// Clocks from `from_ns` on, as fast mode has them: 1.3 µs low, 1.2 µs high.
    fn clocks(from_ns: u64, count: u64) -> impl Iterator<Item = String> {
        let edges = move |at_ns: u64| {
            let (rise, fall) = (at_ns + 1_300, at_ns + 2_500);
            [format!("Scl high {rise}"), format!("Scl low {fall}")]
        };
        (0..count).flat_map(move |n| edges(from_ns + n * 2_500))
    }

    fn told(lines: &[&str]) -> Vec<String> {
        lines.iter().map(|line| String::from(*line)).collect()
    }

    /// By hand from UM10204's table for fast mode: START hold 0.6, low 1.3, set-up of repeated
    /// START and STOP 0.6, clock 2.5 µs. The byte is 0x80, and nobody is there to acknowledge it;
    /// then one is broken off after all its bits.
    #[test]
    fn each_edge_has_its_time() {
        let mut bus = Bus::new(Clock::default(), Speed::Fast);
        let seen = Rc::new(RefCell::new(Seen::default()));
        bus.start();
        bus.watch(Some(seen.clone()));
        bus.send(0x80);
        bus.stop();
        assert!(seen.borrow().0.iter().all(|told| told.starts_with("until")));
        bus.advance_to(100_000);
        seen.borrow_mut().0.clear();
        bus.start();
        bus.send(0x80);
        bus.start();
        bus.break_off(9);
        bus.stop();
        let mut expected = told(&["until 100000", "begin 100000", "Sda low 100000"]);
        expected.extend(told(&["Scl low 100600", "until 100600", "Sda high 101250"]));
        expected.extend(clocks(100_600, 1));
        expected.extend(told(&["Sda low 103750"]));
        expected.extend(clocks(103_100, 7));
        expected.extend(told(&["Sda high 121250"]));
        expected.extend(clocks(120_600, 1));
        expected.extend(told(&["until 123100", "Scl high 124400", "Sda low 125000"]));
        expected.extend(told(&["Scl low 125600", "until 125600", "Sda high 126250"]));
        expected.extend(clocks(125_600, 8));
        expected.extend(told(&["until 145600", "Sda low 146250", "Scl high 146900"]));
        expected.extend(told(&["Sda high 147500", "end 147500"]));
        assert_eq!(seen.borrow().0, expected);
        // After three bits there are three.
        bus.advance_to(200_000);
        bus.start();
        seen.borrow_mut().0.clear();
        bus.break_off(3);
        let mut expected = told(&["until 200600", "Sda high 201250"]);
        expected.extend(clocks(200_600, 3));
        assert_eq!(seen.borrow().0, expected);
    }

    /// A controller that did not let go of a byte for long makes no ninth bit of it.
    #[test]
    fn a_byte_has_eight_bits() {
        let seen = Rc::new(RefCell::new(Seen::default()));
        let mut wires = Wires::default();
        wires.watch(Some(seen.clone()));
        wires.drawing = true;
        wires.bits(0, &Timing::of(Speed::Fast), 0xFF, 100);
        assert_eq!(seen.borrow().0, clocks(0, 8).collect::<Vec<_>>());
        // Nor is it drawn who began to watch within it.
        wires.watch(Some(seen.clone()));
        seen.borrow_mut().0 = vec![];
        wires.bits(0, &Timing::of(Speed::Fast), 0x00, 8);
        assert_eq!(seen.borrow().0, told(&[]));
    }
}
