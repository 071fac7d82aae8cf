//! What the commands do with the device as a whole; what they do with a page is in `page`.

use alloc::{vec, vec::Vec};

use super::{
    command::{Command, KEPT, Register, Send, USER_DATA_LEN},
    description::{Description, Page, Pec, Refusal},
    format::Format,
    page::{Coding, PageState, block, coding, page_has},
    status::{self, Status},
};
use crate::part::fields::fields;

/// What a reset clears, and what commands act on.
#[derive(Debug)]
pub(super) struct Registers {
    /// PAGE.
    pub(super) selected: u8,
    pub(super) write_protect: u8,
    pub(super) pages: Vec<PageState>,
    pub(super) cml: Status,
    user_data: [u8; USER_DATA_LEN],
}

/// Whether a command can be carried out now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Support {
    Yes(Command),
    /// Not acknowledged.
    Refused,
    /// Acknowledged, to no effect.
    Taken,
}

impl Registers {
    pub(super) fn after_reset(description: &Description) -> Self {
        Self {
            selected: 0,
            write_protect: 0,
            pages: description
                .pages
                .iter()
                .map(PageState::after_reset)
                .collect(),
            cml: Status::default(),
            user_data: [0; USER_DATA_LEN],
        }
    }

    pub(super) fn support(&self, code: u8, description: &Description) -> Support {
        let refusal = match description.pages.get(usize::from(self.selected)) {
            Some(page) => page.refusal,
            None => Refusal::Taken,
        };
        match Command::of(code).filter(|&command| self.has(command, description)) {
            Some(command) => Support::Yes(command),
            None if refusal == Refusal::Taken => Support::Taken,
            None => Support::Refused,
        }
    }

    /// Whether the page selected, or any of all, has the command.
    fn has(&self, command: Command, description: &Description) -> bool {
        self.addressed(command, description).next().is_some()
    }

