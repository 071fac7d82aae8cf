//! The choice for one rail, as a person reads it.

use std::fmt::{self, Write};

use super::chart;
use crate::quantity::quantity;
use crate::shunt::{Broken, Errors, Figures, RailChoice};

pub(super) const CAUTIONS: &str = "
cautions
  Four wires (Kelvin): the two sense leads begin at the resistor's own terminals, where no load
  current flows in them. Copper and solder between count as resistance and drift 3900 ppm/K.
  A sense lead can carry the full fault current of the source: fuse it. Resistors stand at the
  rail's voltage and get hot enough to burn. The maker's derating curve and pulse limits rule over
  the rating shown. Above 60 V d.c. leave the work to people licensed for it. A monitor is not a
  protection device. Local codes and licensed practice decide.
";

pub(super) fn choice(choice: &RailChoice) -> String {
    let mut text = String::new();
    // Writing to a string cannot fail.
    let _ = write(&mut text, choice);
    text
}

fn write(out: &mut String, choice: &RailChoice) -> fmt::Result {
    head(out, choice)?;
    writeln!(out)?;
    measures(out, choice)?;
    writeln!(out)?;
    costs(out, choice)?;
    writeln!(out)?;
    why(out, choice)?;
    writeln!(out)?;
    curves(out, choice)?;
    for (title, unit, of) in QUANTITIES {
        let errors: Vec<_> = choice.budgets.iter().map(of).collect();
        let title = title.replace("{}", &time(choice.demands.energy_over_s));
        writeln!(out)?;
        budget(out, &title, unit, &errors)?;
    }
    writeln!(out)?;
    if choice.demands.both_ways {
        let mean = choice.demands.mean_a.unwrap_or(choice.demands.greatest_a);
        writeln!(
            out,
            "  Energy is what remains of both ways; temperature and clock count by all that flows\n  \
             whichever way, up to {} on average.",
            quantity(mean, 4, "A")
        )?;
    }
    writeln!(
        out,
        "  Limits add up to the worst case: no part and board within their limits exceeds it.\n  \
         u is a standard uncertainty (JCGM 100): a limit ÷ √3, noise ÷ 6.\n  \
         U = 2 u covers some 95 %, and more where one limit rules."
    )
}

fn head(out: &mut String, choice: &RailChoice) -> fmt::Result {
    let asked = &choice.demands;
    let current = |amps| quantity(amps, 4, "A");
    writeln!(
        out,
        "{}: a sense resistor for {} to {} at up to {}, measured by {}",
        choice.rail,
        current(asked.least_a),
        current(asked.greatest_a),
        quantity(asked.voltage_v, 4, "V"),
        choice.part
    )?;
    let burden = asked.burden_v.map_or_else(
        || "whatever the part measures".to_owned(),
        |volts| format!("at most {}", quantity(volts, 4, "V")),
    );
    let flow = match asked.both_ways {
        true => "both ways",
        false => "from source to load",
    };
    let [coldest, warmest] = asked.ambient_c;
    writeln!(
        out,
        "  asked      error at {} at most {} % in the worst case; burden {burden};\n             \
         {coldest} to {warmest} °C around it; current {flow}",
        current(asked.least_a),
        percent(asked.error),
    )?;
    writeln!(
        out,
        "  resistors  {}; {} %, {} ppm/K, {} K/W",
        asked.series,
        percent(asked.tolerance),
        (asked.temperature_coefficient_per_k * 1e6).round(),
        asked.thermal_resistance_k_per_w
    )?;
    let readings = match asked.averaging {
        0 => "of single scans".to_owned(),
        k => format!("means of {} scans", 1_u64 << k),
    };
    let offset = match asked.offset_calibrated {
        true => "calibrated",
        false => "not calibrated",
    };
    writeln!(out, "  readings   {readings}; offset {offset}")?;
    let Some(filter) = &choice.filter else {
        return Ok(());
    };
    writeln!(
        out,
        "  filter     corner {}; one conversion by itself {}; settles in {:.1} conversions",
        quantity(filter.corner_hz, 3, "Hz"),
        quantity(filter.aperture_hz, 3, "Hz"),
        filter.settling_conversions
    )
}

