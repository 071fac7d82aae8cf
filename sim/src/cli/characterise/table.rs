//! What a log tells, for people.

use std::fmt::{self, Write};

use crate::characterise::{
    Characterisation, Difference, Excursions, Flows, RailFigures, Statistics,
};
use crate::quantity::{count, quantity, some, spoken};

/// Everything as text.
pub(super) fn table(told: &Characterisation) -> String {
    let mut text = String::new();
    // Writing to a string cannot fail.
    let _ = write(&mut text, told);
    text
}

fn write(out: &mut String, told: &Characterisation) -> fmt::Result {
    writeln!(out, "{}", readings(told))?;
    for rail in &told.rails {
        writeln!(out)?;
        self::rail(out, rail)?;
    }
    if let Some(differences) = &told.differences {
        writeln!(out)?;
        self::differences(out, differences)?;
        for rail in &told.not_logged {
            writeln!(out, "  {}", not_logged(rail))?;
        }
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

/// How many readings there are, and what was passed over.
pub(super) fn readings(told: &Characterisation) -> String {
    let rows = format!(
        "{} of {}",
        some(told.rows, "reading"),
        some(told.rails.len() as u64, "rail")
    );
    match (told.torn_lines, told.first_torn_line) {
        (torn, Some(line)) => format!(
            "{rows}; {} passed over, the first at line {line}",
            some(torn, "torn line")
        ),
        _ => rows,
    }
}

/// How a rail's readings lie in time.
pub(super) fn times(rail: &RailFigures) -> [String; 2] {
    let spacing = &rail.spacing;
    let step = |value| quantity(value, 3, "s");
    [
        format!(
            "{} from {} s to {} s, every {}; they weigh {}",
            some(rail.readings, "reading"),
            rail.from_s,
            rail.to_s,
            quantity(spacing.mean_s, 4, "s"),
            spacing.weighed
        ),
        format!(
            "steps from {} to {}, the longest after {} s; {} of {} in all",
            step(spacing.least_s),
            step(spacing.greatest_s),
            spacing.greatest_after_s,
            some(spacing.gaps, "gap"),
            step(spacing.gaps_s)
        ),
    ]
}

/// The quantities that a log has, with their units.
pub(super) fn quantities(
    rail: &RailFigures,
) -> impl Iterator<Item = (&'static str, &Statistics, &'static str)> {
    let each = [
        ("voltage", rail.voltage_v.as_ref(), "V"),
        ("current", Some(&rail.current_a), "A"),
        ("power", rail.power_w.as_ref(), "W"),
    ];
    each.into_iter()
        .filter_map(|(what, of, unit)| Some((what, of?, unit)))
}

fn rail(out: &mut String, rail: &RailFigures) -> fmt::Result {
    let [readings, steps] = times(rail);
    writeln!(out, "{}: {readings}\n  {steps}", rail.name)?;
    writeln!(
        out,
        "                 mean       r.m.s.    deviation        least  at              greatest  at"
    )?;
    for (what, of, unit) in quantities(rail) {
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
    for (what, of, unit) in quantities(rail) {
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
    for (what, told) in happened(rail) {
        writeln!(out, "  {what:8} {told}")?;
    }
    for unseen in &rail.unseen {
        writeln!(out, "  cannot be seen: {unseen}")?;
    }
    Ok(())
}

fn quantiles(out: &mut String, what: &str, of: &Statistics, unit: &str) -> fmt::Result {
    write!(out, "  {what:9}")?;
    for one in &of.quantiles {
        write!(out, "  {:>8}", quantity(one.value, 3, unit))?;
    }
    writeln!(out)
}

/// What happened on a rail and what it comes to: a word and the rest of the line.
pub(super) fn happened(rail: &RailFigures) -> Vec<(&'static str, String)> {
    let (steps, peaks) = (&rail.steps, &rail.peaks);
    let mut told = vec![(
        "steps",
        format!(
            "{} of more than {}, the greatest {}; {:.0} an hour",
            count(steps.count),
            quantity(steps.from_a, 3, "A"),
            quantity(steps.greatest_a, 4, "A"),
            steps.per_hour
        ),
    )];
    if let Some(first) = peaks.of_greatest_i2t.first() {
        let peaks = format!(
            "{}, the longest {}; of greatest I²t: {} up to {} for {}, at {:.4} s{}",
            count(peaks.count),
            quantity(peaks.longest_s, 4, "s"),
            squared(first.i2t_a2s),
            quantity(first.greatest_a, 4, "A"),
            quantity(first.duration_s, 4, "s"),
            first.begin_s,
            if first.is_whole {
                ""
            } else {
                ", its end is not in the log"
            }
        );
        told.push(("peaks", peaks));
    }
    let flows = |flows: &Flows, unit, hours| {
        format!(
            "out {}, back {}, net {}",
            quantity(flows.out, 5, unit),
            quantity(flows.back, 5, unit),
            quantity(flows.net / 3600.0, 4, hours)
        )
    };
    let charge = flows(&rail.charge_c, "C", "Ah");
    let energy = rail.energy_j.as_ref().map_or_else(String::new, |energy| {
        format!("; energy {}", flows(energy, "J", "Wh"))
    });
    told.push(("charge", charge + &energy));
    let means = [(rail.total_current_a, "A"), (rail.total_power_w, "W")];
    let means = means.map(|(mean, unit)| Some(quantity(mean?, 5, unit)));
    let means: Vec<_> = means.into_iter().flatten().collect();
    if !means.is_empty() {
        let means = means.join(" and ");
        told.push(("totals", format!("of the log: {means} in the mean")));
    }
    if let Some(ripple) = &rail.ripple_v {
        let ripple = format!(
            "of {} readings: {} in the mean, {} at the most, from {:.4} s on",
            ripple.readings,
            quantity(ripple.mean, 3, "V"),
            quantity(ripple.greatest, 3, "V"),
            ripple.greatest_at_s
        );
        told.push(("ripple", ripple));
    }
    if let Some(hours) = rail.lasts_h {
        let battery = format!(
            "{hours:.1} h ({:.1} days) at the mean current, if it gives all that its label says",
            hours / 24.0
        );
        told.push(("battery", battery));
    }
    told.extend(rail.excursions.iter().map(|it| ("beyond", beyond(it))));
    told
}

/// An I²t in A²s, to four digits: a prefix would be squared, too.
pub(super) fn squared(i2t_a2s: f64) -> String {
    let magnitude = i2t_a2s.abs().log10().floor();
    match (-4.0..6.0).contains(&magnitude) {
        true => {
            let places = (3.0 - magnitude).max(0.0) as usize;
            format!("{i2t_a2s:.places$} A²s")
        }
        false => format!("{i2t_a2s:.3e} A²s"),
    }
}

fn beyond(beyond: &Excursions) -> String {
    let unit = match beyond.kind {
        "over_voltage" | "under_voltage" => "V",
        "over_power" => "W",
        _ => "A",
    };
    let limit = format!(
        "{} {}",
        spoken(beyond.kind),
        quantity(beyond.limit, 4, unit)
    );
    match beyond.farthest {
        Some(farthest) => format!(
            "{limit}: {}, {} at the longest, as far as {}, first at {:.4} s",
            some(beyond.times, "time"),
            quantity(beyond.longest_s, 3, "s"),
            quantity(farthest, 5, unit),
            beyond.first_s.unwrap_or_default()
        ),
        None => format!("{limit}: never"),
    }
}

fn differences(out: &mut String, differences: &[Difference]) -> fmt::Result {
    writeln!(
        out,
        "against the bench      log          ±        bench          ±          ratio          ±"
    )?;
    for one in differences {
        let [what, log, log_bound, bench, bench_bound, ratio, ratio_bound] = difference(one);
        writeln!(
            out,
            "  {:10} {what:7} {log:>10} {log_bound:>10} {bench:>10} {bench_bound:>10}  {ratio:>9}  \
             {ratio_bound:>9}  {}",
            one.rail,
            agreement(one)
        )?;
    }
    Ok(())
}

/// What is compared, by log and bench, and the ratio; each with its bound.
pub(super) fn difference(one: &Difference) -> [String; 7] {
    let (what, unit) = match one.of {
        "current_a" => ("current", "A"),
        "power_w" => ("power", "W"),
        _ => ("voltage", "V"),
    };
    let part = |value: Option<f64>| value.map_or("-".to_owned(), |value| format!("{value:.4}"));
    [
        what.to_owned(),
        quantity(one.log, 5, unit),
        quantity(one.log_bound, 3, unit),
        quantity(one.bench, 5, unit),
        quantity(one.bench_bound, 3, unit),
        part(one.ratio),
        part(one.ratio_bound),
    ]
}

/// What is not compared, and what to do.
pub(super) fn not_logged(rail: &str) -> String {
    format!("{rail} is not in the log and not compared: log it, or take it out of the scenario")
}

pub(super) fn agreement(one: &Difference) -> &'static str {
    match one.differs {
        true => "DIFFERS",
        false => "agrees",
    }
}
