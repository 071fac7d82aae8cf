//! Charge and energy of each rail, for as long as it runs.
//!
//! Give every sample to [`Totals::update`]; ask for [`Totals::charge`] or [`Totals::energy`]
//! whenever wanted. The part's running sums are unwrapped across rollovers and kept as whole
//! numbers; they are converted when asked for, and when a stretch ends.
//!
//! Two clocks: the part's oscillator may be off by percents, the host's crystal by parts per
//! million. So a total is the mean per scan, in which the oscillator cancels out, times the time by
//! the *host's* clock. [`Totals::part_clock_us`] shows the other view.
//!
//! A **stretch** is time under one configuration and one correction in which no count was lost. It
//! ends with a **discontinuity**: what was counted stays, the time up to the next sample is a
//! [`Gap`], and the **epoch**, which counts discontinuities, goes up by one. A change of
//! configuration is one, too.
//!
//! ```
//! use crake::totals::{Totals, Update};
//! use crake::{Channel, Error, ShuntMonitor, TimedSample};
//!
//! /// Called whenever the firmware wakes: samples, adds up, and tells when to wake at the latest.
//! fn add_up<M>(
//!     monitor: &mut M,
//!     totals: &mut Totals<'_, 2>,
//! ) -> Result<Option<u64>, Error<M::BusError>>
//! where
//!     M: ShuntMonitor<2>,
//!     M::Sample: TimedSample<2>,
//! {
//!     if let Update::Discontinuity(kind) = totals.update(monitor.sample()?) {
//!         println!("epoch {}: {kind:?}; not counted: {:?}", totals.epoch(), totals.gap());
//!     }
//!     if let Some(battery) = totals.charge(Channel::C0) {
//!         println!("{}", battery.value);
//!     }
//!     Ok(totals.next_sample_by_us())
//! }
//! ```

mod bounds;
mod checkpoint;
mod common;
mod correct;
mod flow;
mod margins;
mod pace;
mod quantity;
mod report;
mod sums;
mod update;

pub use bounds::{Bounds, Keep, NoBounds};
pub use checkpoint::CheckpointError;
pub use margins::Margins;
pub use pace::longest_interval_us;
pub use report::{Discontinuity, Gap, Net, Total, Update};

use core::marker::PhantomData;

use crate::Channel;
use crate::board::Board;
use crate::convert::share;
use crate::info::Undetectable;
use crate::monitor::Saturation;
use crate::units::{Charge, Energy};
use bounds::{Sealed, Stretch};
use common::Common;
use pace::share_of;
use quantity::Quantity;
use sums::Sums;

/// Totals of `N` rails.
///
/// Empty totals are constant: they can live in a `static`.
#[derive(Clone, Copy, Debug)]
#[repr(C)] // what is used most in front, where short instructions reach it
pub struct Totals<'b, const N: usize, K = NoBounds<'b, N>> {
    common: Common,
    kept: K,
    lifetime: PhantomData<&'b ()>,
    rails: [Sums; N],
}

impl<'b, const N: usize> Totals<'b, N> {
    /// Nothing, on this board; totals will have no bounds.
    #[must_use]
    #[inline(always)] // as a call it copies, which links the copy routine
    pub const fn new(board: &'b Board<N>) -> Self {
        Self::empty(NoBounds { board })
    }

    /// Charge of a rail from source to load; `None` if there is no such rail. Resolution 1 nC.
    #[must_use]
    pub fn charge(&self, channel: Channel) -> Option<Net<Charge>> {
        let (value, saturation) = self.net(channel, Quantity::Charge);
        Some(Net {
            value: Charge::from_nanocoulombs(value),
            saturation: saturation?,
        })
    }

    /// Energy of a rail into the load; `None` if there is no such rail. Resolution 1 nJ.
    ///
    /// The sense resistor's own loss is not in it.
    #[must_use]
    pub fn energy(&self, channel: Channel) -> Option<Net<Energy>> {
        let (value, saturation) = self.net(channel, Quantity::Energy);
        Some(Net {
            value: Energy::from_nanojoules(value),
            saturation: saturation?,
        })
    }

    /// Converts by another description of the board from now on, as after a calibration: what comes
    /// after the last sample is counted by the new one. It is no discontinuity.
    pub fn set_board(&mut self, board: &'b Board<N>) {
        self.close();
        self.kept.board = board;
        self.begin_stretch();
    }
}

