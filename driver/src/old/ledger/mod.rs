//! Exact running totals of energy, charge and time per rail, for as long as it runs.
//!
//! Give every frame to [`Ledger::update`]; ask for an [`Account`] whenever wanted. The ledger keeps the part's running sums
//! as whole numbers, unwrapped across rollovers, and converts once, when asked.
//!
//! Two clocks: the part's oscillator may be off by percents, the host's crystal by parts per million. So a total is the mean per round (the
//! oscillator cancels out) times the time by the *host's* clock. [`Account::energy_by_part_clock`] shows the other view.
//!
//! A **segment** is a stretch under one set-up with no count lost. An **epoch** ends where counts were lost or may have been: a reset, no supply, a read so late
//! that a rollover could hide, a stranger's write. What was accounted for stays; the time in between is told as [`Gap`].
//!
//! ```
//! use crake::old::ledger::{Entry, Ledger};
//! use crake::old::{Channel, Error, ShuntMonitor};
//!
//! /// Called whenever the firmware wakes: latches, accounts, and tells when to wake at the latest.
//! fn account<M: ShuntMonitor<2>>(
//!     monitor: &mut M,
//!     ledger: &mut Ledger<'_, 2>,
//! ) -> Result<Option<u64>, Error<M::BusError>> {
//!     if let Entry::Broken { reason, .. } = ledger.update(&monitor.latch()?) {
//!         println!("epoch {}: {reason:?}; not accounted for: {:?}", ledger.epoch(), ledger.gap());
//!     }
//!     if let Some(battery) = ledger.account(Channel::C0) {
//!         println!("{} ± {}", battery.charge, battery.charge_bound.total());
//!     }
//!     Ok(ledger.next_read_by_us())
//! }
//! ```

mod account;
mod checkpoint;
mod entry;
mod evaluate;
mod keep;
mod limits;
mod pace;
mod segment;

pub use crate::old::bound::Bound;
pub use account::{Account, Total};
pub use checkpoint::CheckpointError;
pub use entry::{Break, Entry, Gap};
pub use keep::{Bounds, Keep};

use evaluate::{PLACES, Stretch, Totals};
use pace::{less, more, scaled};
pub(crate) use segment::wrapped_count;
use segment::{Course, Segment};

use crate::old::Channel;
use crate::old::board::{Board, Flow, Rail, Zero};
use crate::old::frame::{Condition, Frame, Side, Stamp};
use crate::old::part::{Spec, Tally};
use crate::old::sampling::Mode;
use crate::units::{Charge, Energy};

/// Running totals of `N` rails, and what is [kept](Keep) with them: bounds, unless it says otherwise.
#[derive(Clone, Copy, Debug)]
pub struct Ledger<'b, const N: usize, K = Bounds> {
    board: &'b Board<N>,
    spec: &'static Spec,
    closed: [Totals<K>; N],
    tallies: [Tally; N],
    segment: Segment,
    gap: Gap,
    epoch: u32,
    /// What is added (modulo 2^64) to the host's clock, which may have begun anew since.
    shift_us: u64,
}

impl<'b, const N: usize> Ledger<'b, N> {
    /// An empty ledger for a board on a part of this kind.
    #[must_use]
    pub const fn new(board: &'b Board<N>, spec: &'static Spec) -> Self {
        Self::empty(board, spec)
    }

    /// Totals of a rail with all that is known of them, open segment included; `None` if there is no such rail.
    #[must_use]
    pub fn account(&self, channel: Channel) -> Option<Account> {
        let rail = self.board.rail(channel)?;
        let mut totals = *self.closed.get(channel.index())?;
        if let Some(stretch) = self.stretch() {
            totals.add(
                self.spec,
                rail,
                self.tallies.get(channel.index())?,
                &stretch,
            );
        }
        let total = total(&totals, rail.load().flow());
        let Bounds {
            by_part,
            charge,
            energy,
        } = &totals.kept;
        Some(Account {
            energy: total.energy,
            charge: total.charge,
            energy_by_part_clock: Energy::from_nanojoules(rounded(by_part.energy)),
            charge_by_part_clock: Charge::from_nanocoulombs(rounded(by_part.charge)),
            energy_bound: energy.of(Energy::from_nanojoules),
            charge_bound: charge.of(Charge::from_nanocoulombs),
            charge_side: total.charge_side,
            energy_side: total.energy_side,
            duration_us: total.duration_us,
        })
    }
}

