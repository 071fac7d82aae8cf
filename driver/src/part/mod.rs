//! The contract of a register map, and one folder per part.
//!
//! A part is plain straight-line code: a few `async fn`s over a [`Link`], and pure decoding of the
//! block that a sample left. It knows no clock, no sense resistor and no totals.

mod comparator;
pub mod corncrake;
pub mod moorhen;
pub mod pmbus;
mod sums;

pub use comparator::{Compare, NoComparator, SoftwareComparator};
pub use sums::{AddUp, NoSums, SoftwareSums};

use core::fmt;
use core::future::Future;

use crate::Channel;
use crate::board::LimitPlan;
use crate::bus::{Done, Fault, Link, Port, Wire};
use crate::config::{AlertFlags, Config, ConfigError, Scan};
use crate::info::{PartInfo, Supply, Undetectable};

/// Results of one channel, in codes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Codes {
    /// Sense code, signed.
    pub sense: i32,
    /// Rail code.
    pub rail: u32,
    /// Power code, signed: mean of sense code times rail code.
    pub power: i64,
    /// A sense conversion went over range since the block before.
    pub sense_clipped: bool,
    /// A rail conversion went over range since the block before.
    pub rail_clipped: bool,
}

/// Running sums of one channel as they stand in the part: modulo the widths in
/// [`SumBits`](crate::info::SumBits), sign-extended.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sums {
    /// Sum of sense codes.
    pub charge: i64,
    /// Sum of power codes.
    pub energy: i64,
}

/// What firmware keeps across its own restart, to go on with a part that ran meanwhile.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ResumeToken {
    /// The part's own count of accepted writes, as it was left.
    pub writes: u32,
    /// The monitor's number of the configuration, with [`KEPT`](Self::KEPT) set: totals tell by it
    /// whether they belong to what goes on.
    pub configuration: u32,
}

impl ResumeToken {
    /// Set in a number of a configuration that was kept: one that a monitor counts after its own
    /// start never has it.
    pub const KEPT: u32 = 1 << 31;
}

/// A part's registers as operations on them.
///
/// Dropping a future of it at any point leaves the part in some state; the monitor then takes
/// configuration or limits as unknown. None of these methods may rely on having come to its end
/// before.
pub trait Part: Wire {
    /// What the part can do.
    const INFO: &'static PartInfo;

    /// Current that a typical one draws; the greatest, where the datasheet says no more. It stands
    /// apart from the rest so that firmware that does not plan has none of it.
    const SUPPLY_TYPICAL: Supply = Self::INFO.supply;

    /// What a sample leaves behind: the bytes of a block, or values read one by one.
    type Block: fmt::Debug;

    /// What compares the limits that the part does not compare: a [`SoftwareComparator`] of its
    /// channels, or [`NoComparator`] on a part that compares them all.
    type Comparator: Compare;

    /// What keeps the sums that the part does not keep: [`SoftwareSums`] of its channels, or
    /// [`NoSums`] on a part that keeps both, or where nobody is to.
    type Sums: AddUp;

    /// A block that holds nothing.
    const EMPTY: Self::Block;

    /// The 7-bit address.
    fn address(&self) -> u8;

    /// What nobody can find out under the present configuration: a part without a note of its reset
    /// shows one by its configuration, unless that is what a reset leaves.
    fn undetectable(&self) -> Undetectable {
        Self::INFO.undetectable
    }

    /// What a configuration comes to on this part: the finest ranges of its tables that reach what
    /// is asked for. A part whose channels have ranges of their own finds these.
    ///
    /// # Errors
    /// The first thing that does not fit; `scan` then means nothing.
    fn resolve<const N: usize>(config: &Config<N>, scan: &mut Scan<N>) -> Result<(), ConfigError> {
        config.resolve(Self::INFO, scan)
    }

