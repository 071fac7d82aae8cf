//! Warn limits, masks and causes of each page.

use super::command::{Comparator, StatusRegister, Writable, code};
use super::declaration::{Device, PageSpec};
use super::format::{Format, Rounding, Unit};
use super::walk::{Next, selected};
use super::{Pmbus, byte, bytes};
use crate::old::Channel;
use crate::old::alert::{Cause, Causes, Kind, Outputs, Plan};
use crate::old::exchange::{Fault, Misuse, Step, Turn};
use crate::old::part::Source;

/// Kinds of limits.
const KINDS: u8 = Kind::ALL.len() as u8;
/// Registers that a page may have.
const REGISTERS: u8 = 2;

/// What is wanted of the causes that are read.
#[derive(Clone, Copy)]
pub(super) struct Wanted {
    /// These are told.
    pub told: Causes,
    /// Warnings beside them are cleared, too: what set them is no longer in force, and they must not be taken for what comes.
    pub all: bool,
}

impl<D: Device, const N: usize> Pmbus<D, N> {
    /// Every page: no status bit reaches the alert output any more; before a change limits go where nothing passes them, and what they have set is told and cleared.
    pub(super) fn quiet(
        &mut self,
        turn: &mut Turn<'_>,
        found: Option<&mut Causes>,
    ) -> Result<Next, Fault> {
        const DISARM: u8 = REGISTERS;
        const COLLECT: u8 = DISARM + KINDS;
        let change = found.is_some();
        let mut causes = Causes::empty();
        let wanted = Wanted {
            told: self.by_part,
            all: true,
        };
        let walked = self.walk(
            turn,
            false,
            |_, _| true,
            &mut |part, turn, channel, page| {
                let next = match part.at.item {
                    item @ 0..DISARM => part.mask_item(turn, page, item, 0)?,
                    _ if !change => return Ok(None),
                    item @ DISARM..COLLECT => {
                        let kind = kind(item.wrapping_sub(DISARM));
                        part.limit_item(turn, channel, page, kind, None)?
                    }
                    item => {
                        let item = item.wrapping_sub(COLLECT);
                        return part.collect(turn, channel, page, item, wanted, &mut causes);
                    }
                };
                Ok(Some(next))
            },
        );
        if let Some(found) = found {
            *found |= causes;
        }
        walked
    }

    /// Every page: the limits of a plan, then what of them reaches the alert output.
    pub(super) fn arm_pages(
        &mut self,
        turn: &mut Turn<'_>,
        plan: &Plan<'_>,
    ) -> Result<Next, Fault> {
        let by_part = self.compared(plan);
        // Old limits or new ones, until the change is through.
        self.by_part |= by_part;
        // Whatever is to reach either output reaches the one there is.
        let shown = plan.mask(Outputs::all()) & by_part;
        self.walk(
            turn,
            false,
            |_, _| true,
            &mut |part, turn, channel, page| {
                let next = match part.at.item {
                    item @ 0..KINDS => {
                        let kind = kind(item);
                        let cause = Causes::of(Cause::Limit(channel, kind));
                        let code = plan.code(channel, kind);
                        match code.filter(|_| by_part.contains(cause)) {
                            Some(_) => part.limit_item(turn, channel, page, kind, code)?,
                            None => Next::Over,
                        }
                    }
                    item => {
                        let item = item.wrapping_sub(KINDS);
                        if item >= REGISTERS {
                            return Ok(None);
                        }
                        let open = register(page, item).map_or(0, |register| {
                            bits(page, channel, register, |cause| shown.contains(cause))
                        });
                        part.mask_item(turn, page, item, open)?
                    }
                };
                Ok(Some(next))
            },
        )
    }

    /// Every page that is of interest: the causes that are set, once.
    pub(super) fn look_pages(
        &mut self,
        turn: &mut Turn<'_>,
        interest: Causes,
        found: &mut Causes,
    ) -> Result<Next, Fault> {
        let wanted = Wanted {
            told: self.by_part & interest,
            all: false,
        };
        let enters = |_: &Self, channel: Channel| wanted.told.intersects(Causes::channel(channel));
        self.walk(turn, false, enters, &mut |part, turn, channel, page| {
            let item = part.at.item;
            part.collect(turn, channel, page, item, wanted, found)
        })
    }

    /// Limits of a plan that the device compares: those left to it, where the page has them.
    pub(super) fn compared(&self, plan: &Plan<'_>) -> Causes {
        let left = plan.judged_by(Source::Part);
        left.each()
            .filter(|cause| match cause {
                Cause::Limit(channel, kind) => self.learned(*channel).compares(*kind),
                _ => false,
            })
            .fold(Causes::empty(), |causes, cause| causes | Causes::of(cause))
    }

