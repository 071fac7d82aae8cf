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
//! use crake::ledger::{Entry, Ledger};
//! use crake::{Channel, Error, ShuntMonitor};
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
mod pace;
mod segment;

pub use crate::bound::Bound;
pub use account::Account;
pub use checkpoint::CheckpointError;
pub use entry::{Break, Entry, Gap};

use evaluate::{PLACES, Stretch, Totals, evaluate};
use pace::{less, more, safe_rounds, scaled};
use segment::{Sums, Wrap};
pub(crate) use segment::{wrapped_count, wrapped_difference};

use crate::Channel;
use crate::board::Board;
use crate::frame::{Condition, Frame, Side, Stamp};
use crate::part::Spec;
use crate::sampling::Mode;
use crate::units::{Charge, Energy};

/// Running totals of `N` rails.
#[derive(Clone, Copy, Debug)]
pub struct Ledger<'b, const N: usize> {
    board: &'b Board<N>,
    spec: &'static Spec,
    closed: [Totals; N],
    sums: [Sums; N],
    segment: Option<Segment>,
    /// Where the account stopped last, while no segment is open.
    stopped: Option<Stamp>,
    gap: Gap,
    epoch: u32,
    /// What is added (modulo 2^64) to the host's clock, which may have begun anew since.
    shift_us: u64,
    /// Rounds that the part's sums can run at full scale before a wrap could hide; `None` where they say nothing.
    safe_rounds: Option<u64>,
}

/// What is common to all rails of the open segment.
#[derive(Clone, Copy, Debug, Default)]
struct Segment {
    start: Stamp,
    last: Stamp,
    /// Rounds since the start, and the part's count as last latched.
    rounds: u64,
    last_rounds: u32,
    /// What the part does in it; `None` until the first frame after a boundary tells.
    mode: Option<Mode>,
}

impl<'b, const N: usize> Ledger<'b, N> {
    /// An empty ledger for a board on a part of this kind.
    #[must_use]
    pub fn new(board: &'b Board<N>, spec: &'static Spec) -> Self {
        Self {
            board,
            spec,
            closed: [Totals::default(); N],
            sums: [Sums::default(); N],
            segment: None,
            stopped: None,
            gap: Gap::default(),
            epoch: 0,
            shift_us: 0,
            safe_rounds: safe_rounds(spec),
        }
    }

