//! A report as a person reads it.

use std::fmt::{self, Write};

use crate::quantity::{count, quantity, signed, spoken};
use crate::run::{AlertReport, Figure, PartReport, Parts, RailReport, Report, Spread};

/// The whole report as text.
pub(super) fn report(report: &Report, wall_s: f64) -> String {
    let mut text = String::new();
    // Writing to a string cannot fail.
    let _ = write(&mut text, report, wall_s);
    text
}

fn write(out: &mut String, report: &Report, wall_s: f64) -> fmt::Result {
    writeln!(out, "{}", report.title)?;
    writeln!(
        out,
        "seed {}; {} s, a reading every {} s",
        report.seed, report.duration_s, report.read_every_s
    )?;
    for part in &report.parts {
        writeln!(out, "{}", self::part(part))?;
    }
    for rail in &report.rails {
        writeln!(out)?;
        self::rail(out, rail, report.parts.len() > 1)?;
    }
    alerts(out, &report.alerts)?;
    faults(out, report)?;
    writeln!(out)?;
    for what in uncounted(report) {
        writeln!(out, "not in the totals: {what}")?;
    }
    let bus = &report.bus;
    writeln!(
        out,
        "bus        {} transactions, {} bytes, busy {} ({:.2} % of the time)",
        count(bus.transactions),
        count(bus.bytes),
        quantity(bus.busy_s, 4, "s"),
        100.0 * bus.busy_share
    )?;
    writeln!(
        out,
        "monitor    {} of its own, {} on average",
        quantity(report.monitor.energy_j, 4, "J"),
        quantity(report.monitor.mean_power_w, 4, "W")
    )?;
    writeln!(
        out,
        "run        {} conversions, {} samples, {:.1} s by the clock on the wall",
        count(report.conversions),
        count(report.samples),
        wall_s
    )?;
    for told in &report.contradictions {
        writeln!(out, "declared   {told}")?;
    }
    writeln!(out, "verdict    {}", verdict(report))
}

/// What it comes to, in a line.
pub(super) fn verdict(report: &Report) -> String {
    let verdict = &report.verdict;
    let doubt = match report.contradictions.is_empty() {
        true => "",
        false => "; bounds lean on what is declared, and that is contradicted",
    };
    let clipped = report.rails.iter().filter(|rail| {
        let totals = [&rail.energy_j, &rail.charge_c];
        totals.iter().any(|total| total.saturation != "none")
    });
    let clipped: Vec<_> = clipped.map(|rail| rail.name.as_str()).collect();
    let doubt = match clipped.is_empty() {
        true => doubt.to_owned(),
        false => format!(
            "; over range and so without a bound: {}{doubt}",
            clipped.join(", ")
        ),
    };
    if !verdict.holds {
        return format!("DOES NOT HOLD: {}{doubt}", verdict.outside.join("; "));
    }
    let used = verdict.greatest_share.zip(verdict.of.as_ref());
    let used = used.map_or_else(String::new, |(share, of)| {
        format!("; {of} uses most of its own, {:.0} %", 100.0 * share)
    });
    format!("holds: all totals and reactions lie within their bounds{used}{doubt}")
}

/// One line for each limit that was passed: how often, when, and how close the two reactions came
/// to their bounds.
fn alerts(out: &mut String, alerts: &[AlertReport]) -> fmt::Result {
    if alerts.is_empty() {
        return Ok(());
    }
    writeln!(out)?;
    let names = alerts.iter().map(|alert| alert.rail.chars().count());
    let width = names.max().unwrap_or(0).max(8);
    writeln!(
        out,
        "alerts   {:width$} {:13} {:6} {:>9}  {:>6} {:>10} {:>10}  {:>22}  {:>22}",
        "rail",
        "kind",
        "output",
        "limit",
        "events",
        "first",
        "last",
        "limit to edge (bound)",
        "edge to event (bound)"
    )?;
    for passed in passed(alerts) {
        let alert = passed.first;
        writeln!(
            out,
            "         {:width$} {:13} {:6} {:>9}  {:>6} {:>8.2} s {:>8.2} s  {:>22}  {:>22}",
            alert.rail,
            spoken(alert.kind),
            alert.output,
            passed.limit(),
            count(passed.events),
            alert.time_s,
            passed.last_s,
            reaction(passed.to_edge_s, alert.crossing_to_edge_bound_s),
            reaction(passed.to_event_s, alert.edge_to_event_bound_s),
        )?;
    }
    Ok(())
}

