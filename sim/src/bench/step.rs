use alloc::{collections::VecDeque, rc::Rc, vec::Vec};
use core::{cell::RefCell, fmt};

use super::{Bench, part::Shown};
use crate::part::{Converted, Input, PartModel};

/// A conversion that [`Bench::step`] has come to.
///
/// Its display is one line: `0x32 channel 0 sense 20000 at 212500 ns`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Step {
    /// The part's 7-bit address.
    pub address: u8,
    /// What it converted.
    pub converted: Converted,
}

impl fmt::Display for Step {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Converted {
            channel,
            input,
            code,
            clipped,
            at_ns,
        } = self.converted;
        let input = match input {
            Input::Sense => "sense",
            Input::Rail => "rail",
        };
        let clipped = if clipped { ", clipped" } else { "" };
        let address = self.address;
        write!(
            f,
            "{address:#04x} channel {channel} {input} {code}{clipped} at {at_ns} ns"
        )
    }
}

/// The parts that can be stepped through, and what they ended together and was not told yet.
#[derive(Default)]
pub(super) struct Steps {
    parts: RefCell<Vec<SomePart>>,
    told_later: RefCell<VecDeque<Step>>,
}

/// A part of whatever kind.
pub(super) type SomePart = Rc<RefCell<dyn PartModel>>;

impl Steps {
    pub(super) fn add(&self, part: SomePart) {
        self.parts.borrow_mut().push(part);
    }

    /// The part with this address.
    pub(super) fn at(&self, address: u8) -> Option<SomePart> {
        let parts = self.parts.borrow();
        let mut parts = parts.iter();
        let found = parts.find(|part| part.borrow().own_address() == address);
        found.cloned()
    }

    /// The address of the part, if there is one and no other.
    pub(super) fn only_address(&self) -> Option<u8> {
        match self.parts.borrow().as_slice() {
            [part] => Some(part.borrow().own_address()),
            _ => None,
        }
    }
}

/// The parts.
impl fmt::Debug for Steps {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let parts = self.parts.borrow();
        f.debug_list()
            .entries(parts.iter().map(|part| Shown(part)))
            .finish()
    }
}

impl Bench {
    /// Goes to the end of the next conversion of any part, as a debugger goes from line to line.
    /// None, and no time passes, if all parts are idle.
    ///
    /// Conversions that end at the same moment are told one by one, in the order in which the parts
    /// were put on the bench, and time stands still between them.
    pub fn step(&self) -> Option<Step> {
        let mut later = self.steps.told_later.borrow_mut();
        later.retain(|step| step.converted.at_ns == self.now_ns());
        if let Some(step) = later.pop_front() {
            return Some(step);
        }
        let parts = self.steps.parts.borrow();
        let count = |part: &SomePart| part.borrow().conversions();
        let before: Vec<u64> = parts.iter().map(count).collect();
        while later.is_empty() {
            let next_ns = parts
                .iter()
                .filter_map(|part| part.borrow().next_event_ns());
            self.run_until(next_ns.min()?);
            let ended = parts.iter().zip(&before);
            let ended = ended.filter(|(part, before)| count(part) > **before);
            later.extend(ended.filter_map(|(part, _)| {
                let part = part.borrow();
                let (address, converted) = (part.own_address(), part.last_conversion()?);
                Some(Step { address, converted })
            }));
        }
        later.pop_front()
    }
}
