use super::command::{StatusRegister, Writable, code};
use super::declaration::{Device, PageSpec};
use super::{Pmbus, byte};
use crate::old::Channel;
use crate::old::exchange::{Command, Fault, Read, Step, Turn};

/// Where an operation stands.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Place {
    /// Which of the operation's phases.
    pub phase: u8,
    /// Which channel, in a phase that goes through them.
    pub channel: u8,
    pub guard: Guard,
    /// Which item of a page.
    pub item: u8,
    /// How far an item, or a phase without channels, has come.
    pub step: u8,
    /// What an item has found out so far.
    pub heard: bool,
    pub direct: Option<bool>,
    pub word: u16,
}

impl Place {
    pub(super) const START: Self = Self {
        phase: 0,
        channel: 0,
        guard: Guard::Select,
        item: 0,
        step: 0,
        heard: false,
        direct: None,
        word: 0,
    };
}

/// How far the selection of a page has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) enum Guard {
    Select,
    ReadBack,
    Compare,
    Inside,
    ReadAgain,
    CompareAgain,
}

/// How it goes on.
pub(super) enum Next {
    /// With this step.
    Do(Step),
    /// At once.
    Go,
    /// The item or phase is over.
    Over,
    /// The operation is.
    Done,
}

/// Looks after the items of one page; `None` past the last.
pub(super) type Visit<'v, P> =
    dyn FnMut(&mut P, &mut Turn<'_>, Channel, &PageSpec) -> Result<Option<Next>, Fault> + 'v;

impl<D: Device, const N: usize> Pmbus<D, N> {
    /// Goes through the channels that `enters` tells. Before the items of each its page is selected and read back, after them read once more: what came in between is that page's, for a reset
    /// in the middle selects page 0.
    ///
    /// `stamped`: selecting is when the samples begin.
    pub(super) fn walk(
        &mut self,
        turn: &mut Turn<'_>,
        stamped: bool,
        enters: impl Fn(&Self, Channel) -> bool,
        visit: &mut Visit<'_, Self>,
    ) -> Result<Next, Fault> {
        let channel = Channel::new(self.at.channel);
        let Some(page) = D::DECLARATION.pages.get(channel.index()) else {
            return Ok(Next::Over);
        };
        let paged = D::DECLARATION.paged;
        let (guard, next) = match self.at.guard {
            Guard::Select if !enters(self, channel) => return Ok(self.next_channel()),
            Guard::Select if stamped => {
                let guard = if paged {
                    Guard::ReadBack
                } else {
                    Guard::Inside
                };
                (guard, Next::Do(Step::WriteStamped(Self::select(page))))
            }
            Guard::Select if paged => (Guard::ReadBack, Next::Do(Step::Write(Self::select(page)))),
            Guard::Select => (Guard::Inside, Next::Go),
            Guard::ReadBack => (Guard::Compare, Next::Do(Self::read(code::PAGE, 1))),
            Guard::Compare => {
                selected(turn, page)?;
                (Guard::Inside, Next::Go)
            }
            Guard::Inside => match visit(self, turn, channel, page)? {
                None if paged => (Guard::ReadAgain, Next::Go),
                None => return Ok(self.next_channel()),
                Some(Next::Over) => {
                    self.at.item = self.at.item.wrapping_add(1); // a page has a dozen
                    self.at.step = 0;
                    (Guard::Inside, Next::Go)
                }
                Some(next) => (Guard::Inside, next),
            },
            Guard::ReadAgain => (Guard::CompareAgain, Next::Do(Self::read(code::PAGE, 1))),
            Guard::CompareAgain => {
                selected(turn, page)?;
                return Ok(self.next_channel());
            }
        };
        self.at.guard = guard;
        Ok(next)
    }

    /// After the last reading: the end of the time in which samples were read.
    pub(super) fn last_stamp(&self) -> Step {
        let enabled = D::DECLARATION.pages.iter().zip(&self.now.enabled);
        let last = enabled
            .filter(|(_, enabled)| **enabled)
            .map(|(page, _)| page)
            .next_back();
        // There is always one; what is selected else does no harm.
        let page = last.or(D::DECLARATION.pages.first());
        page.map_or(Step::Done, |page| Step::WriteStamped(Self::select(page)))
    }

    /// Selects a page. A device without pages is asked to clear no bit at all: a write there has to be, for its time is taken.
    fn select(page: &PageSpec) -> Command {
        if D::DECLARATION.paged {
            Writable::Page.write(u64::from(page.page), 1)
        } else {
            Writable::Status(StatusRegister::Cml).write(0, 1)
        }
    }

    fn next_channel(&mut self) -> Next {
        self.at.channel = self.at.channel.wrapping_add(1); // at most twelve
        (self.at.guard, self.at.item, self.at.step) = (Guard::Select, 0, 0);
        Next::Go
    }

    /// A read to the block's beginning.
    pub(super) const fn read(pointer: u8, len: u8) -> Step {
        Step::Read(Self::reading(pointer, len))
    }

    pub(super) const fn reading(pointer: u8, len: u8) -> Read {
        Read {
            pointer,
            len,
            at: 0,
            check: D::DECLARATION.checked,
        }
    }
}

/// PAGE as it was read.
pub(super) fn selected(turn: &Turn<'_>, page: &PageSpec) -> Result<(), Fault> {
    let got = byte(turn.block, 0);
    if got == page.page {
        Ok(())
    } else {
        Err(Fault::WrongPage {
            expected: page.page,
            got,
        })
    }
}