/// A limit that was passed: how often, and how close the two reactions came to their bounds.
pub(super) struct Passed<'r> {
    /// The first time.
    pub(super) first: &'r AlertReport,
    pub(super) events: u64,
    pub(super) last_s: f64,
    /// The longest reactions.
    pub(super) to_edge_s: Option<f64>,
    pub(super) to_event_s: Option<f64>,
}

impl Passed<'_> {
    /// The limit in force.
    pub(super) fn limit(&self) -> String {
        let limit = self.first.limit;
        limit.map_or_else(
            || "-".to_owned(),
            |limit| quantity(limit, 4, unit(self.first.kind)),
        )
    }
}

/// What a kind of limit is in.
pub(super) fn unit(kind: &str) -> &'static str {
    match kind {
        "over_voltage" | "under_voltage" => "V",
        "over_power" => "W",
        _ => "A",
    }
}

/// Alerts by their limits, in the order of the first times.
pub(super) fn passed(alerts: &[AlertReport]) -> Vec<Passed<'_>> {
    let mut all: Vec<Passed<'_>> = Vec::new();
    for alert in alerts {
        let same =
            |it: &&mut Passed<'_>| it.first.rail == alert.rail && it.first.kind == alert.kind;
        let Some(passed) = all.iter_mut().find(same) else {
            all.push(Passed {
                first: alert,
                events: 1,
                last_s: alert.time_s,
                to_edge_s: alert.crossing_to_edge_s,
                to_event_s: alert.edge_to_event_s,
            });
            continue;
        };
        passed.events += 1;
        passed.last_s = alert.time_s;
        // None is less than any time.
        let longer = |one: Option<f64>, other: Option<f64>| if other > one { other } else { one };
        passed.to_edge_s = longer(passed.to_edge_s, alert.crossing_to_edge_s);
        passed.to_event_s = longer(passed.to_event_s, alert.edge_to_event_s);
    }
    all
}

/// One line for each fault of the scenario, and for each way in which the driver failed.
fn faults(out: &mut String, report: &Report) -> fmt::Result {
    let faults = report.faults.iter();
    let faults: Vec<_> = faults
        .map(|fault| (&fault.what, fault.times, fault.first_s, fault.last_s))
        .collect();
    let failures = report.failures.iter();
    let failures: Vec<_> = failures
        .map(|failure| {
            let (first_s, last_s) = (Some(failure.first_s), Some(failure.last_s));
            (&failure.what, failure.times, first_s, last_s)
        })
        .collect();
    for (title, rows) in [("faults", faults), ("failures", failures)] {
        if rows.is_empty() {
            continue;
        }
        writeln!(
            out,
            "\n{title:9}{:>8} {:>11} {:>11}  what",
            "times", "first", "last"
        )?;
        for (what, times, first_s, last_s) in rows {
            let seconds = |moment: Option<f64>| {
                moment.map_or_else(|| "-".to_owned(), |moment_s| format!("{moment_s:.3} s"))
            };
            let (times, first, last) = (count(times), seconds(first_s), seconds(last_s));
            writeln!(out, "{:9}{times:>8} {first:>11} {last:>11}  {what}", "")?;
        }
    }
    Ok(())
}

/// The longest of them beside its bound.
pub(super) fn reaction(longest_s: Option<f64>, bound_s: f64) -> String {
    longest_s.map_or_else(
        || "-".to_owned(),
        |longest| {
            format!(
                "{} ({})",
                quantity(longest, 3, "s"),
                quantity(bound_s, 3, "s")
            )
        },
    )
}

/// What a part is, how often it converts, and what the driver makes up.
pub(super) fn part(part: &PartReport) -> String {
    let (model, address) = (part.model, part.address);
    let named = match part.name == model {
        true => String::new(),
        false => format!("{}: ", part.name),
    };
    let rate = match part.scans_per_second {
        0 => "converting with each sample".to_owned(),
        scans => format!("{scans} scans a second"),
    };
    let made_up = match part.by_driver.as_slice() {
        [] => String::new(),
        made_up => format!("; by the driver: {}", made_up.join(", ")),
    };
    format!("{named}{model} at {address:#04x}, {rate}{made_up}")
}

/// What the totals leave out of the run.
pub(super) fn uncounted(report: &Report) -> Vec<String> {
    let [least, greatest] = report.unaccounted_s;
    let gaps = (greatest > 0.0).then(|| {
        let times = match report.discontinuities {
            1 => "1 discontinuity".to_owned(),
            times => format!("{} discontinuities", count(times.into())),
        };
        format!("{least:.3} to {greatest:.3} s, by {times}")
    });
    // To the last reading there is an interval at the most, if there was one.
    let ends = report.rails.iter().filter_map(|rail| {
        let missing_s = report.duration_s - rail.duration_s - greatest;
        let is_long = missing_s > 1.5 * report.read_every_s;
        is_long.then(|| format!("{missing_s:.3} s of {} up to the end", rail.name))
    });
    gaps.into_iter().chain(ends).collect()
}

