//! The contract that a register map fulfils. A new part is a new file here and nothing else.
//!
//! Two halves: [`Codec`] says what the latched bytes mean and what the part can do; [`Part`] says which bus steps each
//! operation takes. Neither knows a bus, a clock, a sense resistor or a ledger.

pub mod corncrake;
pub mod description;
pub mod make_up;
pub mod moorhen;
pub mod pmbus;
mod spec;
mod tally;

pub use spec::{
    Accumulators, AlertSpec, BusRange, Oscillator, Pace, PaceSpec, RangeSpec, SenseRange, Source,
    Spec, Supply,
};

pub use tally::Tally;
pub(crate) use tally::wrapped_difference;

use crate::old::Channel;
use crate::old::Task;
use crate::old::alert::{Causes, Plan};
use crate::old::exchange::{Effort, Fault, Step, Turn};
use crate::old::frame::Stamp;
use crate::old::sampling::{Mode, Ranges, Sampling};

/// What the latched bytes of a part mean.
///
/// Object-safe, so that one [`Frame`](crate::old::Frame) type serves every part. `block` is always the part's own
/// [`Part::Block`], as the last latch left it; bytes that are missing read as zero.
pub trait Codec {
    /// What the part can do.
    fn spec(&self) -> &'static Spec;

    /// What stands at the head of the block.
    fn head(&self, block: &[u8]) -> Head;

    /// The ranges with which a channel was converted; `None` where it was not enabled, or does not exist.
    fn ranges(&self, block: &[u8], channel: Channel) -> Option<Ranges>;

    /// The results of a channel in codes; zeros where it does not exist.
    fn codes(&self, block: &[u8], channel: Channel) -> Codes;

    /// The running sums of a channel; zeros where the part has none or the channel does not exist.
    fn counters(&self, block: &[u8], channel: Channel) -> Counters;

    /// Adds what a ledger takes from a block to the tallies of the first channels. `rounds` are those since the block before, if the codes of this one are complete.
    ///
    /// Provided, of the methods above: a ledger makes one call instead of several for each channel, and what a part's methods have constant is constant here.
    fn tally(&self, block: &[u8], rounds: Option<u32>, tallies: &mut [Tally]) {
        let widths = self.spec().accumulators;
        for (channel, tally) in Channel::first(u8::MAX).zip(tallies) {
            let (counters, codes) = (self.counters(block, channel), self.codes(block, channel));
            tally.add(widths, counters, codes, rounds);
        }
    }
}

/// What is common to all channels of a latched block.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Head {
    /// Set-up serial.
    pub serial: u16,
    /// What the part was doing.
    pub mode: Mode,
    /// k of means of 2^k rounds.
    pub averaging: u8,
    /// A reset was seen and not yet cleared: the set-up is gone.
    pub reset_seen: bool,
    /// At least one mean was finished with this set-up: the codes mean something.
    pub complete: bool,
    /// Running count of rounds.
    pub rounds: u32,
}

/// Results of one channel, in codes.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Codes {
    /// Sense code, signed.
    pub sense: i32,
    /// Bus code.
    pub bus: u32,
    /// Power code, signed: mean of sense code times bus code.
    pub power: i64,
    /// Sense went over range since the block before.
    pub sense_clipped: bool,
    /// Bus went over range since the block before.
    pub bus_clipped: bool,
}

/// Running sums of one channel, as they stand in the part: modulo the widths in [`Accumulators`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Counters {
    /// Sum of sense codes.
    pub charge: i64,
    /// Sum of power codes.
    pub energy: i64,
}

/// What has to be known to join a part that runs already: kept by the firmware across its own restart.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Joint {
    /// Set-up serial that the part had when it was last set up.
    pub serial: u16,
}

/// Which bus steps the operations of a part take.
///
/// Each operation is a small machine: called with its [`Turn`] until it answers [`Step::Done`], each time after the step before has
/// succeeded. See [`exchange`](crate::old::exchange) for what the player does around it.
pub trait Part: Codec {
    /// Where a latched block is kept, with one byte more for a check byte.
    type Block: AsRef<[u8]> + AsMut<[u8]> + core::fmt::Debug;

    /// A block that holds nothing.
    const EMPTY: Self::Block;

    /// Whether writes carry a check byte and reads are verified.
    const CHECKED: bool;

    /// Whether any operation [asks](Step::Ask), which costs code of its own.
    const ASKS: bool = false;

