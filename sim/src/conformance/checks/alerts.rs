//! Limits: at the code, taken away, read back, debounced; and whether their flags stay.

use alloc::{format, string::String};

use crake::Channel;
use crake::config::{AlertFlags, Kind, Limit, Limits};

use crate::conformance::limits::{flag, names};
use crate::conformance::probe::Spoil;
use crate::conformance::report::{Checked, Notes, Stop};
use crate::conformance::scene::{Point, Scene};
use crate::conformance::trial::{PLAIN, Trial};

/// Each kind on each channel: nothing at the limit's own code, a flag at the first code beyond.
pub(super) fn limit_at_code(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let Point { sense, rail } = scene.full();
    let min = scene.least();
    for kind in Kind::ALL {
        // In the middle, next to both ends, on both sides of zero, where bytes change.
        let codes: &[i64] = match kind {
            Kind::OverVoltage => &[rail / 3, 255, 0, rail - 1],
            Kind::UnderVoltage => &[rail / 3, 256, 1, rail],
            Kind::OverCurrent => &[sense / 3, -sense / 3, 0, -1, -sense, sense - 1],
            Kind::UnderCurrent => &[sense / 3, -sense / 3, 0, 1, -sense, sense],
            Kind::OverPower => &[sense / 3, -sense / 3, 255],
        };
        for channel in scene.channels() {
            let all = channel == Channel::C0 && scene.is_exact();
            let few = if all { codes } else { &codes[..1] };
            // Some code has to lie beyond.
            for code in few.iter().filter(|code| **code > min || kind.is_over()) {
                notes.tried();
                boundary(scene, notes, channel, kind, *code)?;
            }
        }
    }
    Ok(())
}

fn boundary(
    scene: &Scene<'_>,
    notes: &mut Notes,
    channel: Channel,
    kind: Kind,
    code: i64,
) -> Checked {
    let name = format!("{kind} of {channel}, limit at code {code}");
    let wanted = flag(channel, kind);
    // The limit's own code, or as near as numbers come.
    let near = scene.beyond(kind, code, -1);
    let here = if scene.is_exact() { code } else { near };
    let mut trial = scene.at(PLAIN, scene.point(kind, here))?;
    trial.limits(&[scene.limit(channel, kind, code)])?;
    let told_at = |trial: &mut Trial<'_>, code| {
        trial.apply_all(scene.point(kind, code));
        trial.compared()?;
        trial.look()
    };
    let at = told_at(&mut trial, here)?;
    if !at.is_empty() {
        let hint = match at == wanted {
            true => "one code too early, or not a strict comparison",
            false => "kinds or channels are mixed up",
        };
        return notes.find(format!(
            "{name}: code {code} applied, {} told: {hint}",
            names(at)
        ));
    }
    let next = scene.beyond(kind, code, 1);
    let past = told_at(&mut trial, next)?;
    if past == wanted {
        return Ok(());
    }
    // What does something come of?
    let mut hint = String::from(match trial.by_driver {
        _ if !past.is_empty() => "kinds or channels are mixed up",
        false => "nor of codes near it: the limit is not in force",
        true => "the driver compares it: is `Comparator` a SoftwareComparator of all channels?",
    });
    for steps in [2, 3, 256, -1, -2, -256]
        .into_iter()
        .filter(|_| past.is_empty())
    {
        let code = scene.beyond(kind, code, steps);
        let told = told_at(&mut trial, code)?;
        if !told.is_empty() {
            let guess = match told == wanted {
                true => "the limit in the part is another code than asked for",
                false => "over and under, kinds or channels are mixed up",
            };
            hint = format!("code {code} brings {}: {guess}", names(told));
            break;
        }
    }
    notes.find(format!(
        "{name}: {} told of code {next}, expected the flag; {hint}",
        names(past)
    ))
}

