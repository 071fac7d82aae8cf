//! Reading all enabled channels, and what is made of it.

use super::ask::not_supported;
use super::command::{UserData, Writable};
use super::declaration::{Device, PageSpec, Scales};
use super::energy::Mean;
use super::format::counted;
use super::walk::Next;
use super::{EnergyCount, Pmbus, Shown, bytes};
use crate::old::Channel;
use crate::old::exchange::{Command, Fault, Step, Turn};
use crate::old::part::make_up::Taken;
use crate::old::part::{Codec, Codes};

/// Items of a page.
const VOLTAGE: u8 = 0;
const CURRENT: u8 = 1;
const POWER: u8 = 2;
const ENERGY: u8 = 3;

/// Data bytes of the mark.
const MARK_LEN: u8 = 4;
/// What an interim mark differs by from a whole one.
const INTERIM: u16 = 0x5A5A;
/// The step at which [`verify`](Pmbus::verify) has nothing but the mark left to read.
pub(super) const ONLY_MARK: u8 = 1;

impl<D: Device, const N: usize> Pmbus<D, N> {
    pub(super) fn sample(&mut self, turn: &mut Turn<'_>) -> Result<Next, Fault> {
        if let Some(next) = self.next.take() {
            self.now = next;
            self.sums.forget();
        }
        let enabled = |part: &Self, channel: Channel| part.is_enabled(channel);
        let walked = self.walk(turn, true, enabled, &mut |part, turn, channel, page| {
            part.sample_item(turn, channel, page)
        });
        match walked {
            // The mark tells whether it was a reset.
            Err(fault @ Fault::WrongPage { .. }) => {
                self.suspect = Some(fault);
                Ok(Next::Over)
            }
            walked => walked,
        }
    }

    pub(super) fn is_enabled(&self, channel: Channel) -> bool {
        self.now.enabled.get(channel.index()) == Some(&true)
    }

    fn sample_item(
        &mut self,
        turn: &mut Turn<'_>,
        channel: Channel,
        page: &PageSpec,
    ) -> Result<Option<Next>, Fault> {
        let learned = *self.learned(channel);
        let Some((scales, shown)) = Self::scales(channel).zip(self.shown.get_mut(channel.index()))
        else {
            return Err(Fault::NoRoom);
        };
        let asks = self.at.step == 0;
        let word = || u16::from_le_bytes(bytes(turn.block));
        let step = match self.at.item {
            VOLTAGE if asks => Self::read(page.side.voltage(), 2),
            VOLTAGE => {
                bus(
                    scales,
                    learned.voltage.value(word(), scales.voltage),
                    &mut shown.codes,
                );
                return Ok(Some(Next::Over));
            }
            CURRENT if asks => Self::read(page.side.current(), 2),
            CURRENT => {
                sense(
                    scales,
                    learned.current.value(word(), scales.current),
                    &mut shown.codes,
                );
                return Ok(Some(Next::Over));
            }
            POWER => match learned.power {
                Some(_) if asks => Self::read(page.side.power(), 2),
                Some(format) => {
                    shown.codes.power = within(scales, format.value(word(), scales.power));
                    return Ok(Some(Next::Over));
                }
                None => {
                    let codes = &mut shown.codes;
                    codes.power = i64::from(codes.sense).wrapping_mul(i64::from(codes.bus)); // 32 by 32 bits
                    return Ok(Some(Next::Over));
                }
            },
            ENERGY if learned.energy.is_none() => return Ok(None),
            ENERGY if asks => Self::read(page.side.energy(), EnergyCount::BLOCK_LEN),
            ENERGY => {
                let [count, data @ ..] = bytes::<7>(turn.block);
                if usize::from(count) != EnergyCount::LEN {
                    return Err(not_supported(page.side.energy(), page));
                }
                shown.count = Some(EnergyCount::from_bytes(data));
                return Ok(Some(Next::Over));
            }
            _ => return Ok(None),
        };
        self.at.step = 1;
        Ok(Some(Next::Do(step)))
    }

    /// The end of the stamp, then the mark: are these the values of our set-up?
    pub(super) fn verify(&mut self, turn: &mut Turn<'_>) -> Result<Verdict, Fault> {
        let step = match (self.at.step, D::DECLARATION.mark) {
            (0, _) if self.suspect.is_none() => {
                self.at.step = ONLY_MARK;
                self.last_stamp()
            }
            (0 | ONLY_MARK, Some(mark)) => {
                self.at.step = 2;
                Self::read_mark(mark)
            }
            (_, mark) => {
                let suspect = self.suspect.take();
                return self.judge_mark(turn, mark, suspect);
            }
        };
        Ok(Verdict::Open(step))
    }

    fn judge_mark(
        &mut self,
        turn: &Turn<'_>,
        mark: Option<UserData>,
        suspect: Option<Fault>,
    ) -> Result<Verdict, Fault> {
        let reset = match mark {
            Some(mark) => {
                let expected = self.serial;
                match (Self::mark_read(turn, mark)?, self.change) {
                    (Ok(Marking::None), _) => true,
                    (Ok(Marking::Interim(serial)), Some(change)) if serial == change => false,
                    // Whoever began a change, it came to no end: as little is in force as after a reset.
                    (Ok(Marking::Interim(_)), None) => true,
                    (Ok(Marking::Whole(serial)), None)
                        if serial == self.serial || Some(serial) == self.coming =>
                    {
                        (self.serial, self.coming) = (serial, None);
                        false
                    }
                    (Ok(Marking::Whole(got) | Marking::Interim(got)) | Err(got), _) => {
                        return Err(Fault::SetUpChanged { expected, got });
                    }
                }
            }
            None => matches!(suspect, Some(Fault::WrongPage { got: 0, .. })),
        };
        self.reset_seen = reset;
        match suspect {
            _ if reset => Ok(Verdict::Reset),
            Some(fault) => Err(fault),
            None => Ok(Verdict::Ours),
        }
    }

