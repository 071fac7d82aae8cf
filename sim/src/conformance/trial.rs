//! A fresh fixture with a monitor on it, and what a check does with both.

use alloc::{boxed::Box, format, rc::Rc, string::String, vec::Vec};

use crake::config::{AlertFlags, Kind, Limit, Limits};
use crake::part::ResumeToken;
use crake::{Channel, Error};
use embedded_hal::i2c::ErrorKind;

use super::probe::{Tap, Transfer};
use super::report::{Checked, Stop};
use super::rig::{Answer, Face, Rig, Seen, Setup};
use super::scene::{Point, Scene};
use super::{Fixture, hint};
use crate::bus::BusError;

/// A fresh fixture with a monitor on it.
pub(super) struct Trial<'t> {
    pub(super) scene: &'t Scene<'t>,
    pub(super) fixture: Rc<dyn Fixture>,
    pub(super) tap: Rc<Tap>,
    pub(super) rig: Box<dyn Rig<'t> + 't>,
    pub(super) setup: Setup,
    pub(super) how: How,
    /// The driver compares some of the limits in force: with each sample, when flags are looked at.
    pub(super) by_driver: bool,
    pub(super) told: AlertFlags,
}

/// How a trial is made.
#[derive(Clone, Copy, Debug)]
pub(super) struct How {
    pub(super) oscillator_ppm: i32,
    pub(super) face: Face,
    pub(super) read_max: u8,
    pub(super) attempts: u8,
}

/// As firmware has it.
pub(super) const PLAIN: How = How {
    oscillator_ppm: 0,
    face: Face::Blocking,
    read_max: u8::MAX,
    attempts: 3,
};

/// With one attempt, where what a second one would mend is to be seen.
pub(super) const ONCE: How = How {
    attempts: 1,
    ..PLAIN
};

impl<'t> Trial<'t> {
    pub(super) fn init(&mut self, setup: &Setup) -> Answer<()> {
        self.setup = setup.clone();
        self.rig.init(setup)
    }

    pub(super) fn configure(&mut self, setup: &Setup) -> Answer<()> {
        self.setup = setup.clone();
        self.rig.configure(setup)
    }

    /// Puts a point on a channel, in LSBs of these ranges.
    pub(super) fn apply_in(&self, channel: Channel, ranges: (usize, usize), point: Point) {
        let (sense_nv, rail_nv) = self.scene.nanovolts(ranges, point);
        self.fixture.apply(channel.number(), sense_nv, rail_nv);
    }

    /// The same in the first ranges.
    pub(super) fn apply(&self, channel: Channel, point: Point) {
        self.apply_in(channel, self.scene.first(channel), point);
    }

    pub(super) fn apply_all(&self, point: Point) {
        self.scene
            .channels()
            .for_each(|channel| self.apply(channel, point));
    }

    /// A point of its own on each channel.
    pub(super) fn apply_own(&self) {
        for channel in self.scene.channels() {
            let asked = self.setup.ranges[channel.index()];
            let ranges = asked.unwrap_or_else(|| self.scene.first(channel));
            self.apply_in(channel, ranges, self.scene.distinct(ranges, channel));
        }
    }

    /// Until everything that the part shows was converted from what is applied now.
    pub(super) fn settle(&self) {
        self.fixture.run_for_ns(self.scene.settling_ns(&self.setup));
    }

    /// A sample once everything has settled.
    pub(super) fn settled(&mut self) -> Answer<Seen> {
        self.settle();
        self.rig.sample()
    }

    /// What of a sample is wrong, as [`Scene::wrong`] has it.
    pub(super) fn wrong(&self, seen: &Seen) -> Option<String> {
        self.scene.wrong(&self.setup, seen)
    }

    /// What of the next sample is wrong.
    pub(super) fn next_wrong(&mut self) -> Answer<Option<String>> {
        let seen = self.settled()?;
        Ok(self.wrong(&seen))
    }