    /// `open`: bits that reach the alert output.
    fn mask_item(
        &mut self,
        turn: &mut Turn<'_>,
        page: &PageSpec,
        item: u8,
        open: u8,
    ) -> Result<Next, Fault> {
        match register(page, item).filter(|_| Self::alerts()) {
            Some(register) => self.mask(turn, page.page, register, !open),
            None => Ok(Next::Over),
        }
    }

    /// Reads a register's warnings, and, if the page is still the one selected, tells and clears them; `None` past the page's last.
    fn collect(
        &mut self,
        turn: &mut Turn<'_>,
        channel: Channel,
        page: &PageSpec,
        item: u8,
        wanted: Wanted,
        found: &mut Causes,
    ) -> Result<Option<Next>, Fault> {
        let Some(register) = register(page, item) else {
            return Ok(None);
        };
        let learned = *self.learned(channel);
        let ours = bits(page, channel, register, |cause| {
            wanted.all && compares(&learned, cause) || wanted.told.contains(cause)
        });
        let next = match self.at.step {
            _ if ours == 0 => Next::Over,
            0 => Next::Do(Self::read(register.code(), 1)),
            1 => {
                let seen = byte(turn.block, 0) & ours;
                self.at.word = u16::from(seen);
                match seen {
                    0 => Next::Over,
                    _ if D::DECLARATION.paged => Next::Do(Self::read(code::PAGE, 1)),
                    _ => Next::Go,
                }
            }
            2 => {
                if D::DECLARATION.paged {
                    selected(turn, page)?;
                }
                let [seen, _] = self.at.word.to_le_bytes();
                // Before they are cleared: should the clearing fail, it may have taken effect nevertheless.
                *found |= causes(page, channel, register, seen) & wanted.told;
                Next::Do(Step::Write(
                    Writable::Status(register).write(u64::from(seen), 1),
                ))
            }
            _ => Next::Over,
        };
        self.at.step = self.at.step.wrapping_add(1); // below five
        Ok(Some(next))
    }

    /// Puts a limit, or, without a code, where nothing passes it; reads it back, and sees to it that what the device made of it is on the safe side.
    fn limit_item(
        &mut self,
        turn: &mut Turn<'_>,
        channel: Channel,
        page: &PageSpec,
        kind: Kind,
        code: Option<i64>,
    ) -> Result<Next, Fault> {
        let learned = self.learned(channel);
        let (Some(Comparator { limit, .. }), Some(format), true) = (
            page.side.comparator(kind),
            learned.format(kind),
            learned.compares(kind),
        ) else {
            return Ok(Next::Over);
        };
        let write = |word: u16| Step::Write(Writable::Limit(limit).write(u64::from(word), 2));
        let over = kind.is_over();
        let next = match self.at.step {
            0 => {
                let word = match code {
                    Some(code) => {
                        let scales = Self::scales(channel).ok_or(Fault::NoRoom)?;
                        word(format, kind, code, scales)
                            .ok_or(Fault::Misuse(Misuse::LimitBeyondFullScale(channel, kind)))?
                    }
                    None => format.end(over),
                };
                self.at.word = word;
                Next::Do(write(word))
            }
            1 | 3 => Next::Do(Self::read(limit.code(), 2)),
            step => {
                let read = u16::from_le_bytes(bytes(turn.block));
                match kept(format, over, self.at.word, read) {
                    Kept::Well => Next::Over,
                    Kept::Beyond(Some(closer)) if step == 2 => Next::Do(write(closer)),
                    Kept::Beyond(_) | Kept::Not => {
                        let [wrote, _] = self.at.word.to_le_bytes();
                        let [read, _] = read.to_le_bytes();
                        return Err(Fault::ReadBack { wrote, read });
                    }
                }
            }
        };
        self.at.step = self.at.step.wrapping_add(1); // below six
        Ok(next)
    }
}

/// What a device keeps of a limit: it may keep it in a format of its own, rounded.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kept {
    /// The same value, or the next one on the safe side.
    Well,
    /// The next one on the wrong side; this word lies on the safe one.
    Beyond(Option<u16>),
    /// Something else.
    Not,
}

