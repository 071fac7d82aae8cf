//! The monitor over an async bus: the same operations, by the same names.
//!
//! Dropping a future at any point is a normal event. It leaves what a failure at that point leaves.

use core::future::Future;

use embedded_hal_async::delay::DelayNs;
use embedded_hal_async::i2c::I2c;

use super::capture::captured;
use super::core::Core;
use super::{
    Call, Error, ErrorKind, FastCapture, Last, NoClock, Operation, Sample, TimeSource, WithClock,
};
use crate::Channel;
use crate::board::Board;
use crate::bus::{Async, Traffic};
use crate::config::{AlertFlags, Config, ConfigError, Limits};
use crate::info::{PartInfo, Undetectable};
use crate::part::{Part, ResumeToken};

/// A monitor of `N` rails on an async bus, whatever its part: the twin of the blocking
/// [`ShuntMonitor`](crate::ShuntMonitor), method for method. Each does what its namesake does, and
/// has its errors; a dropped future leaves what a failure at that point leaves.
#[allow(async_fn_in_trait)] // whether a future can move between threads is its bus's matter
pub trait ShuntMonitor<const N: usize> {
    /// The bus's own error.
    type BusError;

    /// What [`sample`](Self::sample) lends.
    type Sample: Sample<N> + ?Sized;

    /// What the part can do.
    fn info(&self) -> &'static PartInfo;

    /// As [`ShuntMonitor::undetectable`](crate::ShuntMonitor::undetectable).
    fn undetectable(&self) -> Undetectable;

    /// As [`ShuntMonitor::init`](crate::ShuntMonitor::init).
    ///
    /// # Errors
    /// The same; a dropped future leaves the monitor not configured.
    async fn init(&mut self, config: &Config<N>) -> Result<(), Error<Self::BusError>>;

    /// As [`ShuntMonitor::configure`](crate::ShuntMonitor::configure).
    ///
    /// # Errors
    /// The same; a dropped future leaves the monitor not configured.
    async fn configure(&mut self, config: &Config<N>) -> Result<(), Error<Self::BusError>>;

    /// As [`ShuntMonitor::resume`](crate::ShuntMonitor::resume).
    ///
    /// # Errors
    /// The same; a dropped future leaves the monitor not configured.
    async fn resume(
        &mut self,
        config: &Config<N>,
        token: ResumeToken,
    ) -> Result<&Self::Sample, Error<Self::BusError>>;

    /// As [`ShuntMonitor::token`](crate::ShuntMonitor::token).
    fn token(&self) -> ResumeToken;

    /// As [`ShuntMonitor::sample`](crate::ShuntMonitor::sample).
    ///
    /// # Errors
    /// The same; a dropped future has lost nothing, and counts as a failed sample.
    async fn sample(&mut self) -> Result<&Self::Sample, Error<Self::BusError>>;

    /// As [`ShuntMonitor::last_sample`](crate::ShuntMonitor::last_sample).
    fn last_sample(&self) -> &Self::Sample;

    /// As [`ShuntMonitor::set_limits`](crate::ShuntMonitor::set_limits).
    ///
    /// # Errors
    /// The same; after a dropped future alerts are not armed, and `seen` has what was read.
    async fn set_limits(
        &mut self,
        limits: &Limits<'_>,
        seen: &mut AlertFlags,
    ) -> Result<(), Error<Self::BusError>>;

    /// As [`ShuntMonitor::read_alerts`](crate::ShuntMonitor::read_alerts).
    ///
    /// # Errors
    /// The same; after a dropped future `seen` has what was read.
    async fn read_alerts(
        &mut self,
        wanted: AlertFlags,
        seen: &mut AlertFlags,
    ) -> Result<AlertFlags, Error<Self::BusError>>;

    /// As [`ShuntMonitor::compare`](crate::ShuntMonitor::compare).
    fn compare(&mut self, seen: &mut AlertFlags);

    /// As [`ShuntMonitor::set_masks`](crate::ShuntMonitor::set_masks).
    ///
    /// # Errors
    /// The same; after a dropped future either mask may be as before.
    async fn set_masks(&mut self, masks: &[AlertFlags; 2]) -> Result<(), Error<Self::BusError>>;

    /// As [`ShuntMonitor::is_armed`](crate::ShuntMonitor::is_armed).
    fn is_armed(&self) -> bool;

    /// As [`ShuntMonitor::start_capture`](crate::ShuntMonitor::start_capture).
    ///
    /// # Errors
    /// The same; a dropped future leaves the monitor not configured.
    async fn start_capture(&mut self, channel: Channel) -> Result<(), Error<Self::BusError>>;

    /// As [`ShuntMonitor::fetch_capture`](crate::ShuntMonitor::fetch_capture).
    ///
    /// # Errors
    /// The same; a dropped future has lost nothing.
    async fn fetch_capture<'m>(
        &'m mut self,
        first: u16,
        codes: &'m mut [i32],
    ) -> Result<FastCapture<'m>, Error<Self::BusError>>;

    /// As [`ShuntMonitor::set_powered`](crate::ShuntMonitor::set_powered).
    fn set_powered(&mut self, powered: bool);
}

/// A monitor of `N` rails over an async bus. Its operations are those of [`ShuntMonitor`].
pub struct Monitor<'b, I: I2c, D: DelayNs, P: Part, const N: usize, T: TimeSource = NoClock> {
    pub(crate) core: Core<'b, Async<I, D, P>, P, T, N>,
}

