//! `embedded-hal-async`'s traits over the bench's time; to be awaited in [`Bench::block_on`] or by
//! [`Tasks`](super::Tasks).

use core::convert::Infallible;

use embedded_hal::i2c::{ErrorKind, Operation};
use embedded_hal_async::{delay::DelayNs, digital::Wait, i2c};

use super::{
    Bench, Delay, I2c, Line,
    waits::{self, Turn, Wanted},
};
use crate::bus::{Bus, BusError, Conditions, play};

/// A transfer that lets other tasks run between its edges.
///
/// Transfers of several tasks follow one another in the order in which they were asked for. Dropped
/// before its end, a transfer breaks off the byte in progress and makes a STOP at once, as a
/// controller does that is switched off in order: what targets had accepted before stays accepted.
impl i2c::I2c for I2c {
    async fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), BusError> {
        let turn = Turn::come(self.bench()).await;
        let mut wire = Shared {
            bench: self.bench(),
            _turn: turn,
        };
        play(&mut wire, address, operations, self.restart()).await
    }
}

impl DelayNs for Delay {
    async fn delay_ns(&mut self, ns: u32) {
        self.pass(ns.into()).await;
    }

    async fn delay_us(&mut self, us: u32) {
        self.pass(u64::from(us) * 1_000).await;
    }

    async fn delay_ms(&mut self, ms: u32) {
        self.pass(u64::from(ms) * 1_000_000).await;
    }
}

impl Delay {
    async fn pass(&self, ns: u64) {
        let bench = self.bench();
        waits::moment(bench, bench.now_ns().saturating_add(ns)).await;
    }
}

/// A wait for a level is also over if the line had that level while the task could not run; an edge
/// is one after the wait has begun.
impl Wait for Line {
    async fn wait_for_high(&mut self) -> Result<(), Infallible> {
        waits::line(self, Wanted::High).await;
        Ok(())
    }

    async fn wait_for_low(&mut self) -> Result<(), Infallible> {
        waits::line(self, Wanted::Low).await;
        Ok(())
    }

    async fn wait_for_rising_edge(&mut self) -> Result<(), Infallible> {
        waits::line(self, Wanted::Rising).await;
        Ok(())
    }

    async fn wait_for_falling_edge(&mut self) -> Result<(), Infallible> {
        waits::line(self, Wanted::Falling).await;
        Ok(())
    }

    async fn wait_for_any_edge(&mut self) -> Result<(), Infallible> {
        waits::line(self, Wanted::Any).await;
        Ok(())
    }
}

/// The wire in turns with other tasks.
struct Shared<'a> {
    bench: &'a Bench,
    _turn: Turn,
}

impl Shared<'_> {
    async fn at(&self, moment: impl FnOnce(&Bus) -> u64) {
        let ns = self.bench.with_bus(|bus| moment(bus));
        waits::moment(self.bench, ns).await;
    }
}

impl Conditions for Shared<'_> {
    fn begin(&mut self, address: u8, operations: &[Operation<'_>]) {
        self.bench.with_bus(|bus| bus.begin(address, operations));
    }

    fn end(&mut self) -> Option<ErrorKind> {
        self.bench.with_bus(Bus::end)
    }

    async fn start(&mut self) {
        self.at(Bus::start_at_ns).await;
        self.bench.with_bus(Bus::start_edge);
    }

    async fn send(&mut self, byte: u8) -> bool {
        self.at(|bus| bus.bits_at_ns(u8::BITS)).await;
        self.bench.with_bus(|bus| bus.send_edge(byte))
    }

    async fn receive(&mut self, acknowledge: bool) -> u8 {
        self.at(Bus::ready_at_ns).await;
        let offered = self.bench.with_bus(|bus| bus.offered());
        self.at(|bus| bus.bits_at_ns(u8::BITS)).await;
        self.bench
            .with_bus(|bus| bus.receive_edge(offered, acknowledge))
    }

    async fn stop(&mut self) {
        self.at(Bus::stop_at_ns).await;
        self.bench.with_bus(Bus::stop_edge);
    }
}

impl Drop for Shared<'_> {
    fn drop(&mut self) {
        // A transfer that is over has freed the bus, and this does nothing.
        self.bench.with_bus(Bus::abandon);
    }
}