    /// The selected pages that have the command; a common one is on every page.
    fn addressed<'a>(
        &self,
        command: Command,
        description: &'a Description,
    ) -> impl Iterator<Item = (usize, &'a Page)> + use<'a> {
        let selected = self.selected;
        let has_query = description.has_query || command != Command::Query;
        let has_user_data = description.has_user_data || command != Command::UserData;
        let pages = description.pages.iter().enumerate();
        pages.filter(move |(at, page)| {
            has_query
                && has_user_data
                && (selected == ALL || usize::from(selected) == *at)
                && page_has(page, command)
        })
    }

    /// Whether the last byte of what was written may be acknowledged.
    pub(super) fn allows(&self, command: Command, data: &[u8]) -> bool {
        match (command, data) {
            (Command::Page, &[page]) => page == ALL || usize::from(page) < self.pages.len(),
            (Command::WriteProtect, &[value]) => matches!(value, 0 | 0x20 | 0x40 | 0x80),
            (Command::UserData, &[count, ..]) => usize::from(count) == USER_DATA_LEN,
            _ => true,
        }
    }

    /// Carries out a write that is complete and allowed.
    pub(super) fn write(&mut self, command: Command, data: &[u8], description: &Description) {
        if self.is_protected(command) {
            return self.cml.set(status::INVALID_DATA);
        }
        let mut word = [0; 2];
        for (to, from) in word.iter_mut().zip(data) {
            *to = *from;
        }
        let [low, high] = word;
        match command {
            Command::Page => self.selected = low,
            Command::WriteProtect => self.write_protect = low,
            Command::AlertMask => self.write_mask(low, high, description),
            Command::Status(Register::Cml) => self.cml.clear(low),
            Command::UserData => {
                for (kept, new) in self.user_data.iter_mut().zip(data.iter().skip(1)) {
                    *kept = *new;
                }
            }
            Command::Send(Send::ClearFaults) => self.clear_faults(),
            Command::Send(Send::RestoreUserAll) => self.user_data = [0; USER_DATA_LEN],
            _ => {
                for (at, page) in self.addressed(command, description) {
                    self.pages[at].write(command, u16::from_le_bytes(word), page);
                }
            }
        }
    }

    /// What a reading gives, without PEC; None where there is nothing to read, and STATUS_CML says
    /// why.
    pub(super) fn read(
        &mut self,
        command: Command,
        data: &[u8],
        description: &Description,
    ) -> Option<Vec<u8>> {
        if !command.access().read {
            self.cml.set(status::INVALID_COMMAND);
            return None;
        }
        let bytes = if command.is_process_call() {
            self.called(command, data, description)
        } else if data.is_empty() {
            self.plainly_read(command, description)
        } else {
            None
        };
        if bytes.is_none() {
            self.cml.set(status::INVALID_DATA);
        }
        bytes
    }

    fn plainly_read(&self, command: Command, description: &Description) -> Option<Vec<u8>> {
        Some(match command {
            Command::Page => vec![self.selected],
            Command::WriteProtect => vec![self.write_protect],
            Command::Capability => vec![match description.pec {
                Pec::None => 0x30,
                Pec::Optional | Pec::Required => 0xB0,
            }],
            Command::Status(Register::Cml) => vec![self.cml.bits],
            Command::Revision => vec![0x22],
            Command::Identity(at) => block(description.identity.get(at)?.as_bytes()),
            Command::UserData => block(&self.user_data),
            Command::StatusByte => vec![self.summary()? as u8],
            Command::StatusWord => self.summary()?.to_le_bytes().to_vec(),
            _ => {
                let at = usize::from(self.selected);
                self.pages
                    .get(at)?
                    .read(command, description.pages.get(at)?)
            }
        })
    }

    /// The second half of a process call.
    fn called(&self, command: Command, data: &[u8], description: &Description) -> Option<Vec<u8>> {
        let (&count, argument) = data.split_first()?;
        if usize::from(count) != argument.len() {
            return None;
        }
        match (command, argument) {
            (Command::Query, &[code]) => Some(block(&[self.query(code, description)])),
            (Command::AlertMask, &[code]) => {
                let register = register(code)?;
                let mask = match register {
                    Register::Cml => self.cml.mask,
                    _ if self.selected == ALL => return None,
                    _ => {
                        let (at, _) = self
                            .addressed(Command::Status(register), description)
                            .next()?;
                        self.pages[at].status_of(register)?.mask
                    }
                };
                Some(block(&[mask]))
            }
            (Command::Coefficients, &[code, 0 | 1]) if self.selected != ALL => {
                let command = Command::of(code)?;
                let (_, page) = self.addressed(command, description).next()?;
                match coding(page, command) {
                    Coding::Word(Format::Direct(coefficients)) => {
                        Some(block(&coefficients.bytes()))
                    }
                    Coding::Energy => page.energy.map(|count| block(&count.coefficients.bytes())),
                    _ => None,
                }
            }
            _ => None,
        }
    }

    /// The answer of QUERY.
    fn query(&self, code: u8, description: &Description) -> u8 {
        let found = Command::of(code).and_then(|command| {
            let (_, page) = self.addressed(command, description).next()?;
            Some((command, page))
        });
        let Some((command, page)) = found else {
            return 0;
        };
        let access = command.access();
        let format: u64 = match coding(page, command) {
            Coding::Word(Format::Linear11(_) | Format::Ulinear16 { .. }) => 0b000,
            Coding::Word(Format::Direct(_)) | Coding::Energy => 0b011,
            Coding::Byte => 0b100,
            Coding::Other => 0b111,
        };
        let [write, read] = [access.write, access.read].map(u64::from);
        fields(&[(1, 1), (write, 1), (read, 1), (format, 3), (0, 2)]) as u8
    }

    fn write_mask(&mut self, code: u8, mask: u8, description: &Description) {
        let register = register(code);
        let mut found = register == Some(Register::Cml);
        if found {
            self.cml.mask = mask;
        } else if let Some(register) = register {
            for (at, _) in self.addressed(Command::Status(register), description) {
                if let Some(status) = self.pages[at].status_mut(register) {
                    status.mask = mask;
                    found = true;
                }
            }
        }
        if !found {
            self.cml.set(status::INVALID_DATA);
        }
    }

    fn clear_faults(&mut self) {
        self.cml.clear(0xFF);
        let registers = self.pages.iter_mut().flat_map(|page| &mut page.status);
        registers.for_each(|status| status.clear(0xFF));
    }

    fn is_protected(&self, command: Command) -> bool {
        let exempt = match command {
            Command::WriteProtect => return false,
            Command::Page => 0x60,
            Command::Kept(at) => match KEPT[at].code {
                0x01 => 0x60,
                0x02 | 0x21 => 0x20,
                _ => 0,
            },
            _ => 0,
        };
        self.write_protect & !exempt != 0
    }

    /// STATUS_WORD of the page selected.
    fn summary(&self) -> Option<u16> {
        let page = self.pages.get(usize::from(self.selected))?;
        let [vout, iout, input] = page.status.map(|status| status.bits);
        // What has a bit of its own in the lower byte.
        let named = [(vout, 1 << 7), (iout, 1 << 7), (input, 1 << 4)];
        let set = named.map(|(bits, bit)| u64::from(bits & bit != 0));
        let other = named.iter().any(|(bits, bit)| bits & !bit != 0);
        let is_any = |bits| (u64::from(bits != 0), 1);
        let upper = [is_any(vout), is_any(iout), is_any(input), (0, 7)];
        let lower = [(0, 1), is_any(self.cml.bits), (other.into(), 1)];
        let word = fields(&[&upper[..], &set.map(|bit| (bit, 1)), &lower].concat());
        Some(word as u16)
    }

    /// Whether SMBALERT# is pulled low.
    pub(super) fn pulls(&self) -> bool {
        self.cml.pulls()
            || self
                .pages
                .iter()
                .flat_map(|page| &page.status)
                .any(Status::pulls)
    }

    /// Whether any status bit could.
    pub(super) fn is_reached(&self) -> bool {
        let mut masks = self
            .pages
            .iter()
            .flat_map(|page| &page.status)
            .map(|status| status.mask);
        self.cml.mask != 0xFF || masks.any(|mask| mask != 0xFF)
    }

    /// The device's address went through in an alert response.
    pub(super) fn mark(&mut self) {
        self.cml.mark();
        self.pages
            .iter_mut()
            .flat_map(|page| &mut page.status)
            .for_each(Status::mark);
    }
}

/// A STATUS register that has a mask, by its code.
fn register(code: u8) -> Option<Register> {
    match Command::of(code) {
        Some(Command::Status(register)) => Some(register),
        _ => None,
    }
}

/// PAGE for all pages.
const ALL: u8 = 0xFF;
