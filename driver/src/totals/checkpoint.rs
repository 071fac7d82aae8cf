//! Totals as bytes, across a restart of the firmware.

use core::fmt;

use super::bounds::Keep;
use super::common::{Common, Course};
use super::{Gap, Totals};
use crate::Channel;
use crate::board::Board;
use crate::crc::Crc16;
use crate::info::Undetectable;
use crate::part::ResumeToken;

/// First word: the letters "tot" and the version of the format.
const VERSION: u32 = 0x0474_6F74;
/// Words of every record, check value included, and of each rail without bounds.
const WORDS: usize = 27;
const RAIL_WORDS: usize = 18;

/// Why bytes are no checkpoint of these totals. They are as they were.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum CheckpointError {
    /// It has to be [`Totals::CHECKPOINT_LEN`] bytes.
    Length,
    /// Not the check value: torn, or overwritten.
    Corrupt,
    /// Another version of the format.
    Version,
    /// Of a board with another serial number, or one that converts otherwise.
    Board,
}

impl<'b, const N: usize, K: Keep<'b, N>> Totals<'b, N, K> {
    /// Bytes that [`save`](Self::save) writes.
    pub const CHECKPOINT_LEN: usize = 4 * (WORDS + N * RAIL_WORDS + K::WORDS);

    /// Writes everything into bytes, with a check value, together with what
    /// [`token`](crate::ShuntMonitor::token) says of the part.
    ///
    /// Save after the sample that was given to [`update`](Self::update), and once more after
    /// whatever changes the token. What goes over range between this and the restart is noticed
    /// after it, but for a sample that was taken meanwhile: it takes the part's note of it along.
    ///
    /// # Errors
    /// [`CheckpointError::Length`]; nothing is written.
    pub fn save(&mut self, token: ResumeToken, bytes: &mut [u8]) -> Result<(), CheckpointError> {
        if bytes.len() != Self::CHECKPOINT_LEN {
            return Err(CheckpointError::Length);
        }
        let mut left = &mut *bytes;
        let mut write = |word: &mut u32| {
            if let Some((to, rest)) = core::mem::take(&mut left).split_first_chunk_mut() {
                *to = word.to_le_bytes();
                left = rest;
            }
        };
        let [serial, digest] = of_board(self.kept.board());
        let header = [VERSION, serial, digest, token.writes, token.configuration];
        for mut word in header {
            write(&mut word);
        }
        let configuration = self.common.configuration;
        self.common.configuration |= ResumeToken::KEPT;
        self.words(&mut write);
        self.common.configuration = configuration;
        if let Some((all, check)) = bytes.split_last_chunk_mut() {
            *check = check_value(all).to_le_bytes();
        }
        Ok(())
    }

    /// Takes what was saved, and gives the token for [`resume`](crate::ShuntMonitor::resume).
    ///
    /// Where the monitor resumes with it, totals go on with the next sample: nothing is lost. Where
    /// it does not, and the part is initialised, the next sample is a discontinuity, and the time
    /// since the last sample a gap. If the host's clock began anew, call
    /// [`clock_restarted`](Self::clock_restarted) first.
    ///
    /// # Errors
    /// What is wrong with the bytes; the totals are as they were.
    pub fn load(&mut self, bytes: &[u8]) -> Result<ResumeToken, CheckpointError> {
        let Some((all, check)) = bytes.split_last_chunk() else {
            return Err(CheckpointError::Length);
        };
        if bytes.len() != Self::CHECKPOINT_LEN {
            return Err(CheckpointError::Length);
        }
        if check_value(all) != u32::from_le_bytes(*check) {
            return Err(CheckpointError::Corrupt);
        }
        let mut left = all;
        let mut read = |word: &mut u32| {
            if let Some((from, rest)) = left.split_first_chunk() {
                *word = u32::from_le_bytes(*from);
                left = rest;
            }
        };
        let mut header = [0; 5];
        header.iter_mut().for_each(&mut read);
        let [version, serial, digest, writes, configuration] = header;
        if version != VERSION {
            return Err(CheckpointError::Version);
        }
        if [serial, digest] != of_board(self.kept.board()) {
            return Err(CheckpointError::Board);
        }
        self.words(&mut read);
        // A monitor after its start has seen no sample with anything over range.
        self.common.clipped_samples = 0;
        Ok(ResumeToken {
            writes,
            configuration,
        })
    }

    /// Declares that the host's clock began anew, or jumped, since the last sample: it shows
    /// `now_us`.
    ///
    /// `since` is how long ago the last sample was, in microseconds, from something that went on,
    /// such as a real-time clock: no epoch ends, and the bounds take in how uncertain it is. With
    /// `None`, or a bracket of more than 71 minutes, the stretch ends with the last sample, and the
    /// gap is open-ended.
    pub fn clock_restarted(&mut self, now_us: u64, since: Option<Gap>) {
        if self.common.course == Course::Empty {
            return;
        }
        let width_us = since.map(|since| since.greatest_us.wrapping_sub(since.least_us));
        match (since, width_us.map(u32::try_from)) {
            (Some(since), Some(Ok(width_us))) => {
                self.close();
                self.common.last.before_us = now_us.wrapping_sub(since.greatest_us);
                self.common.last.width_us = width_us;
                self.begin_stretch();
            }
            _ => {
                self.unpowered();
                self.common.gap.greatest_us = u64::MAX;
                self.common.course = Course::Empty;
            }
        }
    }

    /// Every word of these totals, in the order of the record.
    #[inline(never)]
    fn words(&mut self, word: &mut dyn FnMut(&mut u32)) {
        self.common.words(word);
        self.rails.iter_mut().for_each(|sums| sums.words(word));
        self.kept.words(word);
    }
}