fn measures(out: &mut String, choice: &RailChoice) -> fmt::Result {
    let asked = &choice.demands;
    let [least, greatest] =
        [asked.least_a, asked.greatest_a].map(|amps| format!("at {}", quantity(amps, 3, "A")));
    writeln!(
        out,
        "     resistor  full scale  current/code  power/code  decades  good from  \
         error {least:>11}  {greatest:>11}"
    )?;
    for one in &choice.candidates {
        let amps = |amps: Option<f64>| or_dash(amps, |amps| quantity(amps, 3, "A"));
        writeln!(
            out,
            "{} {:>9} {:>11} {:>13} {:>11} {:>8} {:>10} {:>17} {:>12}",
            mark(choice, one),
            ohms(one),
            amps(one.full_scale_a),
            amps(one.code_a),
            or_dash(one.code_w, |watts| quantity(watts, 3, "W")),
            or_dash(one.dynamic_range_decades, |decades| format!("{decades:.2}")),
            amps(one.good_from_a),
            or_dash(one.error_at_least, share),
            or_dash(one.error_at_greatest, share),
        )?;
    }
    Ok(())
}

fn costs(out: &mut String, choice: &RailChoice) -> fmt::Result {
    writeln!(
        out,
        "     resistor     burden  dissipation    rating     rise  hottest      drift  demands"
    )?;
    for one in &choice.candidates {
        let heat = &one.heat;
        let broken: Vec<_> = one.breaks.iter().map(short).collect();
        let broken = match broken.is_empty() {
            true => "met".to_owned(),
            false => format!("not met: {}", broken.join(", ")),
        };
        writeln!(
            out,
            "{} {:>9} {:>10} {:>12} {:>9} {:>8} {:>8} {:>10}  {broken}",
            mark(choice, one),
            ohms(one),
            quantity(heat.burden_v, 3, "V"),
            quantity(heat.dissipation_w, 3, "W"),
            or_dash(heat.rating_w, |watts| quantity(watts, 3, "W")),
            format!("{:.1} K", heat.rise_k),
            format!("{:.0} °C", heat.hottest_c),
            format!("{:.0} ppm", heat.drift * 1e6),
        )?;
    }
    Ok(())
}

/// The demand that is broken; figures stand in the columns.
fn short(broken: &Broken) -> &'static str {
    match broken {
        Broken::Range { .. } => "range",
        Broken::TooSmall => "too small",
        Broken::Burden { .. } => "burden",
        Broken::Heat { .. } => "heat",
        Broken::Error { .. } => "error",
    }
}

/// Why this one, and why not its neighbours.
fn why(out: &mut String, choice: &RailChoice) -> fmt::Result {
    let all = &choice.candidates;
    let Some(place) = all.iter().position(|one| is_chosen(choice, one)) else {
        return Ok(());
    };
    let chosen = &all[place];
    let least = quantity(choice.demands.least_a, 4, "A");
    let error = |one: &Figures| or_dash(one.error_at_least, share);
    writeln!(
        out,
        "  {}: of those that meet every demand, the least worst-case error at {least}, {}.",
        ohms(chosen),
        error(chosen)
    )?;
    let next = [
        ("larger", all.get(place + 1)),
        ("smaller", all[..place].last()),
    ];
    for (which, one) in next {
        let Some(one) = one else { continue };
        let broken: Vec<_> = one.breaks.iter().map(ToString::to_string).collect();
        let why = match broken.is_empty() {
            true => format!("error {}", error(one)),
            false => broken.join("; "),
        };
        writeln!(out, "  {}, the next {which}: {why}.", ohms(one))?;
    }
    if let Some(watts) = chosen.heat.rating_w {
        writeln!(
            out,
            "  Take one rated for {} or more: twice what it dissipates, derated from 70 °C on.",
            quantity(rounded_up(watts), 2, "W")
        )?;
    }
    Ok(())
}

/// To two digits, not below the number.
fn rounded_up(number: f64) -> f64 {
    let step = 10_f64.powf(number.log10().floor() - 1.0);
    // What is a whole number of steps but for its last bit stays.
    (number / step * (1.0 - 1e-12)).ceil() * step
}

fn curves(out: &mut String, choice: &RailChoice) -> fmt::Result {
    writeln!(
        out,
        "  worst-case error of a reading over the current (= several; dots: what is allowed)"
    )?;
    let curves: Vec<_> = drawn(choice)
        .into_iter()
        .map(|(letter, one)| (letter, one.curve.clone()))
        .collect();
    out.write_str(&chart::chart(&curves, choice.demands.error))
}

