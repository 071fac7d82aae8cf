//! Decisions from facts: which switches are to be closed. Knows no monitor, no pin and no clock.

use crake::alert::{AlertFlag, AlertFlags, Kind};
use crake::units::{Current, Voltage};
use crake::{Channel, Reading};

use crate::{CELL, DRIVE, Event, Log, MODEM, Settings};

/// DRIVE went over its limit.
pub const DRIVE_OVER: AlertFlags = AlertFlags::of(AlertFlag::Limit(DRIVE, Kind::OverCurrent));
/// CELL went below its limit.
pub const CELL_UNDER: AlertFlags = AlertFlags::of(AlertFlag::Limit(CELL, Kind::UnderVoltage));

/// What a sample showed of one rail.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Seen {
    /// A reading.
    Value(Reading),
    /// Some conversion since the sample before went over range: the reading is a limit at best.
    Beyond(Reading),
    /// Nothing.
    Nothing,
}

/// What a service of the part showed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Facts {
    /// Nothing that its readings show is older than this, in microseconds on the host's clock.
    pub from_us: u64,
    /// When its sample was latched, at the latest, likewise.
    pub at_us: u64,
    /// Alert flags that were told with it.
    pub told: AlertFlags,
    /// DRIVE.
    pub drive: Seen,
    /// CELL.
    pub cell: Seen,
    /// MODEM.
    pub modem: Seen,
}

/// Why DRIVE is not closed by a command.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Refused {
    /// It is closed.
    IsClosed,
    /// It has not been seen without current yet: try again after the settling time.
    NotYetDead,
    /// It is open and still carries current.
    IsStuck,
    /// The part does not watch at present.
    NotWatching,
}

/// The supervisor's mind: DRIVE latches off, MODEM is shed and given back, what is open is watched.
#[derive(Clone, Copy, Debug)]
pub struct Policy {
    settings: Settings,
    /// From what readings show to when they are there, at the last service.
    age_us: u64,
    drive: Switch,
    modem: Switch,
    /// Since when CELL was found high enough, while MODEM is shed.
    back_since_us: Option<u64>,
    reversed: bool,
}

impl Policy {
    /// Both switches closed.
    #[must_use]
    pub const fn new(settings: Settings) -> Self {
        Self {
            settings,
            age_us: 0,
            drive: Switch::Closed,
            modem: Switch::Closed,
            back_since_us: None,
            reversed: false,
        }
    }

    /// Whether DRIVE is to be closed.
    #[must_use]
    pub const fn drive_closed(&self) -> bool {
        matches!(self.drive, Switch::Closed)
    }

    /// Whether MODEM is to be closed.
    #[must_use]
    pub const fn modem_closed(&self) -> bool {
        matches!(self.modem, Switch::Closed)
    }

    /// Opens DRIVE until commanded, as an over-current does.
    pub const fn open_drive(&mut self) {
        self.drive = Switch::OPENING;
    }

    /// Closes DRIVE.
    ///
    /// # Errors
    /// Says why not; nothing has changed.
    pub const fn close_drive(&mut self) -> Result<(), Refused> {
        match self.drive {
            Switch::Closed => Err(Refused::IsClosed),
            Switch::Open {
                state: State::Dead, ..
            } => {
                self.drive = Switch::Closed;
                Ok(())
            }
            Switch::Open {
                state: State::Stuck,
                ..
            } => Err(Refused::IsStuck),
            Switch::Open { .. } => Err(Refused::NotYetDead),
        }
    }

    /// Pins that say open at `now_us`: their switches count the settling time from the first time
    /// they did.
    pub const fn driven_by(&mut self, now_us: u64, drive_open: bool, modem_open: bool) {
        if drive_open {
            self.drive.driven_by(now_us);
        }
        if modem_open {
            self.modem.driven_by(now_us);
        }
    }

    /// Acts on flags: switches for what is urgent, and tells the rest. Readings, where there are
    /// any, go to the log.
    pub fn told<const LOG: usize>(
        &mut self,
        at_us: u64,
        told: AlertFlags,
        drive: Option<Current>,
        cell: Option<Voltage>,
        log: &mut Log<LOG>,
    ) {
        if told.contains(DRIVE_OVER) && self.drive_closed() {
            self.open_drive();
            log.add(at_us, Event::DriveTripped(drive));
        }
        if told.contains(CELL_UNDER) {
            self.back_since_us = None;
            if self.modem_closed() {
                self.modem = Switch::OPENING;
                log.add(at_us, Event::ModemShed(cell));
            }
        }
        for flag in told.difference(DRIVE_OVER | CELL_UNDER).each() {
            log.add(at_us, Event::Told(flag));
        }
    }

    /// Takes a service into account.
    pub fn observe<const LOG: usize>(&mut self, facts: &Facts, log: &mut Log<LOG>) {
        let (from_us, at_us) = (facts.from_us, facts.at_us);
        self.age_us = at_us.saturating_sub(from_us);
        let (drive, cell) = (facts.drive.reading(), facts.cell.reading());
        self.told(
            at_us,
            facts.told,
            drive.map(|reading| reading.current),
            cell.map(|reading| reading.voltage),
            log,
        );
        self.check(facts, from_us, log);
        if let Seen::Value(reading) = facts.cell {
            self.give_back(reading.voltage, from_us, at_us, log);
        }
        if let Seen::Value(reading) = facts.drive {
            self.direction(reading.current, at_us, log);
        }
    }

