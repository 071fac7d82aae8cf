//! The monitor over an async bus: the same operations, by the same names.
//!
//! Dropping a future at any point is a normal event. It leaves what a failure at that point leaves.

use embedded_hal_async::delay::DelayNs;
use embedded_hal_async::i2c::I2c;

use super::core::Core;
use super::{Error, ErrorKind, FastCapture, Last, NoClock, Operation, TimeSource, WithClock};
use crate::Channel;
use crate::board::Board;
use crate::bus::Async;
use crate::config::{Config, ConfigError};
use crate::info::PartInfo;
use crate::part::{Part, ResumeToken};

/// A monitor of `N` rails over an async bus; see [`ShuntMonitor`](crate::ShuntMonitor) for what its
/// operations do.
pub struct Monitor<'b, I: I2c, D: DelayNs, P: Part, const N: usize, T: TimeSource = NoClock> {
    pub(crate) core: Core<'b, Async<I, D>, P, T, N>,
}

impl<'b, I: I2c, D: DelayNs, P: Part, const N: usize> Monitor<'b, I, D, P, N> {
    /// A monitor that has touched nothing yet. Without a clock its samples cannot be given to totals.
    #[inline(always)]
    pub fn new(i2c: I, delay: D, part: P, board: &'b Board<N>) -> Self {
        Self {
            core: Core::new(Async::new(i2c, delay), part, NoClock, board),
        }
    }

    /// The same with a clock that dates samples.
    #[inline(always)]
    pub fn with_clock<C>(self, clock: C) -> Monitor<'b, I, D, P, N, WithClock<C>>
    where
        WithClock<C>: TimeSource,
    {
        let Core {
            link, part, last, ..
        } = self.core;
        Monitor {
            core: Core::new(link.into_port(), part, WithClock(clock), last.board),
        }
    }
}

impl<'b, I: I2c, D: DelayNs, P: Part, const N: usize, T: TimeSource> Monitor<'b, I, D, P, N, T> {
    /// What the part can do.
    pub const fn info(&self) -> &'static PartInfo {
        P::INFO
    }

    /// As [`ShuntMonitor::init`](crate::ShuntMonitor::init).
    ///
    /// # Errors
    /// The same; a dropped future leaves the monitor not configured.
    pub async fn init(&mut self, config: &Config<N>) -> Result<(), Error<I::Error>> {
        self.change(Operation::Init, config).await
    }

    /// As [`ShuntMonitor::configure`](crate::ShuntMonitor::configure).
    ///
    /// # Errors
    /// The same; a dropped future leaves the monitor not configured.
    pub async fn configure(&mut self, config: &Config<N>) -> Result<(), Error<I::Error>> {
        self.change(Operation::Configure, config).await
    }

    /// As [`ShuntMonitor::resume`](crate::ShuntMonitor::resume).
    ///
    /// # Errors
    /// The same; a dropped future leaves the monitor not configured.
    pub async fn resume(
        &mut self,
        config: &Config<N>,
        token: ResumeToken,
    ) -> Result<&Last<'b, P, T::Stamp, N>, Error<I::Error>> {
        if let Err(error) = self.core.check(config) {
            return Err(self
                .core
                .error_of(Operation::Resume, ErrorKind::Config(error)));
        }
        match self.core.resume(config, token).await {
            Ok(()) => Ok(&self.core.last),
            Err(fault) => Err(self.core.error(Operation::Resume, fault)),
        }
    }

    /// As [`ShuntMonitor::token`](crate::ShuntMonitor::token).
    pub fn token(&self) -> ResumeToken {
        self.core.part.token()
    }

    /// As [`ShuntMonitor::sample`](crate::ShuntMonitor::sample).
    ///
    /// # Errors
    /// The same; a dropped future has lost nothing, and counts as a failed sample.
    pub async fn sample(&mut self) -> Result<&Last<'b, P, T::Stamp, N>, Error<I::Error>> {
        match self.core.sample().await {
            Ok(()) => Ok(&self.core.last),
            Err(fault) => Err(self.core.error(Operation::Sample, fault)),
        }
    }

    /// As [`ShuntMonitor::start_capture`](crate::ShuntMonitor::start_capture).
    ///
    /// # Errors
    /// The same; a dropped future leaves the monitor not configured.
    pub async fn start_capture(&mut self, channel: Channel) -> Result<(), Error<I::Error>> {
        match self.core.start_capture(channel).await {
            Ok(()) => Ok(()),
            Err(fault) => Err(self.core.error(Operation::StartCapture, fault)),
        }
    }

    /// As [`ShuntMonitor::fetch_capture`](crate::ShuntMonitor::fetch_capture).
    ///
    /// # Errors
    /// The same; a dropped future has lost nothing.
    pub async fn fetch_capture<'m>(
        &'m mut self,
        first: u16,
        codes: &'m mut [i32],
    ) -> Result<FastCapture<'m>, Error<I::Error>> {
        match self.core.fetch_capture(first, codes).await {
            Ok((channel, count)) => {
                let codes = codes.get(..count).unwrap_or_default();
                Ok(self.core.lend_capture(channel, codes))
            }
            Err(fault) => Err(self.core.error(Operation::FetchCapture, fault)),
        }
    }

    /// As [`Monitor::set_board`](crate::Monitor::set_board).
    ///
    /// # Errors
    /// The same.
    pub fn set_board(&mut self, board: &'b Board<N>) -> Result<(), ConfigError> {
        self.core.set_board(board)
    }

    /// As [`ShuntMonitor::set_powered`](crate::ShuntMonitor::set_powered).
    pub const fn set_powered(&mut self, powered: bool) {
        self.core.forget();
        self.core.unpowered = !powered;
    }

    async fn change(
        &mut self,
        operation: Operation,
        config: &Config<N>,
    ) -> Result<(), Error<I::Error>> {
        if let Err(error) = self.core.check(config) {
            return Err(self.core.error_of(operation, ErrorKind::Config(error)));
        }
        let fresh = operation == Operation::Init;
        match self.core.configure(config, fresh).await {
            Ok(()) => Ok(()),
            Err(fault) => Err(self.core.error(operation, fault)),
        }
    }
}
