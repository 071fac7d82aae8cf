//! Calls of a monitor, for checks that make every one of them.

use alloc::vec::Vec;

use crake::Channel;
use crake::config::{AlertFlags, Kind, Limit, Limits};
use crake::part::ResumeToken;

use crate::conformance::report::Checked;
use crate::conformance::rig::{Answer, Asked};
use crate::conformance::scene::Scene;
use crate::conformance::trial::Trial;

pub(super) const CALLS: [Asked; 8] = [
    Asked::Init,
    Asked::Configure,
    Asked::Resume,
    Asked::Sample,
    Asked::SetLimits,
    Asked::ReadAlerts,
    Asked::StartCapture,
    Asked::FetchCapture,
];

impl Asked {
    /// Whether the part has it.
    pub(super) fn applies(self, scene: &Scene<'_>) -> bool {
        match self {
            Self::StartCapture | Self::FetchCapture => scene.info.capture_max > 0,
            _ => true,
        }
    }

    /// Brings a trial that runs to where the call can be made.
    pub(super) fn prepare(self, trial: &mut Trial<'_>) -> Checked {
        match self {
            Self::ReadAlerts => trial.limits(&self.limits(trial.scene)),
            Self::FetchCapture => Ok(trial.rig.start_capture(Channel::C0)?),
            _ => Ok(()),
        }
    }

    /// A limit of each kind on each channel, none of them passed by a channel's own point.
    pub(super) fn limits(self, scene: &Scene<'_>) -> Vec<Limit> {
        let full = scene.full();
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
        scene.channels().flat_map(each).collect()
    }

    pub(super) fn make(self, trial: &mut Trial<'_>) -> Answer<()> {
        let setup = trial.setup.clone();
        let mut seen = AlertFlags::empty();
        match self {
            Self::Init => trial.rig.init(&setup),
            Self::Configure => trial.rig.configure(&setup),
            Self::Resume => {
                let token: ResumeToken = trial.restart();
                trial.rig.resume(&setup, token).map(drop)
            }
            Self::Sample => trial.rig.sample().map(drop),
            Self::SetLimits => {
                let list = self.limits(trial.scene);
                trial.rig.set_limits(&Limits::new(&list), &mut seen)
            }
            Self::ReadAlerts => trial.rig.read_alerts(&mut seen).map(drop),
            Self::StartCapture => trial.rig.start_capture(Channel::C0),
            Self::FetchCapture => trial.rig.fetch_capture(0, &mut [0; 32]).map(drop),
        }
    }
}