fn rail(out: &mut String, rail: &RailReport, names_part: bool) -> fmt::Result {
    let of = match names_part {
        true => format!(" of {}", rail.part),
        false => String::new(),
    };
    writeln!(out, "{} (channel {}{of})", rail.name, rail.channel)?;
    writeln!(
        out,
        "  {:8} {:>13} {:>10} {:>13} {:>13} {:>13}  used",
        "", "measured", "", "truth", "difference", "bound ±"
    )?;
    figure(out, "energy", "J", &rail.energy_j)?;
    figure(out, "charge", "C", &rail.charge_c)?;
    write!(out, "  {:8}", "bound of")?;
    for (title, _) in named(&rail.energy_j.bound_parts) {
        write!(out, "  {title:>PART_WIDTH$}")?;
    }
    writeln!(out)?;
    parts(out, "energy", "J", &rail.energy_j.bound_parts)?;
    parts(out, "charge", "C", &rail.charge_c.bound_parts)?;
    writeln!(
        out,
        "  {:8} {:>13}  {:>13}  {:>13}  {:>13}",
        "", "least read", "mean read", "greatest read", "over the time"
    )?;
    // Current and power have a mean over all the time, from the totals; voltage only of readings.
    spread(out, "voltage", "V", rail.voltage_v, None)?;
    let (current, power) = (Some(rail.mean_current_a), Some(rail.mean_power_w));
    spread(out, "current", "A", rail.current_a, current)?;
    spread(out, "power", "W", rail.power_w, power)
}

fn figure(out: &mut String, name: &str, unit: &str, figure: &Figure) -> fmt::Result {
    let hours = if unit == "J" { "Wh" } else { "Ah" };
    let verdict = used(figure);
    writeln!(
        out,
        "  {name:8} {:>13} {:>10} {:>13} {:>13} {:>13}  {verdict}",
        quantity(figure.measured, 6, unit),
        quantity(figure.measured / 3_600.0, 4, hours),
        quantity(figure.truth, 6, unit),
        signed(figure.difference, 3, unit),
        quantity(figure.bound, 3, unit),
    )
}

/// How much of its bound a total uses, or what it says instead.
pub(super) fn used(figure: &Figure) -> String {
    match (figure.within, figure.saturation) {
        (true, "none") => format!("{:3.0} %", 100.0 * figure.difference.abs() / figure.bound),
        (true, "at_least") => "clipped: at least this, less the bound".to_owned(),
        (true, _) => "clipped: may be more or less, without bound".to_owned(),
        (false, _) => "OUTSIDE THE BOUND".to_owned(),
    }
}

/// What makes how much of a bound, each part under its name.
fn parts(out: &mut String, name: &str, unit: &str, parts: &Parts) -> fmt::Result {
    write!(out, "  {name:8}")?;
    for (title, value) in named(parts) {
        let width = title.len().max(PART_WIDTH);
        write!(out, "  {:>width$}", quantity(value, 3, unit))?;
    }
    writeln!(out)
}

pub(super) fn named(parts: &Parts) -> [(&'static str, f64); 9] {
    [
        ("gain", parts.gain),
        ("offset", parts.offset),
        ("bias", parts.bias),
        ("noise", parts.noise),
        ("quantisation", parts.quantisation),
        ("resistor", parts.resistor),
        ("temperature", parts.temperature),
        ("clock", parts.clock),
        ("load steps", parts.load_steps),
    ]
}

/// As wide as "1.23 mJ" and what is longer by a digit.
const PART_WIDTH: usize = 8;

fn spread(
    out: &mut String,
    name: &str,
    unit: &str,
    spread: Option<Spread>,
    mean: Option<f64>,
) -> fmt::Result {
    let Some(spread) = spread else {
        return writeln!(out, "  {name:8} no reading");
    };
    write!(
        out,
        "  {name:8} {:>13}  {:>13}  {:>13}",
        quantity(spread.least, 5, unit),
        quantity(spread.mean, 5, unit),
        quantity(spread.greatest, 5, unit)
    )?;
    match mean {
        Some(mean) => writeln!(out, "  {:>13}", quantity(mean, 5, unit)),
        None => writeln!(out),
    }
}