fn kept(format: Format, over: bool, wrote: u16, read: u16) -> Kept {
    if wrote == read {
        return Kept::Well;
    }
    let value = |word| format.value(word, Unit::NANO);
    let (wanted, got) = (value(wrote), value(read));
    // Between the neighbours of what is kept; at an end of its exponent there is none, and everything lies beyond it.
    let below = format.neighbour(read, false);
    let above = format.neighbour(read, true);
    let close = below.is_none_or(|word| value(word) <= wanted)
        && above.is_none_or(|word| value(word) >= wanted);
    let safe = if over { got <= wanted } else { got >= wanted };
    match (close, safe) {
        (true, true) => Kept::Well,
        (true, false) => Kept::Beyond(if over { below } else { above }),
        (false, _) => Kept::Not,
    }
}

/// The word of a plan's code on its safe side.
fn word(format: Format, kind: Kind, code: i64, scales: &super::declaration::Scales) -> Option<u16> {
    let unit = match kind {
        Kind::OverVoltage | Kind::UnderVoltage => scales.voltage,
        Kind::OverCurrent | Kind::UnderCurrent => scales.current,
        Kind::OverPower => scales.power,
    };
    let rounding = if kind.is_over() {
        Rounding::Down
    } else {
        Rounding::Up
    };
    format.word(code, unit, rounding)
}

fn kind(item: u8) -> Kind {
    let kind = Kind::ALL.get(usize::from(item));
    kind.copied().unwrap_or(Kind::OverVoltage)
}

fn register(page: &PageSpec, item: u8) -> Option<StatusRegister> {
    page.side.registers().get(usize::from(item)).copied()
}

fn compares(learned: &super::Learned, cause: Causes) -> bool {
    cause.each().any(|cause| match cause {
        Cause::Limit(_, kind) => learned.compares(kind),
        _ => false,
    })
}

/// The bits of a register whose causes are wanted.
fn bits(
    page: &PageSpec,
    channel: Channel,
    register: StatusRegister,
    wanted: impl Fn(Causes) -> bool,
) -> u8 {
    Kind::ALL
        .into_iter()
        .filter(|kind| wanted(Causes::of(Cause::Limit(channel, *kind))))
        .filter_map(|kind| page.side.comparator(kind))
        .filter(|comparator| comparator.register == register)
        .fold(0, |bits, comparator| bits | comparator.bit)
}

/// The causes that bits of a register stand for.
fn causes(page: &PageSpec, channel: Channel, register: StatusRegister, set: u8) -> Causes {
    Kind::ALL
        .into_iter()
        .filter(|kind| {
            page.side.comparator(*kind).is_some_and(|comparator| {
                comparator.register == register && comparator.bit & set != 0
            })
        })
        .fold(Causes::empty(), |causes, kind| {
            causes | Causes::of(Cause::Limit(channel, kind))
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::old::part::pmbus::format::Coefficients;

    /// Page 1 of Gallinule keeps limits with exponent −6, rounded to nearest: example 33 of docs/pmbus-device.md, and what it does with others.
    #[test]
    fn limits_that_a_device_keeps_in_a_format_of_its_own() {
        let linear = Format::Linear11;
        // 3.30078125 A written, 3.296875 A kept: below an over-limit, which is safe; above an under-limit it would have to be.
        assert_eq!(kept(linear, true, 0xC34D, 0xD0D3), Kept::Well);
        assert_eq!(
            kept(linear, false, 0xC34D, 0xD0D3),
            Kept::Beyond(Some(0xD0D4))
        );
        // 3.30859375 A (847 × 2^-8) kept as 3.3125: the step below is 3.296875.
        assert_eq!(
            kept(linear, true, 0xC34F, 0xD0D4),
            Kept::Beyond(Some(0xD0D3))
        );
        // Nothing was kept: the old limit of 2 A stands.
        assert_eq!(kept(linear, true, 0xC34D, 0xD080), Kept::Not);
        // The end of the scale with another exponent is an end all the same.
        assert_eq!(kept(linear, true, 0x7BFF, 0xD3FF), Kept::Well);
        assert_eq!(kept(linear, false, 0x7C00, 0xD400), Kept::Well);
        assert_eq!(kept(linear, true, 0x7BFF, 0xD3FE), Kept::Not);
        assert_eq!(kept(Format::Linear16(-9), true, 100, 99), Kept::Well);
        assert_eq!(
            kept(Format::Linear16(-9), true, 100, 101),
            Kept::Beyond(Some(100))
        );
        assert_eq!(kept(Format::Linear16(-9), true, 100, 98), Kept::Not);
        // With a falling slope a greater code is less.
        let falling = Format::Direct(Coefficients::new(-10, 0, 0).unwrap());
        assert_eq!(kept(falling, true, 100, 101), Kept::Well);
        assert_eq!(kept(falling, true, 100, 99), Kept::Beyond(Some(100)));
    }
}
