//! Flags at every moment of a look: what it clears, what it loses, and the part's own.

use alloc::{format, rc::Rc};
use core::cell::Cell;

use crake::Channel;
use crake::config::{AlertFlags, Kind, Limit, Limits};

use super::alerts::armed;
use crate::conformance::limits::{flag, names};
use crate::conformance::probe::Spoil;
use crate::conformance::report::{Checked, Notes, not_applicable};
use crate::conformance::scene::{Point, Scene};
use crate::conformance::trial::{How, PLAIN};

/// Two limits that can be passed each by itself: of kinds that the part compares, if there are, and
/// on different channels, if there are.
pub(super) fn pair(scene: &Scene<'_>) -> [(Limit, AlertFlags, Point); 2] {
    use Kind::{OverCurrent, OverVoltage, UnderCurrent, UnderVoltage};
    let of = |channel, kind: Kind| {
        let full = match kind {
            OverVoltage | UnderVoltage => scene.full().rail,
            _ => scene.full().sense,
        };
        let code = full / if kind.is_over() { 3 } else { 16 };
        let (past, rest) = (scene.beyond(kind, code, 1), within(scene));
        let past = match kind {
            OverVoltage | UnderVoltage => Point { rail: past, ..rest },
            _ => Point {
                sense: past,
                ..rest
            },
        };
        (scene.limit(channel, kind, code), flag(channel, kind), past)
    };
    let kinds = [OverCurrent, OverVoltage, UnderCurrent, UnderVoltage];
    let compared = |channel, other| {
        let mut each = kinds.into_iter().filter(|kind| Some(*kind) != other);
        each.find(|kind| scene.by_part(&of(channel, *kind).0))
    };
    let (channel, last) = (Channel::C0, scene.last());
    let kind = compared(channel, None).unwrap_or(OverCurrent);
    let second = match compared(last, Some(kind)) {
        Some(second) => second,
        None if last != channel => kind,
        None if kind == OverVoltage => OverCurrent,
        None => OverVoltage,
    };
    [of(channel, kind), of(last, second)]
}

/// Whether a flag can be set by itself, at any moment.
fn comes_up(scene: &Scene<'_>, limit: &Limit) -> bool {
    scene.by_part(limit) && scene.fast().rate.is_some()
}

/// Within both.
pub(super) fn within(scene: &Scene<'_>) -> Point {
    scene.share(1, 8)
}

/// A look clears what it tells and nothing else: what comes up at any moment of it is told by it or
/// by the next, and what was told is not told again.
pub(super) fn clears_what_was_seen(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let [first, second] = pair(scene);
    for moment in 0.. {
        let mut trial = armed(scene, within(scene), &[first.0, second.0])?;
        trial.passes(first.0.channel(), first.2, within(scene))?;
        // In the middle of the look the second one comes and goes.
        let (fixture, settling_ns) = (trial.fixture.clone(), scene.settling_ns(&trial.setup));
        let channel = second.0.channel().number();
        let place = second.0.channel().index();
        let [past, back] = [second.2, within(scene)].map(|at| scene.volts(at)[place]);
        trial.tap.between(move |number| {
            for (sense_nv, rail_nv) in [past, back].into_iter().filter(|_| number == Some(moment)) {
                fixture.apply(channel, sense_nv, rail_nv);
                fixture.run_for_ns(settling_ns);
            }
        });
        let told = trial.look()?;
        let is_over = moment >= trial.tap.log().len();
        trial.tap.begin();
        notes.tried();
        let later = trial.look()?;
        let wanted = match is_over || !comes_up(scene, &second.0) {
            true => first.1,
            false => first.1 | second.1,
        };
        if !(told | later).contains(wanted) {
            notes.find(format!(
                "{} came up before transfer {moment} of a look that finds {}, and {} is never \
                 told: more is cleared than was seen",
                names(second.1),
                names(first.1),
                names(wanted.difference(told | later))
            ))?;
        }
        let twice = trial.look()? | told & later;
        if !twice.is_empty() {
            let twice = names(twice);
            notes.find(format!(
                "{twice} told again, long over: less is cleared than was seen"
            ))?;
        }
        if is_over {
            return Ok(());
        }
    }
    Ok(())
}

