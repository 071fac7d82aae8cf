//! The async twins of [`Monitor`](crate::old::Monitor) and [`ShuntMonitor`](crate::old::ShuntMonitor): same names, same exchanges, same errors.

mod proof;
mod response;
mod shell;
mod station;

pub use proof::prove;
pub use response::alert_response;
pub use shell::Monitor;

use super::{Error, Task};
use crate::old::Frame;
use crate::old::alert::{Causes, Watches};
use crate::old::part::{Joint, Spec};
use crate::old::sampling::Setup;

/// A monitor of `N` rails on an async bus, whatever its part: the twin of the blocking [`ShuntMonitor`](crate::old::ShuntMonitor), method for method.
///
/// Every future may be dropped at any await; [`Monitor`] says what that leaves.
#[allow(async_fn_in_trait)] // firmware is single-threaded: whether a future can move between threads is its bus's matter
pub trait ShuntMonitor<const N: usize> {
    /// The bus's own error.
    type BusError;

    /// As [`spec`](crate::old::ShuntMonitor::spec) of the blocking trait.
    fn spec(&self) -> &'static Spec;

    /// As [`init`](crate::old::ShuntMonitor::init) of the blocking trait, with its errors.
    async fn init(&mut self, setup: &Setup<N>) -> Result<Frame<'_>, Error<Self::BusError>>;

    /// As [`attach`](crate::old::ShuntMonitor::attach) of the blocking trait, with its errors.
    async fn attach(&mut self, joint: &Joint) -> Result<Frame<'_>, Error<Self::BusError>>;

    /// As [`latch`](crate::old::ShuntMonitor::latch) of the blocking trait, with its errors.
    async fn latch(&mut self) -> Result<Frame<'_>, Error<Self::BusError>>;

    /// As [`configure`](crate::old::ShuntMonitor::configure) of the blocking trait, with its errors.
    async fn configure(&mut self, setup: &Setup<N>) -> Result<Frame<'_>, Error<Self::BusError>>;

    /// As [`arm`](crate::old::ShuntMonitor::arm) of the blocking trait, with its errors.
    async fn arm(
        &mut self,
        setup: &Setup<N>,
        watches: &Watches<'_>,
        found: &mut Causes,
    ) -> Result<Frame<'_>, Error<Self::BusError>>;

    /// As [`look`](crate::old::ShuntMonitor::look) of the blocking trait, with its errors.
    async fn look(
        &mut self,
        interest: Causes,
        found: &mut Causes,
    ) -> Result<bool, Error<Self::BusError>>;

    /// As [`service`](crate::old::ShuntMonitor::service) of the blocking trait, with its errors.
    async fn service(
        &mut self,
        interest: Causes,
        found: &mut Causes,
    ) -> Result<Frame<'_>, Error<Self::BusError>>;

    /// As [`fetch`](crate::old::ShuntMonitor::fetch) of the blocking trait, with its errors.
    async fn fetch(&mut self, codes: &mut [i32]) -> Result<usize, Error<Self::BusError>>;

    /// As [`longest_us`](crate::old::ShuntMonitor::longest_us) of the blocking trait.
    fn longest_us(&self, task: Task, bus_hz: u32) -> u64;

    /// As [`joint`](crate::old::ShuntMonitor::joint) of the blocking trait.
    fn joint(&self) -> Joint;
}
