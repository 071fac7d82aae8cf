mod excursion;

use core::time::Duration;

use heapless::Deque;

use super::Event;
use super::look::Look;
use crate::bus::Fault;
use crate::config::{AlertFlags, Lasting, Limit, Limits, Outputs};
use crate::info::{PartInfo, Source, Undetectable};
use crate::monitor::{Sample, Timestamp};

/// Turns alert flags into events, and queues them for the firmware's policy.
///
/// - **Nothing is lost.** A flag is cleared in the part only after it was noted here, and stays
///   noted until it was handed over as an event. `Q` is the greatest number of events in the queue;
///   what finds it full is counted as [`dropped`](Self::dropped), with its flag in
///   [`lost`](Self::lost).
/// - **One excursion is one event.** A condition that lasts is not told again until a sample shows
///   it over by its hysteresis. Excursions that no sample separates are one; a sample counts once a
///   look has found the flag. So are two of which the second lies wholly between the latch of the
///   sample that shows the first one over and the look at the flags right after it, some
///   milliseconds later.
/// - **A condition that lasts leaves the bus alone**, as [`Lasting`] says for each limit: its flag
///   is taken off its outputs, or it is looked at again at an interval.
///
/// Call [`service`](Self::service) while an output that it is [`listening`](Self::listening) to is
/// active (its *level*: an edge can be missed), and [`next_in`](Self::next_in) after the last call
/// at the latest. [`asynch`](Self::asynch) has the same for an async monitor.
///
/// ```
/// use core::time::Duration;
/// use crake::alert::{AlertQueue, Event, Limit, Limits, Outputs, Threshold};
/// use crake::units::Current;
/// use crake::{Channel, Error, ShuntMonitor};
///
/// const DRIVE: Limit = Limit::new(Channel::C0, Threshold::OverCurrent(Current::from_amps(8)));
/// static LIMITS: Limits = Limits::new(&[DRIVE.debounce(4).to(Outputs::A)]);
///
/// /// Serves a part; gives how long the host may sleep unless a line wakes it.
/// fn serve<M: ShuntMonitor<4>>(
///     monitor: &mut M,
///     queue: &mut AlertQueue<'_, 8>,
///     act: &mut dyn FnMut(Event),
/// ) -> Result<Option<Duration>, Error<M::BusError>> {
///     if !monitor.is_armed() {
///         queue.set_limits(monitor, &LIMITS)?;
///     }
///     queue.service(monitor)?; // the sample that it lends goes to the totals
///     while let Some(event) = queue.next_event() {
///         act(event);
///     }
///     Ok(queue.next_in())
/// }
/// ```
#[derive(Clone, Debug)]
pub struct AlertQueue<'l, const Q: usize> {
    limits: Option<&'l Limits<'l>>,
    /// All flags that the limits ask for.
    enabled: AlertFlags,
    /// Flags that were seen and not yet told.
    pub(super) pending: AlertFlags,
    /// Likewise, but it is not known which limits they came of.
    pub(super) unknown: AlertFlags,
    /// Limits whose event was told and that no sample has shown to be over.
    lasting: AlertFlags,
    /// Of these, latching ones that a sample has shown to be over: what they set until then is
    /// still to be cleared.
    over: AlertFlags,
    /// Of those that last, the ones that are taken off their outputs.
    masked: AlertFlags,
    lost: AlertFlags,
    dropped: u32,
    /// Limits whose flags were found since the part's count of scans was `since`, and in as much
    /// time or more before that: a mean may have ended as long before a flag as it took.
    found: [AlertFlags; 2],
    since: u32,
    /// Zero: a second.
    interval: Duration,
    /// These limits stand in the part, unless the monitor says otherwise.
    armed: bool,
    pub(super) look: Look,
    /// The driver compares some of the limits.
    sampled: bool,
    undetectable: Undetectable,
    /// The masks in the part are not as they should be.
    pub(super) masks_due: bool,
    events: Deque<Event, Q>,
}

/// What limits are set on.
pub(super) type Of = (&'static PartInfo, Undetectable);

impl<const Q: usize> Default for AlertQueue<'_, Q> {
    fn default() -> Self {
        Self::new()
    }
}