    /// The next moment at which a sample would decide something; none while nothing is pending.
    #[must_use]
    pub fn due_us(&self) -> Option<u64> {
        let restore = self
            .back_since_us
            .map(|since| since.saturating_add(self.settings.restore_after_us));
        let settled = |switch: &Switch| switch.settled_us(&self.settings);
        [restore, settled(&self.drive), settled(&self.modem)]
            .into_iter()
            .flatten()
            .min()
            .map(|us| us.saturating_add(self.age_us))
    }

    /// Whether a switch is to be opened whose pin was not seen to say so yet: poll again at once.
    #[must_use]
    pub const fn is_opening(&self) -> bool {
        self.drive.is_opening() || self.modem.is_opening()
    }

    /// Do open switches carry nothing?
    fn check<const LOG: usize>(&mut self, facts: &Facts, from_us: u64, log: &mut Log<LOG>) {
        let switches = [
            (DRIVE, &mut self.drive, facts.drive),
            (MODEM, &mut self.modem, facts.modem),
        ];
        for (channel, switch, seen) in switches {
            if let Some(event) = switch.check(&self.settings, channel, seen, from_us) {
                log.add(facts.at_us, event);
            }
        }
    }

    /// Gives MODEM back when CELL was found high enough for long enough.
    fn give_back<const LOG: usize>(
        &mut self,
        voltage: Voltage,
        from_us: u64,
        at_us: u64,
        log: &mut Log<LOG>,
    ) {
        if self.modem_closed() {
            return;
        }
        let enough = self
            .settings
            .cell_under_voltage
            .saturating_add(self.settings.cell_margin);
        if voltage < enough {
            self.back_since_us = None;
            return;
        }
        let since_us = *self.back_since_us.get_or_insert(at_us);
        if from_us.saturating_sub(since_us) >= self.settings.restore_after_us {
            self.back_since_us = None;
            self.modem = Switch::Closed;
            log.add(at_us, Event::ModemRestored(voltage));
        }
    }

    fn direction<const LOG: usize>(&mut self, current: Current, at_us: u64, log: &mut Log<LOG>) {
        let limit = self.settings.drive_reverse;
        let turned = if self.reversed {
            current > limit.saturating_neg()
        } else {
            current < limit
        };
        if turned {
            self.reversed = !self.reversed;
            log.add(at_us, Event::DriveReversed(current));
        }
    }
}

impl Seen {
    /// The reading, a limit or not.
    #[must_use]
    pub const fn reading(&self) -> Option<Reading> {
        match self {
            Self::Value(reading) | Self::Beyond(reading) => Some(*reading),
            Self::Nothing => None,
        }
    }
}

/// A switch as it is wanted, and what is known of it while open.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Switch {
    Closed,
    Open {
        /// Since when its pin says so; not known before the pin was driven.
        since_us: Option<u64>,
        state: State,
    },
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// Not seen since it settled.
    Unseen,
    /// Seen, but over range since the sample before, which may have been before it settled.
    SeenOnce,
    /// Carries nothing.
    Dead,
    /// Carries something.
    Stuck,
}

impl Switch {
    const OPENING: Self = Self::Open {
        since_us: None,
        state: State::Unseen,
    };

    const fn is_opening(&self) -> bool {
        matches!(self, Self::Open { since_us: None, .. })
    }

    const fn driven_by(&mut self, now_us: u64) {
        if let Self::Open { since_us, .. } = self
            && since_us.is_none()
        {
            *since_us = Some(now_us);
        }
    }

    /// When it is to be sampled, as long as that has not been done.
    const fn settled_us(&self, settings: &Settings) -> Option<u64> {
        match self {
            Self::Open {
                since_us: Some(since_us),
                state: State::Unseen | State::SeenOnce,
            } => Some(since_us.saturating_add(settings.settle_us)),
            _ => None,
        }
    }

    /// A sample whose readings are no older than `from_us`.
    fn check(
        &mut self,
        settings: &Settings,
        channel: Channel,
        seen: Seen,
        from_us: u64,
    ) -> Option<Event> {
        let Self::Open {
            since_us: Some(since_us),
            state,
        } = self
        else {
            return None;
        };
        if from_us < since_us.saturating_add(settings.settle_us) {
            return None;
        }
        let (before, now) = match seen {
            Seen::Nothing => return None,
            Seen::Value(reading) if reading.current.abs() > settings.off_current => {
                (*state, State::Stuck)
            }
            Seen::Value(_) => (*state, State::Dead),
            // What went over range may have done so before the switch had settled, unless the
            // sample before was after that.
            Seen::Beyond(_) if *state == State::Unseen => (*state, State::SeenOnce),
            Seen::Beyond(_) => (*state, State::Stuck),
        };
        *state = now;
        match (before, now) {
            (State::Unseen | State::SeenOnce | State::Dead, State::Stuck) => {
                Some(Event::Stuck(channel, seen.reading()?.current))
            }
            (State::Stuck, State::Dead) => Some(Event::Ceased(channel)),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests;
