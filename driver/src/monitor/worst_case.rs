//! The longest that a call can take: each operation itself, run on a port that only counts.

use super::NoClock;
use super::core::Core;
use crate::Channel;
use crate::bus::{Dry, Fault, Port, poll_once};
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
    pub(crate) fn worst_case_us(
        &self,
        call: Call<'_>,
        config: &Config<N>,
        bus_hz: u32,
    ) -> Option<u64> {
        self.check(config).ok()?;
        let mut dry = Core::new(Dry::NEW, self.part.clone(), NoClock, self.last.board);
        dry.link.set_attempts(self.link.attempts());
        dry.link.set_read_max(self.link.read_max());
        poll_once(|| dry.configure(config, true)).ok()?;
        dry.armed = true;
        if !matches!(call, Call::Init | Call::Configure) {
            dry.link.port_mut().clear();
            poll_once(|| dry.run(call, config)).ok()?;
        }
        Some(dry.link.port_mut().us(bus_hz))
    }
}

impl<P: Part, const N: usize> Core<'_, Dry<P>, P, NoClock, N> {
    async fn run(&mut self, call: Call<'_>, config: &Config<N>) -> Result<(), Fault> {
        let (all, mut seen) = (AlertFlags::all(), AlertFlags::empty());
        match call {
            Call::Init => self.configure(config, true).await,
            Call::Configure => self.configure(config, false).await,
            Call::Resume => {
                let token = ResumeToken {
                    writes: 0,
                    configuration: 0,
                };
                self.resume(config, token).await
            }
            Call::Sample => self.sample().await,
            Call::SetLimits(limits) => {
                self.check_limits(limits).map_err(|_| Fault::Refused)?;
                self.set_limits(limits, &mut seen).await
            }
            Call::ReadAlerts => self.read_alerts(all, &mut seen).await.map(drop),
            Call::SetMasks => self.set_masks(&[all, all]).await,
            Call::Service => {
                self.read_alerts(all, &mut seen).await?;
                self.sample().await?;
                if !P::INFO.alerts.is_complete() {
                    self.read_alerts(all, &mut seen).await?;
                }
                self.read_alerts(all, &mut seen).await?;
                self.set_masks(&[all, all]).await
            }
            Call::StartCapture => self.start_capture(self.first_enabled()?).await,
            Call::FetchCapture(codes) => {
                self.start_capture(self.first_enabled()?).await?;
                self.link.port_mut().clear();
                self.fetch_capture(0, codes).await.map(drop)
            }
        }
    }

    fn first_enabled(&self) -> Result<Channel, Fault> {
        let enabled = |channel: &Channel| self.last.scan.range(*channel).is_some();
        Channel::first(N as u8).find(enabled).ok_or(Fault::Refused)
    }
}
