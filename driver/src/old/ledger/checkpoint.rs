//! A ledger as bytes, for memory that outlives a restart of the firmware.

pub(super) mod tape;

use core::fmt;

use tape::{Eye, Pen, Tape, visit_option};

use super::evaluate::Flowed;
use super::{
    Bounds, Break, Course, Gap, Keep, Ledger, Mode, Segment, Stamp, Tally, Totals, weighs,
};
use crate::crc::Crc16;
use crate::old::Channel;
use crate::old::board::Board;
use crate::old::part::{BusRange, Joint, Pace, SenseRange, Spec};
use crate::old::sampling::Ranges;

/// Second byte of every checkpoint, after a letter for what is kept: the version of what follows.
const VERSION: u8 = 2;
/// Letter, version, number of rails, part, board's serial number and revision, set-up serial of the part.
const HEAD: usize = 15;
/// Epoch, gap, shift of the clock, segment.
const COMMON: usize = 4 + 16 + 8 + (1 + 32 + 8 + 4 + 8 + 3);
/// Closed totals, open sums; what is kept besides comes on top.
const RAIL: usize = (2 * 16 + 8 + 2) + (3 * 12 + 16 + 5 + 3 + 2);
const CHECK: usize = 2;

/// Why a checkpoint cannot be written, or bytes are none that this ledger can go on from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum CheckpointError {
    /// The bytes given are not as many as a checkpoint has, [`Ledger::CHECKPOINT_LEN`]: nothing was written, or nothing read.
    Length {
        /// Needed.
        expected: usize,
        /// Given.
        got: usize,
    },
    /// No checkpoint, one of a ledger that keeps something else, or one of a version that this one does not know.
    Version(u8),
    /// The check value is wrong: torn, or worn out.
    Corrupt,
    /// Of a board with another number of rails.
    Rails(u8),
    /// Of another kind of part.
    Part,
    /// Of the board with this serial number.
    Board(u32),
    /// Of the same board, corrected another number of times: load it with the description that was in force, then call [`Ledger::set_board`].
    Revision(u32),
}

/// Length of a checkpoint of so many rails.
const fn length<K: Keep>(rails: usize) -> usize {
    HEAD.saturating_add(COMMON)
        .saturating_add(RAIL.saturating_add(K::LEN).saturating_mul(rails))
        .saturating_add(CHECK)
}

impl<'b, const N: usize> Ledger<'b, N> {
    /// Length of a checkpoint in bytes.
    pub const CHECKPOINT_LEN: usize = length::<Bounds>(N);

    /// The ledger that was saved as `bytes`, and what it takes to join the part.
    ///
    /// # Errors
    /// Whatever [`CheckpointError`] names; begin with a [`new`](Self::new) ledger then. A single wrong bit is always found, and so is any burst of up to 16.
    pub fn load(
        board: &'b Board<N>,
        spec: &'static Spec,
        bytes: &[u8],
    ) -> Result<(Self, Joint), CheckpointError> {
        Self::loaded(board, spec, bytes)
    }
}

impl<'b, const N: usize> Ledger<'b, N, ()> {
    /// Length of a checkpoint of totals alone in bytes.
    pub const TOTALS_LEN: usize = length::<()>(N);

    /// As [`load`](Ledger::load), of totals alone.
    ///
    /// # Errors
    /// As there; `Version` for a checkpoint with bounds, too.
    pub fn load_totals(
        board: &'b Board<N>,
        spec: &'static Spec,
        bytes: &[u8],
    ) -> Result<(Self, Joint), CheckpointError> {
        Self::loaded(board, spec, bytes)
    }
}

impl<'b, const N: usize, K: Keep> Ledger<'b, N, K> {
    /// Writes the whole account, and what it takes to join the part again, to the beginning of `into`; tells how many bytes that took.
    ///
    /// Save right after an [`update`](Self::update), with the [`joint`](crate::old::ShuntMonitor::joint) of that moment. After the restart:
    /// [`load`](Self::load), [`clock_restarted`](Self::clock_restarted) if the clock did not run through,
    /// [`attach`](crate::old::ShuntMonitor::attach), and [`update`](Self::update) with its frame: the part counted on, and not a round is lost.
    ///
    /// ```
    /// # use crake::old::board::{Board, BoardError, Load, Rail, Shunt};
    /// # use crake::old::part::{Joint, corncrake};
    /// # use crake::old::units::{Current, Resistance, Tolerance};
    /// use crake::old::ledger::Ledger;
    ///
    /// # let shunt = Shunt::new(Resistance::from_milliohms(10), Tolerance::from_ppm(5_000));
    /// # let board = Board::new(&corncrake::SPEC, [Rail::new(shunt, Load::smooth(Current::from_amps(2)))])?;
    /// # let joint = Joint { serial: 5 };
    /// let ledger = Ledger::new(&board, &corncrake::SPEC);
    /// let mut bytes = [0; Ledger::<1>::CHECKPOINT_LEN];
    /// let len = ledger.save(&joint, &mut bytes)?;
    /// let (again, same) = Ledger::load(&board, &corncrake::SPEC, &bytes[..len])?;
    /// assert_eq!((again.epoch(), same), (0, joint));
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    ///
    /// # Errors
    /// `Length` if `into` is too short; nothing was written.
    pub fn save(&self, joint: &Joint, into: &mut [u8]) -> Result<usize, CheckpointError> {
        let got = into.len();
        let expected = length::<K>(N);
        let into = into
            .get_mut(..expected)
            .ok_or(CheckpointError::Length { expected, got })?;
        let mut pen = Pen::new(into);
        let mut head = Head::new::<N, K>(self.board, self.spec, *joint);
        head.visit(&mut pen);
        let mut common = Common::of(self);
        common.visit(&mut pen);
        for (totals, tally) in self.closed.iter().zip(&self.tallies) {
            let (mut totals, mut tally) = (*totals, *tally);
            visit_totals(&mut totals, &mut pen);
            visit_tally(&mut tally, &mut pen);
        }
        if let Some((body, check)) = into.split_last_chunk_mut::<CHECK>() {
            *check = crc(body).to_be_bytes();
        }
        Ok(expected)
    }