impl<'b, const N: usize> Ledger<'b, N, ()> {
    /// An empty ledger of totals alone, without bounds and without the view by the part's own clock: for firmware that is short of memory, on a board whose limits somebody else minds.
    #[must_use]
    pub const fn of_totals(board: &'b Board<N>, spec: &'static Spec) -> Self {
        Self::empty(board, spec)
    }
}

impl<'b, const N: usize, K: Keep> Ledger<'b, N, K> {
    const fn empty(board: &'b Board<N>, spec: &'static Spec) -> Self {
        Self {
            board,
            spec,
            closed: [Totals::EMPTY; N],
            tallies: [Tally::EMPTY; N],
            segment: Segment::EMPTY,
            gap: Gap {
                least_us: 0,
                greatest_us: 0,
            },
            epoch: 0,
            shift_us: 0,
        }
    }

    /// Takes a frame into account. Frames come in the order in which they were latched. One that was merely latched, and in which no channel went over range, may be left out: the next has its
    /// counts. What `init`, `configure`, `arm` and `attach` return must not be, nor the first frame after an error or without supply: the next one ends the epoch then.
    pub fn update(&mut self, frame: &Frame<'_>) -> Entry {
        match frame.condition() {
            Condition::Reset => self.stop(Break::Reset),
            Condition::Unpowered => self.stop(Break::Unpowered),
            Condition::Steady | Condition::Boundary => {
                if self.segment.course != Course::Open {
                    self.open(frame);
                    return Entry::Opened;
                }
                if let Err(reason) = self.advance(frame) {
                    self.stop(reason);
                    self.open(frame);
                    return Entry::Broken {
                        reason,
                        reopened: true,
                    };
                }
                if frame.condition() == Condition::Boundary {
                    self.close();
                    self.begin(frame);
                    return Entry::Turned;
                }
                Entry::Added
            }
        }
    }

    /// Converts by another description of the board from now on, after a calibration. What was counted so far is converted by the old one.
    ///
    /// Call it right after an [`update`](Self::update): what the part counts from that frame on goes by the new board.
    pub fn set_board(&mut self, board: &'b Board<N>) {
        if self.segment.course == Course::Open {
            self.close();
            for (tally, rail) in self.tallies.iter_mut().zip(board.rails()) {
                *tally = tally.again(weighs(rail));
            }
            self.segment.start = self.segment.last;
            (self.segment.rounds, self.segment.unread) = (0, 0);
        }
        self.board = board;
        self.segment.safe_us = self.safe_us(self.segment.mode);
    }

    /// Totals of a rail alone, open segment included; `None` if there is no such rail. In less time and on less stack than [`account`](Ledger::account).
    #[must_use]
    pub fn total(&self, channel: Channel) -> Option<Total> {
        let rail = self.board.rail(channel)?;
        let mut totals = *self.closed.get(channel.index())?;
        if let Some(stretch) = self.stretch() {
            totals.add_flowed(
                self.spec,
                rail,
                self.tallies.get(channel.index())?,
                &stretch,
            );
        }
        Some(total(&totals, rail.load().flow()))
    }

    /// The latest safe moment for the next frame, in microseconds on the host's clock: its [`Stamp::after_us`] must not lie beyond, or a rollover of the part's
    /// sums could not be told from none, whatever flows within full scale. Begin the latch earlier by as long as it may take on the bus, repeats included.
    ///
    /// `None` while nothing is open or nothing counts.
    #[must_use]
    pub fn next_read_by_us(&self) -> Option<u64> {
        if self.segment.course != Course::Open || self.segment.safe_us == u64::MAX {
            return None;
        }
        let by_us = self
            .segment
            .last
            .before_us
            .saturating_add(self.segment.safe_us);
        // Before a clock that began anew: the moment has passed.
        let by_us = by_us.wrapping_sub(self.shift_us);
        Some(if by_us > u64::MAX / 2 { 0 } else { by_us })
    }

    /// Time that is accounted for on no rail: between epochs, and closed segments in which the part counted nothing (idle, bursts, less than one round).
    ///
    /// From latch to latch, each within its [`Stamp`] or at most one round later.
    #[must_use]
    pub const fn gap(&self) -> Gap {
        self.gap
    }

