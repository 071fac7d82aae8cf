//! What a log tells, for people.

use std::fmt::{self, Write};

use crate::characterise::{Characterisation, Difference, RailFigures, Statistics};
use crate::quantity::{count, quantity};

/// Everything as text.
pub(super) fn table(told: &Characterisation) -> String {
    let mut text = String::new();
    // Writing to a string cannot fail.
    let _ = write(&mut text, told);
    text
}

/// One rail as text.
pub(super) fn rail_of(rail: &RailFigures) -> String {
    let mut text = String::new();
    let _ = self::rail(&mut text, rail);
    text
}

/// The comparison as text.
pub(super) fn differences_of(differences: &[Difference]) -> String {
    let mut text = String::new();
    let _ = self::differences(&mut text, differences);
    text
}

fn write(out: &mut String, told: &Characterisation) -> fmt::Result {
    write!(
        out,
        "{} readings of {} rails",
        count(told.rows),
        told.rails.len()
    )?;
    match (told.torn_lines, told.first_torn_line) {
        (torn, Some(line)) => writeln!(
            out,
            "; {} torn lines passed over, the first at line {line}",
            count(torn)
        )?,
        _ => writeln!(out)?,
    }
    for rail in &told.rails {
        writeln!(out)?;
        self::rail(out, rail)?;
    }
    if let Some(differences) = &told.differences {
        writeln!(out)?;
        self::differences(out, differences)?;
    }
    writeln!(
        out,
        "\nsuggested for the scenario file\n\n{}",
        told.scenario_snippet.trim_end()
    )?;
    writeln!(
        out,
        "\nsuggested for the firmware\n\n{}",
        told.rust_snippet.trim_end()
    )
}

fn rail(out: &mut String, rail: &RailFigures) -> fmt::Result {
    let spacing = &rail.spacing;
    writeln!(
        out,
        "{}: {} readings from {} s to {} s, every {}; they weigh {}",
        rail.name,
        count(rail.readings),
        rail.from_s,
        rail.to_s,
        quantity(spacing.mean_s, 4, "s"),
        spacing.weighed
    )?;
    let step = |value| quantity(value, 3, "s");
    writeln!(
        out,
        "  steps from {} to {}, the longest after {} s; {} gaps of {} in all",
        step(spacing.least_s),
        step(spacing.greatest_s),
        spacing.greatest_after_s,
        spacing.gaps,
        step(spacing.gaps_s)
    )?;
    writeln!(
        out,
        "                 mean       r.m.s.    deviation        least  at              greatest  at"
    )?;
    let each = [
        ("voltage", rail.voltage_v.as_ref(), "V"),
        ("current", Some(&rail.current_a), "A"),
        ("power", rail.power_w.as_ref(), "W"),
    ];
    let each = || {
        each.into_iter()
            .filter_map(|(what, of, unit)| Some((what, of?, unit)))
    };
    for (what, of, unit) in each() {
        let shown = |value| format!("{:>11}", quantity(value, 5, unit));
        let [least_at, greatest_at] =
            [of.least_at_s, of.greatest_at_s].map(|at| format!("{at:.4} s"));
        writeln!(
            out,
            "  {what:8} {}  {}  {}  {}  {least_at:12}  {}  {greatest_at}",
            shown(of.mean),
            shown(of.rms),
            shown(of.deviation),
            shown(of.least),
            shown(of.greatest),
        )?;
    }
    let shares: Vec<_> = rail
        .current_a
        .quantiles
        .iter()
        .map(|one| one.share)
        .collect();
    write!(out, "  not above")?;
    for share in shares {
        let share = format!("{} %", share * 100.0);
        write!(out, "  {share:>8}")?;
    }
    writeln!(out, " of the time")?;
    for (what, of, unit) in each() {
        quantiles(out, what, of, unit)?;
    }
    writeln!(
        out,
        "  level    mean current   of time  of energy      visits  of one reading"
    )?;
    for level in &rail.levels {
        writeln!(
            out,
            "  {:8} {:>12}  {:>6.3} %   {:>6.3} %  {:>10}  {:>14}",
            level.name,
            quantity(level.mean_current_a, 4, "A"),
            100.0 * level.time_share,
            100.0 * level.energy_share,
            count(level.visits),
            count(level.of_one_reading)
        )?;
    }
    happened(out, rail)
}

