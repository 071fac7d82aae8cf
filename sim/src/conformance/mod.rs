//! The conformance kit: proves that a register map says what its datasheet says.
//!
//! A porter gives a map and a fixture that it talks to, as a [`Subject`]: a model on the bench
//! ([`BenchFixture`]), a [`Scripted`] register file, or hardware. [`check`] makes every check on it
//! and tells what it found:
//!
//! ```
//! # #[cfg(not(feature = "cli"))] fn main() {}
//! # #[cfg(feature = "cli")] fn main() {
//! use crake_sim::conformance::{check, Corncrake};
//!
//! check(&Corncrake).assert();
//! # }
//! ```
//!
//! Expected values are worked out here with whole numbers, from the map's own `PartInfo` and what
//! the fixture was told to apply, never by the driver; and the `PartInfo` is held against a second
//! statement in the datasheet's own terms ([`Stated`]). The driver's monitor runs the map, blocking
//! and async, with totals and an alert queue behind it. Bus faults come from the kit, between
//! driver and fixture. A check for which a part has nothing to check says so and why; none passes
//! by default. An operation that does not end is stopped and named.
//!
//! It builds without `std`, to be run on a microcontroller as well.

mod checks;
mod corncrake;
mod fixture;
mod gallinule;
mod hint;
mod limits;
mod moorhen;
mod probe;
mod report;
mod rig;
mod scene;
mod scripted;
mod subject;
mod trial;

use alloc::{string::String, vec::Vec};

use crake::board::{Board, Rail, SenseResistor};
use crake::info::PartInfo;
use crake::part::Part;
use crake::units::Tolerance;

pub use corncrake::Corncrake;
pub use fixture::{BenchFixture, Fixture, OnBench};
pub use gallinule::Gallinule;
pub use moorhen::Moorhen;
pub use report::{CheckResult, Outcome, Report};
pub use scripted::{Applied, Registers, Script, Scripted, Wire};
pub use subject::{OverRange, Stated, StatedRange, Subject};

use rig::Held;
use scene::Scene;

/// Number of checks.
pub const COUNT: usize = checks::ALL.len();

/// Makes every check on a subject. On a terminal it shows how far it is.
pub fn check<S: Subject<N>, const N: usize>(subject: &S) -> Report {
    check_with(subject, shown)
}

/// The same, telling before each check its number, from 0 up to [`COUNT`], and its name.
pub fn check_with<S: Subject<N>, const N: usize>(
    subject: &S,
    mut progress: impl FnMut(usize, &'static str),
) -> Report {
    with_scene(subject, |scene| {
        let each = checks::ALL.iter().enumerate().map(|(number, check)| {
            progress(number, check.name);
            check.run(scene)
        });
        let results: Vec<_> = each.collect();
        progress(COUNT, "");
        Report {
            part: scene.info.name,
            results,
        }
    })
}

/// Makes checks until one fails, and gives that one; `None` if all passed.
pub fn first_failure<S: Subject<N>, const N: usize>(subject: &S) -> Option<CheckResult> {
    with_scene(subject, |scene| {
        let mut each = checks::ALL.iter().map(|check| check.run(scene));
        each.find(CheckResult::failed)
    })
}

/// Name and one line of each check, in order.
pub fn names() -> impl Iterator<Item = (&'static str, &'static str)> {
    checks::ALL.iter().map(|check| (check.name, check.about))
}

/// Where a `PartInfo` is not what its datasheet says: what the first check finds.
#[must_use]
pub fn compare(info: &PartInfo, stated: &Stated) -> Vec<String> {
    checks::info::compare(info, stated)
}

fn with_scene<S: Subject<N>, const N: usize, R>(
    subject: &S,
    act: impl FnOnce(&Scene<'_>) -> R,
) -> R {
    let (info, resistance) = (S::Part::INFO, subject.resistor());
    let rail = Rail::new(SenseResistor::new(resistance, Tolerance::ZERO));
    let board = Board::new(info, &[rail; N]);
    act(&Scene {
        subject: &Held { subject, board },
        info,
        stated: subject.stated(),
        nanoohms: resistance.as_nanoohms().into(),
        count: N as u8,
    })
}

#[cfg(feature = "std")]
fn shown(number: usize, name: &'static str) {
    use std::io::{IsTerminal, Write, stderr};
    let mut terminal = stderr();
    if terminal.is_terminal() {
        // A terminal that is gone is nobody's loss.
        let _ = write!(terminal, "\r\x1B[K");
        if number < COUNT {
            let _ = write!(terminal, "conformance: {} of {COUNT}, {name}", number + 1);
        }
        let _ = terminal.flush();
    }
}

#[cfg(not(feature = "std"))]
fn shown(_: usize, _: &'static str) {}
