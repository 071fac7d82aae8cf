use crake::old::alert::{Causes, Outputs, Station, Watch};
use crake::old::board::Board;
use crake::old::capture::Capture;
use crake::old::ledger::{Account, Ledger};
use crake::old::part::Spec;
use crake::old::{Channel, Condition, Frame, Mode, NoReading, Setup, ShuntMonitor};
use embedded_hal::digital::{OutputPin, PinState};

use crate::charge::Charging;
use crate::policy::{CELL_UNDER, DRIVE_OVER, Facts, Policy, Refused, Seen};
use crate::window::Window;
use crate::{CELL, Config, DRIVE, Event, Log, MODEM, RAILS, Record};

/// The switches' pins: high closes.
#[derive(Clone, Copy, Debug)]
pub struct Switches<D, M> {
    /// DRIVE's.
    pub drive: D,
    /// MODEM's.
    pub modem: M,
}

/// What a look showed of DRIVE.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Sample {
    /// When it was latched, on the host's clock.
    pub at_us: u64,
    /// What it showed.
    pub seen: Seen,
}

/// Watches the `N` first of the skiff's rails by way of any monitor: all four, or DRIVE and CELL alone in front of a part with two channels.
///
/// Call [`poll`](Self::poll) first to set the part up, then at the latest when it said, and as soon as a line of [`lines`](Self::lines) is low (its level: an edge can be missed).
/// After a switch was told to open, it asks to be called again at once: the time of that call is when the switch has surely been told, and makes no transfer.
/// `LOG` is the number of events kept until they are taken, `KEEP` the number of readings of DRIVE kept around an over-current, half of them from before.
///
/// Both switches are open until the limits are armed for the first time.
#[derive(Clone, Debug)]
pub struct Supervisor<'a, const N: usize, const LOG: usize, const KEEP: usize> {
    config: Config,
    setup: Setup<N>,
    station: Station<'a, N, EVENTS>,
    ledger: Ledger<'a, N>,
    policy: Policy,
    log: Log<LOG>,
    capture: Capture<Sample, KEEP>,
    window: Window<'a, N>,
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

/// Events of a station between two polls: each cause once.
const EVENTS: usize = RAILS;

impl<'a, const N: usize, const LOG: usize, const KEEP: usize> Supervisor<'a, N, LOG, KEEP> {
    /// A supervisor of these rails, with the first `N` limits of [`Config::limits`] in that set-up. Touches nothing yet.
    ///
    /// The set-up has to enable all rails and run at a pace: limits are compared with conversions alone. CELL and DRIVE are to be declared as rails on which current flows both ways.
    #[must_use]
    pub fn new(
        config: Config,
        limits: &'a [Watch],
        setup: Setup<N>,
        board: &'a Board<N>,
        spec: &'static Spec,
    ) -> Self {
        Self {
            config,
            setup,
            station: Station::new(setup, crake::old::alert::Watches::limits(limits)),
            ledger: Ledger::new(board, spec),
            policy: Policy::new(config, age_us(spec, &setup)),
            log: Log::new(),
            capture: Capture::new(KEEP / 2),
            window: Window::new(config, board, spec),
            phase: Phase::Fresh,
            due_us: 0,
            last_good_us: 0,
            reachable: true,
            driven: [None; 2],
            refused: false,
        }
    }

