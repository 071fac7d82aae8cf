//! Shells that play exchanges on a bus, and the generic trait that firmware is written against.

pub mod asynch;
mod blocking;
mod clock;
mod core;
mod counter;
mod error;

pub use blocking::Monitor;
pub use clock::Clock;
pub use counter::CounterClock;
pub use error::{Came, Error, Task};

use crate::old::Frame;
use crate::old::alert::{Causes, Watches};
use crate::old::part::{Joint, Spec};
use crate::old::sampling::Setup;

/// A monitor of `N` rails, whatever its part: what firmware is written against. Usable as a trait object.
///
/// ```
/// use crake::old::part::Joint;
/// use crake::old::{Channel, Error, Setup, ShuntMonitor};
///
/// /// Joins the part as it was left before a restart, or sets it up where that is not possible.
/// fn start<M: ShuntMonitor<4>>(
///     monitor: &mut M,
///     kept: Option<Joint>,
///     setup: &Setup<4>,
/// ) -> Result<(), Error<M::BusError>> {
///     let joined = kept.is_some_and(|joint| monitor.attach(&joint).is_ok());
///     if !joined {
///         monitor.init(setup)?;
///     }
///     let frame = monitor.latch()?;
///     match frame.reading(Channel::C0) {
///         Ok(reading) => println!("{}, {}", reading.voltage, reading.current),
///         Err(why) => println!("no reading: {why}"),
///     }
///     Ok(())
/// }
/// ```
pub trait ShuntMonitor<const N: usize> {
    /// The bus's own error.
    type BusError;

    /// What the part can do.
    fn spec(&self) -> &'static Spec;

    /// Sets the part up from whatever state it is in, running sums at zero, and starts it.
    ///
    /// The frame is the moment at which the set-up takes over: [`Condition::Boundary`](crate::old::Condition::Boundary), no readings yet. Give it to the ledger.
    ///
    /// # Errors
    /// A set-up that the part cannot do is refused before a byte is sent. Otherwise the part may be left half set up, not running; `init` starts over.
    fn init(&mut self, setup: &Setup<N>) -> Result<Frame<'_>, Error<Self::BusError>>;

    /// Joins a part that was set up earlier, by the same firmware before it restarted or by another, without disturbing it, and latches a frame.
    ///
    /// The joint vouches for the time before: with the one that was kept when the part was last set up, a [`Ledger`](crate::old::ledger::Ledger) goes on as if nothing had happened.
    /// Where the driver keeps sums or judges limits in the part's place ([`Spec::sums`], [`Spec::judged_by`]), these did not outlive the firmware: the ledger begins another epoch, and limits are to be armed.
    ///
    /// # Errors
    /// [`Fault::ResetSeen`](crate::old::Fault::ResetSeen), [`Fault::SetUpChanged`](crate::old::Fault::SetUpChanged) or [`Fault::Identity`](crate::old::Fault::Identity): the
    /// part is as it was, and `init` is what remains.
    fn attach(&mut self, joint: &Joint) -> Result<Frame<'_>, Error<Self::BusError>>;

    /// Latches all channels at the end of the round in progress and reads the block.
    ///
    /// While the part's supply is declared off no transfer is made; the frame says [`Condition::Unpowered`](crate::old::Condition::Unpowered).
    ///
    /// # Errors
    /// No count and no over-range flag is lost by a failure; the next frame has them.
    fn latch(&mut self) -> Result<Frame<'_>, Error<Self::BusError>>;

    /// Takes over another set-up at the end of the round in progress.
    ///
    /// The frame is of exactly that moment and still described by the old set-up ([`Condition::Boundary`](crate::old::Condition::Boundary)); later ones are under the new one. Give it to the
    /// ledger, and not a round is lost.
    ///
    /// # Errors
    /// As `init`. If the change had not begun, the old set-up runs on, and nothing is lost. If the part may have taken the new one over at a moment unknown, the
    /// next frame says so ([`Frame::unbroken`]) and tells by its set-up which of them runs.
    fn configure(&mut self, setup: &Setup<N>) -> Result<Frame<'_>, Error<Self::BusError>>;

    /// Takes over a set-up and watches together: ranges and limits change in one exchange, and nothing false is told in between.
    ///
    /// The watches are checked as a whole before a byte is sent. Causes that stood in the part before, by the watches before, are added to `found`. The frame is as [`configure`](Self::configure) gives it.
    /// A [`Station`](crate::old::alert::Station) does this for firmware.
    ///
    /// # Errors
    /// As `configure`; after a failure on the bus the outputs may be masked. Arm again.
    fn arm(
        &mut self,
        setup: &Setup<N>,
        watches: &Watches<'_>,
        found: &mut Causes,
    ) -> Result<Frame<'_>, Error<Self::BusError>>;

    /// Reads the causes once, adds those of `interest` that are set to `found`, and clears exactly these: two short transfers at the most. `true`: there were some, and others may have come
    /// meanwhile; look again.
    ///
    /// The first piece of a [`service`](Self::service), whose other piece is [`latch`](Self::latch). Before, between and after them the bus is free for others, for as long as they like.
    ///
    /// # Errors
    /// The bus failed, or the part's supply is declared off; `found` holds whatever was seen, cleared or not: nothing is lost. Look again.
    fn look(&mut self, interest: Causes, found: &mut Causes)
    -> Result<bool, Error<Self::BusError>>;

    /// Looks until no cause of `interest` is left, at most [`Task::LOOKS`] times, and latches a frame. Where the driver judges limits in the part's place, what it finds in this frame is in `found`, too.
    ///
    /// # Errors
    /// As [`look`](Self::look) and [`latch`](Self::latch), with the task that failed; `found` holds whatever was seen, cleared or not: nothing is lost.
    fn service(
        &mut self,
        interest: Causes,
        found: &mut Causes,
    ) -> Result<Frame<'_>, Error<Self::BusError>>;

    /// Fetches the codes of a burst, oldest first, as many as fit; gives their number, 0 if there was no burst since the part's reset. Waits until the burst is over.
    ///
    /// A burst is begun by [`configure`](Self::configure) with [`Mode::Burst`](crate::old::Mode::Burst), which leaves a frame for the ledger, and the part is idle afterwards: configure it again to go
    /// on. [`Burst`](crate::old::burst::Burst) makes currents of the codes.
    ///
    /// # Errors
    /// The bus failed, or the burst does not end; the codes stay in the part until the next burst.
    fn fetch(&mut self, codes: &mut [i32]) -> Result<usize, Error<Self::BusError>>;

    /// How long a call can take at the most on a bus of `bus_hz`, its waits and all repeats after failures included, in microseconds.
    ///
    /// A call that came through and one that gave up both took no longer, as long as the bus keeps its clock; [`Effort::longest_us`](crate::old::exchange::Effort::longest_us) says
    /// what comes on top. Begin a ledger's next frame this much before [`next_read_by_us`](crate::old::ledger::Ledger::next_read_by_us).
    fn longest_us(&self, task: Task, bus_hz: u32) -> u64;

    /// What has to be kept across a restart of the firmware to [`attach`](Self::attach) afterwards.
    fn joint(&self) -> Joint;
}