    fn loaded(
        board: &'b Board<N>,
        spec: &'static Spec,
        bytes: &[u8],
    ) -> Result<(Self, Joint), CheckpointError> {
        let expected_head = Head::new::<N, K>(board, spec, Joint { serial: 0 });
        let mut eye = Eye::new(bytes);
        let mut head = Head::default();
        head.visit(&mut eye);
        if (head.letter, head.version) != (K::LETTER, VERSION) {
            return Err(CheckpointError::Version(head.version));
        }
        if head.rails != expected_head.rails {
            return Err(CheckpointError::Rails(head.rails));
        }
        let (expected, got) = (length::<K>(N), bytes.len());
        if got != expected {
            return Err(CheckpointError::Length { expected, got });
        }
        match bytes.split_last_chunk::<CHECK>() {
            Some((body, check)) if crc(body).to_be_bytes() == *check => {}
            _ => return Err(CheckpointError::Corrupt),
        }
        if head.part != expected_head.part {
            return Err(CheckpointError::Part);
        }
        if head.board != expected_head.board {
            return Err(CheckpointError::Board(head.board));
        }
        if head.revision != expected_head.revision {
            return Err(CheckpointError::Revision(head.revision));
        }
        let mut ledger = Self::empty(board, spec);
        let mut common = Common::of(&ledger);
        common.visit(&mut eye);
        ledger.epoch = common.epoch;
        ledger.gap = common.gap;
        ledger.shift_us = common.shift_us;
        ledger.segment = common.segment;
        ledger.run_as(ledger.segment.mode);
        let tallies = ledger.tallies.iter_mut().zip(board.rails());
        for (totals, (tally, rail)) in ledger.closed.iter_mut().zip(tallies) {
            visit_totals(totals, &mut eye);
            visit_tally(tally, &mut eye);
            tally.weighs = weighs(rail);
        }
        Ok((ledger, Joint { serial: head.joint }))
    }

    /// The host's clock began anew, as after most resets: it reads `now_us`, and `since` the last frame given to this ledger (since its
    /// [`Stamp::before_us`]) at least and at most so much time passed; `None` if nothing is known.
    ///
    /// With `since` the account goes on, and its bound grows by what is unknown: the difference times the greatest current, counted for the mean and for the ends.
    /// Without, an epoch that was open ends ([`Break::Clock`] is returned), and the gap has no upper end.
    pub fn clock_restarted(&mut self, now_us: u64, since: Option<Gap>) -> Option<Break> {
        let was = self.segment.course;
        let (Course::Open | Course::Stopped, Some(since)) = (was, since) else {
            self.shift_us = 0;
            if was == Course::Empty {
                return None;
            }
            self.gap.greatest_us = u64::MAX;
            self.stop(Break::Clock);
            self.segment.course = Course::Empty;
            return (was == Course::Open).then_some(Break::Clock);
        };
        // Times go on from the old clock as if the greatest had passed; what was stored may then have been later by the difference.
        self.shift_us = self
            .segment
            .last
            .before_us
            .wrapping_add(since.greatest_us)
            .wrapping_sub(now_us);
        let doubt_us = since.greatest_us.saturating_sub(since.least_us);
        for stamp in [&mut self.segment.start, &mut self.segment.last] {
            stamp.after_us = stamp.after_us.saturating_add(doubt_us);
        }
        None
    }
}

/// What a checkpoint belongs to.
#[derive(Default)]
struct Head {
    letter: u8,
    version: u8,
    rails: u8,
    part: u16,
    board: u32,
    revision: u32,
    joint: u16,
}

impl Head {
    fn new<const N: usize, K: Keep>(board: &Board<N>, spec: &Spec, joint: Joint) -> Self {
        Self {
            letter: K::LETTER,
            version: VERSION,
            rails: u8::try_from(N).unwrap_or(u8::MAX),
            part: crc(spec.name.as_bytes()),
            board: board.serial(),
            revision: board.revision(),
            joint: joint.serial,
        }
    }

