use core::time::Duration;

use heapless::Deque;

use super::Event;
use super::quantity::Shown;
use crate::bus::Fault;
use crate::config::{AlertFlags, Lasting, Limit, Limits, Outputs, Run};
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
    /// A look has not come to its end: what is pending may stand in the part still.
    pub(super) unsure: bool,
    /// The masks in the part are not as they should be.
    pub(super) masks_due: bool,
    events: Deque<Event, Q>,
}

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
            unsure: false,
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
        self.age(sample);
        let concerned = self.pending | self.lasting;
        for limit in self.list() {
            if concerned.intersects(limit.flags()) {
                self.judge(limit, sample);
            }
        }
        // While a look may be half-way, nothing keeps the part's own from being told again.
        let own = self.pending & AlertFlags::OWN;
        self.pending = if self.unsure {
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
    /// called, left something to do.
    #[must_use]
    pub fn next_in(&self) -> Option<Duration> {
        let noted = self.pending() | self.over;
        if self.unsure || self.masks_due || !noted.is_empty() {
            return Some(Duration::ZERO);
        }
        let mut least = None;
        for limit in self.list() {
            if self.lasting.intersects(limit.flags()) {
                let interval = match limit.lasting_rule() {
                    Lasting::LookAgain(interval) => interval,
                    Lasting::MaskUntilOver if self.interval.is_zero() => Duration::from_secs(1),
                    Lasting::MaskUntilOver => self.interval,
                };
                least = Some(least.map_or(interval, |least: Duration| least.min(interval)));
            }
        }
        least
    }

    /// Flags that a look asks for: all that the limits do, or what conditions that are over have
    /// left. From here on it may have stopped anywhere, until [`looked`](Self::looked) says better.
    pub(super) const fn begin_look(&mut self, settling: bool) -> AlertFlags {
        self.unsure = true;
        if settling { self.over } else { self.enabled }
    }

    /// A look came through, so what conditions that are over had set until then is cleared; or it
    /// failed.
    pub(super) fn looked(&mut self, unsure_before: bool, fault: Option<Fault>) {
        if let Some(fault) = fault {
            return self.failed(unsure_before, fault);
        }
        self.unsure = false;
        self.pending.remove(self.over);
        self.release(self.over);
        self.over = AlertFlags::empty();
    }

    /// Where a setting of limits leaves the flags that it finds. From here on it may have stopped
    /// anywhere, until [`set`](Self::set) says better.
    pub(super) const fn begin_setting(&mut self, is_armed: bool) -> &mut AlertFlags {
        self.unsure = true;
        self.armed = self.armed && is_armed;
        if self.armed {
            &mut self.pending
        } else {
            &mut self.unknown
        }
    }

    /// These limits stand now, and no flag of those before: what was noted is told at once, for the
    /// next sample is not theirs.
    pub(super) fn set(&mut self, limits: &'l Limits<'l>) {
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
        (self.armed, self.masks_due, self.unsure) = (true, false, false);
    }

    /// A look or a setting of limits failed; what was refused left everything as it was.
    #[inline(never)]
    pub(super) fn failed(&mut self, unsure_before: bool, fault: Fault) {
        match fault {
            Fault::Refused | Fault::Unpowered | Fault::NotConfigured | Fault::NotArmed => {
                self.unsure = unsure_before;
            }
            Fault::Reset => {
                // It took all flags with it, and there will be no sample.
                self.unsure = false;
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

    /// Tells of a limit that was passed, or finds out whether the condition of one that lasts is
    /// over: if it follows, it is told again from now on, if it latches, once what it set until now
    /// is cleared.
    fn judge<const N: usize, S: Sample<N> + ?Sized>(&mut self, limit: &Limit, sample: &S) {
        let shown = Shown::new(sample, limit.channel(), limit.kind());
        let flags = limit.flags();
        // What is found again while it lasts was told.
        let begins = !self.lasting.intersects(flags);
        if begins {
            self.lasting |= flags;
            let mut event = Event::new(limit.flag());
            event.set_limit(limit.threshold().billionths());
            event.set_value(shown.as_ref());
            event.set_date(sample.latched_at());
            self.push(flags, event);
        }
        if shown.is_some_and(|shown| limit.is_over_at(shown.compared)) && !self.may_be_older(flags)
        {
            if limit.is_latching() {
                self.over |= flags;
            } else {
                self.release(flags);
            }
        } else if begins && limit.is_maskable() && sample.info().alerts.single_masks {
            self.masked |= flags;
            self.masks_due = true;
        }
    }

    /// Notes for which limits the results of a sample may be older than the flag that was found
    /// last. Without means there are none: the sample was latched after the look.
    fn age<const N: usize, S: Sample<N> + ?Sized>(&mut self, sample: &S) {
        let scan = sample.scan();
        if scan.averaging_log2 == 0 || scan.run == Run::SingleShot {
            self.found = [AlertFlags::empty(); 2];
            return;
        }
        let unused = 32_u32.saturating_sub(u32::from(sample.info().sum_bits.scans));
        let passed = sample.scans().wrapping_sub(self.since);
        // Two means: the one that was in the making when the flag was set is not the last then.
        let two_log2 = u32::from(scan.averaging_log2).wrapping_add(1);
        let turns = passed
            .unbounded_shl(unused)
            .unbounded_shr(unused.wrapping_add(two_log2));
        let [recent, before] = &mut self.found;
        if turns > 0 {
            *before = core::mem::take(recent);
            self.since = sample.scans();
        }
        if turns > 1 {
            *before = AlertFlags::empty();
        }
        *recent |= self.pending;
    }

    fn may_be_older(&self, flags: AlertFlags) -> bool {
        let [recent, before] = self.found;
        (recent | before).intersects(flags)
    }

    /// They may be told again, and reach their outputs again.
    fn release(&mut self, flags: AlertFlags) {
        self.lasting.remove(flags);
        if self.masked.intersects(flags) {
            self.masked.remove(flags);
            self.masks_due = true;
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