    /// Does what is due and drives the pins. Gives the moment at which it is to be called again at the latest, in microseconds on the host's clock.
    ///
    /// `low`: which alert lines are low now. `now_us`: the time, on the same clock as the monitor's. A call before its time with no line of
    /// [`lines`](Self::lines) low makes no transfer. Bus cost: one service of the part; after a reset, a set-up and an arming.
    pub fn poll<E, D: OutputPin, M: OutputPin>(
        &mut self,
        monitor: &mut dyn ShuntMonitor<N, BusError = E>,
        low: Outputs,
        now_us: u64,
        switches: &mut Switches<D, M>,
    ) -> u64 {
        let [drive, modem] = self.driven.map(|pin| pin == Some(PinState::Low));
        if self.policy.is_opening() {
            self.policy.driven_by(now_us, drive, modem);
            let sooner = self.policy.due_us().filter(|us| *us > now_us);
            self.due_us = sooner.map_or(self.due_us, |us| us.min(self.due_us));
        }
        if now_us >= self.due_us || low.intersects(self.lines()) {
            let reached = self.attend(monitor, now_us);
            if reached != self.reachable {
                let event = if reached {
                    Event::Reachable
                } else {
                    Event::Unreachable
                };
                self.log.add(now_us, event);
                self.reachable = reached;
            }
            self.due_us = self.next_us(now_us, reached);
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

    /// The lines worth calling [`poll`](Self::poll) for: none whose switch is open already. They may stay low for as long as the condition lasts.
    #[must_use]
    pub fn lines(&self) -> Outputs {
        let mut lines = Outputs::empty();
        if self.phase == Phase::Watching {
            lines.set(Outputs::A, self.policy.drive_closed());
            lines.set(Outputs::B, self.policy.modem_closed());
        }
        lines
    }

    /// Closes DRIVE with the next [`poll`](Self::poll), which is due at once, and begins another capture.
    ///
    /// # Errors
    /// Says why not; nothing has changed.
    pub fn command_drive_on(&mut self, now_us: u64) -> Result<(), Refused> {
        if self.phase != Phase::Watching {
            return Err(Refused::NotWatching);
        }
        self.policy.close_drive()?;
        self.capture.rearm();
        self.log.add(now_us, Event::DriveRestored);
        self.due_us = now_us;
        Ok(())
    }

    /// Opens DRIVE until commanded: for firmware that kept across its own restart that it had tripped.
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

    /// Totals of a rail since the supervisor began; `None` if there is no such rail.
    #[must_use]
    pub fn account(&self, channel: Channel) -> Option<Account> {
        self.ledger.account(channel)
    }

    /// The totals of all rails.
    #[must_use]
    pub const fn ledger(&self) -> &Ledger<'a, N> {
        &self.ledger
    }

    /// Readings of DRIVE around the over-current, when there was one; the latest ones otherwise.
    #[must_use]
    pub const fn capture(&self) -> &Capture<Sample, KEEP> {
        &self.capture
    }

    /// What was surely being done to the cell when that could be told last.
    #[must_use]
    pub const fn charging(&self) -> Charging {
        self.window.charging()
    }

    /// Sets up, or looks; whether the part was reached.
    fn attend<E>(&mut self, monitor: &mut dyn ShuntMonitor<N, BusError = E>, now_us: u64) -> bool {
        let reached = self.phase != Phase::Watching || self.look(monitor, now_us);
        if reached && self.phase != Phase::Watching {
            return self.set_up(monitor).is_ok();
        }
        reached
    }

    /// Part and limits from whatever state they are in.
    fn set_up<E>(
        &mut self,
        monitor: &mut dyn ShuntMonitor<N, BusError = E>,
    ) -> Result<(), crake::old::Error<E>> {
        let frame = monitor.init(&self.setup)?;
        self.ledger.update(&frame);
        let frame = self.station.arm(monitor)?;
        self.ledger.update(&frame);
        let stamp = frame.stamp();
        self.last_good_us = stamp.before_us;
        self.window.end();
        let event = if self.phase == Phase::Fresh {
            Event::Watching
        } else {
            Event::Rearmed {
                epoch: self.ledger.epoch(),
                gap: self.ledger.gap(),
            }
        };
        self.phase = Phase::Watching;
        self.log.add(stamp.after_us, event);
        Ok(())
    }

    /// One service and what follows from it; whether the part was reached. A part that has lost its set-up leaves the phase at `Lost`.
    fn look<E>(&mut self, monitor: &mut dyn ShuntMonitor<N, BusError = E>, now_us: u64) -> bool {
        let frame = match self.station.service(monitor) {
            Ok(frame) => frame,
            Err(error) => {
                // What was seen of causes is acted on even if the frame after them did not come through.
                let urgent = self.station.pending() & (DRIVE_OVER | CELL_UNDER);
                let was_closed = self.policy.drive_closed();
                self.policy.told(now_us, urgent, None, None, &mut self.log);
                if was_closed && !self.policy.drive_closed() {
                    self.capture.trigger();
                }
                if error.is_worth_repeating() {
                    return false;
                }
                self.lose(now_us, false);
                return true;
            }
        };
        let stamp = frame.stamp();
        if matches!(frame.condition(), Condition::Reset | Condition::Unpowered) {
            self.ledger.update(&frame);
            self.lose(stamp.after_us, true);
            return true;
        }
        self.last_good_us = stamp.before_us;
        self.ledger.update(&frame);
        let mut told = self.station.lost();
        while let Some(event) = self.station.next_event() {
            told |= Causes::of(event.cause);
        }
        let facts = Facts {
            stamp,
            told,
            drive: seen(&frame, DRIVE),
            cell: seen(&frame, CELL),
            modem: seen(&frame, MODEM),
        };
        self.capture.push(Sample {
            at_us: stamp.after_us,
            seen: facts.drive,
        });
        let was_closed = self.policy.drive_closed();
        self.policy.observe(&facts, &mut self.log);
        if was_closed && !self.policy.drive_closed() {
            self.capture.trigger();
        }
        if let Some(charging) = self.window.judge(&frame) {
            self.log.add(stamp.after_us, Event::Charging(charging));
        }
        true
    }

    fn lose(&mut self, at_us: u64, reset: bool) {
        self.phase = Phase::Lost;
        let last_good_us = self.last_good_us;
        self.log.add(
            at_us,
            Event::SetUpLost {
                reset,
                last_good_us,
            },
        );
    }

    fn next_us(&self, now_us: u64, reached: bool) -> u64 {
        if !reached {
            return now_us.saturating_add(self.config.retry_after_us);
        }
        let look_us = now_us.saturating_add(self.config.look_every_us);
        let sooner = self.policy.due_us().filter(|us| *us > now_us);
        let ledger = self.ledger.next_read_by_us();
        [sooner, ledger]
            .into_iter()
            .flatten()
            .fold(look_us, u64::min)
    }

    /// Drives the pins that are not yet as wanted; one that refuses is driven again by the next poll.
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
                .min(now_us.saturating_add(self.config.retry_after_us));
            if !self.refused {
                self.log.add(now_us, Event::SwitchFailed(channel));
            }
        }
        self.refused = !done;
    }
}

fn seen(frame: &Frame<'_>, channel: Channel) -> Seen {
    match frame.reading(channel) {
        Ok(reading) => Seen::Value(reading),
        Err(NoReading::Clipped { reading, .. }) => Seen::Beyond(reading),
        Err(_) => Seen::Nothing,
    }
}

/// How much older than its frame's stamp a reading can be, in microseconds: the rounds of its mean, and one that was in the making, at the slowest oscillator.
fn age_us<const N: usize>(spec: &Spec, setup: &Setup<N>) -> u64 {
    let period_us = match setup.mode {
        Mode::Paced(pace) => spec.period_us(pace).unwrap_or_default(),
        Mode::Idle | Mode::SingleShot | Mode::Burst(_) => 0,
    };
    let rounds = 1_u64
        .checked_shl(u32::from(setup.averaging))
        .unwrap_or(u64::MAX)
        .saturating_add(1);
    let slowest = 1_000_000_u64.saturating_sub(u64::from(spec.oscillator.error_ppm));
    rounds
        .saturating_mul(u64::from(period_us))
        .saturating_mul(1_000_000)
        .checked_div(slowest)
        .map_or(u64::MAX, |us| us.saturating_add(1))
}