    /// The mark as it was read; the first word of one that is nobody's whom we know.
    pub(super) fn mark_read(
        turn: &Turn<'_>,
        mark: UserData,
    ) -> Result<Result<Marking, u16>, Fault> {
        let [count, low, high, last @ ..] = bytes::<5>(turn.block);
        if count != MARK_LEN {
            let command = Writable::UserData(mark).code();
            return Err(Fault::NotSupported { command, page: 0 });
        }
        let serial = u16::from_le_bytes([low, high]);
        let kinds = [
            Marking::None,
            Marking::Whole(serial),
            Marking::Interim(serial),
        ];
        let read = (serial, u16::from_le_bytes(last));
        let known = kinds.into_iter().find(|kind| kind.words() == read);
        Ok(known.ok_or(serial))
    }

    pub(super) const fn read_mark(mark: UserData) -> Step {
        Self::read(Writable::UserData(mark).code(), MARK_LEN + 1)
    }

    pub(super) fn marking(mark: UserData, marking: Marking) -> Command {
        let (serial, last) = marking.words();
        let ([low, high], [last_low, last_high]) = (serial.to_le_bytes(), last.to_le_bytes());
        let value = u64::from_le_bytes([MARK_LEN, low, high, last_low, last_high, 0, 0, 0]);
        Writable::UserData(mark).write(value, MARK_LEN + 1)
    }

    pub(super) fn judge_all(&mut self) {
        for (channel, _) in Channel::first(u8::MAX).zip([(); N]) {
            let ranges = self.ranges(&[], channel);
            let codes = self.codes(&[], channel);
            self.judge.channel(channel, ranges, &codes);
        }
    }

    /// What the sums take of a channel.
    pub(super) fn taken(&self, channel: Channel) -> Option<Taken> {
        if !self.is_enabled(channel) {
            return None;
        }
        let shown = self.shown.get(channel.index())?;
        Some(Taken {
            sense: shown.codes.sense,
            power: shown.codes.power,
            mean_power: self.mean(channel, shown),
        })
    }

    /// Mean power since the frame before by the device's own count, in codes; `None` where it has none, or where it cannot be relied on.
    ///
    /// Energy that flows backwards is in no count, so a current below zero at either end leaves it to the trapezoid. So does a count that may have come round more than once.
    fn mean(&self, channel: Channel, shown: &Shown) -> Option<i64> {
        let page = D::DECLARATION.pages.get(channel.index())?;
        let coefficients = self.learned(channel).energy?;
        let scales = Self::scales(channel)?;
        let (before, backwards) = shown.before?;
        if backwards || shown.codes.sense < 0 {
            return None;
        }
        let period = page.energy?.period;
        let mean = shown.count?.since(before, period)?;
        // Full scale of both, in codes of the count: so much a sample adds at the most.
        let greatest = i64::from(scales.sense_max).saturating_mul(i64::from(scales.bus_max));
        let fastest = super::format::Format::Direct(coefficients)
            .word(greatest, scales.power, super::format::Rounding::Up)
            .map_or(u32::from(u16::MAX), |code| {
                u32::from((code as i16).unsigned_abs())
            });
        let Mean { codes, samples } = mean;
        let most = samples.saturating_mul(fastest.max(1));
        // More than every sample can have added: these two do not belong together.
        if most >= period.counts().saturating_mul(256) || codes > most {
            return None;
        }
        Some(within(
            scales,
            counted(mean.watts(coefficients), scales.power),
        ))
    }

    /// A frame is made: its counts are where the next one's means begin.
    pub(super) fn keep_counts(&mut self) {
        for (shown, enabled) in self.shown.iter_mut().zip(&self.now.enabled) {
            let backwards = shown.codes.sense < 0;
            let count = shown.count.filter(|_| *enabled);
            shown.before = count.map(|count| (count, backwards));
        }
    }
}

/// What a mark can be.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(super) enum Marking {
    /// Of a device that was never set up.
    None,
    /// A set-up.
    Whole(u16),
    /// A set-up that is still being made.
    Interim(u16),
}

impl Marking {
    /// The serial, and its complement, or in between another pattern; zeros for none.
    pub(super) const fn words(self) -> (u16, u16) {
        match self {
            Self::None => (0, 0),
            Self::Whole(serial) => (serial, !serial),
            Self::Interim(serial) => (serial, !serial ^ INTERIM),
        }
    }
}

/// What the mark says.
pub(super) enum Verdict {
    /// Nothing yet.
    Open(Step),
    Ours,
    Reset,
}

// `clamp` would keep a panic for ends that are the wrong way round.

/// A reading at an end of its range may have been cut off; a voltage below zero is none.
fn bus(scales: &Scales, value: i64, codes: &mut Codes) {
    let max = i64::from(scales.bus_max);
    codes.bus = value.max(0).min(max) as u32;
    codes.bus_clipped = value >= max;
}

fn sense(scales: &Scales, value: i64, codes: &mut Codes) {
    let max = i64::from(scales.sense_max);
    let least = max.wrapping_neg().wrapping_sub(1);
    codes.sense = value.max(least).min(max) as i32;
    codes.sense_clipped = value >= max || value <= max.wrapping_neg();
}

/// No more than full scale of both.
fn within(scales: &Scales, value: i64) -> i64 {
    let max = i64::from(scales.sense_max)
        .saturating_add(1)
        .saturating_mul(i64::from(scales.bus_max));
    value.max(max.saturating_neg()).min(max)
}
