//! The sample block (datasheet, section 5) and the request for a latch (3.2).

use super::{CHANNELS, Core, check::block_crc};
use crate::part::fields::fields;

pub(super) const SAMPLE_LEN: usize = 111;

/// A latch that was asked for and is not yet done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Pending {
    pub(super) tag: u8,
    pub(super) seen: u8,
    /// It waits for no scan: there was none, or it has ended.
    pub(super) due: bool,
}

/// The block with its CRC.
#[derive(Debug)]
pub(super) struct Block([u8; SAMPLE_LEN]);

impl Block {
    /// All zeros but for the flag of the reset, RANGES and channels.
    pub(super) fn after_reset() -> Self {
        let mut block = Self([0; SAMPLE_LEN]);
        block.0[4..9].copy_from_slice(&[0x0F, 0x22, 0x22, 0x80, 0x00]);
        block.seal();
        block
    }

    pub(super) fn bytes(&self) -> &[u8; SAMPLE_LEN] {
        &self.0
    }

    pub(super) fn tag(&self) -> u8 {
        self.0[0]
    }

    fn over_range(&self) -> u8 {
        self.0[8]
    }

    fn seal(&mut self) {
        let crc = block_crc(&self.0[..SAMPLE_LEN - 2]);
        self.0[SAMPLE_LEN - 2..].copy_from_slice(&crc.to_be_bytes());
    }
}

impl Core {
    /// Whether a tag is that of the block in place or of the latch that is asked for: a LATCH with
    /// it is a repeat.
    pub(super) fn knows(&self, tag: u8) -> bool {
        self.block.tag() == tag || self.pending.is_some_and(|pending| pending.tag == tag)
    }

    /// Copies results, running sums and flags as they stand. `seen` is the tag of the last block
    /// that the host has.
    pub(super) fn copy_block(&mut self, tag: u8, seen: u8) {
        let carried = if seen == self.block.tag() {
            0
        } else {
            self.block.over_range()
        };
        let over_range = core::mem::take(&mut self.sums.over_range) | carried;
        let flags = fields(&[
            (self.alerts.reset_seen().into(), 1),
            (self.sums.complete.into(), 1),
            (over_range.into(), 14),
        ]) as u16;
        let (averaging, channels) = (self.configuration.averaging, self.configuration.channels());

        let mut writer = Writer {
            bytes: &mut self.block.0,
            at: 0,
        };
        writer.put(&[tag]);
        writer.put(&self.settings.writes.to_be_bytes());
        writer.put(&[
            self.mode,
            fields(&[(averaging.into(), 4), (channels.into(), 4)]) as u8,
        ]);
        writer.put(&self.configuration.ranges.to_be_bytes());
        writer.put(&flags.to_be_bytes());
        writer.put(&self.sums.scans.to_be_bytes());
        for channel in 0..CHANNELS {
            let results = self.sums.results[channel];
            writer.put(&bytes_of::<3>(i64::from(results.sense)));
            writer.put(&bytes_of::<2>(i64::from(results.rail)));
            writer.put(&bytes_of::<5>(results.power));
            writer.put(&bytes_of::<6>(self.sums.charge[channel]));
            writer.put(&bytes_of::<8>(self.sums.energy[channel]));
        }
        self.block.seal();
    }
}

/// The low W bytes of a value, most significant first.
pub(super) fn bytes_of<const W: usize>(value: i64) -> [u8; W] {
    let bytes = value.to_be_bytes();
    core::array::from_fn(|i| bytes[8 - W + i])
}

struct Writer<'a> {
    bytes: &'a mut [u8; SAMPLE_LEN],
    at: usize,
}

impl Writer<'_> {
    fn put(&mut self, field: &[u8]) {
        self.bytes[self.at..self.at + field.len()].copy_from_slice(field);
        self.at += field.len();
    }
}
