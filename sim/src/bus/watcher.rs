use alloc::rc::Rc;

use super::Bus;

/// Looks at what the targets show outside the bus: their alert outputs.
pub(crate) trait Watcher {
    /// Whether anybody cares at present. If not, time goes by without stopping at the targets'
    /// events.
    fn watches(&self) -> bool;

    /// The targets have lived until `at_ns`; true if what they show has changed.
    fn look(&self, at_ns: u64) -> bool;
}

impl Bus {
    /// Who looks at every moment from now on at which a target may change.
    pub(crate) fn set_watcher(&mut self, watcher: Rc<dyn Watcher>) {
        self.watcher = Some(watcher);
    }

    /// When a target does something by itself next, or a fault does, after the present moment.
    pub(crate) fn next_event_ns(&self) -> Option<u64> {
        let now = self.clock.now_ns();
        let targets = self.targets.iter();
        targets
            .filter_map(|attached| attached.target.borrow().next_event_ns())
            .chain(Some(self.next_fault_ns()).filter(|&at_ns| at_ns < u64::MAX))
            .filter(|&at_ns| at_ns > now)
            .min()
    }

    /// When a fault begins or ends by the clock next; `u64::MAX` if none does.
    pub(crate) fn next_fault_ns(&self) -> u64 {
        let faults = self.disturbance.as_ref();
        faults.map_or(u64::MAX, |faults| faults.next_ns())
    }

    /// Goes from one of the targets' events to the next, up to the first at which the watcher sees
    /// a change: then true. False if none does before `ns`, or nobody watches; the clock then
    /// stands at the last event that was looked at.
    pub(crate) fn advance_to_change(&mut self, ns: u64) -> bool {
        if !self.watcher.as_ref().is_some_and(|it| it.watches()) {
            return false;
        }
        // What was done to the targets at the present moment, and what falls on it.
        self.live_until(self.clock.now_ns());
        if self.look() {
            return true;
        }
        while let Some(at_ns) = self.next_event_ns().filter(|&at_ns| at_ns < ns) {
            self.live_until(at_ns);
            if self.look() {
                return true;
            }
        }
        false
    }

    pub(super) fn live_until(&mut self, ns: u64) {
        while self.next_fault_ns() <= ns {
            let at_ns = self.next_fault_ns();
            self.live_alone_until(at_ns);
            if let Some(faults) = &self.disturbance {
                faults.act(at_ns);
            }
        }
        self.live_alone_until(ns);
    }

    /// The same, with no fault on the way.
    fn live_alone_until(&mut self, ns: u64) {
        self.clock.move_to(ns);
        let now = self.clock.now_ns();
        for attached in &self.targets {
            attached.target.borrow_mut().advance(now);
        }
    }

    pub(super) fn look(&self) -> bool {
        let watcher = self.watcher.as_ref().filter(|it| it.watches());
        watcher.is_some_and(|it| it.look(self.clock.now_ns()))
    }
}
