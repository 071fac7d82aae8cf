use heapless::Deque;

use super::{Cause, Causes, Kind, Limit, Plan, Watches};
use crate::old::Channel;
use crate::old::frame::{Frame, NoReading, Reading, Side, Stamp};
use crate::old::monitor::{Error, ShuntMonitor, Task};
use crate::old::sampling::Setup;

/// Something that the part told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Event {
    /// What it is about.
    pub cause: Cause,
    /// The limit in force, where a limit was passed: the requested one moved to the code on the safe side. `None` where it is not known: after a change of limits that failed half-way.
    pub in_force: Option<Limit>,
    /// The channel's reading in the frame latched right after the cause was seen: already back, perhaps.
    pub reading: Option<Result<Reading, NoReading>>,
    /// When that frame was latched: the cause is older than `after_us`.
    pub stamp: Stamp,
}

/// Keeps what is watched, turns causes into events, and queues them for the firmware's policy.
///
/// A cause is cleared in the part only after it was seen, and stays pending here until it was handed over as an event, even if the clearing failed or the frame after it did not come
/// through. A recurrence of a cause that is still pending merges with it; it never vanishes. `Q` is the greatest number of events in the queue; what finds it full is
/// counted as dropped, with its cause kept in [`lost`](Self::lost).
///
/// Call [`service`](Self::service) while an alert line is low (its *level*: an edge can be missed). Where a watchdog or others on the bus cannot wait so long, split it: between any two
/// of its pieces the bus is free and nothing is lost, however long the next one takes to come.
///
/// ```
/// use crake::old::alert::{Event, Station};
/// use crake::old::ledger::{Entry, Ledger};
/// use crake::old::{Error, ShuntMonitor, Task};
///
/// /// Serves an alert in pieces, with the watchdog fed between them.
/// fn serve<M: ShuntMonitor<4>>(
///     monitor: &mut M,
///     station: &mut Station<'_, 4, 16>,
///     ledger: &mut Ledger<'_, 4>,
///     feed_watchdog: &mut dyn FnMut(),
///     act: &mut dyn FnMut(Event),
/// ) -> Result<Entry, Error<M::BusError>> {
///     // Each look is two short transfers; a condition that stands is found by each of them.
///     for _ in 0..Task::LOOKS {
///         let more = station.look(monitor)?;
///         feed_watchdog();
///         if !more {
///             break;
///         }
///     }
///     let frame = monitor.latch()?;
///     station.report(&frame);
///     let entry = ledger.update(&frame);
///     while let Some(event) = station.next_event() {
///         act(event);
///     }
///     Ok(entry)
/// }
/// ```
#[derive(Clone, Debug)]
pub struct Station<'w, const N: usize, const Q: usize> {
    setup: Setup<N>,
    watches: Watches<'w>,
    pending: Causes,
    /// What is pending may stand in the part still, since a look has not come to its end: were it reported now, the next look would find it a second time.
    unsure: bool,
    /// A look came through since the frame before.
    looked: bool,
    /// Reported, and not yet back by their hysteresis.
    quiet: Causes,
    queue: Deque<Event, Q>,
    dropped: u32,
    lost: Causes,
    /// A change failed half-way: which of two limits stands in the part is not known.
    torn: bool,
    /// What stands in the part was brought about by a proof test.
    proving: bool,
}

/// A change of set-up and watches in progress.
pub(crate) struct Change<'w, const N: usize> {
    pub(crate) setup: Setup<N>,
    pub(crate) watches: Watches<'w>,
    /// Whether an earlier one had failed half-way.
    torn_before: bool,
    /// Whether an earlier look had.
    unsure_before: bool,
}

impl<'w, const N: usize, const Q: usize> Station<'w, N, Q> {
    /// Watches to be armed in a set-up. Touches nothing yet.
    #[must_use]
    pub const fn new(setup: Setup<N>, watches: Watches<'w>) -> Self {
        Self {
            setup,
            watches,
            pending: Causes::empty(),
            unsure: false,
            looked: false,
            quiet: Causes::empty(),
            queue: Deque::new(),
            dropped: 0,
            lost: Causes::empty(),
            torn: false,
            proving: false,
        }
    }

