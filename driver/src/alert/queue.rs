use core::time::Duration;

use heapless::Deque;

use super::Event;
use super::quantity::{is_back, value};
use crate::bus::Fault;
use crate::config::{AlertFlag, AlertFlags, Lasting, Limit, Limits, Outputs, Run};
use crate::monitor::Sample;

/// Turns alert flags into events, and queues them for the firmware's policy.
///
/// - **Nothing is lost.** A flag is cleared in the part only after it was noted here, and stays noted
///   until it was handed over as an event. `Q` is the greatest number of events in the queue; what finds
///   it full is counted as [`dropped`](Self::dropped), with its flag in [`lost`](Self::lost).
/// - **One excursion is one event.** A condition that lasts is not told again until a sample shows it
///   over by its hysteresis. Excursions that no sample separates are one. So are two of which the second
///   lies wholly between the latch of the sample that shows the first one over and the look at the flags
///   right after it, some milliseconds later.
/// - **A condition that lasts leaves the bus alone**, as [`Lasting`] says for each limit: its flag is
///   taken off its outputs, or it is looked at again at an interval.
///
/// Call [`service`](Self::service) while an output that it is [`listening`](Self::listening) to is
/// active (its *level*: an edge can be missed), and [`next_in`](Self::next_in) after the last call at
/// the latest. [`asynch`](Self::asynch) has the same for an async monitor.
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
    limits: &'l Limits<'l>,
    /// All flags that the limits ask for.
    enabled: AlertFlags,
    /// These limits stand in the part, unless the monitor says otherwise.
    armed: bool,
    /// Flags that were seen and not yet told.
    pub(super) pending: AlertFlags,
    /// Likewise, but it is not known which limits they came of.
    pub(super) unknown: AlertFlags,
    /// A look has not come to its end: what is pending may stand in the part still.
    unsure: bool,
    /// Limits whose event was told and that no sample has shown to be over.
    lasting: AlertFlags,
    /// Of these, latching ones that a sample has shown to be over: what they set until then is still to
    /// be cleared.
    over: AlertFlags,
    /// Of these, those that are taken off their outputs.
    masked: AlertFlags,
    /// The masks in the part are as they should be.
    pub(super) masks_stand: bool,
    /// The part's count of scans when a flag was found last.
    found_at: u32,
    interval: Duration,
    events: Deque<Event, Q>,
    dropped: u32,
    lost: AlertFlags,
}

/// What a look asks for.
#[derive(Clone, Copy, Debug)]
pub(super) enum Wanted {
    /// All flags that the limits ask for.
    All,
    /// What conditions that are over have left.
    Over,
}

