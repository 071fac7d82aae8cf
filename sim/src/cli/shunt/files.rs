//! What a choice leaves in a directory.

use std::fmt::Write as _;
use std::path::Path;

use crake::units::Resistance;

use super::Asked;
use crate::cli::part::PartName;
use crate::cli::readings;
use crate::growing;
use crate::rust_text::{call, grouped};
use crate::shunt::RailChoice;

/// Columns of a line of Rust.
const LINE: usize = 100;
const FILES: [&str; 5] = [
    "shunt.txt",
    "shunt.json",
    "shunt.html",
    "board.rs",
    "scenario.toml",
];

/// Writes them all, or none and says why.
pub(super) fn write(
    directory: &Path,
    overwrite: bool,
    part: PartName,
    (asked, choices): (&[Asked], &[RailChoice]),
    (tables, object): (&str, &str),
) -> Result<(), String> {
    growing::refuse_taken(directory, &FILES, overwrite)?;
    let rails: Vec<_> = asked.iter().zip(choices).collect();
    let mut files = vec![
        (FILES[0], tables.to_owned()),
        (FILES[1], object.to_owned()),
        (FILES[2], super::page::page(choices, tables)),
        (FILES[3], board(part, &rails)),
    ];
    if part == PartName::Corncrake {
        files.push((FILES[4], scenario(&rails)));
    }
    let grown = growing::grown(directory, files);
    let kept = grown.and_then(growing::keep);
    kept.map_err(|error| error.to_string())
}

type Rails<'r> = [(&'r Asked, &'r RailChoice)];

/// Board and configuration for firmware.
fn board(part: PartName, rails: &Rails<'_>) -> String {
    let name = part.info().name;
    let module = name.to_lowercase();
    let continuous = part == PartName::Corncrake;
    let mut text = format!(
        "//! Board and configuration as `crake-sim shunt` chose them; rails from channel 0 up.\n\
         //!\n\
         //! Loads are declared to be smooth: add their steps where totals are to be bounded.\n{}\n\
         use crake::board::{{Board, Load, Rail, SenseResistor}};\n\
         use crake::config::{{{}}};\n\
         use crake::part::{module}::{name};\n\
         use crake::units::{{Current, Resistance, Tolerance, Voltage}};\n\n\
         /// What stands on the board.\n\
         pub const RAILS: [Rail; {count}] = [\n",
        match rails.first() {
            Some(((_, demands), _)) if demands.calibrated =>
                "//! The choice needs an offset that the firmware calibrates with no load.\n",
            _ => "",
        },
        match continuous {
            true => "Config, FullScale, ScanRate",
            false => "Config, FullScale",
        },
        count = rails.len(),
    );
    for ((rail, demands), choice) in rails {
        let resistance = Resistance::from_nanoohms(nano(choice.chosen_ohm) as u64);
        let kinds = &demands.resistors;
        let span_mk = demands.span_mk();
        let load = format!(
            "Load::smooth({})",
            call("Current", demands.greatest.as_nanoamps())
        );
        let load = match (demands.both_ways, demands.mean) {
            (false, _) => load,
            (true, None) => load + ".both_ways()",
            (true, Some((mean, over_s))) => {
                let mean = call("Current", mean.as_nanoamps());
                let break_in = "\n            ";
                format!(
                    "\n        {load}{break_in}.both_ways(){break_in}.with_mean({mean}, {over_s}),\n    "
                )
            }
        };
        let filter = demands.filter.map_or_else(String::new, |filter| {
            let each = call("Resistance", filter.each.as_nanoohms() as i64);
            format!("\n    .with_input_filter({each})")
        });
        let _ = write!(
            text,
            "    // {rail}: {resistance}.\n    \
             Rail::new(\n        \
             SenseResistor::new({}, Tolerance::from_ppm({}))\n            \
             .with_temperature({}, {})\n            \
             .with_self_heating({}),\n    )\n    \
             .with_load({load})\n    \
             .with_voltage(Voltage::ZERO, {}){filter},\n",
            call("Resistance", resistance.as_nanoohms() as i64),
            grouped(kinds.tolerance_ppm.into()),
            kinds.coefficient_ppm_per_k,
            grouped(span_mk.into()),
            grouped(kinds.thermal_mk_per_w.into()),
            call("Voltage", demands.voltage.as_nanovolts()),
        );
    }
    let count = rails.len();
    let scales = rails.iter().map(|(_, choice)| {
        let [sense, rail] = choice
            .full_scale_v
            .map(|volts| grouped(nano(volts) / 1_000));
        format!(
            "FullScale::new(\n    Voltage::from_microvolts({sense}),\n    \
             Voltage::from_microvolts({rail}),\n)"
        )
    });
    let scales: Vec<String> = scales.collect();
    // As rustfmt has it.
    let scales = match &scales[..] {
        [one] => one.clone(),
        all => {
            let lines = all.iter().map(|one| one.replace('\n', "\n    "));
            let lines = lines.map(|one| format!("\n    {one},"));
            lines.collect::<String>() + "\n"
        }
    };
    let _ = write!(
        text,
        "];\n\n/// What codes become quantities by.\n\
         pub static BOARD: Board<{count}> = {name}::board(&RAILS);\n\n\
         /// What each channel has to reach.\n\
         pub const FULL_SCALES: [FullScale; {count}] = [{scales}];\n"
    );
    let Some(((_, demands), _)) = rails.first() else {
        return text;
    };
    let averaging = match demands.averaging {
        0 => String::new(),
        k => format!(".averaging({k})"),
    };
    let how = match continuous {
        true => {
            let scans = 1_000_000 / demands.stretch.scan_period_us.max(1);
            format!(
                "continuous(FULL_SCALES, ScanRate::per_second({}))",
                grouped(scans.into())
            )
        }
        false => "single_shot(FULL_SCALES)".to_owned(),
    };
    let config = format!("Config::{how}{averaging};");
    let begin = format!("pub const CONFIG: Config<{count}> =");
    let between = match begin.len() + config.len() < LINE {
        true => " ",
        false => "\n    ",
    };
    let _ = write!(
        text,
        "\n/// What the part is asked to do.\n{begin}{between}{config}\n"
    );
    text
}

