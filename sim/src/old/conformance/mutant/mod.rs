//! Deliberately wrong maps: each is a good one with something done to it on its way in or out. The
//! kit has to find every one of them, by the check that is about it.

mod corncrake;
mod decoding;
mod gallinule;
mod map;
mod moorhen;
mod operating;

use core::fmt::Debug;
use core::sync::atomic::Ordering::Relaxed;

use crake::old::alert::Causes;
use crake::old::exchange::{Step, Turn};
use crake::old::part::{Codec, Codes, Counters, Head, Part, Spec};
use crake::old::units::Resistance;
use crake::old::{Channel, Ranges, Task};

pub use corncrake::CORNCRAKE;
pub use gallinule::GALLINULE;
pub use map::Mutant;
pub use moorhen::MOORHEN;

use super::{CheckResult, Coarseness, Stated, Subject, first_failure};

/// What is done to a map. All of it leaves a good map as it is until it is written otherwise.
pub trait Tamper: Debug + Sync {
    /// The mistake's name, and which check has to find it.
    fn name(&self) -> (&'static str, &'static str);

    /// The `Spec`.
    fn spec(&self, spec: &'static Spec) -> &'static Spec {
        spec
    }

    /// The head of a block.
    fn head(&self, head: Head) -> Head {
        head
    }

    /// The ranges of a channel.
    fn ranges(&self, inner: &dyn Codec, block: &[u8], channel: Channel) -> Option<Ranges> {
        inner.ranges(block, channel)
    }

    /// The codes of a channel.
    fn codes(&self, inner: &dyn Codec, block: &[u8], channel: Channel) -> Codes {
        inner.codes(block, channel)
    }

    /// The running sums of a channel.
    fn counters(&self, counters: Counters) -> Counters {
        counters
    }

    /// Whether nothing is refused.
    fn takes_everything(&self) -> bool {
        false
    }

    /// Whether the effort is too small.
    fn is_short(&self) -> bool {
        false
    }

    /// What a service is asked for.
    fn interest(&self, interest: Causes) -> Causes {
        interest
    }

    /// A step before the inner map is asked, in its place.
    fn instead(&self, task: Task, turn: &mut Turn<'_>) -> Option<Step> {
        let _ = (task, turn);
        None
    }

    /// What was read, before the inner map sees it.
    fn arrived(&self, memory: &Memory, block: &mut [u8]) {
        let _ = (memory, block);
    }

    /// A step that the inner map hands out.
    fn step(&self, task: Task, turn: &mut Turn<'_>, step: Step) -> Step {
        let _ = (task, turn);
        step
    }
}

/// What a mutant remembers of the steps that it handed out.
#[derive(Clone, Copy, Debug)]
pub struct Memory {
    /// The last one.
    pub last: Step,
    /// The last one that asked for a latch.
    pub latch: Step,
}

/// A subject whose map has a mistake, on the fixture of the good one.
#[derive(Debug)]
pub struct Mutated<'s, S> {
    subject: &'s S,
    tamper: &'static dyn Tamper,
}

impl<'s, S> Mutated<'s, S> {
    /// The subject with this mistake in its map.
    pub const fn new(subject: &'s S, tamper: &'static dyn Tamper) -> Self {
        Self { subject, tamper }
    }
}

impl<S: Subject<N>, const N: usize> Subject<N> for Mutated<'_, S> {
    type Part = Mutant<S::Part>;
    type Desk = S::Desk;

    fn stated(&self) -> Stated {
        self.subject.stated()
    }

    fn address(&self) -> u8 {
        self.subject.address()
    }

    fn map(&self) -> Self::Part {
        Mutant::new(self.subject.map(), self.tamper)
    }

    fn ranges(&self, channel: Channel) -> Ranges {
        self.subject.ranges(channel)
    }

    fn shunt(&self) -> Resistance {
        self.subject.shunt()
    }

    fn settling_us(&self) -> u32 {
        self.subject.settling_us()
    }

    fn coarseness(&self, channel: Channel) -> Coarseness {
        self.subject.coarseness(channel)
    }

    fn desk(&self, oscillator_ppm: i32) -> S::Desk {
        self.subject.desk(oscillator_ppm)
    }
}

/// The first check that finds the mistake, if any does. For one mistake at a time.
pub fn caught<S: Subject<N>, const N: usize>(
    subject: &S,
    tamper: &'static dyn Tamper,
) -> Option<CheckResult>
where
    S::Part: Part,
{
    map::IS_SHORT.store(tamper.is_short(), Relaxed);
    let found = first_failure(&Mutated::new(subject, tamper));
    map::IS_SHORT.store(false, Relaxed);
    found
}