    /// Takes a frame into account. Frames come in the order in which they were latched. One that was merely latched may be left out: the next has its
    /// counts. What `init`, `configure` and `attach` return must not be, nor the first frame after an error or without supply.
    pub fn update(&mut self, frame: &Frame<'_>) -> Entry {
        match frame.condition() {
            Condition::Reset => self.stop(Break::Reset),
            Condition::Unpowered => self.stop(Break::Unpowered),
            Condition::Steady | Condition::Boundary => {
                let Some(segment) = self.segment else {
                    self.open(frame);
                    return Entry::Opened;
                };
                if let Err(reason) = self.advance(segment, frame) {
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
        if let Some(segment) = self.segment {
            self.close();
            for sums in &mut self.sums {
                *sums = Sums {
                    bus: sums.bus,
                    ..Sums::from(sums.last, sums.ranges)
                };
            }
            self.segment = Some(Segment {
                start: segment.last,
                rounds: 0,
                ..segment
            });
        }
        self.board = board;
    }

    /// Totals of a rail, open segment included; `None` if there is no such rail.
    #[must_use]
    pub fn account(&self, channel: Channel) -> Option<Account> {
        let mut totals = *self.closed.get(channel.index())?;
        let (rail, sums) = (self.board.rail(channel)?, self.sums.get(channel.index())?);
        if let Some(stretch) = self.segment.and_then(|segment| self.stretch(&segment)) {
            totals.add(&evaluate(self.spec, rail, sums, &stretch));
        }
        let one_sided = |clipped| match (clipped, rail.load().flow()) {
            (false, _) => Side::Near,
            (true, crate::board::Flow::Forward) => Side::AtLeast,
            (true, crate::board::Flow::Both) => Side::Unknown,
        };
        Some(Account {
            energy: Energy::from_nanojoules(rounded(totals.energy)),
            charge: Charge::from_nanocoulombs(rounded(totals.charge)),
            energy_by_part_clock: Energy::from_nanojoules(rounded(totals.energy_by_part)),
            charge_by_part_clock: Charge::from_nanocoulombs(rounded(totals.charge_by_part)),
            energy_bound: totals.energy_bound.of(Energy::from_nanojoules),
            charge_bound: totals.charge_bound.of(Charge::from_nanocoulombs),
            charge_side: one_sided(totals.sense_clipped),
            energy_side: one_sided(totals.sense_clipped || totals.bus_clipped),
            duration_us: totals.twice_us / 2,
        })
    }

    /// The latest safe moment for the next frame, in microseconds on the host's clock: its [`Stamp::after_us`] must not lie beyond, or a rollover of the part's
    /// sums could not be told from none, whatever flows within full scale. Begin the latch earlier by as long as it may take on the bus, repeats included.
    ///
    /// `None` while nothing is open or nothing counts.
    #[must_use]
    pub fn next_read_by_us(&self) -> Option<u64> {
        let segment = self.segment?;
        let safe_us = self.safe_us(segment.mode)?;
        let by_us = segment.last.before_us.saturating_add(safe_us);
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
    fn advance(&mut self, mut segment: Segment, frame: &Frame<'_>) -> Result<(), Break> {
        let head = frame.head();
        if !frame.unbroken()
            || segment.mode.is_some_and(|mode| mode != head.mode)
            || !self.same_ranges(segment, frame)
        {
            return Err(Break::SetUpChanged);
        }
        let mode = head.mode;
        let stamp = self.shifted(frame.stamp());
        if self.is_too_late(mode, stamp.after_us.saturating_sub(segment.last.before_us)) {
            return Err(Break::TooLate);
        }
        let rounds = wrapped_count(
            head.rounds,
            segment.last_rounds,
            self.spec.accumulators.rounds_bits,
        );
        self.plausible(mode, rounds, segment.last, stamp)?;

        let (charge, energy) = (
            Wrap::of(self.spec.accumulators.charge_bits),
            Wrap::of(self.spec.accumulators.energy_bits),
        );
        for (channel, sums) in Channel::first(u8::MAX).zip(&mut self.sums) {
            // Later in the segment they are the same.
            if segment.mode.is_none() {
                sums.ranges = frame.ranges(channel);
            }
            sums.advance(frame.counters(channel), charge, energy);
            let codes = frame.codes(channel);
            sums.sense_clipped |= codes.sense_clipped;
            sums.bus_clipped |= codes.bus_clipped;
            let lsb = sums
                .ranges
                .and_then(|ranges| self.spec.bus_range(ranges.bus))
                .map(|bus| bus.lsb_units);
            if let (true, Some(lsb)) = (head.complete, lsb) {
                sums.note_bus(codes.bus.saturating_mul(lsb), rounds);
            }
        }
        segment.mode = Some(mode);
        segment.rounds = segment.rounds.saturating_add(u64::from(rounds));
        segment.last_rounds = head.rounds;
        segment.last = stamp;
        self.segment = Some(segment);
        Ok(())
    }

    fn same_ranges(&self, segment: Segment, frame: &Frame<'_>) -> bool {
        segment.mode.is_none()
            || Channel::first(u8::MAX)
                .zip(&self.sums)
                .all(|(channel, sums)| sums.ranges == frame.ranges(channel))
    }

    /// A frame's stamp on the ledger's own clock, which never begins anew.
    fn shifted(&self, stamp: Stamp) -> Stamp {
        Stamp {
            before_us: stamp.before_us.wrapping_add(self.shift_us),
            after_us: stamp.after_us.wrapping_add(self.shift_us),
        }
    }

    /// Begins an account with this frame, after whatever gap there was.
    fn open(&mut self, frame: &Frame<'_>) {
        if let Some(stopped) = self.stopped.take() {
            self.add_gap(stopped, self.shifted(frame.stamp()));
        }
        self.begin(frame);
    }

    fn begin(&mut self, frame: &Frame<'_>) {
        let boundary = frame.condition() == Condition::Boundary;
        let head = frame.head();
        for (channel, sums) in Channel::first(u8::MAX).zip(&mut self.sums) {
            let ranges = if boundary {
                None
            } else {
                frame.ranges(channel)
            };
            *sums = Sums::from(frame.counters(channel), ranges);
        }
        self.segment = Some(Segment {
            start: self.shifted(frame.stamp()),
            last: self.shifted(frame.stamp()),
            rounds: 0,
            last_rounds: head.rounds,
            mode: if boundary { None } else { Some(head.mode) },
        });
    }

    /// Ends the epoch.
    fn stop(&mut self, reason: Break) -> Entry {
        let Some(segment) = self.segment else {
            return Entry::Idle;
        };
        self.close();
        self.segment = None;
        self.stopped = Some(segment.last);
        self.epoch = self.epoch.saturating_add(1);
        Entry::Broken {
            reason,
            reopened: false,
        }
    }

    /// Adds the open segment to the closed totals; time in which nothing was counted goes to the gap.
    fn close(&mut self) {
        let Some(segment) = self.segment else { return };
        match self.stretch(&segment) {
            Some(stretch) => {
                for ((totals, sums), rail) in self
                    .closed
                    .iter_mut()
                    .zip(&self.sums)
                    .zip(self.board.rails())
                {
                    totals.add(&evaluate(self.spec, rail, sums, &stretch));
                }
            }
            None => self.add_gap(segment.start, segment.last),
        }
    }

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

    /// The open segment as it is evaluated; `None` while nothing was counted in it.
    fn stretch(&self, segment: &Segment) -> Option<Stretch> {
        let period_us = self.period_us(segment.mode?)?;
        let twice = |stamp: Stamp| stamp.before_us.saturating_add(stamp.after_us);
        let twice_us = twice(segment.last).saturating_sub(twice(segment.start));
        if segment.rounds == 0 {
            return None;
        }
        let brackets = segment
            .start
            .bracket_us()
            .saturating_add(segment.last.bracket_us());
        Some(Stretch {
            twice_us,
            rounds: segment.rounds,
            period_us,
            bracket_us: brackets.saturating_add(u64::from(self.spec.wake_us)),
            clock_ppm: self.board.clock().as_ppm(),
        })
    }
}

/// Fixed point to whole units, rounded to nearest.
const fn rounded(value: i128) -> i128 {
    value.saturating_add(1 << (PLACES - 1)) >> PLACES
}

#[cfg(feature = "defmt")]
impl<const N: usize> defmt::Format for Ledger<'_, N> {
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
