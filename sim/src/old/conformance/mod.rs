//! The conformance kit: proves that a register map says what its datasheet says.
//!
//! A porter gives a map and a fixture that it talks to, as a [`Subject`]: a model on the bench, a [`Scripted`] register file, or hardware. [`check`] makes every check on it and tells what it found:
//!
//! ```
//! use crake_sim::old::conformance::{check, Corncrake};
//!
//! check(&Corncrake).assert();
//! ```
//!
//! Expected values are worked out here with whole numbers, from the map's own `Spec` and what the fixture was told to apply, never by the driver; and the `Spec` is held against a second
//! statement in the datasheet's own terms ([`Stated`]). Bus faults come from the kit, between driver and fixture, so every fixture gets them. A check for which a part has nothing to check
//! says so and why ([`Outcome::NotApplicable`]); none passes by default.
//!
//! [`mutant`] holds deliberately wrong maps: the kit is itself tested by them.
//!
//! It builds without `std`, to be run on a microcontroller as well.

mod bench_desk;
mod checks;
mod corncrake;
mod gallinule;
mod moorhen;
pub mod mutant;
mod probe;
mod report;
mod scene;
mod scripted;
mod subject;
mod suspect;
mod trial;

use alloc::vec::Vec;

use crake::old::part::Codec;

pub use bench_desk::{BenchDesk, OnDesk};
pub use checks::COUNT;
pub use corncrake::Corncrake;
pub use gallinule::Gallinule;
pub use moorhen::Moorhen;
pub use report::{CheckResult, Outcome, Report};
pub use scripted::{Applied, Registers, Script, Scripted};
pub use subject::{Coarseness, Desk, Stated, StatedRange, Subject};

/// Makes every check on a subject.
pub fn check<S: Subject<N>, const N: usize>(subject: &S) -> Report {
    check_with(subject, |_, _| {})
}

/// The same, telling before each check its number, from 0 up to [`COUNT`], and its name.
pub fn check_with<S: Subject<N>, const N: usize>(
    subject: &S,
    mut progress: impl FnMut(usize, &'static str),
) -> Report {
    let checks = checks::all::<S, N>();
    let each = checks.iter().enumerate().map(|(number, check)| {
        progress(number, check.name);
        check.run(subject)
    });
    Report {
        part: subject.map().spec().name,
        results: each.collect::<Vec<_>>(),
    }
}

/// Makes checks until one fails, and gives that one; `None` if all passed.
pub fn first_failure<S: Subject<N>, const N: usize>(subject: &S) -> Option<CheckResult> {
    checks::all::<S, N>()
        .iter()
        .map(|check| check.run(subject))
        .find(CheckResult::failed)
}

/// Name and one line of each check, in order.
pub fn names() -> impl Iterator<Item = (&'static str, &'static str)> {
    checks::all::<Corncrake, 4>()
        .into_iter()
        .map(|check| (check.name, check.what))
}