    fn visit(&mut self, tape: &mut dyn Tape) {
        tape.u8(&mut self.letter);
        tape.u8(&mut self.version);
        tape.u8(&mut self.rails);
        tape.u16(&mut self.part);
        tape.u32(&mut self.board);
        tape.u32(&mut self.revision);
        tape.u16(&mut self.joint);
    }
}

/// What is common to all rails.
struct Common {
    epoch: u32,
    gap: Gap,
    shift_us: u64,
    segment: Segment,
}

impl Common {
    fn of<const N: usize, K: Keep>(ledger: &Ledger<'_, N, K>) -> Self {
        Self {
            epoch: ledger.epoch,
            gap: ledger.gap,
            shift_us: ledger.shift_us,
            segment: ledger.segment,
        }
    }

    fn visit(&mut self, tape: &mut dyn Tape) {
        tape.u32(&mut self.epoch);
        tape.u64(&mut self.gap.least_us);
        tape.u64(&mut self.gap.greatest_us);
        tape.u64(&mut self.shift_us);
        let segment = &mut self.segment;
        let mut course = segment.course as u8;
        tape.u8(&mut course);
        segment.course = match course {
            1 => Course::Stopped,
            2 => Course::Open,
            _ => Course::Empty,
        };
        visit_stamp(&mut segment.start, tape);
        visit_stamp(&mut segment.last, tape);
        tape.u64(&mut segment.rounds);
        tape.u32(&mut segment.last_rounds);
        tape.u64(&mut segment.unread);
        let mut mode = mode_bytes(segment.mode);
        tape.bytes(&mut mode);
        segment.mode = mode_from(mode);
    }
}

fn visit_stamp(stamp: &mut Stamp, tape: &mut dyn Tape) {
    tape.u64(&mut stamp.before_us);
    tape.u64(&mut stamp.after_us);
}

impl Flowed {
    pub(super) fn visit(&mut self, tape: &mut dyn Tape) {
        tape.i128(&mut self.charge);
        tape.i128(&mut self.energy);
    }
}

fn visit_totals<K: Keep>(totals: &mut Totals<K>, tape: &mut dyn Tape) {
    totals.by_host.visit(tape);
    tape.u64(&mut totals.twice_us);
    tape.flag(&mut totals.sense_clipped);
    tape.flag(&mut totals.bus_clipped);
    totals.kept.visit(tape);
}

fn visit_tally(tally: &mut Tally, tape: &mut dyn Tape) {
    for sum in [&mut tally.charge, &mut tally.energy, &mut tally.twice_bus] {
        for word in &mut sum.words {
            tape.u32(word);
        }
    }
    tape.i64(&mut tally.from.charge);
    tape.i64(&mut tally.from.energy);
    tape.u32(&mut tally.bus);
    tape.flag(&mut tally.bus_known);
    let mut ranges = tally.ranges.map(|ranges| (ranges.sense.0, ranges.bus.0));
    visit_option(&mut ranges, tape, |(sense, bus), tape| {
        tape.u8(sense);
        tape.u8(bus);
    });
    tally.ranges = ranges.map(|(sense, bus)| Ranges {
        sense: SenseRange(sense),
        bus: BusRange(bus),
    });
    tape.flag(&mut tally.sense_clipped);
    tape.flag(&mut tally.bus_clipped);
}

/// Kind of mode, its pace or channel, and a spare byte.
fn mode_bytes(mode: Option<Mode>) -> [u8; 3] {
    match mode {
        None => [0, 0, 0],
        Some(Mode::Idle) => [1, 0, 0],
        Some(Mode::Paced(Pace(pace))) => [2, pace, 0],
        Some(Mode::SingleShot) => [3, 0, 0],
        Some(Mode::Burst(channel)) => [4, channel.number(), 0],
    }
}

fn mode_from([kind, number, _]: [u8; 3]) -> Option<Mode> {
    match kind {
        1 => Some(Mode::Idle),
        2 => Some(Mode::Paced(Pace(number))),
        3 => Some(Mode::SingleShot),
        4 => Some(Mode::Burst(Channel::new(number))),
        _ => None,
    }
}

fn crc(bytes: &[u8]) -> u16 {
    let mut crc = Crc16::new();
    crc.add_all(bytes);
    crc.value()
}

impl fmt::Display for CheckpointError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Length { expected, got } => {
                write!(f, "a checkpoint takes {expected} bytes, not {got}")
            }
            Self::Version(version) => {
                write!(f, "no checkpoint, or one of the unknown version {version}")
            }
            Self::Corrupt => f.write_str("the checkpoint's check value is wrong"),
            Self::Rails(rails) => write!(f, "the checkpoint is of a board with {rails} rails"),
            Self::Part => f.write_str("the checkpoint is of another kind of part"),
            Self::Board(serial) => {
                write!(
                    f,
                    "the checkpoint is of the board with serial number {serial}"
                )
            }
            Self::Revision(revision) => {
                write!(f, "the checkpoint is of revision {revision} of this board")
            }
        }
    }
}

impl core::error::Error for CheckpointError {}

#[cfg(test)]
mod tests;
