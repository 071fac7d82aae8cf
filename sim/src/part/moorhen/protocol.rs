//! Transfers byte by byte (section 2 of the datasheet).

use super::registers::IDENTITY_POINTER;

/// What the bus side of the part remembers.
#[derive(Debug)]
pub(super) struct Protocol {
    /// Kept across STOP.
    pub(super) pointer: u8,
    transfer: Transfer,
}

#[derive(Debug)]
enum Transfer {
    None,
    /// Bytes after the address byte, the pointer the first of them; of the rest the last two are
    /// kept.
    Write {
        count: usize,
        data: [u8; 2],
    },
    Read {
        bytes: [u8; 2],
        at: usize,
    },
}

impl Protocol {
    pub(super) fn after_reset() -> Self {
        Self {
            pointer: IDENTITY_POINTER,
            transfer: Transfer::None,
        }
    }

    /// The part's own address with the write bit came.
    pub(super) fn begin_write(&mut self) {
        self.transfer = Transfer::Write {
            count: 0,
            data: [0; 2],
        };
    }

    /// The part's own address with the read bit came; `word` is what the pointer selects at this
    /// moment.
    pub(super) fn begin_read(&mut self, word: u16) {
        self.transfer = Transfer::Read {
            bytes: word.to_le_bytes(),
            at: 0,
        };
    }

    /// A byte of a write; true acknowledges.
    pub(super) fn write(&mut self, byte: u8) -> bool {
        let Transfer::Write { count, data } = &mut self.transfer else {
            return false;
        };
        if *count == 0 {
            self.pointer = byte;
        } else {
            *data = [data[1], byte];
        }
        *count = count.saturating_add(1);
        true
    }

    /// The byte to send next; 0xFF where there is none.
    pub(super) fn offer(&self) -> u8 {
        match &self.transfer {
            Transfer::Read { bytes, at } => bytes[at % bytes.len()],
            Transfer::None | Transfer::Write { .. } => 0xFF,
        }
    }

    /// A byte of a read has gone.
    pub(super) fn sent(&mut self) {
        if let Transfer::Read { at, .. } = &mut self.transfer {
            *at = at.wrapping_add(1);
        }
    }

    pub(super) fn forget_transfer(&mut self) {
        self.transfer = Transfer::None;
    }

    /// START or STOP ends the transfer: pointer and word of the write that it completes.
    pub(super) fn end(&mut self) -> Option<(u8, u16)> {
        match core::mem::replace(&mut self.transfer, Transfer::None) {
            Transfer::Write { count, data } if count == 1 + data.len() => {
                Some((self.pointer, u16::from_le_bytes(data)))
            }
            _ => None,
        }
    }
}
