//! Transfers byte by byte (docs/pmbus-device.md, B2).

use alloc::{collections::BTreeMap, vec::Vec};

use super::{
    command::{Command, disturbs},
    description::{Description, Pec},
    registers::{Registers, Support},
    status,
};
use crate::part::pec::pec;

/// What the bus side of the device remembers.
#[derive(Debug, Default)]
pub(super) struct Protocol {
    transfer: Transfer,
    /// Writing transfers to commands that disturb, by code. Survives resets: the bench counts, not
    /// the registers.
    pub(super) disturbances: BTreeMap<u8, u64>,
}

#[derive(Debug, Default)]
enum Transfer {
    #[default]
    None,
    Write(Write),
    /// A repeated START came after a command: a reading may follow.
    Half(Write),
    Read {
        bytes: Vec<u8>,
        at: usize,
    },
    Alert {
        bytes: Vec<u8>,
        at: usize,
    },
}

#[derive(Debug)]
struct Write {
    /// PEC over what came so far.
    crc: u8,
    code: Option<u8>,
    state: WriteState,
    data: Vec<u8>,
    /// A byte came after the command, whatever became of it.
    has_data: bool,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum WriteState {
    /// The command byte comes.
    Begun,
    Open(Command),
    /// The right PEC came.
    Checked(Command),
    /// A byte was not acknowledged: nor is any after it.
    Refused,
    /// An unsupported command: everything is acknowledged and nothing done.
    Taken,
}

impl Protocol {
    pub(super) fn reset(&mut self) {
        self.transfer = Transfer::None;
    }

    /// START: after a command it is a repeated one, and what was written so far is no write.
    pub(super) fn start(&mut self) {
        self.transfer = match core::mem::take(&mut self.transfer) {
            Transfer::Write(write) if write.code.is_some() => Transfer::Half(write),
            _ => Transfer::None,
        };
    }

    /// The device's own address with the write bit came.
    pub(super) fn begin_write(&mut self, address_byte: u8) {
        self.transfer = Transfer::Write(Write {
            crc: pec(0, &[address_byte]),
            code: None,
            state: WriteState::Begun,
            data: Vec::new(),
            has_data: false,
        });
    }

    /// The device's own address with the read bit came: values are taken now.
    pub(super) fn begin_read(
        &mut self,
        address_byte: u8,
        registers: &mut Registers,
        description: &Description,
    ) {
        let mut bytes = Vec::new();
        match core::mem::take(&mut self.transfer) {
            Transfer::Half(Write {
                crc,
                data,
                state: WriteState::Open(command),
                ..
            }) => {
                if let Some(read) = registers.read(command, &data, description) {
                    bytes = read;
                    if description.pec != Pec::None {
                        bytes.push(pec(pec(crc, &[address_byte]), &bytes));
                    }
                }
            }
            // A write that was complete with its PEC; the half of a process call has none.
            Transfer::Half(Write {
                state: WriteState::Checked(_),
                ..
            }) => registers.cml.set(status::INVALID_DATA),
            Transfer::Half(_) => {}
            _ => registers.cml.set(status::OTHER_COMMUNICATION),
        }
        self.transfer = Transfer::Read { bytes, at: 0 };
    }

    /// The alert response address came, and the device pulls: its address byte, and the PEC.
    pub(super) fn begin_alert_response(
        &mut self,
        alert_byte: u8,
        reply: u8,
        description: &Description,
    ) {
        let mut bytes = [reply, pec(0, &[alert_byte, reply])].to_vec();
        if description.pec == Pec::None {
            bytes.truncate(1);
        }
        self.transfer = Transfer::Alert { bytes, at: 0 };
    }

    /// A byte from the host; true acknowledges.
    pub(super) fn write(
        &mut self,
        byte: u8,
        registers: &mut Registers,
        description: &Description,
    ) -> bool {
        match &mut self.transfer {
            Transfer::Write(write) => write.take(byte, registers, description),
            _ => false,
        }
    }

