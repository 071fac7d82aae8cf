use crake::alert::{AlertFlags, AlertQueue, Limits, Outputs};
use crake::board::Rail;
use crake::bus::Fault;
use crake::capture::TriggerBuffer;
use crake::config::Config;
use crake::totals::{Bounds, Margins, Totals, Update};
use crake::{Channel, Error, NoReading, Sample, ShuntMonitor, TimedSample};
use embedded_hal::digital::{OutputPin, PinState};

use crate::charge::Charging;
use crate::policy::{CELL_UNDER, DRIVE_OVER, Facts, Policy, Refused, Seen};
use crate::window::Window;
use crate::{CELL, DRIVE, Event, Log, MODEM, RAILS, Record, Settings};

/// The switches' pins: high closes.
#[derive(Clone, Copy, Debug)]
pub struct Switches<D, M> {
    /// DRIVE's.
    pub drive: D,
    /// MODEM's.
    pub modem: M,
}

/// What a sample showed of DRIVE.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shown {
    /// When it was latched, on the host's clock.
    pub at_us: u64,
    /// What it showed.
    pub seen: Seen,
}

/// Watches the skiff's four rails by way of any monitor.
///
/// Call [`poll`](Self::poll) first to set the part up, then at the latest when it said, and as soon
/// as a line of [`lines`](Self::lines) is low (its level: an edge can be missed). After a switch
/// was told to open, it asks to be called again at once: the time of that call is when the switch
/// has surely been told, and makes no transfer. `LOG` is the number of events kept until they are
/// taken, `KEEP` the number of readings of DRIVE kept around an over-current, half of them from
/// before.
///
/// Both switches are open until the limits are armed for the first time.
#[derive(Clone, Debug)]
pub struct Supervisor<'a, const LOG: usize, const KEEP: usize> {
    settings: Settings,
    config: Config<RAILS>,
    limits: &'a Limits<'a>,
    queue: AlertQueue<'a, EVENTS>,
    totals: Totals<'a, RAILS, Bounds<'a, RAILS>>,
    policy: Policy,
    log: Log<LOG>,
    around: TriggerBuffer<Shown, KEEP>,
    window: Window,
    phase: Phase,
    due_us: u64,
    last_good_us: u64,
    reachable: bool,
    /// As the pins were driven last.
    driven: [Option<PinState>; 2],
    /// A pin refused when one was driven last; told once.
    refused: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Phase {
    /// Never set up.
    Fresh,
    /// Was set up, and is to be again.
    Lost,
    Watching,
}

/// Events between two polls: each limit's once, and a reset.
const EVENTS: usize = RAILS + 1;

impl<'a, const LOG: usize, const KEEP: usize> Supervisor<'a, LOG, KEEP> {
    /// A supervisor of these rails, with limits as [`Settings::limits`] gives them. Touches nothing
    /// yet.
    ///
    /// The configuration has to enable all rails and scan continuously: limits are compared with
    /// conversions alone. CELL and DRIVE are to be declared as rails on which current flows both
    /// ways. The margins of the totals are those of `rails` on the monitor's board.
    #[must_use]
    pub fn new(
        settings: Settings,
        limits: &'a Limits<'a>,
        config: Config<RAILS>,
        margins: &'a Margins<'a, RAILS>,
        rails: &[Rail; RAILS],
    ) -> Self {
        let [_, cell, _, _] = *rails;
        Self {
            settings,
            config,
            limits,
            queue: AlertQueue::new(),
            totals: Totals::with_bounds(margins),
            policy: Policy::new(settings),
            log: Log::new(),
            around: TriggerBuffer::new(KEEP / 2),
            window: Window::new(settings, cell),
            phase: Phase::Fresh,
            due_us: 0,
            last_good_us: 0,
            reachable: true,
            driven: [None; 2],
            refused: false,
        }
    }

    /// Does what is due and drives the pins. Gives the moment at which it is to be called again at
    /// the latest, in microseconds on the host's clock.
    ///
    /// `low`: which alert lines are low now. `now_us`: the time, on the same clock as the
    /// monitor's. A call before its time with no line of [`lines`](Self::lines) low makes no
    /// transfer. Bus cost: one service of the part; at first and after a reset, its configuration
    /// and its limits.
    pub fn poll<T, D: OutputPin, M: OutputPin>(
        &mut self,
        monitor: &mut T,
        low: Outputs,
        now_us: u64,
        switches: &mut Switches<D, M>,
    ) -> u64
    where
        T: ShuntMonitor<RAILS> + ?Sized,
        T::Sample: TimedSample<RAILS>,
    {
        let [drive, modem] = self.driven.map(|pin| pin == Some(PinState::Low));
        if self.policy.is_opening() {
            self.policy.driven_by(now_us, drive, modem);
            let sooner = self.policy.due_us().filter(|us| *us > now_us);
            self.due_us = sooner.map_or(self.due_us, |us| us.min(self.due_us));
        }
        if now_us >= self.due_us || low.intersects(self.lines()) {
            let attended = self.attend(monitor, now_us);
            self.note_reach(now_us, attended);
            self.due_us = self.next_us(now_us);
        }
        self.drive_pins(now_us, switches);
        // A pin that refused is for the next attempt.
        let pins_follow = self.driven.iter().all(Option::is_some);
        if pins_follow && self.policy.is_opening() {
            now_us
        } else {
            self.due_us
        }
    }

