//! The numbers of the shipped scenario and the recordings that it names, read without the program's
//! own reader.

use std::{fs, path::Path};
use toml::{Table, Value};

/// Where the scenario lies.
pub const PATH: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/survey-skiff.toml");

/// The scenario as the file has it.
pub struct Skiff {
    pub duration_s: f64,
    pub scans_per_second: f64,
    pub bus_hz: f64,
    /// Greatest error of the host's clock, as a ratio.
    pub host_limit: f64,
    /// How far the board may be from 25 °C, where nominal resistances hold.
    pub span_k: f64,
    pub rails: Vec<Rail>,
}

/// One rail as the file has it. Volts, amperes, ohms, ratios.
pub struct Rail {
    pub name: String,
    pub ohms: f64,
    pub tolerance: f64,
    pub coefficient_per_k: f64,
    pub thermal_k_per_w: f64,
    /// What is to be measured at least.
    pub sense_full_scale: f64,
    pub rail_full_scale: f64,
    pub impedance: f64,
    pub source: Table,
    pub load: Table,
    pub steps_per_hour: f64,
    pub step: f64,
    pub greatest: f64,
}

impl Skiff {
    pub fn read() -> Self {
        let text = fs::read_to_string(PATH).expect("the scenario");
        let file: Table = text.parse().expect("TOML");
        let declared_c = array(&file["board"]["declared_c"]);
        let away = |c: &Value| (number(c) - 25.0).abs();
        Self {
            duration_s: number(&file["duration_s"]),
            scans_per_second: number(&file["part"]["scan_rate"]),
            bus_hz: match file["bus"]["speed"].as_str() {
                Some("400k") => 400e3,
                other => panic!("bus speed {other:?}"),
            },
            host_limit: number(&file["host"]["clock_limit_ppm"]) / 1e6,
            span_k: declared_c.iter().map(away).fold(0.0, f64::max),
            rails: array(&file["rail"]).iter().map(Rail::read).collect(),
        }
    }

    pub fn rail(&self, name: &str) -> &Rail {
        let found = self.rails.iter().find(|rail| rail.name == name);
        found.unwrap_or_else(|| panic!("no rail {name}"))
    }
}

impl Rail {
    fn read(value: &Value) -> Self {
        let (sense, declared) = (&value["sense"], &value["load_declared"]);
        let source = value["source"].as_table().expect("a source").clone();
        Self {
            name: text(&value["name"]),
            ohms: number(&sense["resistance_ohm"]),
            tolerance: number(&sense["tolerance_percent"]) / 100.0,
            coefficient_per_k: number(&sense["temperature_coefficient_ppm_per_k"]) / 1e6,
            thermal_k_per_w: number(&sense["thermal_resistance_k_per_w"]),
            sense_full_scale: number(&sense["sense_full_scale_v"]),
            rail_full_scale: number(&sense["rail_full_scale_v"]),
            impedance: number(&source["impedance_ohm"]),
            source,
            load: value["load"].as_table().expect("a load").clone(),
            steps_per_hour: number(&declared["steps_per_hour"]),
            step: number(&declared["step_a"]),
            greatest: number(&declared["greatest_a"]),
        }
    }
}

/// The points of the recording that `profile` names: seconds and values.
pub fn recording(profile: &Table) -> Vec<(f64, f64)> {
    let file = Path::new(PATH).with_file_name(text(&profile["file"]));
    let rows = fs::read_to_string(file).expect("the recording");
    let separator = if text(&profile["separator"]) == "tab" {
        '\t'
    } else {
        ','
    };
    let rows = rows
        .lines()
        .filter(|row| !row.starts_with('#') && !row.is_empty());
    let point = |row: &str| {
        let (time, value) = row.split_once(separator).expect("two columns");
        (
            time.parse().expect("a time"),
            value.trim().parse().expect("a value"),
        )
    };
    rows.map(point).collect()
}

pub fn number(value: &Value) -> f64 {
    let whole = value.as_integer().map(|number| number as f64);
    whole.or(value.as_float()).expect("a number")
}

pub fn array(value: &Value) -> &[Value] {
    value.as_array().expect("an array")
}

pub fn text(value: &Value) -> String {
    value.as_str().expect("a text").to_owned()
}