const NOTHING: &Limits<'static> = &Limits::new(&[]);

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
            limits: NOTHING,
            enabled: AlertFlags::empty(),
            armed: false,
            pending: AlertFlags::empty(),
            unknown: AlertFlags::empty(),
            unsure: false,
            lasting: AlertFlags::empty(),
            over: AlertFlags::empty(),
            masked: AlertFlags::empty(),
            masks_stand: true,
            found_at: 0,
            interval: Duration::from_secs(1),
            events: Deque::new(),
            dropped: 0,
            lost: AlertFlags::empty(),
        }
    }

    /// The same with another interval at which samples are due while a flag is masked. A flag is let to
    /// its output again at most that much after its condition is over.
    #[must_use]
    pub const fn with_interval(mut self, interval: Duration) -> Self {
        self.interval = interval;
        self
    }

    /// Tells what was noted, and finds out which conditions are over. [`service`](Self::service) does
    /// it; it is a piece of one that is split, and takes samples that were taken for their own sake.
    ///
    /// The sample has to be of the monitor whose flags were read, and taken after they were.
    pub fn update<const N: usize, S: Sample<N> + ?Sized>(&mut self, sample: &S) {
        // What is found again while it lasts was told.
        let found = self.pending & AlertFlags::LIMITS;
        let mut told = self.pending.difference(self.lasting);
        self.pending = AlertFlags::empty();
        if self.unsure {
            // The next look may find them once more, and nothing else keeps them from being told again.
            self.pending = told & AlertFlags::OWN;
            told &= AlertFlags::LIMITS;
        }
        if !found.is_empty() {
            self.found_at = sample.scans();
        }
        for flag in told.each() {
            self.tell(flag, true, sample);
        }
        for flag in core::mem::take(&mut self.unknown).each() {
            self.tell(flag, false, sample);
        }
        let limits = told & AlertFlags::LIMITS;
        self.lasting |= limits;
        if !self.lasting.is_empty() {
            self.find_over(sample);
            if sample.info().alerts.single_masks {
                self.mask(limits);
            }
        }
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
    pub const fn limits(&self) -> &'l Limits<'l> {
        self.limits
    }

    /// The outputs whose active level is news. An output that a lasting condition keeps active is not
    /// among them: flags that come meanwhile are found by the next call of
    /// [`service`](Self::service), whatever the reason for it.
    #[must_use]
    pub fn listening(&self) -> Outputs {
        let standing = self.limits_of(self.lasting.difference(self.masked));
        standing.fold(Outputs::all(), |outputs, (_, limit)| {
            outputs.difference(limit.outputs())
        })
    }

    /// How long after the last [`service`](Self::service) the next one is due, whatever the outputs
    /// say; `None`: not before an output says so. Zero: a failure, or a piece that was not yet called,
    /// left something to do.
    #[must_use]
    pub fn next_in(&self) -> Option<Duration> {
        let noted = self.pending() | self.over;
        if self.unsure || !noted.is_empty() || !self.masks_stand {
            return Some(Duration::ZERO);
        }
        let intervals = self.limits_of(self.lasting);
        intervals
            .map(|(_, limit)| match limit.lasting_rule() {
                Lasting::LookAgain(interval) => interval,
                Lasting::MaskUntilOver => self.interval,
            })
            .min()
    }

    /// Flags that a look asks for. From here on it may have stopped anywhere, until
    /// [`looked`](Self::looked) says better.
    pub(super) const fn begin_look(&mut self, wanted: Wanted) -> AlertFlags {
        self.unsure = true;
        match wanted {
            Wanted::All => self.enabled,
            Wanted::Over => self.over,
        }
    }

    /// A look came through, so what conditions that are over had set until then is cleared; or it
    /// failed.
    pub(super) fn looked(&mut self, unsure_before: bool, fault: Option<Fault>) {
        match fault {
            None => {
                self.unsure = false;
                self.pending.remove(self.over);
                self.release(self.over);
                self.over = AlertFlags::empty();
            }
            Some(fault) => self.failed(unsure_before, fault),
        }
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

    /// These limits stand now, and no flag of those before.
    pub(super) fn set(&mut self, limits: &'l Limits<'l>) {
        let told = self.pending & self.enabled;
        for flag in told.difference(self.lasting | self.unknown).each() {
            self.push(self.event(flag, true));
        }
        self.limits = limits;
        self.enabled = limits.enabled();
        let asked = AlertFlags::LIMITS | self.enabled.difference(AlertFlags::SCAN_DONE);
        self.unknown &= asked;
        self.pending = AlertFlags::empty();
        self.lasting = AlertFlags::empty();
        self.over = AlertFlags::empty();
        self.masked = AlertFlags::empty();
        (self.armed, self.masks_stand, self.unsure) = (true, true, false);
    }

    /// A look or a setting of limits failed; what was refused left everything as it was.
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
                self.push(Event::new(AlertFlag::ResetSeen));
            }
            _ => {}
        }
    }

    pub(super) const fn is_unsure(&self) -> bool {
        self.unsure
    }

    /// Whether flags of conditions that are over are still to be cleared.
    pub(super) const fn has_over(&self) -> bool {
        !self.over.is_empty()
    }

    /// The flags that are to reach an output now.
    pub(super) fn reaching(&self, output: Outputs) -> AlertFlags {
        self.limits.mask(output).difference(self.masked)
    }

    /// Limits whose conditions a sample shows to be over: those that follow are told again from now on,
    /// those that latch once what they set until now is cleared.
    fn find_over<const N: usize, S: Sample<N> + ?Sized>(&mut self, sample: &S) {
        if !self.is_recent(sample) {
            return;
        }
        for (flag, limit) in self.limits_of(self.lasting.difference(self.over)) {
            if !is_back(sample, limit) {
            } else if limit.is_latching() {
                self.over |= flag;
            } else {
                self.release(flag);
            }
        }
    }

    /// Whether the results of a sample are all younger than the last flag. A mean may have ended as
    /// long before as it took.
    fn is_recent<const N: usize, S: Sample<N> + ?Sized>(&self, sample: &S) -> bool {
        let scan = sample.scan();
        if scan.averaging_log2 == 0 || scan.run == Run::SingleShot {
            return true;
        }
        let unused = 32_u32.saturating_sub(u32::from(sample.info().sum_bits.scans));
        let since = sample
            .scans()
            .wrapping_sub(self.found_at)
            .unbounded_shl(unused);
        since.unbounded_shr(unused) >= 2_u32.unbounded_shl(u32::from(scan.averaging_log2))
    }

    /// Takes flags off their outputs whose conditions last, as far as their limits say so.
    fn mask(&mut self, flags: AlertFlags) {
        for (flag, limit) in self.limits_of(flags & self.lasting.difference(self.over)) {
            if limit.lasting_rule() == Lasting::MaskUntilOver && !limit.outputs().is_empty() {
                self.masked |= flag;
                self.masks_stand = false;
            }
        }
    }

    /// They may be told again, and reach their outputs again.
    fn release(&mut self, flags: AlertFlags) {
        self.lasting.remove(flags);
        if self.masked.intersects(flags) {
            self.masked.remove(flags);
            self.masks_stand = false;
        }
    }

    fn limits_of(
        &self,
        flags: AlertFlags,
    ) -> impl Iterator<Item = (AlertFlags, &'l Limit)> + use<'l, Q> {
        let limits = self.limits.limits.iter();
        limits
            .map(|limit| (AlertFlags::of(limit.flag()), limit))
            .filter(move |(flag, _)| flags.intersects(*flag))
    }

    /// A flag with its limit, where it is known.
    fn event(&self, flag: AlertFlag, known: bool) -> Event {
        let event = Event::new(flag);
        match flag {
            AlertFlag::Limit(channel, kind) if known => match self.limits.find(channel, kind) {
                Some(limit) => event.with_limit(limit.threshold().billionths()),
                None => event,
            },
            _ => event,
        }
    }

    #[inline(never)]
    fn tell<const N: usize, S: Sample<N> + ?Sized>(
        &mut self,
        flag: AlertFlag,
        known: bool,
        sample: &S,
    ) {
        let mut event = self.event(flag, known);
        if let AlertFlag::Limit(channel, kind) = flag
            && let Some((value, saturation)) = value(sample, channel, kind)
        {
            event = event.with_value(value, saturation);
        }
        if let Some(date) = sample.latched_at() {
            event = event.with_date(date);
        }
        self.push(event);
    }

    fn push(&mut self, event: Event) {
        if self.events.push_back(event).is_err() {
            self.dropped = self.dropped.saturating_add(1);
            self.lost |= AlertFlags::of(event.flag());
        }
    }
}