    /// Puts set-up and watches in force in one exchange, and gives the frame at which they took over (for the ledger).
    ///
    /// Causes that stood in the part before become events, with the readings of that frame.
    ///
    /// # Errors
    /// Watches that cannot be are refused before a byte is sent. After a failure on the bus the outputs may be masked; arm again.
    pub fn arm<'m, E>(
        &mut self,
        monitor: &'m mut dyn ShuntMonitor<N, BusError = E>,
    ) -> Result<Frame<'m>, Error<E>> {
        let change = self.begin_change(None);
        self.change(monitor, &change)
    }

    /// The same with another set-up and other watches: ranges and limits change together, and nothing false comes of it.
    ///
    /// Causes of the old watches that stood in the part become events with the old limits. What begins and ends while the change is in progress may go unseen.
    ///
    /// # Errors
    /// As [`arm`](Self::arm); a refused change leaves the old one in force. After a failure on the bus the old watches or the new ones may be in force: arm either. Until then, and for
    /// the causes found then, events cannot tell the limit in force.
    pub fn rearm<'m, E>(
        &mut self,
        monitor: &'m mut dyn ShuntMonitor<N, BusError = E>,
        setup: Setup<N>,
        watches: Watches<'w>,
    ) -> Result<Frame<'m>, Error<E>> {
        let change = self.begin_change(Some((&setup, &watches)));
        self.change(monitor, &change)
    }

    fn change<'m, E>(
        &mut self,
        monitor: &'m mut dyn ShuntMonitor<N, BusError = E>,
        change: &Change<'w, N>,
    ) -> Result<Frame<'m>, Error<E>> {
        let mut of_proof = Causes::empty();
        let found = self.found(&mut of_proof);
        match monitor.arm(&change.setup, &change.watches, found) {
            Ok(frame) => {
                self.changed(change, &frame);
                Ok(frame)
            }
            Err(error) => {
                self.unchanged(change, &error);
                Err(error)
            }
        }
    }

    /// A change to these, or (`None`) to what the station has. Takes it that it stops half-way, until [`changed`](Self::changed) or [`unchanged`](Self::unchanged) says better.
    #[inline(never)] // within a future its copies were taken for ones that may overlap, which takes a routine of 1.5 KiB
    pub(crate) fn begin_change(&mut self, new: Option<(&Setup<N>, &Watches<'w>)>) -> Change<'w, N> {
        let (setup, watches) = new.unwrap_or((&self.setup, &self.watches));
        let change = Change {
            setup: *setup,
            watches: *watches,
            torn_before: self.torn,
            unsure_before: self.unsure,
        };
        self.torn |= change.setup != self.setup || change.watches != self.watches;
        self.unsure = true;
        change
    }

    /// Where a change leaves the causes that it finds: those that a proof test brought about are nobody's.
    pub(crate) const fn found<'f>(&'f mut self, of_proof: &'f mut Causes) -> &'f mut Causes {
        if self.proving {
            of_proof
        } else {
            &mut self.pending
        }
    }

    /// The change took place with this frame.
    pub(crate) fn changed(&mut self, change: &Change<'w, N>, frame: &Frame<'_>) {
        self.torn = change.torn_before;
        self.unsure = false;
        self.report(frame);
        (self.setup, self.watches, self.quiet) = (change.setup, change.watches, Causes::empty());
        (self.torn, self.proving) = (false, false);
    }

    /// The change failed; a refused one left everything as it was.
    pub(crate) fn unchanged<E>(&mut self, change: &Change<'w, N>, error: &Error<E>) {
        if error.misuse().is_some() {
            (self.torn, self.unsure) = (change.torn_before, change.unsure_before);
        }
    }

    /// From here on what stands in the part is a proof test's, until the station is armed.
    pub(crate) const fn begin_proof(&mut self) {
        self.proving = true;
    }

    /// Reads the causes, clears exactly those that were seen, again until none is left, latches a frame and queues an event for each cause.
    ///
    /// # Errors
    /// What was seen so far stays pending and is reported by the next service.
    pub fn service<'m, E>(
        &mut self,
        monitor: &'m mut dyn ShuntMonitor<N, BusError = E>,
    ) -> Result<Frame<'m>, Error<E>> {
        let (unsure, interest, pending) = self.begin_look();
        let outcome = monitor.service(interest, pending);
        self.looked(unsure, outcome.as_ref().err());
        let frame = outcome?;
        self.report(&frame);
        Ok(frame)
    }

    /// The first piece of a service, where it is split: reads the causes once and clears exactly those that were seen. `true`: there were some, and others may have come meanwhile; look again.
    ///
    /// What was seen stays pending until a later frame of the same monitor is shown to [`report`](Self::report).
    ///
    /// # Errors
    /// What was seen so far stays pending. Whether it was cleared is not known, so it is not reported before a look (or a service, or an arming) came through.
    pub fn look<E>(
        &mut self,
        monitor: &mut dyn ShuntMonitor<N, BusError = E>,
    ) -> Result<bool, Error<E>> {
        let (unsure, interest, pending) = self.begin_look();
        let outcome = monitor.look(interest, pending);
        self.looked(unsure, outcome.as_ref().err());
        outcome
    }

    /// Whether an earlier look was left half-way, what a look asks for, and where it leaves what it finds. Takes it that this one stops half-way, too, until [`looked`](Self::looked) says better.
    pub(crate) fn begin_look(&mut self) -> (bool, Causes, &mut Causes) {
        let before = core::mem::replace(&mut self.unsure, true);
        (before, self.interest(), &mut self.pending)
    }

    /// The look, or the service that began with it, is over; a refused one left everything as it was before.
    pub(crate) fn looked<E>(&mut self, before: bool, error: Option<&Error<E>>) {
        self.looked |= error.is_none();
        self.unsure = match error {
            None => false,
            Some(error) if error.misuse().is_some() => before,
            Some(error) => error.task != Task::Latch,
        };
    }

    /// Turns pending causes into events with the readings of `frame`, and lets causes whose reading is back be reported again.
    ///
    /// [`service`](Self::service) does this by itself; it is the last piece of one that is split. With hysteresis show the frames in between, too: a following cause whose line went high by itself is let go by them
    /// alone.
    pub fn report(&mut self, frame: &Frame<'_>) {
        // Not released by this frame yet: a held cause that was set again by the excursion already told comes with the frame that shows it over.
        if !self.unsure {
            for cause in core::mem::take(&mut self.pending).each() {
                self.tell(cause, frame);
            }
        }
        // What was over before the host looked needs no further frame to be told of again.
        self.release(frame);
        self.looked = false;
    }

    /// The oldest event, which is handed over with this.
    pub fn next_event(&mut self) -> Option<Event> {
        self.queue.pop_front()
    }

    /// How many events found the queue full.
    #[must_use]
    pub const fn dropped(&self) -> u32 {
        self.dropped
    }

    /// Causes of dropped events since the last call.
    pub fn lost(&mut self) -> Causes {
        core::mem::take(&mut self.lost)
    }

    /// Causes seen in the part and not yet reported.
    #[must_use]
    pub const fn pending(&self) -> Causes {
        self.pending
    }

    /// The set-up that belongs to the watches.
    #[must_use]
    pub const fn setup(&self) -> &Setup<N> {
        &self.setup
    }

    /// What is watched.
    #[must_use]
    pub const fn watches(&self) -> &Watches<'w> {
        &self.watches
    }

    /// Causes that a service asks for.
    #[must_use]
    pub fn interest(&self) -> Causes {
        let watched = self.watches.interest();
        if self.torn {
            watched | Causes::LIMITS
        } else {
            watched
        }
    }

    /// Makes the event of a cause, unless its last one still stands for it.
    #[inline(never)]
    fn tell(&mut self, cause: Cause, frame: &Frame<'_>) {
        let own = Causes::of(cause);
        if self.quiet.contains(own) {
            return;
        }
        if let Cause::Limit(channel, kind) = cause
            && let Some(watch) = self.watches.find(channel, kind)
            && watch.margin() > 0
        {
            self.quiet |= own;
        }
        if self.queue.is_full() {
            self.dropped = self.dropped.saturating_add(1);
            self.lost |= own;
            return;
        }
        let in_force = match cause {
            Cause::Limit(channel, kind) if !self.torn => {
                let ranges = &self.setup.channels;
                Plan::unchecked(frame.spec(), frame.rails, ranges, self.watches)
                    .in_force(channel, kind)
            }
            _ => None,
        };
        let reading = match cause {
            Cause::Limit(channel, _) => Some(frame.reading(channel)),
            Cause::RolloverAhead | Cause::RoundDone | Cause::ResetSeen => None,
        };
        let _ = self.queue.push_back(Event {
            cause,
            in_force,
            reading,
            stamp: frame.stamp(),
        });
    }

    fn release(&mut self, frame: &Frame<'_>) {
        for cause in self.quiet.each() {
            let Cause::Limit(channel, kind) = cause else {
                continue;
            };
            let Some(watch) = self.watches.find(channel, kind) else {
                continue;
            };
            let Some((reading, side)) = known(frame, channel, kind) else {
                continue;
            };
            // A cut value tells of one side alone.
            if side == Side::Unknown || (side == Side::AtLeast && kind.is_over()) {
                continue;
            }
            let value = match kind {
                Kind::OverVoltage | Kind::UnderVoltage => reading.voltage.as_nanovolts(),
                Kind::OverCurrent | Kind::UnderCurrent => reading.current.as_nanoamps(),
                Kind::OverPower => reading.power.as_nanowatts(),
            };
            // A held cause may have been set again by the excursion that was told: until it was looked for, its end would not be the last of it.
            if watch.is_held() && !self.looked {
                continue;
            }
            let limit = watch.limit().value();
            let back = if kind.is_over() {
                value <= limit.saturating_sub_unsigned(watch.margin())
            } else {
                value >= limit.saturating_add_unsigned(watch.margin())
            };
            if back {
                self.quiet.remove(Causes::of(cause));
            }
        }
    }
}

/// A channel's reading, and what it says of the quantity that a kind is about, if the other one went over range.
fn known(frame: &Frame<'_>, channel: Channel, kind: Kind) -> Option<(Reading, Side)> {
    match frame.reading(channel) {
        Ok(reading) => Some((reading, Side::Near)),
        Err(NoReading::Clipped {
            reading,
            current,
            voltage,
            ..
        }) => {
            let side = match kind {
                Kind::OverVoltage | Kind::UnderVoltage => voltage,
                Kind::OverCurrent | Kind::UnderCurrent => current,
                Kind::OverPower if current == Side::Near && voltage == Side::Near => Side::Near,
                Kind::OverPower => Side::Unknown,
            };
            Some((reading, side))
        }
        Err(_) => None,
    }
}

#[cfg(feature = "defmt")]
impl<const N: usize, const Q: usize> defmt::Format for Station<'_, N, Q> {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(
            f,
            "Station {{ watches: {}, pending: {}, queued: {=usize}, dropped: {=u32} }}",
            self.watches,
            self.pending,
            self.queue.len(),
            self.dropped
        );
    }
}
