//! What is suggested, as text for a scenario file and as constants for firmware.

use std::fmt::{self, Write};

use super::RailFigures;
use crate::rust_text::call;

/// A `[[rail]]` for each, to be put into the scenario's own.
pub(super) fn scenario(rails: &[RailFigures]) -> String {
    let mut text = String::new();
    for rail in rails {
        // Writing to a string cannot fail.
        let _ = scenario_rail(&mut text, rail);
    }
    text
}

fn scenario_rail(out: &mut String, rail: &RailFigures) -> fmt::Result {
    let suggested = &rail.suggested;
    let name = toml::Value::from(rail.name.as_str());
    writeln!(out, "[[rail]]\nname = {name}")?;
    writeln!(out, "[rail.load_declared]")?;
    for unseen in &rail.unseen {
        writeln!(
            out,
            "{}",
            comment("#", &format!("cannot be seen: {unseen}"))
        )?;
    }
    writeln!(out, "steps_per_hour = {}", suggested.steps_per_hour)?;
    writeln!(out, "step_a = {}", suggested.step_a)?;
    writeln!(out, "flow = \"{}\"", suggested.flow)?;
    writeln!(out, "greatest_a = {}", suggested.greatest_a)?;
    if let Some([least, greatest]) = suggested.voltage_v {
        writeln!(out, "voltage_v = [{least}, {greatest}]")?;
    }
    if let Some(mean) = suggested.mean {
        writeln!(
            out,
            "mean_a = {}\nmean_over_s = {}",
            mean.mean_a, mean.over_s
        )?;
    }
    for limit in &suggested.limits {
        let unit = if limit.kind.ends_with("voltage") {
            "v"
        } else {
            "a"
        };
        writeln!(out, "[[rail.alert]]\nkind = \"{}\"", limit.kind)?;
        writeln!(
            out,
            "limit_{unit} = {}\ndebounce = {}",
            limit.limit, limit.debounce
        )?;
        writeln!(out, "output = \"A\"")?;
    }
    writeln!(out)
}

/// Loads and limits, channels in the log's order.
pub(super) fn rust(rails: &[RailFigures]) -> String {
    let has_voltage = rails.iter().any(|rail| rail.suggested.voltage_v.is_some());
    let mut text = format!(
        "use crake::Channel;\n\
         use crake::alert::{{Limit, Outputs, Threshold}};\n\
         use crake::board::{{Load, LoadSteps}};\n\
         use crake::units::{};\n",
        match has_voltage {
            true => "{Current, Voltage}",
            false => "Current",
        }
    );
    let mut limits = String::new();
    let names = constants(rails);
    for (channel, (rail, name)) in rails.iter().zip(&names).enumerate() {
        // Writing to a string cannot fail.
        let _ = rust_rail(&mut text, rail, name);
        for limit in &rail.suggested.limits {
            let (threshold, of) = match limit.kind {
                "over_voltage" => ("OverVoltage", volts(limit.limit)),
                "under_voltage" => ("UnderVoltage", volts(limit.limit)),
                "under_current" => ("UnderCurrent", amps(limit.limit)),
                _ => ("OverCurrent", amps(limit.limit)),
            };
            limits += &format!(
                "    Limit::new(Channel::new({channel}), Threshold::{threshold}({of}))\n        \
                 .debounce({})\n        .to(Outputs::A),\n",
                limit.debounce
            );
        }
    }
    let count: usize = rails.iter().map(|rail| rail.suggested.limits.len()).sum();
    let _ = write!(
        text,
        "\n/// Beyond everything that was seen. Channels are in the order of the log.\n\
         pub const LIMITS: [Limit; {count}] = [\n{limits}];\n"
    );
    text
}

fn rust_rail(out: &mut String, rail: &RailFigures, name: &str) -> fmt::Result {
    let suggested = &rail.suggested;
    writeln!(
        out,
        "\n/// What may be declared of the load of {}.",
        rail.name
    )?;
    for unseen in &rail.unseen {
        writeln!(
            out,
            "{}",
            comment("//", &format!("Cannot be seen: {unseen}."))
        )?;
    }
    writeln!(
        out,
        "pub const {name}_LOAD: Load = Load::smooth({})",
        amps(suggested.greatest_a)
    )?;
    if suggested.flow == "both" {
        writeln!(out, "    .both_ways()")?;
    }
    if let Some(mean) = suggested.mean {
        writeln!(
            out,
            "    .with_mean({}, {})",
            amps(mean.mean_a),
            mean.over_s
        )?;
    }
    writeln!(out, "    .with_steps(LoadSteps {{")?;
    writeln!(out, "        per_hour: {},", suggested.steps_per_hour)?;
    writeln!(out, "        step: {},", amps(suggested.step_a))?;
    writeln!(out, "    }});")?;
    if let Some([least, greatest]) = suggested.voltage_v {
        writeln!(out, "/// Between which its voltage lies.")?;
        writeln!(
            out,
            "pub const {name}_VOLTAGE: (Voltage, Voltage) = (\n    {},\n    {},\n);",
            volts(least),
            volts(greatest)
        )?;
    }
    Ok(())
}

/// In lines of a hundred columns.
fn comment(mark: &str, text: &str) -> String {
    let (mut lines, mut columns) = (mark.to_owned(), mark.len());
    for word in text.split(' ') {
        let length = 1 + word.chars().count();
        if columns + length > 100 {
            lines += &format!("\n{mark}");
            columns = mark.len();
        }
        lines += &format!(" {word}");
        columns += length;
    }
    lines
}

fn amps(value: f64) -> String {
    call("Current", (value * 1e9).round() as i64)
}

fn volts(value: f64) -> String {
    call("Voltage", (value * 1e9).round() as i64)
}

/// Rails' names as those of constants. They stand before `_LOAD` or `_VOLTAGE`, and so are no
/// keywords; where two would be alike the later one has a number.
fn constants(rails: &[RailFigures]) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for rail in rails {
        let name = constant(&rail.name);
        let numbered = (2..).map(|number| format!("{name}_{number}"));
        let mut all = std::iter::once(name.clone()).chain(numbered);
        names.extend(all.find(|one| !names.contains(one)));
    }
    names
}

/// Capital letters and digits, the first one a letter.
fn constant(name: &str) -> String {
    let letter = |letter: char| match letter.is_ascii_alphanumeric() {
        true => letter.to_ascii_uppercase(),
        false => '_',
    };
    let name: String = name.chars().map(letter).collect();
    match name.starts_with(|first: char| first.is_ascii_alphabetic()) {
        true => name,
        false => format!("RAIL_{name}"),
    }
}
