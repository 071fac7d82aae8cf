use core::marker::PhantomData;

use super::effort::effort;
use super::stages::Job;
use super::{Registers, Sums, Taken};
use crate::old::alert::{Causes, Judge, Plan};
use crate::old::exchange::{Effort, Fault, Step, Turn};
use crate::old::frame::Stamp;
use crate::old::part::{Codec, Codes, Counters, Head, Joint, Part, Source, Spec};
use crate::old::sampling::{Mode, Ranges, Sampling};
use crate::old::{Channel, Task};

/// A part of plain [`Registers`] with `N` channels, made up to a whole one by the driver.
///
/// A frame is one sample, taken when it is asked for, in every mode. A pace is the firmware's promise to take one at least so often. The sums are the driver's
/// ([`Sums`]), so they begin anew with the firmware: after [`attach`](Part::attach) a ledger opens another epoch, and counts from the next set-up with a pace.
/// Limits that the part does not compare are judged with each frame ([`Judge`]), and their causes come with that frame's service (where it is split, with the next look). They are the driver's, too: after `attach`
/// nothing is judged until the limits are armed.
///
/// While a set-up is being changed the part has a mark that no firmware joins, so a change that stops half-way is found, by the next frame as a reset; arming again goes on from it. A reset
/// between the last look at that mark and the writing of the new one is not seen.
#[derive(Clone, Debug)]
pub struct MadeUp<R, const N: usize> {
    /// Mark of the set-up that the part is expected to have.
    pub(super) serial: u16,
    pub(super) now: Own<N>,
    /// Takes over with the sample after the one that was taken last.
    pub(super) next: Option<Own<N>>,
    pub(super) coming: Option<Coming<N>>,
    /// A sample was asked for, and may be in progress still.
    pub(super) asked: bool,
    /// The last frame found the part reset.
    pub(super) reset_seen: bool,
    /// The set-up was in force before the last sample was asked for.
    pub(super) complete: bool,
    pub(super) sequence: Option<u16>,
    pub(super) sums: Sums<N>,
    pub(super) judge: Judge<N>,
    /// Causes that the part may set for us.
    pub(super) by_part: Causes,
    registers: PhantomData<R>,
}

/// A set-up whose mark is being written: it is in force as soon as that mark is found.
#[derive(Clone, Copy, Debug)]
pub(super) struct Coming<const N: usize> {
    pub(super) serial: u16,
    pub(super) own: Own<N>,
    pub(super) judge: Judge<N>,
    pub(super) by_part: Causes,
}

/// A set-up as it was put into the part.
#[derive(Clone, Copy, Debug)]
pub(super) struct Own<const N: usize> {
    pub(super) kept: Kept<N>,
    /// Of each enabled channel, as far as known.
    pub(super) ranges: [Option<Ranges>; N],
}

impl<const N: usize> Own<N> {
    pub(super) fn of(sampling: &Sampling<'_>) -> Self {
        let mut ranges = [None; N];
        for (place, asked) in ranges.iter_mut().zip(sampling.channels) {
            *place = *asked;
        }
        Self {
            kept: Kept::of(sampling),
            ranges,
        }
    }
}

/// What has to be remembered of a set-up.
#[derive(Clone, Copy, Debug)]
pub(in crate::old::part) struct Kept<const N: usize> {
    pub(in crate::old::part) enabled: [bool; N],
    pub(in crate::old::part) mode: Mode,
}

impl<const N: usize> Kept<N> {
    pub(in crate::old::part) fn of(sampling: &Sampling<'_>) -> Self {
        let mut enabled = [false; N];
        for (enabled, ranges) in enabled.iter_mut().zip(sampling.channels) {
            *enabled = ranges.is_some();
        }
        Self {
            enabled,
            mode: sampling.mode,
        }
    }
}

impl<R: Registers, const N: usize> MadeUp<R, N> {
    /// A part of which nothing is known yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            serial: 0,
            now: Own {
                kept: Kept {
                    enabled: [true; N],
                    mode: Mode::SingleShot,
                },
                ranges: [None; N],
            },
            next: None,
            coming: None,
            asked: false,
            reset_seen: false,
            complete: false,
            sequence: None,
            sums: Sums::new(),
            judge: Judge::idle(),
            by_part: Causes::LIMITS,
            registers: PhantomData,
        }
    }

    pub(super) fn is_enabled(&self, channel: Channel) -> bool {
        self.now.kept.enabled.get(channel.index()) == Some(&true)
    }

    /// Results of a channel, power made up where the part has none; zeros where it is not enabled.
    pub(super) fn results(&self, block: &[u8], channel: Channel) -> Codes {
        if !self.is_enabled(channel) {
            return Codes::default();
        }
        let mut codes = R::codes(block, channel);
        if R::SPEC.power == Source::Driver {
            codes.power = i64::from(codes.sense).wrapping_mul(i64::from(codes.bus)); // 32 by 32 bits
        }
        codes
    }
}