/// A look that fails at any transfer, before it arrived or after, loses no event: neither what it
/// was to tell nor what came up right after the failure.
pub(super) fn lost_events(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    if scene.info.alerts.cleared_by_reading {
        return unread_events(scene, notes);
    }
    let [first, second] = pair(scene);
    for (attempts, spoil) in [1, 3].into_iter().flat_map(|attempts| {
        [Spoil::Cut(0), Spoil::Cut(1), Spoil::Cut(usize::MAX)].map(|spoil| (attempts, spoil))
    }) {
        for number in 0.. {
            let mut trial = scene.at(How { attempts, ..PLAIN }, within(scene))?;
            trial.limits(&[first.0, second.0])?;
            let settling_ns = scene.settling_ns(&trial.setup);
            let (fixture, rest) = (trial.fixture.clone(), scene.volts(within(scene)));
            let pasts =
                [first, second].map(|(limit, _, past)| (limit.channel(), scene.volts(past)));
            let excursions = move || {
                for (channel, past) in &pasts {
                    for (sense_nv, rail_nv) in [past, &rest].map(|volts| volts[channel.index()]) {
                        fixture.apply(channel.number(), sense_nv, rail_nv);
                        fixture.run_for_ns(settling_ns);
                    }
                }
            };
            trial.passes(first.0.channel(), first.2, within(scene))?;
            let happened = Rc::new(Cell::new(false));
            let (happens, again) = (happened.clone(), excursions.clone());
            trial.tap.between(move |transfer| {
                if transfer == Some(number + 1) {
                    again();
                    happens.set(true);
                }
            });
            trial.tap.plan(number, spoil);
            let mut seen = AlertFlags::empty();
            let _ = trial.rig.read_alerts(&mut seen);
            let log = trial.tap.log();
            trial.tap.begin();
            let Some(transfer) = log.get(number) else {
                break;
            };
            notes.tried();
            if !happened.get() {
                excursions();
            }
            trial.compared()?;
            let later = trial.look()?;
            // What was read before the last write, which clears, is older than what came up after.
            let reads = log[number..].iter().any(|transfer| transfer.read > 0);
            let told = if reads { later | seen } else { later };
            let each = [first, second].into_iter();
            let each = each.filter(|(limit, ..)| comes_up(scene, limit));
            let wanted = each.fold(AlertFlags::empty(), |all, (_, flag, _)| all | flag);
            if !told.contains(wanted) || !(later | seen).contains(first.1) {
                let missing = names((wanted | first.1).difference(told));
                let register = transfer.register;
                notes.find(format!(
                    "the access to register 0x{register:02X} in a look failed ({spoil:?}, of \
                     {attempts} attempts), and {missing}, which came up before or right after, is \
                     never told: is an access that clears repeated?"
                ))?;
            }
        }
    }
    Ok(())
}

/// Where reading clears the flags, a look that fails has its event all the same, or the queue says
/// that some may be lost.
fn unread_events(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let [(limit, wanted, past), _] = pair(scene);
    let list = [limit];
    let limits = Limits::new(&list);
    for attempts in [1, 3] {
        for number in 0.. {
            let mut trial = scene.at(How { attempts, ..PLAIN }, within(scene))?;
            trial.rig.arm(&limits)?;
            trial.passes(limit.channel(), past, within(scene))?;
            trial.tap.spoil(number, Spoil::Cut(usize::MAX));
            let _ = trial.rig.service();
            let log = trial.tap.log();
            trial.tap.begin();
            trial.rig.service()?;
            let Some(transfer) = log.get(number) else {
                break;
            };
            notes.tried();
            if !trial.rig.events().contains(wanted) && trial.rig.unread() == 0 {
                let register = transfer.register;
                notes.find(format!(
                    "the access to register 0x{register:02X} in a look arrived and failed \
                     nevertheless ({attempts} attempts): {} is never told, nor that events may be \
                     lost: is a read that clears repeated?",
                    names(wanted)
                ))?;
            }
        }
    }
    Ok(())
}

/// A sum that reaches the part's mark is told on the output that was asked for; one that does not
/// is not.
pub(super) fn rollover_ahead(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let eighths = i64::from(scene.stated.rollover_ahead_eighths);
    if eighths == 0 {
        return not_applicable("datasheet: the part does not tell of a rollover ahead");
    }
    let output = scene.output();
    let limits = Limits::new(&[]).rollover_ahead(output);
    let bits = scene.info.sum_bits;
    let each = scene.channels();
    for (name, channel) in each.flat_map(|channel| [("charge", channel), ("energy", channel)]) {
        notes.tried();
        let few = Point {
            sense: 100,
            rail: 100,
        };
        let mut trial = scene.at(PLAIN, few)?;
        trial.rig.set_limits(&limits, &mut AlertFlags::empty())?;
        let fixture = trial.fixture.clone();
        // A few scans before a mark of so many eighths.
        let set = |eighths: i64| match name {
            "charge" => fixture.preload(channel.number(), (eighths << (bits.charge - 4)) - 1, 0),
            _ => fixture.preload(channel.number(), 0, (eighths << (bits.energy - 4)) - 1),
        };
        if !set(eighths - 1) {
            return not_applicable("the fixture cannot set running sums");
        }
        trial.settle();
        let early = trial.fixture.is_low(output);
        set(eighths);
        trial.settle();
        let late = trial.fixture.is_low(output);
        let mut seen = AlertFlags::empty();
        trial.rig.read_alerts(&mut seen)?;
        if early == Some(true) || late == Some(false) || !seen.contains(AlertFlags::ROLLOVER_AHEAD)
        {
            let low = |low| if low == Some(true) { "low" } else { "high" };
            notes.find(format!(
                "{channel}: {name} a little below {eighths} eighths: the output is {}; beyond: {}, \
                 and {} is told",
                low(early),
                low(late),
                names(seen & AlertFlags::OWN)
            ))?;
        }
    }
    Ok(())
}