    pub(super) fn reset(&self) {
        self.fixture.reset();
        self.fixture.run_for_ns(self.scene.reset_ns());
    }

    /// What is applied now is compared: by the part with its conversions, or with this sample.
    pub(super) fn compared(&mut self) -> Checked {
        self.settled()?;
        if self.by_driver {
            self.told = self.look()?;
        }
        Ok(())
    }

    /// A limit of each kind on each channel, none of them passed by a channel's own point.
    pub(super) fn all_limits(&self) -> Vec<Limit> {
        let (scene, full) = (self.scene, self.scene.full());
        let each = move |channel| {
            Kind::ALL.map(|kind| {
                let code = match kind {
                    Kind::OverVoltage => full.rail * 7 / 8,
                    Kind::UnderVoltage => full.rail / 64,
                    Kind::OverCurrent => full.sense * 7 / 8,
                    Kind::UnderCurrent => -full.sense * 7 / 8,
                    Kind::OverPower => full.sense * full.rail / 8 * 7 / scene.power_rail(),
                };
                scene.limit(channel, kind, code)
            })
        };
        let enabled = |channel: &Channel| self.setup.ranges[channel.index()].is_some();
        scene.channels().filter(enabled).flat_map(each).collect()
    }

    /// A point on one channel, then another on all, both for as long as it takes to compare them.
    pub(super) fn passes(&mut self, channel: Channel, past: Point, rest: Point) -> Checked {
        self.apply(channel, past);
        self.compared()?;
        self.apply_all(rest);
        self.compared()
    }

    /// Puts limits in force while all inputs are within them.
    pub(super) fn limits(&mut self, limits: &[Limit]) -> Checked {
        let mut seen = AlertFlags::empty();
        self.by_driver = limits.iter().any(|limit| !self.scene.by_part(limit));
        Ok(self.rig.set_limits(&Limits::new(limits), &mut seen)?)
    }

    /// Flags of limits that a look finds, and clears; or that were told by one before.
    pub(super) fn look(&mut self) -> Result<AlertFlags, Stop> {
        let mut seen = core::mem::take(&mut self.told);
        self.rig.read_alerts(&mut seen)?;
        Ok(seen & AlertFlags::LIMITS)
    }

    /// The transfers of a call.
    pub(super) fn log_of(
        &mut self,
        call: impl FnOnce(&mut Self) -> Checked,
    ) -> Result<Vec<Transfer>, Stop> {
        self.tap.begin();
        call(self)?;
        Ok(self.tap.log())
    }

    /// A restart of the firmware, which goes on.
    pub(super) fn resumed(&mut self) -> Answer<Seen> {
        let token = self.restart();
        let setup = self.setup.clone();
        self.rig.resume(&setup, token)
    }

    /// Another monitor on the same part, as after a restart of the firmware.
    pub(super) fn restart(&mut self) -> ResumeToken {
        let token = self.rig.token();
        let How {
            face,
            read_max,
            attempts,
            ..
        } = self.how;
        self.rig = self.scene.subject.rig(&self.tap, face, read_max, attempts);
        token
    }
}

/// An operation failed where it should not.
impl From<Error<BusError>> for Stop {
    fn from(error: Error<BusError>) -> Self {
        Self::Finding(text(&error))
    }
}

/// An error in words; one that the kit made to end an operation says so.
pub(super) fn text(error: &Error<BusError>) -> String {
    if is_endless(error) {
        let (operation, register) = (error.operation, error.register);
        return format!("{operation} does not end: it hangs on register 0x{register:02X}");
    }
    let hint = match error.kind {
        crake::ErrorKind::Differs { expected, got, .. } => {
            hint::of_bytes(got.into(), expected.into())
        }
        _ => None,
    };
    format!("{error}{}", hint.unwrap_or_default())
}

pub(super) fn is_endless(error: &Error<BusError>) -> bool {
    error.bus_kind() == Some(ErrorKind::Other)
}