impl<R: Registers, const N: usize> Default for MadeUp<R, N> {
    fn default() -> Self {
        Self::new()
    }
}

impl<R: Registers, const N: usize> Codec for MadeUp<R, N> {
    fn spec(&self) -> &'static Spec {
        R::SPEC
    }

    fn head(&self, _block: &[u8]) -> Head {
        Head {
            serial: self.serial,
            mode: self.now.kept.mode,
            averaging: 0,
            reset_seen: self.reset_seen,
            complete: self.complete,
            rounds: self.sums.elapsed_us(),
        }
    }

    fn ranges(&self, block: &[u8], channel: Channel) -> Option<Ranges> {
        self.is_enabled(channel).then(|| R::ranges(block, channel))
    }

    fn codes(&self, block: &[u8], channel: Channel) -> Codes {
        self.results(block, channel)
    }

    fn counters(&self, _block: &[u8], channel: Channel) -> Counters {
        self.sums.counters(channel)
    }
}

impl<R: Registers, const N: usize> Part for MadeUp<R, N> {
    type Block = R::Raw;
    const EMPTY: Self::Block = R::EMPTY;
    const CHECKED: bool = R::CHECKED;

    fn check(&self, sampling: &Sampling<'_>) -> Result<(), Fault> {
        sampling.check(R::SPEC).map_err(Fault::Misuse)
    }

    fn init(
        &mut self,
        turn: &mut Turn<'_>,
        sampling: &Sampling<'_>,
        _read_max: u8,
    ) -> Result<Step, Fault> {
        self.stage(turn, &mut Job::Init(sampling))
    }

    fn attach(&mut self, turn: &mut Turn<'_>, joint: &Joint, _read_max: u8) -> Result<Step, Fault> {
        self.stage(turn, &mut Job::Attach(joint))
    }

    fn latch(&mut self, turn: &mut Turn<'_>, _read_max: u8) -> Result<Step, Fault> {
        self.stage(turn, &mut Job::Latch)
    }

    fn configure(
        &mut self,
        turn: &mut Turn<'_>,
        sampling: &Sampling<'_>,
        _read_max: u8,
    ) -> Result<Step, Fault> {
        self.stage(turn, &mut Job::Configure(sampling))
    }

    fn arm(
        &mut self,
        turn: &mut Turn<'_>,
        sampling: &Sampling<'_>,
        plan: &Plan<'_>,
        found: &mut Causes,
        _read_max: u8,
    ) -> Result<Step, Fault> {
        self.stage(turn, &mut Job::Arm(sampling, plan, found))
    }

    fn look(
        &mut self,
        turn: &mut Turn<'_>,
        interest: Causes,
        found: &mut Causes,
        more: &mut bool,
    ) -> Result<Step, Fault> {
        *found |= self.judged(interest);
        self.stage(turn, &mut Job::Look(interest, found, more))
    }

    fn judged(&mut self, interest: Causes) -> Causes {
        let seen = self.judge.causes() & interest;
        self.judge.clear(seen);
        seen
    }

    /// There is never a burst: [`check`](Self::check) refuses its set-up.
    fn fetch(
        &mut self,
        _turn: &mut Turn<'_>,
        _codes: &mut [i32],
        _count: &mut usize,
    ) -> Result<Step, Fault> {
        Ok(Step::Done)
    }

    fn effort(task: Task, _read_max: u8) -> Effort {
        effort::<R, N>(task)
    }

    fn joint(&self) -> Joint {
        Joint {
            serial: self.serial,
        }
    }

    fn settle(&mut self, task: Task, block: &mut [u8], asked: Stamp) -> Stamp {
        let after_us = asked.after_us.saturating_add(u64::from(R::CONVERSION_US));
        let stamp = Stamp { after_us, ..asked };
        if self.reset_seen {
            return stamp;
        }
        self.complete = task != Task::Init;
        let mut sums = self.sums;
        sums.add(stamp, |channel| {
            let codes = self.results(block, channel);
            self.is_enabled(channel).then_some(Taken {
                sense: codes.sense,
                power: codes.power,
                mean_power: None,
            })
        });
        self.sums = sums;
        stamp
    }
}
