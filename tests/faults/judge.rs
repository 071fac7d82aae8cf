//! What has to hold whatever goes wrong: the monitor says what it is, and nothing stale is given.

use crake::alert::{Answer, Proof};
use crake::bus::Fault;
use crake::{Channel, Error, NoReading, Operation, Reading};
use crake_sim::bus::BusError;

use crate::bus::Disturbed;
use crate::host::{Ask, CODES, Outcome, Seen};
use crate::scene::{ADDRESS, Setting, tells_time_by_current, time_of_current, time_of_voltage};
use crate::trial::Trial;

/// What the monitor cannot do it refuses, without touching the bus; and it refuses nothing else.
pub fn refusal(trial: &Trial, ask: Ask, outcome: &Outcome) {
    let refused = match outcome {
        Outcome::Failed(error) => matches!(
            error.fault(),
            Fault::NotConfigured | Fault::NotArmed | Fault::Unpowered
        ),
        _ => false,
    };
    let due = match ask {
        Ask::Powered(_) | Ask::AlertResponse => false,
        Ask::Init(_) | Ask::Resume(_) => !trial.powered,
        Ask::Configure(_) => !trial.powered || trial.knows.is_none() && !trial.captured,
        Ask::FetchCapture => !trial.powered || !trial.captured,
        Ask::ReadAlerts | Ask::Service | Ask::ProofTest => {
            !trial.powered || trial.knows.is_none() || trial.armed.is_none()
        }
        Ask::Sample | Ask::SetLimits(_) | Ask::StartCapture(_) => {
            !trial.powered || trial.knows.is_none()
        }
    };
    assert_eq!(
        refused, due,
        "{ask:?}, {:?} known: {outcome:?}",
        trial.knows
    );
    if due {
        assert_eq!(trial.shapes, [], "{ask:?} was refused");
    }
}

/// With nothing wrong now, an operation comes through, unless the part was meddled with before.
pub fn without_fault(trial: &Trial, ask: Ask, outcome: &Outcome) {
    let Outcome::Failed(error) = outcome else {
        return;
    };
    let excused = match (error.fault(), ask) {
        (Fault::NotConfigured | Fault::NotArmed | Fault::Unpowered, _) => true,
        (Fault::Bus, _) if !trial.answers => true,
        // Somebody else's configuration, or one that did not come through.
        (_, Ask::Resume(setting)) => {
            trial.meddled || trial.told.is_none_or(|told| told.name != setting.name)
        }
        (Fault::Reset | Fault::Changed, _) if !matches!(ask, Ask::Init(_)) => trial.meddled,
        _ => false,
    };
    assert!(excused, "{ask:?} failed without a fault: {error}");
}

/// An error names what was asked, of whom, and where.
pub fn error(trial: &Trial, ask: Ask, error: &Error<BusError>) {
    let operation = match ask {
        Ask::Init(_) => Operation::Init,
        Ask::Configure(_) => Operation::Configure,
        Ask::Sample => Operation::Sample,
        Ask::Resume(_) => Operation::Resume,
        Ask::SetLimits(_) => Operation::SetLimits,
        Ask::ReadAlerts => Operation::ReadAlerts,
        Ask::StartCapture(_) => Operation::StartCapture,
        Ask::FetchCapture => Operation::FetchCapture,
        // The piece that failed.
        Ask::Service | Ask::ProofTest => error.operation,
        Ask::Powered(_) | Ask::AlertResponse => panic!("it cannot fail"),
    };
    assert_eq!((error.operation, error.address), (operation, ADDRESS));
    if let Some(shape) = trial.shapes.last() {
        assert_eq!(error.register, shape.pointer, "{error}");
    }
    assert_ne!(error.fault(), Fault::Waits, "{error}");
}

/// Whoever says Ok has a part that is as it was told, or could not yet know.
pub fn part(trial: &Trial, ask: Ask, outcome: &Outcome, disturbed: Option<Disturbed>) {
    let (Outcome::Done | Outcome::Sampled(_) | Outcome::Proved(_), Some(setting)) =
        (outcome, trial.knows)
    else {
        return;
    };
    let differs = match ask {
        // A proof test says of a part that was reset that it proves nothing.
        Ask::Powered(_) | Ask::ProofTest => None,
        // Of the configuration they do not tell.
        Ask::SetLimits(_) | Ask::ReadAlerts => {
            let was_reset = trial.scene.was_reset();
            was_reset.then(|| "the part was reset".into())
        }
        _ => trial.scene.differs(setting),
    };
    let Some(what) = differs else {
        return;
    };
    let could_not_know = disturbed.is_some_and(|disturbed| {
        let last = disturbed.transfer + 1 == trial.shapes.len();
        // A block tells of the moment of its latch, flags of that of their reading; and a stranger
        // may write at once after a look.
        matches!(outcome, Outcome::Sampled(_))
            || matches!(ask, Ask::ReadAlerts)
            || disturbed.by_stranger
            || last && disturbed.inside
    });
    assert!(could_not_know, "{ask:?} says Ok, but {what}");
}

