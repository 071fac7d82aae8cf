//! Limits at the code, as the part compares it or as the driver judges it.

use alloc::{format, string::String, vec, vec::Vec};

use crake::old::alert::{Cause, Causes, Kind, Outputs, Watch, Watches};
use crake::old::{Channel, Mode, Setup};

use crate::old::conformance::probe::Spoil;
use crate::old::conformance::report::{Notes, Stop};
use crate::old::conformance::scene::{Point, Scene, middle};
use crate::old::conformance::trial::Trial;
use crate::old::conformance::{Desk, Subject};

type Checked = Result<(), Stop>;

/// The cause of a kind on a channel.
pub(super) fn cause(channel: Channel, kind: Kind) -> Causes {
    Causes::of(Cause::Limit(channel, kind))
}

/// Names of causes, for findings.
pub(super) fn names(causes: Causes) -> String {
    if causes.is_empty() {
        return "nothing".into();
    }
    let names: Vec<String> = causes.each().map(|cause| format!("{cause}")).collect();
    names.join(", ")
}

/// Each kind on each channel: nothing at the limit's own code, a cause at the first code beyond.
pub(super) fn limit_at_code_boundary<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    for kind in Kind::ALL {
        for channel in scene.channels() {
            let codes = codes(scene, kind);
            let first = usize::from(channel == Channel::C0) * codes.len();
            for code in &codes[..first.max(1)] {
                notes.tried();
                boundary(scene, notes, channel, kind, *code)?;
            }
        }
    }
    Ok(())
}

/// Codes at which a limit may stand: in the middle, next to both ends, on both sides of zero.
fn codes<S: Subject<N>, const N: usize>(scene: &Scene<'_, S, N>, kind: Kind) -> Vec<i64> {
    let (sense, bus) = (scene.sense_full(), scene.bus_full());
    if !scene.is_exact() {
        let middle = middle(kind, sense, bus);
        return match kind {
            Kind::OverVoltage | Kind::UnderVoltage => vec![middle, bus / 2],
            _ => vec![middle, -middle],
        };
    }
    match kind {
        Kind::OverVoltage => vec![bus / 3, 255, 0, bus - 1],
        Kind::UnderVoltage => vec![bus / 3, 256, 1, bus],
        Kind::OverCurrent => vec![sense / 3, -sense / 3, 0, -1, -sense, sense - 1],
        Kind::UnderCurrent => vec![sense / 3, -sense / 3, 0, 1, -sense, sense],
        Kind::OverPower => vec![sense / 3, -sense / 3, 255],
    }
}

fn boundary<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
    channel: Channel,
    kind: Kind,
    code: i64,
) -> Checked {
    // At the limit itself, or as near as the part's numbers come.
    let here = if scene.is_exact() {
        code
    } else {
        scene.beyond(kind, code, -1)
    };
    let mut trial = scene.running()?;
    trial.apply_all(scene.point(kind, here));
    trial.settle();
    let watches = [scene.watch(channel, kind, code)];
    trial.arm(&Watches::limits(&watches))?;
    trial.judged()?;
    let at = trial.service(Causes::LIMITS)?;
    let (name, wanted) = (
        format!("{kind} of {channel}, limit at code {code}"),
        cause(channel, kind),
    );
    if at == wanted {
        return notes.find(format!(
            "{name}: code {here} applied, and the cause is set; expected nothing: one code too early, or not a strict comparison"
        ));
    }
    if !at.is_empty() {
        return notes.find(format!(
            "{name}: code {here} applied, {} told: kinds or channels mixed up",
            names(at)
        ));
    }
    let next = scene.beyond(kind, code, 1);
    trial.apply_all(scene.point(kind, next));
    trial.judged()?;
    let past = trial.service(Causes::LIMITS)?;
    if past == wanted {
        return Ok(());
    }
    let guess = if past.is_empty() {
        instead(scene, &mut trial, channel, kind, code)?
    } else {
        String::new()
    };
    notes.find(format!(
        "{name}: code {next} applied, {} told, expected the cause{guess}",
        names(past)
    ))
}