    /// Refuses what the part cannot do, before a byte is sent.
    ///
    /// # Errors
    /// [`Fault::Misuse`] with the first thing that does not fit.
    fn check(&self, sampling: &Sampling<'_>) -> Result<(), Fault>;

    /// Sets the part up from whatever state it is in: identity, reset, set-up, start. Ends with a latched block in place.
    ///
    /// # Errors
    /// What the part answered instead; it may be left half set up, and `init` starts over.
    fn init(
        &mut self,
        turn: &mut Turn<'_>,
        sampling: &Sampling<'_>,
        read_max: u8,
    ) -> Result<Step, Fault>;

    /// Joins a part that runs, without disturbing it: identity, set-up and serial are compared, nothing but a latch is asked for.
    /// Ends with a latched block in place.
    ///
    /// # Errors
    /// [`Fault::ResetSeen`], [`Fault::SetUpChanged`] or [`Fault::Identity`]; the part is as it was.
    fn attach(&mut self, turn: &mut Turn<'_>, joint: &Joint, read_max: u8) -> Result<Step, Fault>;

    /// Latches all channels and reads the block.
    ///
    /// # Errors
    /// [`Fault::Stale`] or [`Fault::BlockCheck`]; no count is lost, the next latch has it.
    fn latch(&mut self, turn: &mut Turn<'_>, read_max: u8) -> Result<Step, Fault>;

    /// Changes the set-up at the end of a round. Ends with the block of exactly that moment, still described by the old set-up.
    ///
    /// # Errors
    /// As for [`latch`](Self::latch); whether the new set-up is in force is told by the next block.
    fn configure(
        &mut self,
        turn: &mut Turn<'_>,
        sampling: &Sampling<'_>,
        read_max: u8,
    ) -> Result<Step, Fault>;

    /// Changes set-up and watches together, with nothing false in between: outputs masked, limits in force moved out of the way, causes that stand added to `found` and cleared, set-up taken
    /// over, debounce and hold written and read back, then the limits, outputs unmasked. Ends with the block of the moment at which the set-up took over, described by the old one.
    ///
    /// To `found` go causes of every limit, for they were set under limits that were in force, and of the part's own those that were asked for before.
    ///
    /// # Errors
    /// As for [`configure`](Self::configure); the outputs may be left masked, and `arm` starts over.
    fn arm(
        &mut self,
        turn: &mut Turn<'_>,
        sampling: &Sampling<'_>,
        plan: &Plan<'_>,
        found: &mut Causes,
        read_max: u8,
    ) -> Result<Step, Fault>;

    /// Reads the causes once, adds those of `interest` that are set to `found`, and clears exactly these. Nothing is added that is not cleared, but for a failure.
    ///
    /// `more` is false at first, and to be set if there were any: another may have come since they were read. A service looks again then, and latches when none is left.
    ///
    /// # Errors
    /// A wrong check byte; `found` holds whatever was seen.
    fn look(
        &mut self,
        turn: &mut Turn<'_>,
        interest: Causes,
        found: &mut Causes,
        more: &mut bool,
    ) -> Result<Step, Fault>;

    /// Causes of `interest` that the driver has judged in the frames so far, in the part's place; hands each over once. None for a part that compares everything itself. [`look`](Self::look) gives them, too.
    fn judged(&mut self, _interest: Causes) -> Causes {
        Causes::empty()
    }

    /// Waits until the burst in progress is over, at most as long as the longest takes, then reads its codes, oldest first, as many as fit into `codes`; their number goes to `count`.
    ///
    /// # Errors
    /// [`Fault::Stale`] if the burst does not end; the codes stay in the part.
    fn fetch(
        &mut self,
        turn: &mut Turn<'_>,
        codes: &mut [i32],
        count: &mut usize,
    ) -> Result<Step, Fault>;

    /// The most that a task can cost, whatever the part answers, with blocks read in pieces of at most `read_max` bytes.
    fn effort(task: Task, read_max: u8) -> Effort;

    /// The serial that the part has now, as far as known: for [`Joint`].
    fn joint(&self) -> Joint;

    /// An operation that gives a frame has come through, with this block and this stamp: called once for each, before the frame is made.
    ///
    /// For what the driver does in the part's place: running sums, limits. A part that has all of its own needs nothing here.
    ///
    /// Gives the stamp that the frame gets: the same, but for conversions that end after the moment at which they were asked for.
    fn settle(&mut self, _task: Task, _block: &mut [u8], stamp: Stamp) -> Stamp {
        stamp
    }
}