    /// The lines worth calling [`poll`](Self::poll) for. None while the part cannot be reached,
    /// which is tried again and again anyway.
    #[must_use]
    pub fn lines(&self) -> Outputs {
        if self.phase == Phase::Watching && self.reachable {
            self.queue.listening()
        } else {
            Outputs::empty()
        }
    }

    /// Closes DRIVE with the next [`poll`](Self::poll), which is due at once, and keeps readings
    /// around the next over-current.
    ///
    /// # Errors
    /// Says why not; nothing has changed.
    pub fn command_drive_on(&mut self, now_us: u64) -> Result<(), Refused> {
        if self.phase != Phase::Watching {
            return Err(Refused::NotWatching);
        }
        self.policy.close_drive()?;
        self.around.rearm();
        self.log.add(now_us, Event::DriveRestored);
        self.due_us = now_us;
        Ok(())
    }

    /// Opens DRIVE until commanded: for firmware that kept across its own restart that it had
    /// tripped.
    pub fn latch_drive_off(&mut self) {
        self.policy.open_drive();
    }

    /// The oldest event that was not taken yet.
    pub fn next_record(&mut self) -> Option<Record> {
        self.log.take()
    }

    /// How many events found the log full.
    #[must_use]
    pub const fn dropped(&self) -> u32 {
        self.log.dropped()
    }

    /// Charge and energy of all rails since the supervisor began.
    #[must_use]
    pub const fn totals(&self) -> &Totals<'a, RAILS, Bounds<'a, RAILS>> {
        &self.totals
    }

    /// Readings of DRIVE around the over-current, when there was one; the latest ones otherwise.
    #[must_use]
    pub const fn around_trip(&self) -> &TriggerBuffer<Shown, KEEP> {
        &self.around
    }

    /// What was surely being done to the cell when that could be told last.
    #[must_use]
    pub const fn charging(&self) -> Charging {
        self.window.charging()
    }

    /// Serves the part; sets it up where it is not, or not any more.
    fn attend<T>(&mut self, monitor: &mut T, now_us: u64) -> Result<(), Fault>
    where
        T: ShuntMonitor<RAILS> + ?Sized,
        T::Sample: TimedSample<RAILS>,
    {
        if self.phase == Phase::Watching {
            match self.serve(monitor, now_us) {
                Ok(()) => return Ok(()),
                Err(error) if error.may_repeat() => return Err(error.fault()),
                Err(error) => self.lose(now_us, error.fault()),
            }
        }
        self.set_up(monitor).map_err(|error| error.fault())
    }

    /// Part and limits from whatever state they are in.
    fn set_up<T>(&mut self, monitor: &mut T) -> Result<(), Error<T::BusError>>
    where
        T: ShuntMonitor<RAILS> + ?Sized,
        T::Sample: TimedSample<RAILS>,
    {
        monitor.init(&self.config)?;
        self.queue.set_limits(monitor, self.limits)?;
        let sample = self.queue.service(monitor)?;
        let update = self.totals.update(sample);
        let event = match self.phase {
            Phase::Fresh => Event::Watching,
            Phase::Lost | Phase::Watching => Event::Rearmed {
                epoch: self.totals.epoch(),
                gap: self.totals.gap(),
            },
        };
        self.phase = Phase::Watching;
        self.log.add(sample.timestamp().after_us, event);
        self.observe(sample, update);
        Ok(())
    }

    /// One service of the part and what follows from it.
    fn serve<T>(&mut self, monitor: &mut T, now_us: u64) -> Result<(), Error<T::BusError>>
    where
        T: ShuntMonitor<RAILS> + ?Sized,
        T::Sample: TimedSample<RAILS>,
    {
        match self.queue.service(monitor) {
            Ok(sample) => {
                let update = self.totals.update(sample);
                self.observe(sample, update);
                Ok(())
            }
            Err(error) => {
                // Flags that were seen are acted on even if no sample came through after them.
                let urgent = self.queue.pending() & (DRIVE_OVER | CELL_UNDER);
                let told = self.told() | urgent;
                self.decide(|policy, log| policy.told(now_us, told, None, None, log));
                Err(error)
            }
        }
    }