/// Nothing came of the first code beyond: what does something come of?
fn instead<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    trial: &mut Trial<'_, S, N>,
    channel: Channel,
    kind: Kind,
    code: i64,
) -> Result<String, Stop> {
    for steps in [2, 3, 256, -1, -2, -256] {
        trial.apply_all(scene.point(kind, scene.beyond(kind, code, steps)));
        trial.judged()?;
        let told = trial.service(Causes::LIMITS)?;
        if told.is_empty() {
            continue;
        }
        let at = scene.beyond(kind, code, steps);
        let guess = if told == cause(channel, kind) {
            "the limit in the part is another code than asked for"
        } else if told == cause(channel, opposite(kind)) {
            "over and under are swapped"
        } else {
            "kinds or channels are mixed up"
        };
        return Ok(format!(": code {at} brings {}: {guess}", names(told)));
    }
    Ok(": nor do others near it: the limit is not in force".into())
}

const fn opposite(kind: Kind) -> Kind {
    match kind {
        Kind::OverVoltage => Kind::UnderVoltage,
        Kind::UnderVoltage => Kind::OverVoltage,
        Kind::OverCurrent => Kind::UnderCurrent,
        Kind::UnderCurrent | Kind::OverPower => Kind::OverCurrent,
    }
}

/// Every transfer of arming lost on its way, one at a time: arming fails, or what it put in force holds all the same.
pub(super) fn limit_reads_back<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    for kind in Kind::ALL {
        let code = middle(kind, scene.sense_full(), scene.bus_full());
        let output = scene.outputs().next().unwrap_or(Outputs::A);
        let debounce = scene.spec.alerts.debounce_max.min(2);
        let watch = Watch::new(Channel::C0, scene.limit(Channel::C0, kind, code))
            .held()
            .debounce(debounce)
            .to(output);
        if !scene.by_part(&watch) {
            continue;
        }
        let watches = [watch];
        let mut lost = 0;
        loop {
            let mut trial = scene.running()?;
            trial.rest(kind, code);
            trial.settle();
            trial.tap.spoil(lost, Spoil::Lost);
            let armed = trial.arm(&Watches::limits(&watches));
            let log = trial.tap.log();
            trial.tap.begin();
            let Some(transfer) = log.get(lost) else { break };
            // What a lost read leaves in the buffer is the check byte's affair.
            if armed.is_ok() && transfer.read == 0 {
                notes.tried();
                holds(scene, notes, &mut trial, &watch, code, transfer.pointer)?;
            }
            lost += 1;
        }
    }
    if !Kind::ALL
        .iter()
        .any(|kind| scene.spec.alerts.kinds.contains(kind))
    {
        return Err(Stop::NotApplicable(
            "Spec: the driver judges every limit".into(),
        ));
    }
    Ok(())
}

fn holds<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
    trial: &mut Trial<'_, S, N>,
    watch: &Watch,
    code: i64,
    pointer: u8,
) -> Checked {
    let kind = watch.limit().kind();
    let text = |what: &str| {
        format!(
            "{kind}: the write to register 0x{pointer:02X} was lost on its way, arming said nothing of it, and {what}: not read back?"
        )
    };
    trial.judged()?;
    let early = trial.service(Causes::LIMITS)?;
    if !early.is_empty() {
        return notes.find(text(&format!(
            "{} is told with everything within its limits",
            names(early)
        )));
    }
    trial.apply_all(scene.point(kind, scene.beyond(kind, code, 1)));
    trial.judged()?;
    if trial.desk.is_low(watch.outputs()) == Some(false) {
        return notes.find(text("the output stays high beyond the limit"));
    }
    // Back again: what is held is still there.
    trial.rest(kind, code);
    trial.judged()?;
    let told = trial.service(Causes::LIMITS)?;
    if told != cause(Channel::C0, kind) {
        return notes.find(text(&format!("beyond the limit {} is told", names(told))));
    }
    Ok(())
}