/// A latching flag is told after its condition is over; a following one only while it lasts.
pub(super) fn latching(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    for (kind, latching) in Kind::ALL
        .into_iter()
        .flat_map(|kind| [(kind, true), (kind, false)])
    {
        notes.tried();
        let (code, wanted) = (scene.middle(kind), flag(Channel::C0, kind));
        let limit = scene.limit(Channel::C0, kind, code);
        let limit = if latching { limit } else { limit.following() };
        let (within, past) = (at(scene, kind, -2), at(scene, kind, 1));
        let mut trial = armed(scene, within, &[limit])?;
        trial.apply(Channel::C0, past);
        trial.compared()?;
        let how = if latching { "latching" } else { "following" };
        if !latching {
            let lasting = trial.look()?;
            if lasting != wanted {
                let told = names(lasting);
                notes.find(format!(
                    "{kind}, following: {told} told while the condition lasts"
                ))?;
            }
            // Cleared, and set again by the next conversion that finds it.
            trial.compared()?;
            if trial.by_driver {
                trial.look()?;
            }
        }
        trial.apply_all(within);
        trial.compared()?;
        let over = trial.look()?;
        let expected = if latching {
            wanted
        } else {
            AlertFlags::empty()
        };
        if over != expected {
            notes.find(format!(
                "{kind}, {how}: {} told after the condition was over, expected {}: latching is not \
                 put in force as asked for",
                names(over),
                names(expected)
            ))?;
        }
    }
    Ok(())
}

/// Limits that are taken away, by others or with their configuration, set no flag and pull no
/// output any more; a flag that stood before is told all the same.
pub(super) fn limits_removed(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let output = scene.output();
    let each = Kind::ALL.into_iter().flat_map(|kind| {
        let channels = [Channel::C0, scene.last()];
        channels.map(|channel| scene.limit(channel, kind, scene.middle(kind)).to(output))
    });
    for limit in each.filter(|limit| scene.by_part(limit)) {
        for (by_configure, stands) in [(false, false), (false, true), (true, false), (true, true)] {
            notes.tried();
            let (kind, wanted) = (limit.kind(), flag(limit.channel(), limit.kind()));
            let mut trial = armed(scene, at(scene, kind, -2), &[limit])?;
            let (channel, past) = (limit.channel(), at(scene, kind, 1));
            if stands {
                trial.passes(channel, past, at(scene, kind, -2))?;
            }
            let (mut seen, none) = (AlertFlags::empty(), Limits::new(&[]));
            let by = match by_configure {
                true => trial.configure(&scene.fast()).map(|()| "configure"),
                false => trial
                    .rig
                    .set_limits(&none, &mut seen)
                    .map(|()| "other limits"),
            }?;
            if !stands {
                trial.apply(channel, past);
                trial.settled()?;
            }
            let low = trial.fixture.is_low(output) == Some(true);
            trial.rig.set_limits(&none, &mut seen)?;
            let told = seen & AlertFlags::LIMITS;
            if stands && told != wanted {
                let told = names(told);
                notes.find(format!(
                    "{} stood when {by} came, and {told} is told: the flag is lost",
                    names(wanted)
                ))?;
            }
            if !stands && (low || !told.is_empty()) {
                notes.find(format!(
                    "{kind} of {channel} was taken away by {by}, and its limit is still in force: \
                     it is left in the part"
                ))?;
            }
        }
    }
    Ok(())
}

/// A trial with limits set while everything is within them.
pub(super) fn armed<'t>(
    scene: &'t Scene<'t>,
    rest: Point,
    limits: &[Limit],
) -> Result<Trial<'t>, Stop> {
    let mut trial = scene.at(PLAIN, rest)?;
    trial.limits(limits)?;
    trial.compared()?;
    Ok(trial)
}

/// So many codes beyond the middle of a kind's scale.
pub(super) fn at(scene: &Scene<'_>, kind: Kind, steps: i64) -> Point {
    scene.point(kind, scene.beyond(kind, scene.middle(kind), steps))
}