impl<'b, const N: usize> Totals<'b, N, Bounds<'b, N>> {
    /// Nothing, on the board of these margins; each total will have a bound.
    #[must_use]
    #[inline(always)]
    pub const fn with_bounds(margins: &'b Margins<'b, N>) -> Self {
        Self::empty(Bounds::new(margins))
    }

    /// Charge of a rail from source to load; `None` if there is no such rail. Resolution 1 nC.
    #[must_use]
    pub fn charge(&self, channel: Channel) -> Option<Total<Charge>> {
        Some(
            self.total(channel, Quantity::Charge)?
                .map(Charge::from_nanocoulombs),
        )
    }

    /// Energy of a rail into the load; `None` if there is no such rail. Resolution 1 nJ.
    ///
    /// The sense resistor's own loss is not in it.
    #[must_use]
    pub fn energy(&self, channel: Channel) -> Option<Total<Energy>> {
        Some(
            self.total(channel, Quantity::Energy)?
                .map(Energy::from_nanojoules),
        )
    }

    /// Converts by another description of the board from now on, as after a calibration: what comes
    /// after the last sample is counted by the new one, and has its bound. It is no discontinuity.
    pub fn set_margins(&mut self, margins: &'b Margins<'b, N>) {
        self.close();
        self.kept.set_margins(margins);
        self.begin_stretch();
    }

    #[inline(never)] // linked once
    fn total(&self, channel: Channel, quantity: Quantity) -> Option<Total<i128>> {
        let (value, saturation) = self.net(channel, quantity);
        let saturation = saturation?;
        let place = channel.index();
        let stretch = Stretch {
            common: &self.common,
            sums: &self.rails.get(place)?.open,
            factors: self.kept.board().factors(channel)?,
        };
        Some(Total {
            value,
            bound: self.kept.total(place, quantity, &stretch),
            saturation,
            covers_load: self.kept.covers_load(place),
        })
    }
}

impl<'b, const N: usize, K: Keep<'b, N>> Totals<'b, N, K> {
    #[inline(always)]
    const fn empty(kept: K) -> Self {
        Self {
            kept,
            lifetime: PhantomData,
            common: Common::NONE,
            rails: const { [Sums::NONE; N] },
        }
    }

    /// The time in which charge and energy were counted, in microseconds of the host's clock.
    ///
    /// A rail counts while its channel is enabled.
    #[must_use]
    pub const fn counted_us(&self) -> u64 {
        self.common.counted_twice_us() / 2
    }

    /// The same time by the part's own clock, in nominal microseconds: number of scans times
    /// nominal period.
    ///
    /// Over [`counted_us`](Self::counted_us) it is the ratio of the two clocks. A total times that
    /// ratio is the total by the part's own clock, as far off as the part's oscillator.
    #[must_use]
    pub const fn part_clock_us(&self) -> u64 {
        self.common.part_us
    }

    /// Time that was not counted, from the first sample to the last: between stretches, and while
    /// the part did not scan by itself.
    #[must_use]
    pub fn gap(&self) -> Gap {
        let Gap {
            least_us,
            greatest_us,
        } = self.common.gap;
        if greatest_us == u64::MAX {
            return self.common.gap;
        }
        // The clock may have gone fast or slow meanwhile: 1 ÷ (1 − e) is below 1 + e + e ÷ 8.
        let ppm = self.kept.board().clock().as_ppm();
        let doubt_us = share(greatest_us, share_of(ppm.saturating_add(ppm.div_ceil(8))));
        let doubt_us = doubt_us.saturating_add(u64::from(greatest_us != 0));
        Gap {
            least_us: least_us.saturating_sub(doubt_us),
            greatest_us: greatest_us.saturating_add(doubt_us),
        }
    }

    /// What nobody could find out on the part, or parts, that samples came from, as they were
    /// configured: where it is empty, each discontinuity there was is in [`epoch`](Self::epoch).
    #[must_use]
    pub const fn undetectable(&self) -> Undetectable {
        self.common.undetectable
    }

    /// Number of discontinuities.
    #[must_use]
    pub const fn epoch(&self) -> u32 {
        self.common.epoch
    }

    /// The latest safe moment for the next sample, in microseconds on the host's clock: its
    /// [`Timestamp::after_us`](crate::Timestamp) must not lie beyond, or a rollover of the part's
    /// sums could not be told from none, whatever flows within full scale. Begin the sample earlier
    /// by as long as it may take on the bus, repeats included. Where the driver keeps a sum, it is
    /// 71 minutes after the last one at the most: intervals count in 32 bits of microseconds.
    ///
    /// `None` while nothing counts.
    #[must_use]
    pub const fn next_sample_by_us(&self) -> Option<u64> {
        self.common.next_sample_by_us()
    }

    /// A total in whole units, the open stretch included, and what it says after clipping; `None`
    /// where there is no such rail.
    fn net(&self, channel: Channel, quantity: Quantity) -> (i128, Option<Saturation>) {
        let factors = self.kept.board().factors(channel);
        match self.rails.get(channel.index()).zip(factors) {
            Some((sums, factors)) => self.common.net(sums, factors, quantity),
            None => (0, None),
        }
    }
}