    /// Checks the identity, stops the part, writes the configuration, reads it back, starts.
    ///
    /// `fresh` clears the part's note of a reset, which a mere change of configuration leaves
    /// alone. Alert flags that stand stay; limits and outputs are off afterwards.
    ///
    /// # Errors
    /// The part may be left half configured.
    fn configure<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        scan: &Scan<N>,
        fresh: bool,
    ) -> impl Future<Output = Result<(), Fault>>;

    /// Compares identity, configuration and the count of accepted writes with what they should be.
    /// Nothing is written but a latch. On a part without such a count there is less to compare, and
    /// the monitor has totals begin a new epoch.
    ///
    /// # Errors
    /// [`Fault::Identity`], [`Fault::Reset`], [`Fault::Changed`]; the part is as it was.
    fn resume<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        scan: &Scan<N>,
        writes: u32,
    ) -> impl Future<Output = Result<(), Fault>>;

    /// Its count of accepted writes as of the last operation that came through: what
    /// [`resume`](Self::resume) needs. 0 on a part without one.
    fn writes(&self) -> u32 {
        0
    }

    /// Whether results are read as they stand, with nothing that latches them. The host's clock is
    /// read before and after [`read_block`](Self::read_block) then, instead of around the latch.
    const FREE_RUNNING: bool = false;

    /// Asks for a latch, or triggers a conversion. The host's clock is read right before and after.
    ///
    /// # Errors
    /// The bus failed; it may have arrived all the same.
    fn latch<B: Port>(&mut self, link: &mut Link<B>) -> impl Future<Output = Result<(), Fault>>;

    /// The longest time from the end of [`latch`](Self::latch) to the moment that is latched, in
    /// µs, under the present configuration.
    fn latch_us_max(&self) -> u32;

    /// How long before [`latch`](Self::latch) the oldest of what is read may have been converted,
    /// in µs, under the present configuration: on a part that converts by itself and latches
    /// nothing, a conversion and a mean.
    fn age_us_max(&self) -> u32 {
        0
    }

    /// Waits until the latch is done, reads the block and finds out whether it is the one asked
    /// for.
    ///
    /// # Errors
    /// [`Fault::Stale`] or [`Fault::BlockCheck`]: nothing is lost, the next sample has it.
    /// [`Fault::Reset`] or [`Fault::Changed`]: the configuration is gone.
    fn read_block<B: Port>(
        &mut self,
        link: &mut Link<B>,
        wait_us: u32,
        block: &mut Self::Block,
    ) -> impl Future<Output = Result<(), Fault>>;

    /// Failed samples in a row after which an old block could pass for a new one.
    const FAILURES_MAX: u8;

    /// Whether at least one mean was finished with this configuration.
    fn is_complete(_block: &Self::Block) -> bool {
        true
    }

    /// The running count of scans; 0 on a part without one.
    fn scans(_block: &Self::Block) -> u32 {
        0
    }

    /// Whether any enabled channel went over range since the block before.
    fn is_clipped(block: &Self::Block) -> bool;

    /// The results of a channel; zeros where it does not exist.
    fn codes(block: &Self::Block, channel: Channel) -> Codes;

    /// The running sums of a channel; zeros where there are none.
    fn sums(_block: &Self::Block, _channel: Channel) -> Sums {
        Sums::default()
    }

    /// The mean power code of a channel since the sample before, so many scans or ticks ago, where
    /// the part tells it and the driver keeps the sum: it is taken in place of the two samples'
    /// own.
    fn mean_power(_block: &Self::Block, _channel: Channel, _elapsed: u32) -> Option<i64> {
        None
    }

    /// Reads the alert flags, own ones included. On a part where reading clears them it is done
    /// once. A part without a note of its reset looks for one here, too, and adds
    /// [`AlertFlags::RESET_SEEN`].
    ///
    /// # Errors
    /// The bus failed, or a check byte was wrong.
    fn read_flags<B: Port>(
        &mut self,
        link: &mut Link<B>,
    ) -> impl Future<Output = Result<AlertFlags, Fault>>;

    /// Clears exactly these flags, written once: a repeat could clear one that was set in between.
    /// Nothing, where the part has none, or reading clears them.
    /// The note of a reset stays, which [`configure`](Self::configure) alone clears.
    ///
    /// # Errors
    /// The bus failed; they may be cleared all the same.
    fn clear_flags<B: Port>(
        &mut self,
        _link: &mut Link<B>,
        _flags: AlertFlags,
    ) -> impl Future<Output = Result<(), Fault>> {
        Done(Ok(()))
    }

    /// Takes away all limits that stand and every flag's way to an output. From then on no limit
    /// sets a flag; those that are set and latch stay. Debounce may be written as the plan has it.
    /// Nothing, where the part compares nothing.
    ///
    /// # Errors
    /// The bus failed: limits and masks may stand, or not.
    fn remove_limits<B: Port, const N: usize>(
        &mut self,
        _link: &mut Link<B>,
        _plan: &LimitPlan<'_, N>,
    ) -> impl Future<Output = Result<(), Fault>> {
        Done(Ok(()))
    }

    /// Writes the limits of a plan after [`remove_limits`](Self::remove_limits) of the same, reads
    /// them back, lets their flags reach the outputs, and looks for a reset last. The part runs
    /// meanwhile. Where it compares nothing, a look at the flags for a reset is all.
    ///
    /// # Errors
    /// [`Fault::Reset`] took all of it. The bus failed, or a register reads back otherwise: limits
    /// and masks may stand, or not.
    fn set_limits<B: Port, const N: usize>(
        &mut self,
        link: &mut Link<B>,
        _plan: &LimitPlan<'_, N>,
    ) -> impl Future<Output = Result<(), Fault>> {
        B::shared(move || async move {
            match self.read_flags(link).await {
                Ok(flags) if flags.contains(AlertFlags::RESET_SEEN) => Err(Fault::Reset),
                result => result.map(drop),
            }
        })
    }

    /// Lets these flags, and no others, reach output A and output B. Nothing, where there are none.
    ///
    /// # Errors
    /// The bus failed: either may be as before.
    fn set_masks<B: Port>(
        &mut self,
        _link: &mut Link<B>,
        _masks: &[AlertFlags; 2],
    ) -> impl Future<Output = Result<(), Fault>> {
        Done(Ok(()))
    }

    /// Stops the part and starts a fast capture of an enabled channel, in the range in force. Parts
    /// without one leave this out, and have 0 in [`PartInfo::capture_max`].
    ///
    /// # Errors
    /// [`Fault::Changed`]: somebody else wrote to the part, and nothing was sent. Otherwise the
    /// part may be stopped, or capturing.
    fn start_capture<B: Port>(
        &mut self,
        _link: &mut Link<B>,
        _channel: Channel,
    ) -> impl Future<Output = Result<(), Fault>> {
        Done(Err(Fault::NotSupported))
    }

    /// Waits for the end of the capture and reads as many sense codes as fit, from number `first`
    /// on, which there are. `block` may be used for bytes; what is in it is not needed any more.
    /// Fetching changes nothing, and can be repeated.
    ///
    /// # Errors
    /// [`Fault::Busy`]: it does not end. [`Fault::Reset`] or [`Fault::Changed`]: the codes are
    /// gone.
    fn fetch_capture<B: Port>(
        &mut self,
        _link: &mut Link<B>,
        _block: &mut Self::Block,
        _first: u16,
        _codes: &mut [i32],
    ) -> impl Future<Output = Result<(), Fault>> {
        Done(Err(Fault::NotSupported))
    }
}