/// Every write of a setting of limits lost on its way, one at a time: the setting fails, or what it
/// put in force holds all the same.
pub(super) fn limits_read_back(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let output = scene.output();
    for kind in Kind::ALL {
        let limit = scene.limit(Channel::C0, kind, scene.middle(kind));
        let limit = limit
            .to(output)
            .debounce(scene.info.alerts.debounce_max.min(2));
        for lost in (0..).take_while(|_| scene.by_part(&limit)) {
            let mut trial = scene.at(PLAIN, at(scene, kind, -2))?;
            trial.tap.spoil(lost, Spoil::Lost);
            let mut seen = AlertFlags::empty();
            let set = trial.rig.set_limits(&Limits::new(&[limit]), &mut seen);
            let log = trial.tap.log();
            trial.tap.begin();
            let Some(transfer) = log.get(lost) else { break };
            // What a lost read leaves in the buffer is the check byte's affair.
            if set.is_err() || transfer.read > 0 {
                continue;
            }
            notes.tried();
            trial.compared()?;
            let early = trial.look()?;
            trial.apply(Channel::C0, at(scene, kind, 1));
            trial.compared()?;
            let high = trial.fixture.is_low(output) == Some(false);
            trial.apply_all(at(scene, kind, -2));
            trial.compared()?;
            let told = trial.look()?;
            if !early.is_empty() || high || told != flag(Channel::C0, kind) {
                notes.find(format!(
                    "{kind}: the write to register 0x{:02X} was lost on its way, the setting of \
                     limits said nothing of it, and {} is told beyond the limit: not read back?",
                    transfer.register,
                    names(told)
                ))?;
            }
        }
    }
    Ok(())
}

/// One less than the debounce brings nothing, the debounce itself the flag, an interruption begins
/// anew.
pub(super) fn debounce(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    // Conversions come one by one: as scans that rest in between, or as samples.
    let rests = |period_us: &u32| u64::from(*period_us) * 1_000 > 8 * scene.scan_ns(&scene.fast());
    let slow = scene.info.scan_periods_us.iter().position(rests);
    for kind in Kind::ALL {
        for (channel, count) in [(Channel::C0, 2), (Channel::C0, 3), (scene.last(), 15)] {
            let limit = scene
                .limit(channel, kind, scene.middle(kind))
                .debounce(count);
            let by_scans = scene.by_part(&limit) && !scene.info.scan_periods_us.is_empty();
            if by_scans && slow.is_none() {
                notes.leave_out("scans follow each other without a rest: they cannot be counted");
                continue;
            }
            notes.tried();
            let rate = if by_scans { slow } else { scene.fast().rate };
            let mut trial = scene.trial(PLAIN);
            let (rest, past) = (at(scene, kind, -2), at(scene, kind, 1));
            trial.apply_all(rest);
            trial.init(&scene.fast().at(rate))?;
            // In the middle of a rest, from which periods are counted.
            let period_ns = scene.period_ns(&trial.setup);
            trial.fixture.run_for_ns(period_ns / 2);
            let middle_ns = trial.fixture.now_ns();
            trial.limits(&[limit])?;
            let mut told = |counts: &[u8]| -> Result<AlertFlags, Stop> {
                for (place, scans) in counts.iter().chain([&1]).enumerate() {
                    trial.apply_all(if place % 2 == 0 && place < counts.len() {
                        past
                    } else {
                        rest
                    });
                    for _ in 0..*scans {
                        if by_scans {
                            let passed_ns = trial.fixture.now_ns() - middle_ns;
                            trial.fixture.run_for_ns(period_ns - passed_ns % period_ns);
                        } else {
                            trial.compared()?;
                        }
                    }
                }
                trial.look()
            };
            // The last comes with a code within the limit behind it, before anybody looks.
            let less = count - 1;
            for (scans, expected) in [
                (&[less] as &[u8], AlertFlags::empty()),
                (&[less, 1, less], AlertFlags::empty()),
                (&[count], flag(channel, kind)),
            ] {
                let flags = told(scans)?;
                if flags != expected {
                    notes.find(format!(
                        "{kind} of {channel}, debounce of {count}: {} told after conversions \
                         within, … of {scans:?}, expected {}",
                        names(flags),
                        names(expected)
                    ))?;
                }
            }
        }
    }
    Ok(())
}