/// A sample is of this call, of this configuration, and complete; and no channel has another's.
///
/// Gives the setting and when it was latched, in microseconds of the bench.
pub fn sample(
    trial: &Trial,
    seen: &Seen,
    begun_us: u64,
    complete: bool,
) -> (&'static Setting, (i64, i64)) {
    let Some(setting) = trial.knows else {
        panic!("a sample of a part that is not known: {seen:?}");
    };
    assert_eq!(seen.configuration, trial.configurations);
    if let Some((configuration, scans)) = trial.scans
        && configuration == seen.configuration
    {
        // More than a period lies between two calls; and a single shot has scans of its own.
        let more = seen.scans.wrapping_sub(scans);
        let any = 1..1_000;
        assert_eq!(
            any.contains(&more),
            setting.converts(),
            "{scans}, then {seen:?}"
        );
    }
    let latched = if trial.scene.wiring.clock_jumped() {
        (begun_us as i64, trial.scene.now_us() as i64)
    } else {
        let ahead = trial.scene.wiring.clock_offset_us();
        let [before, after] = [seen.stamp.before_us, seen.stamp.after_us];
        let stamp = (before as i64 - ahead, after as i64 - ahead);
        assert!(begun_us as i64 <= stamp.0 && stamp.0 <= stamp.1, "{seen:?}");
        stamp
    };
    for (number, reading) in (0..).zip(&seen.readings) {
        let channel = Channel::new(number);
        match reading {
            Ok(reading) if setting.converts() && setting.enables(channel) => {
                self::reading(setting, channel, reading, latched);
            }
            Err(NoReading::NotEnabled(named)) if !setting.enables(channel) => {
                assert_eq!(*named, channel);
            }
            // Somebody else stopped it, and firmware resumes it as idle: results stand (section
            // 3.3).
            Ok(_) if trial.stopped && !setting.converts() => {}
            Err(NoReading::NotComplete) if !setting.converts() || !complete => {}
            other => panic!("{} {channel}: {other:?}", setting.name),
        }
    }
    (setting, latched)
}

/// One LSB of either ramp in microseconds, the coarsest: 250 µV at 1 V a second.
const LSB_US: i64 = 250;
/// From the middle of a sense conversion to that of the rail's.
const APART_US: i64 = 63;

fn reading(setting: &Setting, channel: Channel, reading: &Reading, latched: (i64, i64)) {
    let of_voltage = time_of_voltage(channel, reading.voltage.as_nanovolts());
    let of_current = time_of_current(channel, reading.current.as_nanoamps());
    let told = format!(
        "{} {channel}: {reading:?}, latched {latched:?} µs",
        setting.name
    );
    let oldest = latched.0 - setting.age_us as i64 - LSB_US;
    let latest = latched.1 + LSB_US;
    assert!(
        (oldest..=latest).contains(&of_voltage),
        "{told} is of {of_voltage} µs"
    );
    if !tells_time_by_current(channel.index()) {
        return;
    }
    assert!(
        (of_voltage - of_current).abs() <= LSB_US + APART_US,
        "{told}: voltage of {of_voltage} µs, current of {of_current} µs"
    );
    let product = i128::from(reading.voltage.as_nanovolts())
        * i128::from(reading.current.as_nanoamps())
        / 1_000_000_000;
    let off = (i128::from(reading.power.as_nanowatts()) - product).abs();
    // Means of products and products of means differ by less than an LSB of either: below 1 mW.
    assert!(off < 1_000_000, "{told}: product {product} nW");
}

/// Both outputs reach the host, where a scan ends in each step.
pub fn proof(setting: Option<&Setting>, proof: &Proof) {
    if setting.is_some_and(|setting| setting.period_us > 0) {
        assert!(proof.passed(), "{proof:?}");
    }
}

/// The part answers if it pulls an output low, and lets go with that.
pub fn answer(pulled: bool, answer: &Result<Answer, BusError>) {
    let expected = match pulled {
        true => Answer::From(ADDRESS),
        false => Answer::Nobody,
    };
    assert_eq!(*answer, Ok(expected));
}

/// Codes of a fast capture rise as the ramp does, 16 000 times a second, in their own order.
pub fn codes(trial: &Trial, codes: &[i32]) {
    assert_eq!(codes.len(), CODES);
    // 50 or 20 µA a code (section 3.4), which is 100 or 40 µs of the ramp; 62.5 µs a conversion.
    let rises = codes
        .windows(2)
        .all(|pair| (0..=2).contains(&(pair[1] - pair[0])));
    let risen = codes[CODES - 1] - codes[0];
    assert!(
        rises && (14..=36).contains(&risen),
        "{:?}: {codes:?}",
        trial.told
    );
}