/// One less than the debounce brings nothing, the debounce itself the cause, an interruption begins anew.
pub(super) fn debounce<S: Subject<N>, const N: usize>(
    scene: &Scene<'_, S, N>,
    notes: &mut Notes,
) -> Checked {
    let single = Setup {
        mode: Mode::SingleShot,
        ..scene.fast()
    };
    let mut skipped = Vec::new();
    for kind in Kind::ALL {
        let last = Channel::new(N as u8 - 1);
        for (channel, count) in [(Channel::C0, 2), (Channel::C0, 3), (last, 15)] {
            let code = middle(kind, scene.sense_full(), scene.bus_full());
            let by_kind = scene.watch(channel, kind, code);
            let most = if scene.by_part(&by_kind) {
                scene.spec.alerts.debounce_max
            } else {
                15
            };
            let count = count.min(most);
            let watch = by_kind.debounce(count);
            let by_part = scene.by_part(&watch);
            if count < 2 || by_part && !scene.takes(&single) {
                if !skipped.contains(&kind) {
                    skipped.push(kind);
                }
                continue;
            }
            notes.tried();
            let setup = if by_part { single } else { scene.fast() };
            let mut counter = Counter::new(scene, kind, code, &setup, watch)?;
            counter.run(notes, channel, count)?;
        }
    }
    if !skipped.is_empty() {
        let names: Vec<String> = skipped.iter().map(|kind| format!("{kind}")).collect();
        notes.remark(format!(
            "conversions of {} cannot be counted one by one, or have no debounce",
            names.join(", ")
        ));
    }
    Ok(())
}

/// A trial in which conversions come one by one: single-shots where the part compares, frames where the driver does.
struct Counter<'s, S: Subject<N>, const N: usize> {
    trial: Trial<'s, S, N>,
    setup: Setup<N>,
    watch: Watch,
    within: Point,
    past: Point,
}

impl<'s, S: Subject<N>, const N: usize> Counter<'s, S, N> {
    fn new(
        scene: &'s Scene<'s, S, N>,
        kind: Kind,
        code: i64,
        setup: &Setup<N>,
        watch: Watch,
    ) -> Result<Self, Stop> {
        let mut trial = scene.trial();
        let (within, past) = (
            scene.point(kind, scene.beyond(kind, code, -2)),
            scene.point(kind, scene.beyond(kind, code, 1)),
        );
        trial.apply_all(within);
        trial.init(setup)?;
        trial.settle();
        trial.arm(&Watches::limits(&[watch]))?;
        trial.settle();
        Ok(Self {
            trial,
            setup: *setup,
            watch,
            within,
            past,
        })
    }

    /// So many conversions at a point.
    fn convert(&mut self, point: Point, count: u8) -> Checked {
        self.trial.apply_all(point);
        for _ in 0..count {
            if self.setup.mode == Mode::SingleShot {
                let setup = self.setup;
                self.trial.configure(&setup)?;
                self.trial.settle();
            } else {
                self.trial.settled()?;
            }
        }
        Ok(())
    }

    /// What is told without a further frame of the driver's counting for one: that of the service itself comes after.
    fn told(&mut self) -> Result<Causes, Stop> {
        self.trial.apply_all(self.within);
        if self.setup.mode != Mode::SingleShot {
            self.trial.settle();
        }
        Ok(self.trial.service(Causes::LIMITS)?)
    }

    fn run(&mut self, notes: &mut Notes, channel: Channel, count: u8) -> Checked {
        let kind = self.watch.limit().kind();
        let name = format!("{kind} of {channel}, debounce of {count}");
        self.convert(self.past, count - 1)?;
        let early = self.told()?;
        if !early.is_empty() {
            notes.find(format!(
                "{name}: {} told after {} conversions beyond the limit: one too early",
                names(early),
                count - 1
            ))?;
        }
        self.convert(self.within, 1)?;
        self.convert(self.past, count - 1)?;
        self.convert(self.within, 1)?;
        self.convert(self.past, 1)?;
        let interrupted = self.told()?;
        if !interrupted.is_empty() {
            notes.find(format!(
                "{name}: {} told though never more than {} in a row lay beyond",
                names(interrupted),
                count - 1
            ))?;
        }
        self.convert(self.within, 1)?;
        self.convert(self.past, count)?;
        let told = self.told()?;
        if told != cause(channel, kind) {
            notes.find(format!(
                "{name}: {} told after {count} conversions beyond the limit: a count too many?",
                names(told)
            ))?;
        }
        Ok(())
    }
}
