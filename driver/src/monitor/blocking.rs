use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;

use super::capture::captured;
use super::core::Core;
use super::{
    Call, Error, ErrorKind, FastCapture, Last, NoClock, Operation, ShuntMonitor, TimeSource,
    WithClock,
};
use crate::Channel;
use crate::board::Board;
use crate::bus::{Blocking, Traffic, at_once, poll_once};
use crate::config::{AlertFlags, Config, ConfigError, Limits};
use crate::info::{PartInfo, Undetectable};
use crate::part::{Part, ResumeToken};

/// A monitor of `N` rails over a blocking bus. Its operations are those of [`ShuntMonitor`].
///
/// It owns bus and delay; a `&mut` of either is one, too. Sharing a bus is the business of the bus.
pub struct Monitor<'b, I: I2c, D: DelayNs, P: Part, const N: usize, T: TimeSource = NoClock> {
    pub(crate) core: Core<'b, Blocking<I, D, P>, P, T, N>,
}

impl<'b, I: I2c, D: DelayNs, P: Part, const N: usize> Monitor<'b, I, D, P, N> {
    /// A monitor that has touched nothing yet. Without a clock its samples cannot be given to
    /// totals.
    #[inline(always)]
    pub fn new(i2c: I, delay: D, part: P, board: &'b Board<N>) -> Self {
        Self {
            core: Core::new(Blocking::new(i2c, delay), part, NoClock, board),
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
    /// Sets how often a transfer is tried before an operation gives up; at least once. 3 unless
    /// set.
    pub const fn set_attempts(&mut self, attempts: u8) {
        self.core.link.set_attempts(attempts);
    }

    /// Sets the most bytes that are read in one transfer, for controllers with a short buffer; at
    /// least
    /// 2. 255 unless set.
    pub const fn set_read_max(&mut self, bytes: u8) {
        self.core.link.set_read_max(bytes);
    }

    /// Converts by another board from now on: the same one with another
    /// [correction](Board::corrected), while the part runs. The last sample is gone.
    /// [Totals](crate::totals::Totals::set_board) have to be given the same board before the next
    /// one.
    ///
    /// # Errors
    /// A board that cannot be used with this part; the board is the one before.
    pub fn set_board(&mut self, board: &'b Board<N>) -> Result<(), ConfigError> {
        self.core.set_board(board)
    }

    /// The longest that a call can take under a configuration on a bus of this clock frequency in
    /// Hz, in microseconds. `None` for a call that would be refused.
    ///
    /// It is found by going through the call's own transfers and waits, each as often as it can
    /// come: with [`set_attempts`](Self::set_attempts) and [`set_read_max`](Self::set_read_max) as
    /// they stand. The host's own work comes on top, and what others do on a shared bus. It touches
    /// no bus; it is as much code as the call again.
    pub fn worst_case_us(&self, call: Call<'_>, config: &Config<N>, bus_hz: u32) -> Option<u64>
    where
        P: Clone,
    {
        let attempts = self.core.link.attempts();
        Some(self.core.traffic(call, config, attempts)?.us(bus_hz))
    }

    /// What a call puts on the bus under a configuration where all comes through at the first try.
    /// `None` for a call that would be refused. Found as [`worst_case_us`](Self::worst_case_us) is,
    /// and as costly; it touches no bus.
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

    fn init(&mut self, config: &Config<N>) -> Result<(), Error<I::Error>> {
        self.change(Operation::Init, config)
    }

    fn configure(&mut self, config: &Config<N>) -> Result<(), Error<I::Error>> {
        self.change(Operation::Configure, config)
    }

    fn resume(
        &mut self,
        config: &Config<N>,
        token: ResumeToken,
    ) -> Result<&Self::Sample, Error<I::Error>> {
        if let Err(error) = self.core.check(config) {
            return Err(self
                .core
                .error_of(Operation::Resume, ErrorKind::Config(error)));
        }
        match poll_once(|| self.core.resume(config, token)) {
            Ok(()) => Ok(&self.core.last),
            Err(fault) => Err(self.core.error(Operation::Resume, fault)),
        }
    }

    fn token(&self) -> ResumeToken {
        self.core.token()
    }

    fn sample(&mut self) -> Result<&Self::Sample, Error<I::Error>> {
        match at_once(self.core.sample()) {
            Ok(()) => Ok(&self.core.last),
            Err(fault) => Err(self.core.error(Operation::Sample, fault)),
        }
    }

    fn last_sample(&self) -> &Self::Sample {
        &self.core.last
    }

    fn set_limits(
        &mut self,
        limits: &Limits<'_>,
        seen: &mut AlertFlags,
    ) -> Result<(), Error<I::Error>> {
        if let Err(kind) = self.core.check_limits(limits) {
            return Err(self.core.error_of(Operation::SetLimits, kind));
        }
        poll_once(|| self.core.set_limits(limits, seen))
            .map_err(|fault| self.core.error(Operation::SetLimits, fault))
    }

    fn read_alerts(
        &mut self,
        wanted: AlertFlags,
        seen: &mut AlertFlags,
    ) -> Result<AlertFlags, Error<I::Error>> {
        poll_once(|| self.core.read_alerts(wanted, seen))
            .map_err(|fault| self.core.error(Operation::ReadAlerts, fault))
    }

    fn set_masks(&mut self, masks: &[AlertFlags; 2]) -> Result<(), Error<I::Error>> {
        poll_once(|| self.core.set_masks(masks))
            .map_err(|fault| self.core.error(Operation::SetMasks, fault))
    }

    fn compare(&mut self, seen: &mut AlertFlags) {
        self.core.compare(seen);
    }

    fn is_armed(&self) -> bool {
        self.core.armed
    }

    fn start_capture(&mut self, channel: Channel) -> Result<(), Error<I::Error>> {
        poll_once(|| self.core.start_capture(channel))
            .map_err(|fault| self.core.error(Operation::StartCapture, fault))
    }

    fn fetch_capture<'m>(
        &'m mut self,
        first: u16,
        codes: &'m mut [i32],
    ) -> Result<FastCapture<'m>, Error<I::Error>> {
        let codes = captured::<P>(first, codes);
        match poll_once(|| self.core.fetch_capture(first, codes)) {
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
    fn change(&mut self, operation: Operation, config: &Config<N>) -> Result<(), Error<I::Error>> {
        if let Err(error) = self.core.check(config) {
            return Err(self.core.error_of(operation, ErrorKind::Config(error)));
        }
        let fresh = operation == Operation::Init;
        poll_once(|| self.core.configure(config, fresh))
            .map_err(|fault| self.core.error(operation, fault))
    }
}
