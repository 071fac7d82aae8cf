//! Transfers byte by byte (datasheet, section 2).

use super::{
    Core,
    check::check_byte,
    registers::{Access, Register, window_offset},
    sample::SAMPLE_LEN,
};

/// What the bus side of the part remembers.
#[derive(Debug)]
pub(super) struct Protocol {
    /// Kept across STOP.
    pointer: u8,
    transfer: Transfer,
    /// The sample window is being read: from the read address byte to STOP.
    pub(super) reads_window: bool,
}

impl Protocol {
    pub(super) fn after_reset() -> Self {
        Self {
            pointer: 0,
            transfer: Transfer::None,
            reads_window: false,
        }
    }

    /// The part's own address with the write bit came.
    pub(super) fn begin_write(&mut self, address_byte: u8) {
        self.transfer = Transfer::Write(Write {
            crc: check_byte(0, &[address_byte]),
            pointed: false,
            count: 0,
            value: 0,
            state: WriteState::Open,
        });
    }

    /// The part's own address with the read bit came: the value is sampled now.
    pub(super) fn begin_read(&mut self, address_byte: u8, core: &Core) {
        let mut read = Read {
            bytes: [0xFF; SAMPLE_LEN + 1],
            at: 0,
        };
        let length = if let Some(offset) = window_offset(self.pointer) {
            self.reads_window = true;
            let rest = &core.block.bytes()[offset..];
            read.bytes[..rest.len()].copy_from_slice(rest);
            Some(rest.len())
        } else {
            Register::at(self.pointer)
                .filter(|register| register.access() != Access::Write)
                .map(|register| {
                    let length = core.read_len(register);
                    core.read(register, &mut read.bytes[..length]);
                    length
                })
        };
        if let Some(length) = length {
            let crc = check_byte(0, &[address_byte & 0xFE, self.pointer, address_byte]);
            read.bytes[length] = check_byte(crc, &read.bytes[..length]);
        }
        self.transfer = Transfer::Read(read);
    }

    /// The alert response address came, and the part has something to say: its address byte and the
    /// check byte.
    pub(super) fn begin_alert_response(&mut self, alert_byte: u8, reply: u8) {
        self.transfer = Transfer::Alert {
            bytes: [reply, check_byte(0, &[alert_byte, reply])],
            at: 0,
        };
    }

    /// A byte of a write; true acknowledges.
    pub(super) fn write(&mut self, byte: u8, core: &Core) -> bool {
        let Transfer::Write(write) = &mut self.transfer else {
            return false;
        };
        if !write.pointed {
            write.pointed = true;
            write.crc = check_byte(write.crc, &[byte]);
            self.pointer = byte;
            return true;
        }
        let acknowledged = match writable(self.pointer) {
            Some(register) => write.take(byte, register, core),
            None => false,
        };
        if !acknowledged {
            write.state = WriteState::Refused;
        }
        acknowledged
    }

    /// The byte to send next; 0xFF where there is none.
    pub(super) fn offer(&self) -> u8 {
        match &self.transfer {
            Transfer::Read(read) => read.bytes.get(read.at).copied().unwrap_or(0xFF),
            Transfer::Alert { bytes, at } => bytes.get(*at).copied().unwrap_or(0xFF),
            Transfer::None | Transfer::Write(_) => 0xFF,
        }
    }

    /// The byte that stood on the wire. True if it was the part's whole address in an alert
    /// response.
    pub(super) fn settle(&mut self, wire: u8) -> bool {
        let offered = self.offer();
        match &mut self.transfer {
            Transfer::Read(read) => {
                read.at = read.at.saturating_add(1);
                false
            }
            Transfer::Alert { at, .. } if wire == offered => {
                *at += 1;
                *at == 1
            }
            _ => {
                self.transfer = Transfer::None;
                false
            }
        }
    }

    pub(super) fn forget_transfer(&mut self) {
        self.transfer = Transfer::None;
    }

    /// START or STOP ends the transfer: the write that it completes, if it is one to carry out.
    pub(super) fn end(&mut self, guard: bool) -> Option<(Register, u64)> {
        let Transfer::Write(write) = core::mem::replace(&mut self.transfer, Transfer::None) else {
            return None;
        };
        let register = writable(self.pointer)?;
        let accepted = match write.state {
            WriteState::Open => write.count == register.width() && !guard,
            WriteState::Checked => true,
            WriteState::Refused => false,
        };
        accepted.then_some((register, write.value))
    }
}

fn writable(pointer: u8) -> Option<Register> {
    Register::at(pointer).filter(|register| register.access() != Access::Read)
}

#[derive(Debug)]
enum Transfer {
    None,
    Write(Write),
    Read(Read),
    Alert { bytes: [u8; 2], at: usize },
}

#[derive(Debug)]
struct Write {
    /// Check byte of what came so far.
    crc: u8,
    pointed: bool,
    /// Data bytes.
    count: usize,
    value: u64,
    state: WriteState,
}

#[derive(Debug, PartialEq, Eq)]
enum WriteState {
    Open,
    /// The right check byte came.
    Checked,
    /// A byte was not acknowledged: nor is any after it.
    Refused,
}

impl Write {
    fn take(&mut self, byte: u8, register: Register, core: &Core) -> bool {
        if self.state != WriteState::Open {
            return false;
        }
        if self.count == register.width() {
            self.state = WriteState::Checked;
            return byte == self.crc;
        }
        self.count += 1;
        self.crc = check_byte(self.crc, &[byte]);
        self.value = self.value << 8 | u64::from(byte);
        self.count < register.width() || core.allows(register, self.value)
    }
}

#[derive(Debug)]
struct Read {
    /// Data and check byte; 0xFF from there on.
    bytes: [u8; SAMPLE_LEN + 1],
    at: usize,
}