    /// What a sample shows, and what is told with it.
    fn observe<S: TimedSample<RAILS> + ?Sized>(&mut self, sample: &S, update: Update) {
        let timestamp = sample.timestamp();
        self.last_good_us = timestamp.before_us;
        let facts = Facts {
            from_us: timestamp.before_us.saturating_sub(age_us(sample)),
            at_us: timestamp.after_us,
            told: self.told(),
            drive: seen(sample, DRIVE),
            cell: seen(sample, CELL),
            modem: seen(sample, MODEM),
        };
        self.around.push(Shown {
            at_us: facts.at_us,
            seen: facts.drive,
        });
        self.decide(|policy, log| policy.observe(&facts, log));
        if let Some(charging) = self.window.judge(sample, update, &self.totals) {
            self.log.add(facts.at_us, Event::Charging(charging));
        }
    }

    /// Flags of the events since the last time. A reset is told as what it leads to.
    fn told(&mut self) -> AlertFlags {
        let mut told = self.queue.lost();
        while let Some(event) = self.queue.next_event() {
            told |= AlertFlags::of(event.flag());
        }
        told.difference(AlertFlags::RESET_SEEN)
    }

    /// Lets the policy decide; if that opens DRIVE, the readings around this moment are kept.
    fn decide(&mut self, act: impl FnOnce(&mut Policy, &mut Log<LOG>)) {
        let was_closed = self.policy.drive_closed();
        act(&mut self.policy, &mut self.log);
        if was_closed && !self.policy.drive_closed() {
            self.around.trigger();
        }
    }

    fn lose(&mut self, at_us: u64, fault: Fault) {
        self.phase = Phase::Lost;
        let last_good_us = self.last_good_us;
        self.log.add(
            at_us,
            Event::Lost {
                fault,
                last_good_us,
            },
        );
    }

    /// Tells when the part gets out of reach, and when it is reached again.
    fn note_reach(&mut self, now_us: u64, attended: Result<(), Fault>) {
        match (self.reachable, attended) {
            (true, Err(fault)) => self.log.add(now_us, Event::Unreachable(fault)),
            (false, Ok(())) => self.log.add(now_us, Event::Reachable),
            _ => {}
        }
        self.reachable = attended.is_ok();
    }

    fn next_us(&self, now_us: u64) -> u64 {
        if !self.reachable {
            return now_us.saturating_add(self.settings.retry_after_us);
        }
        let policy = self.policy.due_us().filter(|us| *us > now_us);
        let alerts = self.queue.next_in().map(|time| {
            let us = u64::try_from(time.as_micros()).unwrap_or(u64::MAX);
            now_us.saturating_add(us)
        });
        [policy, alerts, self.totals.next_sample_by_us()]
            .into_iter()
            .flatten()
            .fold(
                now_us.saturating_add(self.settings.service_every_us),
                u64::min,
            )
    }

    /// Drives the pins that are not yet as wanted; one that refuses is driven again by the next
    /// poll.
    fn drive_pins<D: OutputPin, M: OutputPin>(
        &mut self,
        now_us: u64,
        switches: &mut Switches<D, M>,
    ) {
        let armed = self.phase != Phase::Fresh;
        let [drive, modem] = [self.policy.drive_closed(), self.policy.modem_closed()]
            .map(|closed| PinState::from(armed && closed));
        let [drive_was, modem_was] = self.driven;
        if drive_was != Some(drive) {
            let done = switches.drive.set_state(drive).is_ok();
            self.note_pin(now_us, DRIVE, done);
            self.driven = [done.then_some(drive), modem_was];
        }
        if modem_was != Some(modem) {
            let done = switches.modem.set_state(modem).is_ok();
            self.note_pin(now_us, MODEM, done);
            let [drive, _] = self.driven;
            self.driven = [drive, done.then_some(modem)];
        }
    }

    fn note_pin(&mut self, now_us: u64, channel: Channel, done: bool) {
        if !done {
            self.due_us = self
                .due_us
                .min(now_us.saturating_add(self.settings.retry_after_us));
            if !self.refused {
                self.log.add(now_us, Event::SwitchFailed(channel));
            }
        }
        self.refused = !done;
    }
}

fn seen<S: Sample<RAILS> + ?Sized>(sample: &S, channel: Channel) -> Seen {
    match sample.reading(channel) {
        Ok(reading) => Seen::Value(reading),
        Err(NoReading::Clipped { reading, .. }) => Seen::Beyond(reading),
        Err(_) => Seen::Nothing,
    }
}

/// How much older than its sample's timestamp a reading can be, in microseconds: the last mean took
/// so long, and as long may have passed since, at the slowest oscillator.
fn age_us<S: Sample<RAILS> + ?Sized>(sample: &S) -> u64 {
    let (info, scan) = (sample.info(), sample.scan());
    let scans = 2_u64.unbounded_shl(u32::from(scan.averaging_log2));
    let slowest = 1_000_000_u64.saturating_sub(u64::from(info.oscillator.error_ppm));
    scans
        .saturating_mul(u64::from(scan.period_us(info)))
        .saturating_mul(1_000_000)
        .checked_div(slowest)
        .map_or(u64::MAX, |us| us.saturating_add(1))
}