    /// The byte to send next; 0xFF where there is none.
    pub(super) fn offer(&self) -> u8 {
        match &self.transfer {
            Transfer::Read { bytes, at } | Transfer::Alert { bytes, at } => {
                bytes.get(*at).copied().unwrap_or(0xFF)
            }
            _ => 0xFF,
        }
    }

    /// The byte that stood on the wire. True if it was the device's whole address in an alert
    /// response.
    pub(super) fn settle(&mut self, wire: u8) -> bool {
        let offered = self.offer();
        match &mut self.transfer {
            Transfer::Read { at, .. } => {
                *at = at.saturating_add(1);
                false
            }
            Transfer::Alert { at, .. } if wire == offered => {
                *at = at.saturating_add(1);
                *at == 1
            }
            _ => {
                self.transfer = Transfer::None;
                false
            }
        }
    }

    /// A START or STOP came inside a byte.
    pub(super) fn break_off(&mut self, registers: &mut Registers) {
        self.transfer = Transfer::None;
        registers.cml.set(status::OTHER_COMMUNICATION);
    }

    /// STOP: carries out the write that it ends, if there is one.
    pub(super) fn stop(&mut self, registers: &mut Registers, description: &Description) {
        let Transfer::Write(write) = core::mem::take(&mut self.transfer) else {
            return;
        };
        let Some(code) = write.code else {
            return;
        };
        let sends = matches!(Command::of(code), Some(Command::Send(_)));
        if disturbs(code) && (sends || write.has_data) {
            *self.disturbances.entry(code).or_default() += 1;
        }
        let (command, checked) = match write.state {
            WriteState::Open(command) => (command, false),
            WriteState::Checked(command) => (command, true),
            WriteState::Begun | WriteState::Refused | WriteState::Taken => return,
        };
        if !command.access().write || write.data.len() < command.written() {
            registers.cml.set(status::OTHER_COMMUNICATION);
        } else if description.pec == Pec::Required && !checked {
            registers.cml.set(status::PEC_FAILED);
        } else {
            registers.write(command, &write.data, description);
        }
    }
}

impl Write {
    fn take(&mut self, byte: u8, registers: &mut Registers, description: &Description) -> bool {
        if self.code.is_none() {
            return self.take_command(byte, registers, description);
        }
        self.has_data = true;
        let (command, refusal) = match self.state {
            WriteState::Taken => return true,
            WriteState::Begun | WriteState::Refused => return false,
            WriteState::Checked(_) => return self.refuse(status::OTHER_COMMUNICATION, registers),
            WriteState::Open(command) => (command, status::INVALID_DATA),
        };
        let access = command.access();
        if !access.write && !command.is_process_call() {
            return self.refuse(status::INVALID_COMMAND, registers);
        }
        let wanted = command.written();
        if self.data.len() < wanted || !access.write {
            self.crc = pec(self.crc, &[byte]);
            // A process call of any length is judged when it is read; what is too long for any is
            // not kept.
            if self.data.len() <= wanted {
                self.data.push(byte);
            }
            let complete = access.write && self.data.len() == wanted;
            return !complete
                || registers.allows(command, &self.data)
                || self.refuse(refusal, registers);
        }
        if description.pec == Pec::None {
            return self.refuse(status::OTHER_COMMUNICATION, registers);
        }
        if byte != self.crc {
            return self.refuse(status::PEC_FAILED, registers);
        }
        self.state = WriteState::Checked(command);
        true
    }

    fn take_command(
        &mut self,
        byte: u8,
        registers: &mut Registers,
        description: &Description,
    ) -> bool {
        self.code = Some(byte);
        self.crc = pec(self.crc, &[byte]);
        self.state = match registers.support(byte, description) {
            Support::Yes(command) => WriteState::Open(command),
            Support::Refused => WriteState::Refused,
            Support::Taken => WriteState::Taken,
        };
        if !matches!(self.state, WriteState::Open(_)) {
            registers.cml.set(status::INVALID_COMMAND);
        }
        self.state != WriteState::Refused
    }

    /// The byte is not acknowledged, for this reason.
    fn refuse(&mut self, why: u8, registers: &mut Registers) -> bool {
        registers.cml.set(why);
        self.state = WriteState::Refused;
        false
    }
}
