//! Calls of a monitor, for checks that make every one of them.

use crake::Channel;
use crake::config::{AlertFlags, Limits};

use crate::conformance::report::Checked;
use crate::conformance::rig::{Answer, Asked};
use crate::conformance::scene::Scene;
use crate::conformance::trial::Trial;

/// Those that the part has.
pub(super) fn calls(scene: &Scene<'_>) -> impl Iterator<Item = Asked> + use<> {
    let captures = scene.info.capture_max > 0;
    let all = [
        Asked::Init,
        Asked::Configure,
        Asked::Resume,
        Asked::Sample,
        Asked::SetLimits,
        Asked::ReadAlerts,
        Asked::StartCapture,
        Asked::FetchCapture,
    ];
    all.into_iter()
        .filter(move |call| captures || !call.is_capture())
}

impl Asked {
    /// Whether it is about fast captures.
    pub(super) const fn is_capture(self) -> bool {
        matches!(self, Self::StartCapture | Self::FetchCapture)
    }

    /// Brings a trial that runs to where the call can be made.
    pub(super) fn prepare(self, trial: &mut Trial<'_>) -> Checked {
        match self {
            Self::ReadAlerts => trial.limits(&trial.all_limits()),
            Self::FetchCapture => Ok(trial.rig.start_capture(Channel::C0)?),
            _ => Ok(()),
        }
    }

    pub(super) fn make(self, trial: &mut Trial<'_>) -> Answer<()> {
        let setup = trial.setup.clone();
        let mut seen = AlertFlags::empty();
        match self {
            Self::Init => trial.rig.init(&setup),
            Self::Configure => trial.rig.configure(&setup),
            Self::Resume => trial.resumed().map(drop),
            Self::Sample => trial.rig.sample().map(drop),
            Self::SetLimits => {
                let list = trial.all_limits();
                trial.rig.set_limits(&Limits::new(&list), &mut seen)
            }
            Self::ReadAlerts => trial.rig.read_alerts(&mut seen).map(drop),
            Self::StartCapture => trial.rig.start_capture(Channel::C0),
            Self::FetchCapture => trial.rig.fetch_capture(0, &mut [0; 32]).map(drop),
        }
    }
}
