//! Running sums from sample to sample, over their ends, and what totals make of them.

use alloc::format;

use crake::Channel;
use crake::info::Source;
use crake::totals::{Discontinuity, Update};

use crate::conformance::report::{Checked, Notes, not_applicable};
use crate::conformance::rig::Seen;
use crate::conformance::scene::{Point, Scene};
use crate::conformance::trial::PLAIN;

/// Which sum.
#[derive(Clone, Copy, Debug)]
enum Sum {
    Charge,
    Energy,
}

/// Between two samples each sum grows by scans times code.
pub(super) fn running_sums(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    kept_by_part(scene, scene.info.charge_sum)?;
    let mut trial = scene.running(PLAIN)?;
    let mut before = trial.settled()?;
    for periods in [1, 7, 100] {
        trial
            .fixture
            .run_for_ns(periods * scene.period_ns(&trial.setup));
        let after = trial.rig.sample()?;
        grown(scene, notes, &before, &after)?;
        before = after;
    }
    Ok(())
}

/// Sums of both samples differ by scans times code, modulo their widths.
fn grown(scene: &Scene<'_>, notes: &mut Notes, before: &Seen, after: &Seen) -> Checked {
    let bits = scene.info.sum_bits;
    let spare = 32 - u32::from(bits.scans);
    let scans = after.scans.wrapping_sub(before.scans);
    let scans = i64::from(scans.unbounded_shl(spare).unbounded_shr(spare));
    for channel in scene.channels() {
        notes.tried();
        let (point, place) = (scene.own(channel), channel.index());
        let (old, new) = (before.sums[place], after.sums[place]);
        let (product, off) = scene.power(channel, point);
        let charge = (old.charge, new.charge, point.sense, 1, bits.charge);
        let energy = (old.energy, new.energy, product, off, bits.energy);
        for (name, (old, new, code, off, bits)) in [("charge", charge), ("energy", energy)] {
            let end = 1_i128 << bits.max(1) >> 1;
            if bits > 0 && !(-end..end).contains(&i128::from(new)) {
                notes.find(format!(
                    "{channel}: {name} is {new}, which {bits} bits cannot be: is its sign extended?"
                ))?;
            }
            let grown = new.wrapping_sub(old);
            let (expected, spare) = (code.wrapping_mul(scans), 64 - u32::from(bits.max(1)));
            let error = grown.wrapping_sub(expected) << spare >> spare;
            if bits > 0 && error.abs() > off.saturating_mul(scans + 1) {
                notes.find(format!(
                    "{channel}: {name} went from {old} to {new} in {scans} scans of code {code}: \
                     expected {expected} more, modulo 2^{bits}"
                ))?;
            }
        }
    }
    Ok(())
}

pub(super) fn rollover_charge(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    rollover(scene, notes, Sum::Charge, scene.info.sum_bits.charge)
}

pub(super) fn rollover_energy(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    rollover(scene, notes, Sum::Energy, scene.info.sum_bits.energy)
}

/// Sums are set right before their end, and scans take them over it, upwards where current is
/// positive and downwards where it is not: over the sum's own end, and that of every part of it
/// that a map could take for its width. Firmware restarts meanwhile: a map that knows the sums of
/// before may take a leap for a reset.
fn rollover(scene: &Scene<'_>, notes: &mut Notes, sum: Sum, bits: u8) -> Checked {
    let source = match sum {
        Sum::Charge => scene.info.charge_sum,
        Sum::Energy => scene.info.energy_sum,
    };
    kept_by_part(scene, source)?;
    let mut trial = scene.running(PLAIN)?;
    let widths = [bits, bits.saturating_sub(1), 32, 31, 16];
    for width in widths
        .into_iter()
        .filter(|it| (2..=bits.min(63)).contains(it))
    {
        for channel in scene.channels() {
            let point = scene.own(channel);
            let end = point.sense.signum() * (1 << (width - 1));
            // Some scans before it.
            let (charge, energy) = match sum {
                Sum::Charge => (end - 6 * point.sense, 0),
                Sum::Energy => (0, end - 6 * scene.power(channel, point).0),
            };
            if !trial.fixture.preload(channel.number(), charge, energy) {
                return not_applicable("the fixture cannot set running sums");
            }
        }
        let before = trial.resumed()?;
        trial.fixture.run_for_ns(20 * scene.period_ns(&trial.setup));
        let after = trial.rig.sample()?;
        let whole = |seen: &Seen| {
            let sums = seen.sums.iter().map(|sums| match sum {
                Sum::Charge => sums.charge,
                Sum::Energy => sums.energy,
            });
            sums.map(i64::unsigned_abs).max().unwrap_or_default()
        };
        if whole(&before).max(whole(&after)) < 1 << (width - 2) {
            notes.find(format!(
                "{sum:?} was set to the end of {width} bits, and {} is read: cut off?",
                whole(&after)
            ))?;
        }
        grown(scene, notes, &before, &after)?;
    }
    Ok(())
}