/// What a chart shows, with its letter in the tables: the chosen one, and smaller ones as far apart
/// as to be told from it.
pub(super) fn drawn(choice: &RailChoice) -> Vec<(char, &Figures)> {
    let all = &choice.candidates;
    let chosen = all.iter().position(|one| is_chosen(choice, one));
    let chosen = chosen.unwrap_or_default();
    let lettered = ('a'..).zip(all).enumerate();
    lettered
        .filter(|(index, _)| *index == chosen || *index + 2 < chosen)
        .map(|(_, lettered)| lettered)
        .filter(|(_, one)| !one.curve.is_empty())
        .collect()
}

/// A quantity of a budget: its title, unit and errors.
type Quantity = (
    &'static str,
    &'static str,
    fn(&crate::shunt::ErrorBudget) -> &Errors,
);

const QUANTITIES: [Quantity; 3] = [
    ("current, a reading", "A", |budget| &budget.current_a),
    ("power, a reading", "W", |budget| &budget.power_w),
    ("energy over {}", "J", |budget| &budget.energy_j),
];

/// Contributions as shares of the value.
fn budget(out: &mut String, title: &str, unit: &str, errors: &[&Errors]) -> fmt::Result {
    writeln!(out, "  error budget: {title}")?;
    write!(out, "  {:14}", "")?;
    for one in errors {
        write!(out, " {:>21}", quantity(one.value, 4, unit))?;
    }
    write!(out, "\n  {:14}", "")?;
    for _ in errors {
        write!(out, " {:>11} {:>9}", "limit", "u")?;
    }
    writeln!(out)?;
    let rows = errors.first().map_or(0, |one| one.contributions.len());
    for row in 0..rows {
        let of_row = || errors.iter().map(|one| (one, one.contributions[row]));
        if of_row().all(|(_, one)| one.limit == 0.0) {
            continue;
        }
        let name = errors[0].contributions[row].name;
        write!(out, "  {name:14}")?;
        for (of, one) in of_row() {
            let [limit, standard] = [one.limit, one.standard].map(|part| share(part / of.value));
            write!(out, " {limit:>11} {standard:>9}")?;
        }
        writeln!(out)?;
    }
    let total = |out: &mut String, name: &str, of: fn(&Errors) -> f64| {
        write!(out, "  {name:14}")?;
        for one in errors {
            let (part, share) = (quantity(of(one), 3, unit), share(of(one) / one.value));
            write!(out, " {part:>11} {share:>9}")?;
        }
        writeln!(out)
    };
    total(out, "worst case ±", |one| one.worst_case)?;
    total(out, "U, k = 2 ±", |one| one.expanded)
}

fn mark(choice: &RailChoice, one: &Figures) -> String {
    let place = choice.candidates.iter().zip('a'..);
    let mut place = place.filter(|(other, _)| other.resistance_ohm == one.resistance_ohm);
    let letter = place.next().map_or(' ', |(_, letter)| letter);
    match is_chosen(choice, one) {
        true => format!("> {letter}"),
        false => format!("  {letter}"),
    }
}

fn is_chosen(choice: &RailChoice, one: &Figures) -> bool {
    one.resistance_ohm == choice.chosen_ohm
}

/// Of the series: three digits, without zeros at the end.
pub(super) fn ohms(one: &Figures) -> String {
    let text = quantity(one.resistance_ohm, 3, "Ω");
    let (number, unit) = text.split_once(' ').unwrap_or((&text, ""));
    let number = match number.contains('.') {
        true => number.trim_end_matches('0').trim_end_matches('.'),
        false => number,
    };
    format!("{number} {unit}")
}

/// A share in percent, as it was asked.
fn percent(share: f64) -> String {
    let text = format!("{:.4}", share * 100.0);
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// The same with three digits and the sign, for tables.
fn share(share: f64) -> String {
    let percent = share * 100.0;
    match percent {
        0.0 => "0 %".to_owned(),
        ..0.0001 => "<0.0001 %".to_owned(),
        _ => {
            let decimals = (2.0 - percent.log10().floor()).clamp(0.0, 4.0);
            format!("{percent:.*} %", decimals as usize)
        }
    }
}

fn time(seconds: f64) -> String {
    match seconds {
        hours if hours % 3_600.0 == 0.0 => format!("{} h", hours / 3_600.0),
        _ => format!("{seconds} s"),
    }
}

fn or_dash<T>(value: Option<T>, text: impl Fn(T) -> String) -> String {
    value.map_or_else(|| "-".to_owned(), text)
}