impl<'l, const Q: usize> AlertQueue<'l, Q> {
    /// Nothing noted, no limits. While a flag is masked, a sample is due every second.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            limits: None,
            enabled: AlertFlags::empty(),
            pending: AlertFlags::empty(),
            unknown: AlertFlags::empty(),
            lasting: AlertFlags::empty(),
            over: AlertFlags::empty(),
            masked: AlertFlags::empty(),
            lost: AlertFlags::empty(),
            dropped: 0,
            found: [AlertFlags::empty(); 2],
            since: 0,
            interval: Duration::ZERO,
            armed: false,
            look: Look::DONE,
            sampled: false,
            undetectable: Undetectable::empty(),
            masks_due: false,
            events: Deque::new(),
        }
    }

    /// The same with another interval at which samples are due while a flag is masked. A flag is
    /// let to its output again at most that much after its condition is over.
    #[must_use]
    pub const fn with_interval(mut self, interval: Duration) -> Self {
        self.interval = interval;
        self
    }

    /// Tells what was noted, and finds out which conditions are over. [`service`](Self::service)
    /// does it; it is a piece of one that is split, and takes samples that were taken for their own
    /// sake.
    ///
    /// The sample has to be of the monitor whose flags were read, and taken after they were.
    pub fn update<const N: usize, S: Sample<N> + ?Sized>(&mut self, sample: &S) {
        if sample.info().alerts.cleared_by_reading && self.look.doubtful {
            self.compare(sample);
        }
        self.age(sample);
        let concerned = self.pending | self.lasting;
        for limit in self.list() {
            if concerned.intersects(limit.flags()) {
                self.judge(limit, sample);
            }
        }
        // While a look may be half-way, nothing keeps the part's own from being told again.
        let own = self.pending & AlertFlags::OWN;
        self.pending = if self.look.unsure {
            own
        } else {
            AlertFlags::empty()
        };
        self.tell(
            own.difference(self.pending),
            AlertFlags::empty(),
            sample.latched_at(),
        );
    }

    /// The oldest event, which is handed over with this.
    pub fn next_event(&mut self) -> Option<Event> {
        self.events.pop_front()
    }

    /// How many events found the queue full.
    #[must_use]
    pub const fn dropped(&self) -> u32 {
        self.dropped
    }

    /// Flags of dropped events since the last call.
    pub fn lost(&mut self) -> AlertFlags {
        core::mem::take(&mut self.lost)
    }

    /// On a part whose flags are cleared by reading them: how many looks failed, each of which may
    /// have taken flags with it. The sample after it is compared with the limits instead; an
    /// excursion that was over by then has no event.
    #[must_use]
    pub const fn unread(&self) -> u32 {
        self.look.unread
    }

    /// What nobody can find out on the part, as it was configured when limits were set: with
    /// [`RESET`](Undetectable::RESET) or [`WRITES`](Undetectable::WRITES) limits may be gone, and
    /// no event tells.
    #[must_use]
    pub const fn undetectable(&self) -> Undetectable {
        self.undetectable
    }

    /// Flags that were seen in the part and are not yet events.
    #[must_use]
    pub fn pending(&self) -> AlertFlags {
        self.pending.difference(self.lasting) | self.unknown
    }

    /// Limits whose event was told and that no sample has shown to be over.
    #[must_use]
    pub const fn lasting(&self) -> AlertFlags {
        self.lasting
    }

    /// The limits that were set last.
    #[must_use]
    pub const fn limits(&self) -> Option<&'l Limits<'l>> {
        self.limits
    }

    /// The outputs whose active level is news. An output that a lasting condition keeps active is
    /// not among them: flags that come meanwhile are found by the next call of
    /// [`service`](Self::service), whatever the reason for it.
    #[must_use]
    pub fn listening(&self) -> Outputs {
        let standing = self.lasting.difference(self.masked);
        let mut outputs = Outputs::all();
        for limit in self.list() {
            if standing.intersects(limit.flags()) {
                outputs.remove(limit.outputs());
            }
        }
        outputs
    }

    /// How long after the last [`service`](Self::service) the next one is due, whatever the outputs
    /// say; `None`: not before an output says so. Zero: a failure, or a piece that was not yet
    /// called, left something to do. Limits that the driver compares are looked at in the interval,
    /// or more often: no output tells of them.
    #[must_use]
    pub fn next_in(&self) -> Option<Duration> {
        let noted = self.pending() | self.over;
        if self.look.unsure || self.masks_due || !noted.is_empty() {
            return Some(Duration::ZERO);
        }
        let interval = match self.interval {
            Duration::ZERO => Duration::from_secs(1),
            interval => interval,
        };
        let mut least = self.sampled.then_some(interval);
        for limit in self.list() {
            if self.lasting.intersects(limit.flags()) {
                let interval = match limit.lasting_rule() {
                    Lasting::LookAgain(interval) => interval,
                    Lasting::MaskUntilOver => interval,
                };
                least = Some(least.map_or(interval, |least: Duration| least.min(interval)));
            }
        }
        least
    }

    /// Flags that a look asks for: all that the limits do, or what conditions that are over have
    /// left. From here on it may have stopped anywhere, until [`looked`](Self::looked) says better.
    pub(super) const fn begin_look(&mut self, settling: bool, info: &PartInfo) -> AlertFlags {
        self.look.begin(info);
        // What is read and not asked for must not be gone.
        if settling && !info.alerts.cleared_by_reading {
            self.over
        } else {
            self.enabled
        }
    }

    /// A look came through, so what conditions that are over had set until then is cleared; or it
    /// failed.
    pub(super) fn looked(&mut self, before: Look, fault: Option<Fault>) {
        if let Some(fault) = fault {
            return self.failed(before, fault);
        }
        self.look = before.and_done();
        self.pending.remove(self.over);
        self.release(self.over);
        self.over = AlertFlags::empty();
    }

    /// Where a setting of limits leaves the flags that it finds. From here on it may have stopped
    /// anywhere, until [`set`](Self::set) says better.
    pub(super) const fn begin_setting(
        &mut self,
        is_armed: bool,
        info: &PartInfo,
    ) -> &mut AlertFlags {
        self.look.begin(info);
        self.armed = self.armed && is_armed;
        if self.armed {
            &mut self.pending
        } else {
            &mut self.unknown
        }
    }

    /// These limits stand now, and no flag of those before: what was noted is told at once, for the
    /// next sample is not theirs.
    pub(super) fn set(&mut self, limits: &'l Limits<'l>, before: Look, (info, undetectable): Of) {
        let known = self.pending.difference(self.lasting | self.unknown);
        let asked = AlertFlags::LIMITS | self.enabled | limits.enabled();
        let told = (known | self.unknown) & asked.difference(AlertFlags::SCAN_DONE);
        self.tell(told, known, None);
        self.limits = Some(limits);
        self.enabled = limits.enabled();
        self.unknown = AlertFlags::empty();
        self.pending = AlertFlags::empty();
        self.lasting = AlertFlags::empty();
        self.over = AlertFlags::empty();
        self.masked = AlertFlags::empty();
        (self.armed, self.masks_due) = (true, false);
        self.look = before.and_done();
        (self.sampled, self.undetectable) = (sampled(info, limits), undetectable);
    }

    /// A look or a setting of limits failed; what was refused left everything as it was.
    #[inline(never)]
    pub(super) fn failed(&mut self, before: Look, fault: Fault) {
        match fault {
            Fault::Refused | Fault::Unpowered | Fault::NotConfigured | Fault::NotArmed => {
                self.look = before;
            }
            Fault::Reset => {
                // It took all flags with it, and there will be no sample.
                self.look = before.and_done();
                self.pending.remove(AlertFlags::RESET_SEEN);
                self.unknown.remove(AlertFlags::RESET_SEEN);
                self.tell(AlertFlags::RESET_SEEN, AlertFlags::empty(), None);
            }
            _ => {}
        }
    }

    /// From here on the masks in the part are others.
    pub(super) const fn disturb_masks(&mut self) {
        self.masks_due = true;
    }

    /// Whether flags of conditions that are over are still to be cleared.
    pub(super) const fn has_over(&self) -> bool {
        !self.over.is_empty()
    }

    /// The flags that are to reach output A and output B now.
    pub(super) fn masks(&self) -> [AlertFlags; 2] {
        let [a, b] = match self.limits {
            Some(limits) => *limits.masks(),
            None => [AlertFlags::empty(); 2],
        };
        [a.difference(self.masked), b.difference(self.masked)]
    }

    const fn list(&self) -> &'l [Limit] {
        match self.limits {
            Some(limits) => limits.list(),
            None => &[],
        }
    }

    /// Tells of flags without a value, with their limits where these are known.
    #[inline(never)]
    fn tell(&mut self, flags: AlertFlags, known: AlertFlags, date: Option<Timestamp>) {
        for flag in flags.each() {
            let (flags, mut event) = (AlertFlags::of(flag), Event::new(flag));
            event.set_date(date);
            if known.contains(flags)
                && let Some(limit) = self.list().iter().find(|limit| limit.flags() == flags)
            {
                event.set_limit(limit.threshold().billionths());
            }
            self.push(flags, event);
        }
    }

    #[inline(never)]
    fn push(&mut self, flags: AlertFlags, event: Event) {
        if self.events.push_back(event).is_err() {
            self.dropped = self.dropped.saturating_add(1);
            self.lost |= flags;
        }
    }
}

/// Whether the driver compares some of these limits.
fn sampled(info: &PartInfo, limits: &Limits<'_>) -> bool {
    let by_driver = |limit: &Limit| {
        let (debounce, latching) = (limit.debounce_count(), limit.is_latching());
        let channel = limit.channel().number();
        info.compared_by(channel, limit.kind(), debounce, latching) == Source::Driver
    };
    !info.alerts.is_complete() && limits.list().iter().any(by_driver)
}
