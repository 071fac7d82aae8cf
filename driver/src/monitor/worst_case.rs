//! What a call takes, and the longest that it can: each operation itself, run on a port that only
//! counts.

use super::NoClock;
use super::core::Core;
use crate::Channel;
use crate::bus::{Dry, Fault, Port, Traffic, at_once, poll_once};
use crate::config::{AlertFlags, Config, Limits};
use crate::monitor::TimeSource;
use crate::part::{Part, ResumeToken};

/// A call whose longest time is asked for, with what that depends on.
#[derive(Debug)]
#[non_exhaustive]
pub enum Call<'c> {
    /// [`init`](crate::ShuntMonitor::init).
    Init,
    /// [`configure`](crate::ShuntMonitor::configure).
    Configure,
    /// [`resume`](crate::ShuntMonitor::resume).
    Resume,
    /// [`sample`](crate::ShuntMonitor::sample).
    Sample,
    /// [`set_limits`](crate::ShuntMonitor::set_limits), also by a queue.
    SetLimits(&'c Limits<'c>),
    /// [`read_alerts`](crate::ShuntMonitor::read_alerts), also by a queue.
    ReadAlerts,
    /// [`set_masks`](crate::ShuntMonitor::set_masks).
    SetMasks,
    /// [`AlertQueue::service`](crate::alert::AlertQueue::service): two looks, a sample, and masks.
    Service,
    /// [`start_capture`](crate::ShuntMonitor::start_capture).
    StartCapture,
    /// [`fetch_capture`](crate::ShuntMonitor::fetch_capture) of as many codes; what is there is
    /// overwritten.
    FetchCapture(&'c mut [i32]),
}

impl<B: Port, P: Part + Clone, T: TimeSource, const N: usize> Core<'_, B, P, T, N> {
    /// Of a call whose every transfer is tried so often.
    pub(crate) fn traffic(
        &self,
        call: Call<'_>,
        config: &Config<N>,
        attempts: u8,
    ) -> Option<Traffic> {
        self.check(config).ok()?;
        let mut dry = Core::new(Dry::NEW, self.part.clone(), NoClock, self.last.board);
        dry.link.set_attempts(attempts);
        dry.link.set_read_max(self.link.read_max());
        dry.configured(config).ok()?;
        dry.armed = true;
        if !matches!(call, Call::Init | Call::Configure) {
            dry.link.port_mut().clear();
            dry.run(call, config).ok()?;
        }
        Some(dry.link.port_mut().counted())
    }
}

impl<P: Part, const N: usize> Core<'_, Dry<P>, P, NoClock, N> {
    /// Each operation by a poll of its own, as [`Monitor`](crate::Monitor) runs it.
    fn run(&mut self, call: Call<'_>, config: &Config<N>) -> Result<(), Fault> {
        let mut seen = AlertFlags::empty();
        match call {
            Call::Init | Call::Configure => self.configured(config),
            Call::Resume => {
                let token = ResumeToken {
                    writes: 0,
                    configuration: 0,
                };
                poll_once(|| self.resume(config, token))
            }
            Call::Sample => at_once(self.sample()),
            Call::SetLimits(limits) => {
                self.check_limits(limits).map_err(|_| Fault::Refused)?;
                poll_once(|| self.set_limits(limits, &mut seen))
            }
            Call::ReadAlerts => self.looked(),
            Call::SetMasks => self.masked(),
            Call::Service => {
                self.looked()?;
                at_once(self.sample())?;
                self.looked()?;
                self.masked()
            }
            Call::StartCapture => self.captured(),
            Call::FetchCapture(codes) => {
                self.captured()?;
                self.link.port_mut().clear();
                poll_once(|| self.fetch_capture(0, codes))
            }
        }
    }

    fn configured(&mut self, config: &Config<N>) -> Result<(), Fault> {
        poll_once(|| self.configure(config, true))
    }

    fn looked(&mut self) -> Result<(), Fault> {
        let mut seen = AlertFlags::empty();
        poll_once(|| self.read_alerts(AlertFlags::all(), &mut seen)).map(drop)
    }

    fn masked(&mut self) -> Result<(), Fault> {
        let masks = [AlertFlags::all(); 2];
        poll_once(|| self.set_masks(&masks))
    }

    fn captured(&mut self) -> Result<(), Fault> {
        let channel = self.first_enabled()?;
        poll_once(|| self.start_capture(channel))
    }

    fn first_enabled(&self) -> Result<Channel, Fault> {
        let enabled = |channel: &Channel| self.last.scan.range(*channel).is_some();
        Channel::first(N as u8).find(enabled).ok_or(Fault::Refused)
    }
}
