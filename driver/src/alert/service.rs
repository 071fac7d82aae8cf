//! What a queue does on the bus, once for both faces: the blocking one on [`AlertQueue`] itself,
//! the async one on [`Asynch`].

use super::AlertQueue;
use super::proof::{Proof, STEPS, can_prove, wait_us};
use crate::config::{AlertFlags, Config, Limits, Outputs};
use crate::monitor::{self, Error};

/// The async twins of a queue's operations on the bus, by the same names.
///
/// A dropped future is a failure at that point: what was noted stays noted.
#[derive(Debug)]
pub struct Asynch<'q, 'l, const Q: usize>(&'q mut AlertQueue<'l, Q>);

impl<'l, const Q: usize> AlertQueue<'l, Q> {
    /// The same operations for an async monitor.
    pub const fn asynch(&mut self) -> Asynch<'_, 'l, Q> {
        Asynch(self)
    }
}

/// Writes the operations for a face: its queue, its monitor, its delay, and what makes and awaits a
/// future there.
macro_rules! operations {
    ($Monitor:path, $Delay:path, $queue:ident => $its:expr, [$($make:tt)*], [$($wait:tt)*]) => {
        /// Puts limits in place of those before; see
        /// [`ShuntMonitor::set_limits`](crate::ShuntMonitor::set_limits).
        ///
        /// Flags that stood in the part become events: of the limits before at once, without a
        /// value; those of which it is not known which limits they came of with the next sample,
        /// limit unknown. A condition that lasts is told again by the new limits.
        ///
        /// # Errors
        /// A limit that cannot be is refused before a byte is sent, and those before stand. After a
        /// failure on the bus alerts are not armed: set limits again. What was noted is told then.
        pub $($make)* fn set_limits<const N: usize, M: $Monitor + ?Sized>(
            &mut self,
            monitor: &mut M,
            limits: &'l Limits<'l>,
        ) -> Result<(), Error<M::BusError>> {
            let $queue = self;
            let queue = $its;
            let before = queue.look;
            let seen = queue.begin_setting(monitor.is_armed(), monitor.info());
            let result = monitor.set_limits(limits, seen)$($wait)*;
            match &result {
                Ok(()) => queue.set(limits, before, (monitor.info(), monitor.undetectable())),
                Err(error) => queue.failed(before, error.fault()),
            }
            result
        }

        /// Changes the configuration as
        /// [`ShuntMonitor::configure`](crate::ShuntMonitor::configure), after a look at the flags:
        /// what stands in the part is noted first, so that no event goes with it. Limits have to be
        /// set again; what was noted is told by then at the latest.
        ///
        /// Bus: up to two transfers more than the change alone; none where alerts are not armed.
        ///
        /// # Errors
        /// After a failure of the look nothing has changed; otherwise those of the change.
        pub $($make)* fn configure<const N: usize, M: $Monitor + ?Sized>(
            &mut self,
            monitor: &mut M,
            config: &Config<N>,
        ) -> Result<(), Error<M::BusError>> {
            if monitor.is_armed() {
                self.read_alerts(monitor)$($wait)*?;
            }
            monitor.configure(config)$($wait)*
        }

        /// Looks at the flags, notes and clears them, takes a sample, makes events of what was
        /// noted, and settles what a condition that lasts, or is over, asks for. Lends the sample.
        ///
        /// Bus: two transfers for the look (one if it finds nothing), those of the sample, and if a
        /// condition began to last or ended up to seven more. Limits that the driver compares are
        /// compared with this sample.
        ///
        /// # Errors
        /// Those of its pieces. What was noted stays so, and the next service goes on with it.
        pub $($make)* fn service<'m, const N: usize, M: $Monitor + ?Sized>(
            &mut self,
            monitor: &'m mut M,
        ) -> Result<&'m M::Sample, Error<M::BusError>> {
            self.read_alerts(monitor)$($wait)*?;
            monitor.sample()$($wait)*?;
            let $queue = &mut *self;
            let queue = &mut *$its;
            monitor.compare(&mut queue.pending);
            queue.update(monitor.last_sample());
            self.settle(monitor)$($wait)*?;
            Ok(monitor.last_sample())
        }

        /// The first piece of a service that is split: looks at the flags once, notes and clears
        /// them, and gives those that it found. Then comes a sample, which is shown to
        /// [`update`](AlertQueue::update), and [`settle`](Self::settle); the bus is free between
        /// any two of them, and nothing is lost however long the next one takes to come.
        ///
        /// # Errors
        /// Nothing is lost by a failure of the bus. `NotArmed` until limits were set. A reset
        /// becomes an event, and leaves the monitor not configured.
        pub $($make)* fn read_alerts<const N: usize, M: $Monitor + ?Sized>(
            &mut self,
            monitor: &mut M,
        ) -> Result<AlertFlags, Error<M::BusError>> {
            self.look(monitor, false)$($wait)*
        }

        /// The last piece of a service that is split: clears what conditions had set until a sample
        /// showed them over, and masks or unmasks flags. Touches the bus only where there is
        /// something to do.
        ///
        /// # Errors
        /// What is left is done by the next call; [`next_in`](AlertQueue::next_in) is zero until
        /// then.
        pub $($make)* fn settle<const N: usize, M: $Monitor + ?Sized>(
            &mut self,
            monitor: &mut M,
        ) -> Result<(), Error<M::BusError>> {
            let $queue = &mut *self;
            if AlertQueue::has_over($its) {
                self.look(monitor, true)$($wait)*?;
            }
            let $queue = self;
            let queue = $its;
            if queue.masks_due {
                monitor.set_masks(&queue.masks())$($wait)*?;
                queue.masks_due = false;
            }
            Ok(())
        }

        /// Proves the way of both outputs to the host, for production and the field: lets the end
        /// of each scan reach one output, then the other, looks at the lines, and puts the masks
        /// back.
        ///
        /// `is_low` tells whether the host sees an output's line low right now. Limits stand all
        /// the while, and what they set is told afterwards; only no output tells of it during the
        /// test, which takes three scans and a half, and 20 transfers on a Corncrake. The part has
        /// to run at a scan rate.
        ///
        /// **Caution.** An output that is wired to hardware drives it, as an alert would.
        ///
        /// Prove the path before trusting it, and never let a monitor be the only protection:
        /// fuses, battery protection circuits and certified devices protect.
        ///
        /// # Errors
        /// The bus failed: the masks are put back by the next service.
        pub $($make)* fn proof_test<const N: usize, M: $Monitor + ?Sized, D: $Delay>(
            &mut self,
            monitor: &mut M,
            delay: &mut D,
            mut is_low: impl FnMut(Outputs) -> bool,
        ) -> Result<Proof, Error<M::BusError>> {
            if !can_prove(monitor.info()) {
                return Ok(Proof::NOT_TESTED);
            }
            let mut lows = [[false; 2]; 3];
            for (masks, lows) in STEPS.iter().zip(&mut lows) {
                let $queue = &mut *self;
                AlertQueue::disturb_masks($its);
                monitor.set_masks(masks)$($wait)*?;
                delay.delay_us(wait_us(monitor.last_sample()))$($wait)*;
                *lows = [is_low(Outputs::A), is_low(Outputs::B)];
            }
            self.settle(monitor)$($wait)*?;
            Ok(Proof::of(lows))
        }

        $($make)* fn look<const N: usize, M: $Monitor + ?Sized>(
            &mut self,
            monitor: &mut M,
            settling: bool,
        ) -> Result<AlertFlags, Error<M::BusError>> {
            let $queue = self;
            let queue = $its;
            let before = queue.look;
            let wanted = queue.begin_look(settling, monitor.info());
            let result = monitor.read_alerts(wanted, &mut queue.pending)$($wait)*;
            queue.looked(before, result.as_ref().err().map(Error::fault));
            result
        }
    };
}

impl<'l, const Q: usize> AlertQueue<'l, Q> {
    operations!(monitor::ShuntMonitor<N>, embedded_hal::delay::DelayNs, queue => queue, [], []);
}

impl<'l, const Q: usize> Asynch<'_, 'l, Q> {
    operations!(
        monitor::asynch::ShuntMonitor<N>, embedded_hal_async::delay::DelayNs,
        queue => &mut *queue.0, [async], [.await]
    );
}
