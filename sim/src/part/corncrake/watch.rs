//! A look inside the part while it works, for whoever records it.

use alloc::rc::Rc;
use core::cell::RefCell;

use super::{CHANNELS, Model};
use crate::plant::Means;

/// Sees what happens in a part.
pub trait PartWatcher {
    /// The part at `at_ns`, in nanoseconds of the bench's clock: right after something happened in
    /// it, be it that a conversion ended, a write was accepted, or an alert response let go of the
    /// outputs. The first call shows it as it stands when the watch begins. False ends the watch.
    ///
    /// It is called while the bench is at work and must not use the bench or the part from there.
    fn see(&mut self, at_ns: u64, part: &Snapshot) -> bool;
}

/// The inside of a part at one moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Snapshot {
    /// By channel, enabled or not.
    pub channels: [ChannelSnapshot; CHANNELS],
    /// Conversions finished since time 0.
    pub conversions: u64,
    /// FLAGS.
    pub flags: u32,
    /// CONDITIONS.
    pub conditions: u32,
    /// OUTPUTS: bit 0 output A, bit 1 output B, set while pulled low.
    pub outputs: u8,
}

/// The inside of one channel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ChannelSnapshot {
    /// Code of the last sense conversion, also in a capture; no mean. 0 after a reset.
    pub sense: i32,
    /// Code of the last rail conversion. 0 after a reset.
    pub rail: i32,
    /// Conversions in a row beyond the limit, up to 15, in the order of the flag bits.
    pub counts: [u8; 5],
    /// What the rail really did: current over the aperture of the last sense conversion, voltage
    /// over that of the last rail conversion. Zeros before the first, and without a rail.
    pub truth: Means,
}

/// A watcher and since when it watches.
pub(super) struct Watch {
    from_ns: u64,
    begun: bool,
    watcher: Rc<RefCell<dyn PartWatcher>>,
}

impl Watch {
    pub(super) fn new(from_ns: u64, watcher: Rc<RefCell<dyn PartWatcher>>) -> Self {
        Self {
            from_ns,
            begun: false,
            watcher,
        }
    }
}

impl Model {
    /// Does what falls until `to_ns` moment by moment, each shown to the watcher. Does nothing
    /// before the watch begins, and stops where it ends.
    pub(super) fn run_watched(&mut self, to_ns: u64) {
        let now_ns = self.now_ns;
        let Some(watch) = self.watch.as_mut().filter(|watch| watch.from_ns <= to_ns) else {
            return;
        };
        if !watch.begun {
            watch.begun = true;
            let from_ns = watch.from_ns.max(now_ns);
            self.run_events(from_ns);
            self.show(from_ns);
        }
        while self.watch.is_some()
            && let Some(at_ns) = self.core.phase.until_ns().filter(|&at_ns| at_ns <= to_ns)
        {
            self.run_events(at_ns);
            self.show(at_ns);
        }
    }

    /// Something has happened.
    pub(super) fn show(&mut self, at_ns: u64) {
        let Some(watch) = self.watch.as_ref().filter(|watch| watch.begun) else {
            return;
        };
        let goes_on = watch.watcher.borrow_mut().see(at_ns, &self.snapshot());
        if !goes_on {
            self.watch = None;
        }
    }

    /// The inside of the part at the present moment.
    pub fn snapshot(&self) -> Snapshot {
        let channels = core::array::from_fn(|channel| ChannelSnapshot {
            sense: self.core.sums.sense[channel],
            rail: self.core.sums.rail[channel],
            counts: self.core.alerts.counts(channel),
            truth: self.converter.inputs.seen(channel),
        });
        Snapshot {
            channels,
            conversions: self.converter.inputs.conversions(),
            flags: self.core.alerts.flags(),
            conditions: self.core.alerts.conditions(),
            outputs: self.core.alerts.outputs(),
        }
    }
}
