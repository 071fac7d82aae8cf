use std::fmt::Write;

use crate::plan::{Draws, Planned};
use crate::quantity::quantity;

/// The plan for people.
pub(super) fn plan(plan: &Planned) -> String {
    let mut out = String::new();
    let channels = plan.channels.len();
    let (some, s) = (plan.part, if channels == 1 { "" } else { "s" });
    put(
        &mut out,
        format!("Plan for a {some} with {channels} channel{s}\n"),
    );
    demands(&mut out, plan);
    chosen(&mut out, plan);
    costs(&mut out, plan);
    out
}

fn demands(out: &mut String, plan: &Planned) {
    put(
        out,
        format!(
            "{:<30}{:>12}{:>12}   {:>16}{:>16}",
            "demand", "asked", "planned", "twice it saves", "without saves"
        ),
    );
    for demand in &plan.demands {
        let name = match demand.demand {
            "alert" => "limit to event, at most",
            "event" => "seen if it lasts",
            "energy" => "energy over a day, within",
            _ => "host wakes every",
        };
        let shown = |value: f64| match demand.unit {
            "%" => format!("{value:.3} %"),
            _ => time(value),
        };
        put(
            out,
            format!(
                "{name:<30}{:>12}{:>12}   {:>16}{:>16}",
                shown(demand.asked),
                demand.met.map_or("-".to_owned(), shown),
                saving(demand.twice_saves_a),
                saving(demand.without_saves_a)
            ),
        );
    }
    put(out, String::new());
}

fn chosen(out: &mut String, plan: &Planned) {
    let mut row = |name: &str, value: String| put(out, format!("{name:<30}{value}"));
    row(
        "mode",
        match plan.scan_period_s {
            Some(period_s) => format!("continuous, a scan every {}", time(period_s)),
            None => "single-shot, one at each sample".to_owned(),
        },
    );
    row(
        "averaging",
        match plan.averaging {
            0 => "none: a reading is one scan".to_owned(),
            k => format!(
                "k = {k}: means of {} scans, {}",
                1_u32 << k,
                time(plan.mean_s)
            ),
        },
    );
    row(
        "debounce",
        match plan.debounce {
            1 => "1 conversion".to_owned(),
            n => format!("{n} conversions"),
        },
    );
    row("limits compared by", format!("the {}", plan.compared_by));
    row(
        "limit to output's edge",
        match plan.compared_by {
            "part" => format!("{} at the most", time(plan.limit_to_edge_s)),
            _ => "no output tells: a sample does".to_owned(),
        },
    );
    row(
        "limit to event",
        format!("{} at the most", time(plan.limit_to_event_s)),
    );
    row("a sample every", time(plan.read_every_s));
    row(
        "no rollover hides within",
        plan.longest_interval_s
            .map_or("nothing is summed up".to_owned(), time),
    );
    // All channels alike, where their ranges are: the first to come.
    let least = |of: fn(&crate::plan::Sum) -> f64| {
        plan.rollovers.iter().map(of).fold(f64::INFINITY, f64::min)
    };
    if !plan.rollovers.is_empty() {
        row(
            "sum of charge rolls over in",
            format!("{} at full scale", time(least(|sum| sum.charge_s))),
        );
        row(
            "sum of energy rolls over in",
            format!("{} at full scale", time(least(|sum| sum.energy_s))),
        );
        let what = if plan.scan_period_s.is_some() {
            "count of scans"
        } else {
            "count of ticks"
        };
        row(
            &format!("{what} rolls over in"),
            time(least(|sum| sum.scans_s)),
        );
    }
    row(
        "bus",
        format!(
            "{}, busy {} of {} a sample takes: {}",
            quantity(f64::from(plan.bus_hz), 3, "Hz"),
            time(plan.sample_on_bus_s),
            time(plan.sample_s),
            share(plan.bus_share)
        ),
    );
    if let Some(percent) = plan.energy_percent {
        row("energy over a day, within", format!("{percent:.3} %"));
    }
    put(out, String::new());
}

fn costs(out: &mut String, plan: &Planned) {
    put(
        out,
        format!(
            "{:<30}{:>12}{:>12}{:>12}{:>12}",
            "mean current", "part", "pull-ups", "host", "together"
        ),
    );
    let mut row = |name: &str, draws: &Draws| {
        put(
            out,
            format!(
                "{name:<30}{:>12}{:>12}{:>12}{:>12}",
                current(draws.part_a),
                current(draws.pull_ups_a),
                current(draws.host_a),
                current(draws.total_a)
            ),
        );
    };
    row("this plan", &plan.draws);
    if let Some(full) = &plan.full_rate {
        row(
            &format!("a scan every {}", time(full.scan_period_s)),
            &full.draws,
        );
    }
    put(
        out,
        format!(
            "\nThe part draws {} here at the most; the rest is typical.",
            current(plan.part_greatest_a)
        ),
    );
    let singles = &plan.singles;
    if let (Some(part_a), Some(full)) = (singles.part_a, &plan.full_rate) {
        put(
            out,
            format!(
                "At a scan every {} the part draws {}; {} single-channel monitors of {} each,\nas \
                 stated, draw {} at that rate: {:.1} times as much.",
                time(full.scan_period_s),
                current(part_a),
                singles.count,
                current(singles.each_a),
                current(singles.total_a),
                singles.total_a / part_a
            ),
        );
    }
    put(
        out,
        "Not in it: what events make the host do, repeats on the bus, and the rails' own loads. A \
         monitor\nreports; it does not protect."
            .to_owned(),
    );
}

/// A length of time with three digits or four, in the unit that people take.
pub(super) fn time(seconds: f64) -> String {
    const YEAR: f64 = 365.25 * 86_400.0;
    match seconds {
        _ if seconds >= YEAR => format!("{} years", digits(seconds / YEAR)),
        _ if seconds >= 2.0 * 86_400.0 => format!("{} days", digits(seconds / 86_400.0)),
        _ if seconds >= 2.0 * 3_600.0 => format!("{} h", digits(seconds / 3_600.0)),
        _ if seconds >= 120.0 => format!("{} min", digits(seconds / 60.0)),
        _ => quantity(seconds, 3, "s"),
    }
}

fn digits(value: f64) -> String {
    match value {
        _ if value >= 100.0 => format!("{value:.0}"),
        _ if value >= 10.0 => format!("{value:.1}"),
        _ => format!("{value:.2}"),
    }
}

/// Known to the nanoampere.
fn current(amps: f64) -> String {
    match amps.abs() < 0.999_5e-6 {
        true => format!("{:.0} nA", amps * 1e9),
        false => quantity(amps, 3, "A"),
    }
}

fn saving(amps: f64) -> String {
    if amps > 0.0 {
        current(amps)
    } else {
        "nothing".to_owned()
    }
}

fn share(of_one: f64) -> String {
    match of_one * 100.0 {
        percent if percent >= 0.001 => format!("{percent:.3} % of the time"),
        percent => format!("{percent:.1e} % of the time"),
    }
}

fn put(out: &mut String, line: String) {
    // Writing to a string cannot fail.
    let _ = writeln!(out, "{line}");
}