/// A scenario that runs: each rail at its greatest voltage, from its least to its greatest current.
fn scenario(rails: &Rails<'_>) -> String {
    let Some(((_, first), _)) = rails.first() else {
        return String::new();
    };
    let [coldest, warmest] = [first.ambient_mc.0, first.ambient_mc.1].map(|mc| f64::from(mc) / 1e3);
    let mut text = format!(
        "# Sense resistors as chosen, tried at the least and the greatest current.\n\
         # [rail.sense] is what to take into a scenario of one's own.\n\
         title = \"Sense resistors at their least and greatest current\"\n\
         duration_s = 20\n\n\
         [part]\nscan_rate = {}\naveraging = {}\n\n\
         [host]\nclock_limit_ppm = {}\n\n\
         [board]\nambient_c = {warmest}\ndeclared_c = [{coldest}, {warmest}]\n",
        1_000_000 / first.stretch.scan_period_us.max(1),
        first.averaging,
        first.stretch.clock.as_ppm(),
    );
    if first.calibrated {
        text += "# Chosen for an offset that the firmware calibrates, which this run does not do: near \
                 zero\n# it reads farther off than was asked for.\n";
    }
    for ((rail, demands), choice) in rails {
        let name = toml::Value::from(rail.as_str());
        let kinds = &demands.resistors;
        let [least, greatest] =
            [demands.least, demands.greatest].map(|one| decimal(one.as_nanoamps()));
        let [sense, reach] = choice.full_scale_v.map(|volts| decimal(nano(volts)));
        let flow = if demands.both_ways { "both" } else { "forward" };
        let volts = decimal(demands.voltage.as_nanovolts());
        let _ = write!(
            text,
            "\n[[rail]]\nname = {name}\n\n\
             [rail.sense]\n\
             resistance_ohm = {}\n\
             tolerance_percent = {}\n\
             temperature_coefficient_ppm_per_k = {}\n\
             thermal_resistance_k_per_w = {}\n\
             sense_full_scale_v = {sense}\n\
             rail_full_scale_v = {reach}\n\n\
             [rail.source]\nvoltage_v = {volts}\n\n\
             [rail.load]\nkind = \"steps\"\ninitial_a = {least}\nsteps = [[10, {greatest}]]\n\n\
             [rail.load_declared]\nsteps_per_hour = 180\nstep_a = {greatest}\n\
             flow = \"{flow}\"\ngreatest_a = {greatest}\nvoltage_v = [{volts}, {volts}]\n",
            decimal(nano(choice.chosen_ohm)),
            f64::from(kinds.tolerance_ppm) / 1e4,
            kinds.coefficient_ppm_per_k,
            f64::from(kinds.thermal_mk_per_w) / 1e3,
        );
    }
    text
}

/// In billionths.
fn nano(value: f64) -> i64 {
    (value * 1e9).round() as i64
}

/// Billionths as a decimal number, exactly, without zeros at its end.
fn decimal(billionths: i64) -> String {
    let all = readings::decimal(billionths.into(), 9);
    all.trim_end_matches('0').trim_end_matches('.').to_owned()
}