impl<'b, I: I2c, D: DelayNs, P: Part, const N: usize> Monitor<'b, I, D, P, N> {
    /// A monitor that has touched nothing yet. Without a clock its samples cannot be given to
    /// totals.
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
    /// As [`Monitor::set_attempts`](crate::Monitor::set_attempts).
    pub const fn set_attempts(&mut self, attempts: u8) {
        self.core.link.set_attempts(attempts);
    }

    /// As [`Monitor::set_read_max`](crate::Monitor::set_read_max).
    pub const fn set_read_max(&mut self, bytes: u8) {
        self.core.link.set_read_max(bytes);
    }

    /// As [`Monitor::set_board`](crate::Monitor::set_board).
    ///
    /// # Errors
    /// The same.
    pub fn set_board(&mut self, board: &'b Board<N>) -> Result<(), ConfigError> {
        self.core.set_board(board)
    }

    /// As [`Monitor::worst_case_us`](crate::Monitor::worst_case_us).
    pub fn worst_case_us(&self, call: Call<'_>, config: &Config<N>, bus_hz: u32) -> Option<u64>
    where
        P: Clone,
    {
        let attempts = self.core.link.attempts();
        Some(self.core.traffic(call, config, attempts)?.us(bus_hz))
    }

    /// As [`Monitor::traffic`](crate::Monitor::traffic).
    pub fn traffic(&self, call: Call<'_>, config: &Config<N>) -> Option<Traffic>
    where
        P: Clone,
    {
        self.core.traffic(call, config, 1)
    }

    /// Gives bus, delay and part back.
    pub fn release(self) -> (I, D, P) {
        let (i2c, delay) = self.core.link.into_port().release();
        (i2c, delay, self.core.part)
    }
}

impl<'b, I: I2c, D: DelayNs, P: Part, const N: usize, T: TimeSource> ShuntMonitor<N>
    for Monitor<'b, I, D, P, N, T>
{
    type BusError = I::Error;
    type Sample = Last<'b, P, T::Stamp, N>;

    fn info(&self) -> &'static PartInfo {
        P::INFO
    }

    fn undetectable(&self) -> Undetectable {
        self.core.last.scan.undetectable
    }

    fn init(&mut self, config: &Config<N>) -> impl Future<Output = Result<(), Error<I::Error>>> {
        self.change(Operation::Init, config)
    }

    fn configure(
        &mut self,
        config: &Config<N>,
    ) -> impl Future<Output = Result<(), Error<I::Error>>> {
        self.change(Operation::Configure, config)
    }

    async fn resume(
        &mut self,
        config: &Config<N>,
        token: ResumeToken,
    ) -> Result<&Self::Sample, Error<I::Error>> {
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

    fn token(&self) -> ResumeToken {
        self.core.token()
    }

    async fn sample(&mut self) -> Result<&Self::Sample, Error<I::Error>> {
        match self.core.sample().await {
            Ok(()) => Ok(&self.core.last),
            Err(fault) => Err(self.core.error(Operation::Sample, fault)),
        }
    }

    fn last_sample(&self) -> &Self::Sample {
        &self.core.last
    }

    async fn set_limits(
        &mut self,
        limits: &Limits<'_>,
        seen: &mut AlertFlags,
    ) -> Result<(), Error<I::Error>> {
        if let Err(kind) = self.core.check_limits(limits) {
            return Err(self.core.error_of(Operation::SetLimits, kind));
        }
        match self.core.set_limits(limits, seen).await {
            Ok(()) => Ok(()),
            Err(fault) => Err(self.core.error(Operation::SetLimits, fault)),
        }
    }

    async fn read_alerts(
        &mut self,
        wanted: AlertFlags,
        seen: &mut AlertFlags,
    ) -> Result<AlertFlags, Error<I::Error>> {
        match self.core.read_alerts(wanted, seen).await {
            Ok(found) => Ok(found),
            Err(fault) => Err(self.core.error(Operation::ReadAlerts, fault)),
        }
    }

    async fn set_masks(&mut self, masks: &[AlertFlags; 2]) -> Result<(), Error<I::Error>> {
        match self.core.set_masks(masks).await {
            Ok(()) => Ok(()),
            Err(fault) => Err(self.core.error(Operation::SetMasks, fault)),
        }
    }

    fn compare(&mut self, seen: &mut AlertFlags) {
        self.core.compare(seen);
    }

    fn is_armed(&self) -> bool {
        self.core.armed
    }

    async fn start_capture(&mut self, channel: Channel) -> Result<(), Error<I::Error>> {
        match self.core.start_capture(channel).await {
            Ok(()) => Ok(()),
            Err(fault) => Err(self.core.error(Operation::StartCapture, fault)),
        }
    }

    async fn fetch_capture<'m>(
        &'m mut self,
        first: u16,
        codes: &'m mut [i32],
    ) -> Result<FastCapture<'m>, Error<I::Error>> {
        let codes = captured::<P>(first, codes);
        match self.core.fetch_capture(first, codes).await {
            Ok(()) => self.core.lend_capture(codes),
            Err(fault) => Err(self.core.error(Operation::FetchCapture, fault)),
        }
    }

    fn set_powered(&mut self, powered: bool) {
        self.core.forget();
        self.core.unpowered = !powered;
    }
}

impl<I: I2c, D: DelayNs, P: Part, const N: usize, T: TimeSource> Monitor<'_, I, D, P, N, T> {
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