    /// Number of times counts were lost or may have been.
    #[must_use]
    pub const fn epoch(&self) -> u32 {
        self.epoch
    }

    /// Adds the counts of a frame to the open segment.
    fn advance(&mut self, frame: &Frame<'_>) -> Result<(), Break> {
        let boundary = frame.condition() == Condition::Boundary;
        let turns = self.segment.turns.wrapping_add(u32::from(boundary));
        let elsewhere = frame.joined || frame.turns != turns;
        if !frame.unbroken() || elsewhere && !self.rejoined(frame) {
            return Err(Break::SetUpChanged);
        }
        if self.segment.mode != Some(frame.mode) {
            self.learn(frame)?;
        }
        let stamp = self.shifted(frame.stamp());
        let last = self.segment.last;
        let elapsed_us = stamp.after_us.saturating_sub(last.before_us);
        if elapsed_us > self.segment.safe_us {
            return Err(Break::TooLate);
        }
        let bits = self.spec.accumulators.rounds_bits;
        let rounds = wrapped_count(frame.rounds, self.segment.last_rounds, bits);
        let least_us = stamp.before_us.saturating_sub(last.after_us);
        self.plausible(rounds, least_us, elapsed_us)?;

        let complete = frame.complete.then_some(rounds);
        frame.codec.tally(frame.block, complete, &mut self.tallies);
        let segment = &mut self.segment;
        // Below 2^32 each: 64 bits hold more frames than there can be.
        segment.rounds = segment.rounds.wrapping_add(u64::from(rounds));
        if complete.is_none() {
            segment.unread = segment.unread.wrapping_add(u64::from(rounds));
        }
        segment.last_rounds = frame.rounds;
        segment.last = stamp;
        Ok(())
    }

    /// The first frame after a boundary tells what the new set-up is.
    #[inline(never)]
    fn learn(&mut self, frame: &Frame<'_>) -> Result<(), Break> {
        if self.segment.mode.is_some() {
            return Err(Break::SetUpChanged);
        }
        for (channel, tally) in Channel::first(u8::MAX).zip(&mut self.tallies) {
            tally.ranges = frame.ranges(channel);
        }
        self.run_as(Some(frame.mode));
        Ok(())
    }

    fn run_as(&mut self, mode: Option<Mode>) {
        self.segment.mode = mode;
        self.segment.period_us = mode
            .and_then(|mode| self.period_us(mode))
            .unwrap_or_default();
        self.segment.safe_us = self.safe_us(mode);
    }

    /// Whether a frame goes on where another monitor, or none, has left off: the chain of frames is another then, and its joint vouches for what was before.
    #[inline(never)]
    fn rejoined(&mut self, frame: &Frame<'_>) -> bool {
        self.segment.turns = frame.turns;
        let same = self.segment.mode.is_none()
            || Channel::first(u8::MAX)
                .zip(&self.tallies)
                .all(|(channel, tally)| tally.ranges == frame.ranges(channel));
        frame.joined && same
    }

    /// A frame's stamp on the ledger's own clock, which never begins anew.
    fn shifted(&self, stamp: Stamp) -> Stamp {
        Stamp {
            before_us: stamp.before_us.wrapping_add(self.shift_us),
            after_us: stamp.after_us.wrapping_add(self.shift_us),
        }
    }

    /// Begins an account with this frame, after whatever gap there was.
    #[inline(never)]
    fn open(&mut self, frame: &Frame<'_>) {
        if self.segment.course == Course::Stopped {
            self.add_gap(self.segment.last, self.shifted(frame.stamp()));
        }
        self.begin(frame);
    }

    #[inline(never)]
    fn begin(&mut self, frame: &Frame<'_>) {
        let boundary = frame.condition() == Condition::Boundary;
        let tallies = self.tallies.iter_mut().zip(self.board.rails());
        for (channel, (tally, rail)) in Channel::first(u8::MAX).zip(tallies) {
            let ranges = if boundary {
                None
            } else {
                frame.ranges(channel)
            };
            *tally = Tally::from(frame.counters(channel), ranges, weighs(rail));
        }
        let stamp = self.shifted(frame.stamp());
        self.segment = Segment {
            course: Course::Open,
            start: stamp,
            last: stamp,
            last_rounds: frame.rounds,
            turns: frame.turns,
            ..Segment::EMPTY
        };
        self.run_as(if boundary { None } else { Some(frame.mode) });
    }