/// The count of scans over the end of its width, and of what a map could take for it.
pub(super) fn rollover_scans(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    kept_by_part(scene, scene.info.charge_sum)?;
    let bits = scene.info.sum_bits.scans;
    let mut trial = scene.running(PLAIN)?;
    for width in [bits, 24, 16, 8].into_iter().filter(|width| *width <= bits) {
        notes.tried();
        let set = (1_u64 << width) - 8;
        let before = trial.settled()?;
        if !trial.fixture.preload_scans(set as u32) {
            return not_applicable("the fixture cannot set the count of scans");
        }
        let near = trial.resumed()?;
        let since = u64::from(near.scans).wrapping_sub(set) & ((1 << bits) - 1);
        let elapsed_ns = (near.stamp.after_us - before.stamp.before_us) * 1_000;
        if since > elapsed_ns / scene.period_ns(&trial.setup) + 2 {
            notes.find(format!(
                "scans set to {set}, and {} read right after: cut off at another width than \
                 {bits} bits?",
                near.scans
            ))?;
            continue;
        }
        trial.fixture.run_for_ns(20 * scene.period_ns(&trial.setup));
        let past = trial.rig.sample()?;
        grown(scene, notes, &near, &past)?;
    }
    Ok(())
}

/// What totals make of steady inputs: the current by the time counted, and the power by it; and a
/// change of configuration is a gap that is told.
pub(super) fn totals(scene: &Scene<'_>, notes: &mut Notes) -> Checked {
    let mut trial = scene.running(PLAIN)?;
    let slower = scene.info.scan_periods_us.len().min(2).checked_sub(1);
    for turn in 0..2 {
        let rate = if turn == 0 { scene.fast().rate } else { slower };
        let setup = scene.fast().at(rate);
        if turn == 1 {
            trial.configure(&setup)?;
        }
        let update = trial.settled()?.update;
        if turn == 1 && update != Update::Discontinuity(Discontinuity::Configured) {
            notes.find(format!(
                "a change of configuration is {update:?} to the totals"
            ))?;
        }
        let counted = trial.rig.totals(Channel::C0).2;
        let began_ns = trial.fixture.now_ns();
        for _ in 0..3 {
            trial.fixture.run_for_ns(50 * scene.period_ns(&setup));
            trial.rig.sample()?;
        }
        let passed_us = (trial.fixture.now_ns() - began_ns) / 1_000;
        let counted = trial.rig.totals(Channel::C0).2 - counted;
        if counted.abs_diff(passed_us) > passed_us / 10 {
            let hint = match (counted, scene.info.sum_bits.tick_us, setup.rate) {
                (0, 0, None) => TRIGGERED,
                (0, 1.., _) => SOFTWARE,
                _ => "",
            };
            notes.find(format!(
                "totals counted {counted} µs of {passed_us} µs{hint}"
            ))?;
        }
    }
    for channel in scene.channels() {
        notes.tried();
        let (charge, energy, us) = trial.rig.totals(channel);
        let nanovolts = |point| scene.nanovolts(scene.first(channel), point);
        let ((sense, rail), (one, _)) = (
            nanovolts(scene.own(channel)),
            nanovolts(scene.off(channel, scene.own(channel))),
        );
        let [sense, rail, one] = [sense, rail, one].map(i128::from);
        // nV ÷ nΩ = A, and by µs that is µC; of nV² it takes 10^9 more.
        let of = |nv: i128, us: i128| nv * us * 1_000 / scene.nanoohms;
        let product = |a: i128, b: i128| a.abs() * b / 1_000_000_000;
        let power = i128::from(scene.power(channel, scene.own(channel)).1);
        let (sense_lsb, rail_lsb) = nanovolts(Point { sense: 1, rail: 1 });
        let off = product(power * i128::from(sense_lsb), rail_lsb.into()) + 1;
        // What the driver adds up it counts in pieces of time.
        let (us, piece) = (i128::from(us), 4 * i128::from(scene.info.sum_bits.tick_us));
        let charge_off = of(one, us) + of(sense.abs(), piece);
        let charge = (charge, scene.info.charge_sum, of(sense, us), charge_off);
        let energy_off = of(off, us) + of(product(sense, rail), piece);
        let expected = of(sense * rail / 1_000_000_000, us);
        let energy = (energy, scene.info.energy_sum, expected, energy_off);
        for (name, (total, source, expected, off)) in
            [("charge in nC", charge), ("energy in nJ", energy)]
        {
            if (total - expected).abs() > off + 1 {
                let hint = match (source, total) {
                    (Source::Driver, 0) => SOFTWARE,
                    _ => "",
                };
                notes.find(format!(
                    "{channel}: {name} is {total} after {us} µs of steady inputs, expected \
                     {expected} ± {off}{hint}"
                ))?;
            }
        }
    }
    Ok(())
}

const SOFTWARE: &str = ": the driver keeps it: is `Sums` a SoftwareSums of all channels?";

const TRIGGERED: &str = ": sums of the part count at a scan rate alone: have the driver keep both";

fn kept_by_part(scene: &Scene<'_>, source: Source) -> Checked {
    match source {
        Source::Driver => not_applicable("PartInfo: the driver makes this sum"),
        Source::Part if !scene.counts_scans() => not_applicable("PartInfo: no count of scans"),
        Source::Part => Ok(()),
    }
}