fn quantiles(out: &mut String, what: &str, of: &Statistics, unit: &str) -> fmt::Result {
    write!(out, "  {what:9}")?;
    for one in &of.quantiles {
        write!(out, "  {:>8}", quantity(one.value, 3, unit))?;
    }
    writeln!(out)
}

fn happened(out: &mut String, rail: &RailFigures) -> fmt::Result {
    let (steps, peaks) = (&rail.steps, &rail.peaks);
    writeln!(
        out,
        "  steps    {} of more than {}, the greatest {}; {:.0} an hour",
        count(steps.count),
        quantity(steps.from_a, 3, "A"),
        quantity(steps.greatest_a, 4, "A"),
        steps.per_hour
    )?;
    if let Some(first) = peaks.of_greatest_i2t.first() {
        writeln!(
            out,
            "  peaks    {}, the longest {}; of greatest I²t: {} up to {} for {}, at {:.4} s{}",
            count(peaks.count),
            quantity(peaks.longest_s, 4, "s"),
            quantity(first.i2t_a2s, 4, "A²s"),
            quantity(first.greatest_a, 4, "A"),
            quantity(first.duration_s, 4, "s"),
            first.begin_s,
            if first.is_whole {
                ""
            } else {
                ", its end is not in the log"
            }
        )?;
    }
    let charge = rail.charge_c;
    write!(
        out,
        "  charge   out {}, back {}, net {}",
        quantity(charge.out, 5, "C"),
        quantity(charge.back, 5, "C"),
        quantity(charge.net / 3600.0, 4, "Ah")
    )?;
    match &rail.energy_j {
        Some(energy) => writeln!(
            out,
            "; energy out {}, back {}, net {}",
            quantity(energy.out, 5, "J"),
            quantity(energy.back, 5, "J"),
            quantity(energy.net / 3600.0, 4, "Wh")
        )?,
        None => writeln!(out)?,
    }
    if let Some((current_a, power_w)) = rail.total_current_a.zip(rail.total_power_w) {
        writeln!(
            out,
            "  totals   of the log: {} and {} in the mean",
            quantity(current_a, 5, "A"),
            quantity(power_w, 5, "W")
        )?;
    }
    if let Some(ripple) = &rail.ripple_v {
        writeln!(
            out,
            "  ripple   of {} readings: {} in the mean, {} at the most, from {:.4} s on",
            ripple.readings,
            quantity(ripple.mean, 3, "V"),
            quantity(ripple.greatest, 3, "V"),
            ripple.greatest_at_s
        )?;
    }
    if let Some(hours) = rail.battery_life_h {
        writeln!(
            out,
            "  battery  {hours:.1} h ({:.1} days) at the mean current, if it gives all that its \
             label says",
            hours / 24.0
        )?;
    }
    for beyond in &rail.excursions {
        let (kind, limit) = (beyond.kind.replace('_', "-"), beyond.limit);
        match beyond.farthest {
            Some(farthest) => writeln!(
                out,
                "  beyond   {kind} {limit}: {} times, {} at the longest, as far as {farthest:.5}, \
                 first at {:.4} s",
                count(beyond.times),
                quantity(beyond.longest_s, 3, "s"),
                beyond.first_s.unwrap_or_default()
            )?,
            None => writeln!(out, "  beyond   {kind} {limit}: never")?,
        }
    }
    for unseen in &rail.unseen {
        writeln!(out, "  cannot be seen: {unseen}")?;
    }
    Ok(())
}

fn differences(out: &mut String, differences: &[Difference]) -> fmt::Result {
    writeln!(
        out,
        "against the bench      log          ±        bench          ±          ratio          ±"
    )?;
    for one in differences {
        let (what, unit) = match one.of {
            "current_a" => ("current", "A"),
            "power_w" => ("power", "W"),
            _ => ("voltage", "V"),
        };
        let shown = |value, digits| format!("{:>10}", quantity(value, digits, unit));
        let part = |value: Option<f64>| value.map_or("-".to_owned(), |value| format!("{value:.4}"));
        writeln!(
            out,
            "  {:10} {what:7} {} {} {} {}  {:>9}  {:>9}  {}",
            one.rail,
            shown(one.log, 5),
            shown(one.log_bound, 3),
            shown(one.bench, 5),
            shown(one.bench_bound, 3),
            part(one.ratio),
            part(one.ratio_bound),
            if one.differs { "DIFFERS" } else { "agrees" }
        )?;
    }
    Ok(())
}