impl Common {
    #[inline(never)] // linked once
    fn words(&mut self, word: &mut dyn FnMut(&mut u32)) {
        let undetectable = self.undetectable.bits();
        let state = [
            self.course as u8,
            undetectable,
            self.agreement,
            self.weighed.into(),
        ];
        let mut state = u32::from_le_bytes(state);
        for number in [
            &mut state,
            &mut self.configuration,
            &mut self.pace.period_us,
            &mut self.pace.safe_256us,
            &mut self.last.width_us,
            &mut self.last.scans,
            &mut self.epoch,
        ] {
            word(number);
        }
        for number in [
            &mut self.last.before_us,
            &mut self.start_twice_us,
            &mut self.scans,
            &mut self.gap.least_us,
            &mut self.gap.greatest_us,
            &mut self.closed_twice_us,
            &mut self.part_us,
        ] {
            long(number, word);
        }
        let [course, undetectable, agreement, weighed] = state.to_le_bytes();
        self.course = match course {
            0 => Course::Empty,
            1 => Course::Stopped,
            _ => Course::Open,
        };
        self.undetectable = Undetectable::from_bits_truncate(undetectable);
        self.agreement = agreement;
        self.weighed = weighed != 0;
    }
}

/// A number of two words.
pub(super) fn long(number: &mut u64, word: &mut dyn FnMut(&mut u32)) {
    let (mut low, mut high) = (*number as u32, (*number >> 32) as u32);
    word(&mut low);
    word(&mut high);
    *number = u64::from(high) << 32 | u64::from(low);
}

/// What tells a board from another: serial number, and how it converts.
fn of_board<const N: usize>(board: &Board<N>) -> [u32; 2] {
    let mut crc = Crc16::new();
    for channel in Channel::first(N as u8) {
        if let Some(factors) = board.factors(channel) {
            crc.add_all(&factors.charge().0.to_le_bytes());
            crc.add_all(&factors.offset_256ths().to_le_bytes());
        }
    }
    [board.serial(), crc.value().into()]
}

/// Two bytes of check value, and as many that are its complement.
fn check_value(bytes: &[u8]) -> u32 {
    let mut crc = Crc16::new();
    crc.add_all(bytes);
    let value = u32::from(crc.value());
    value | (value ^ 0xFFFF) << 16
}

impl fmt::Display for CheckpointError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Length => "not as long as a checkpoint of these totals",
            Self::Corrupt => "the check value does not fit: torn or overwritten",
            Self::Version => "another version of the format",
            Self::Board => "of another board, or of one that converts otherwise",
        })
    }
}

impl core::error::Error for CheckpointError {}