    /// Ends the epoch.
    #[inline(never)]
    fn stop(&mut self, reason: Break) -> Entry {
        if self.segment.course != Course::Open {
            return Entry::Idle;
        }
        self.close();
        self.segment.course = Course::Stopped;
        self.epoch = self.epoch.saturating_add(1);
        Entry::Broken {
            reason,
            reopened: false,
        }
    }

    /// Adds the open segment to the closed totals; time in which nothing was counted goes to the gap.
    #[inline(never)]
    fn close(&mut self) {
        let Some(stretch) = self.stretch() else {
            self.add_gap(self.segment.start, self.segment.last);
            return;
        };
        let rails = self.tallies.iter().zip(self.board.rails());
        for (totals, (tally, rail)) in self.closed.iter_mut().zip(rails) {
            totals.add(self.spec, rail, tally, &stretch);
        }
    }

    #[inline(never)]
    fn add_gap(&mut self, from: Stamp, to: Stamp) {
        if from == to {
            return;
        }
        // A latch takes place at the end of the round in progress.
        let round_us = self.round_us();
        let least_us = to.before_us.saturating_sub(from.after_us);
        let least_us = least_us.saturating_sub(round_us);
        let greatest_us = to.after_us.saturating_sub(from.before_us);
        let greatest_us = greatest_us.saturating_add(round_us);
        // The host's clock may have gone fast or slow meanwhile.
        let clock_ppm = self.board.clock().as_ppm();
        let least_us = scaled(least_us, 1_000_000, more(clock_ppm));
        let greatest_us = scaled(greatest_us, 1_000_000, less(clock_ppm)).saturating_add(1);
        self.gap.least_us = self.gap.least_us.saturating_add(least_us);
        self.gap.greatest_us = self.gap.greatest_us.saturating_add(greatest_us);
    }

    /// The open segment as it is evaluated; `None` while there is none or nothing was counted in it.
    fn stretch(&self) -> Option<Stretch> {
        let segment = &self.segment;
        if segment.course != Course::Open || segment.period_us == 0 || segment.rounds == 0 {
            return None;
        }
        let twice = |stamp: Stamp| stamp.before_us.saturating_add(stamp.after_us);
        let brackets = segment
            .start
            .bracket_us()
            .saturating_add(segment.last.bracket_us());
        Some(Stretch {
            twice_us: twice(segment.last).saturating_sub(twice(segment.start)),
            rounds: segment.rounds,
            bus_rounds: segment.rounds.saturating_sub(segment.unread),
            period_us: segment.period_us,
            bracket_us: brackets.saturating_add(u64::from(self.spec.wake_us)),
            clock_ppm: self.board.clock().as_ppm(),
        })
    }
}

/// Whether a rail's readings of the bus are summed up: what its zero takes off goes by them.
fn weighs(rail: &Rail) -> bool {
    rail.correction().zero != Zero::NONE
}

fn total<K>(totals: &Totals<K>, flow: Flow) -> Total {
    let one_sided = |clipped| match (clipped, flow) {
        (false, _) => Side::Near,
        (true, Flow::Forward) => Side::AtLeast,
        (true, Flow::Both) => Side::Unknown,
    };
    Total {
        energy: Energy::from_nanojoules(rounded(totals.by_host.energy)),
        charge: Charge::from_nanocoulombs(rounded(totals.by_host.charge)),
        charge_side: one_sided(totals.sense_clipped),
        energy_side: one_sided(totals.sense_clipped || totals.bus_clipped),
        duration_us: totals.twice_us / 2,
    }
}

/// Fixed point to whole units, rounded to nearest.
const fn rounded(value: i128) -> i128 {
    value.saturating_add(1 << (PLACES - 1)) >> PLACES
}

#[cfg(feature = "defmt")]
impl<const N: usize, K: Keep> defmt::Format for Ledger<'_, N, K> {
    fn format(&self, f: defmt::Formatter<'_>) {
        defmt::write!(
            f,
            "Ledger {{ epoch: {=u32}, gap: {}, next read by: {} }}",
            self.epoch,
            self.gap,
            self.next_read_by_us()
        );
    }
}

#[cfg(test)]
mod tests;
