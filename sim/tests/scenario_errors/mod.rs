//! Every message of the scenario reader, word for word.

mod alerts;
mod all;
mod each;
mod faults;
mod loads;
mod profiles;
mod rails;
mod recordings;
mod renamed;

use std::path::{Path, PathBuf};

use crake_sim::scenario::{Scenario, mistakes};

/// A valid scenario, to be spoilt in one place at a time.
pub const VALID: &str = r#"title = "t"
duration_s = 10
seed = 1
[part]
model = "corncrake"
strap = 1
scan_rate = 2000
averaging = 0
errors = "none"
[bus]
speed = "400k"
[host]
clock_limit_ppm = 20
clock_error_ppm = 5
read_every_s = 1
[board]
ambient_c = 20
declared_c = [0, 40]
[[rail]]
name = "LOGIC"
channel = 0
[rail.sense]
resistance_ohm = 0.5
tolerance_percent = 1
temperature_coefficient_ppm_per_k = 50
thermal_resistance_k_per_w = 20
sense_full_scale_v = 0.025
rail_full_scale_v = 6.5
[rail.source]
kind = "cell"
capacity_ah = 2
initial_state = 0.5
series = 1
open_circuit = [[0, 3.0], [1, 4.2]]
impedance_ohm = 0.5
[rail.load]
kind = "pulses"
low_a = 0
high_a = 0.03
period_s = 1
width_s = 0.004
train_pulses = 2
train_period_s = 5
[rail.load_declared]
steps_per_hour = 7200
step_a = 0.03
flow = "forward"
greatest_a = 0.03
"#;

/// The table that replaces [rail.load] where a recording is at fault; `file` is spoilt.csv unless
/// edited.
pub const RECORDED: &str = r#"kind = "recorded"
file = "spoilt.csv"
interpolation = "hold"
at_end = "repeat"
"#;

pub(crate) fn folder() -> &'static Path {
    Path::new(env!("CARGO_TARGET_TMPDIR"))
}

/// What reading `text` as `case.toml` says, without the folder.
pub fn message(text: &str) -> String {
    match Scenario::parse(text, folder().join("case.toml")) {
        Ok(_) => "no error".to_owned(),
        Err(error) => {
            let folder = format!("{}/", folder().display());
            error.to_string().replace(&folder, "")
        }
    }
}

/// `VALID` with the first `from` replaced by `to`.
pub fn spoilt(from: &str, to: &str) -> String {
    assert!(VALID.contains(from), "{from}");
    VALID.replacen(from, to, 1)
}

pub(crate) fn with_load(load: &str) -> String {
    let (before, rest) = VALID.split_once("[rail.load]\n").unwrap();
    let (_, after) = rest.split_once("[rail.load_declared]\n").unwrap();
    format!("{before}[rail.load]\n{load}[rail.load_declared]\n{after}")
}

/// A recording of its own for each case, since tests run side by side.
pub fn recording(name: &str, rows: &str, edit: (&str, &str)) -> String {
    let path: PathBuf = folder().join(name);
    std::fs::write(&path, rows).unwrap();
    let load = RECORDED.replace("spoilt.csv", name).replace(edit.0, edit.1);
    message(&with_load(&load))
}

#[test]
fn the_scenario_to_be_spoilt_is_valid() {
    assert_eq!(message(VALID), "no error");
    let rows = "# a comment\n\n0,1\n1,2\n";
    assert_eq!(recording("valid.csv", rows, ("", "")), "no error");
}

#[test]
fn mistakes_about_several_rails_have_their_messages() {
    let (_, rail) = VALID.split_once("[[rail]]").unwrap();
    let another = |from: &str, to: &str| {
        let rail = rail
            .replacen("LOGIC", "MODEM", 1)
            .replacen("channel = 0", "channel = 1", 1);
        message(&format!("{VALID}[[rail]]{}", rail.replacen(from, to, 1)))
    };
    assert_eq!(another("", ""), "no error");
    assert_eq!(
        another("MODEM", "LOGIC"),
        "case.toml:50: name = \"LOGIC\": the rail at line 19 has that name already"
    );
    assert_eq!(
        another("channel = 1", "channel = 0"),
        "case.toml:51: rail \"MODEM\": channel = 0: rail \"LOGIC\" at line 19 has that channel \
         already"
    );
    // A rail without a channel has that of its place.
    assert_eq!(another("channel = 1\n", ""), "no error");
    let shifted = VALID.replacen("channel = 0", "channel = 1", 1);
    let second = rail
        .replacen("LOGIC", "MODEM", 1)
        .replacen("channel = 0\n", "", 1);
    assert_eq!(
        message(&format!("{shifted}[[rail]]{second}")),
        "case.toml:49: rail \"MODEM\": [[rail]] needs channel: 1, its place in the file, is that of \
         rail \"LOGIC\" at line 19"
    );
    let (none, _) = VALID.split_once("[[rail]]").unwrap();
    let rule = "a scenario has a rail at least, each under [[rail]]";
    assert_eq!(
        message(none),
        format!("case.toml:1: the file needs rail: {rule}")
    );
    let empty = format!("rail = []\n{none}");
    assert_eq!(message(&empty), format!("case.toml:1: rail = []: {rule}"));
    let least = "sense.resistance_ohm = 1\nsource.voltage_v = 1\nload.current_a = 0\n";
    let each = |name| format!("[[rail]]\nname = \"{name}\"\n{least}");
    let five = ["A", "B", "C", "D", "E"].map(each).concat();
    assert_eq!(
        message(&format!("{none}{five}")),
        "case.toml:39: rail \"E\": Corncrake has 4 channels, and each watches one rail"
    );
    let no_table = format!("rail = [1]\n{none}");
    assert_eq!(
        message(&no_table),
        "case.toml:1: rail = 1: it must be a table, [[rail]]"
    );
}

#[test]
fn a_scenario_that_is_not_there_says_so() {
    let error = Scenario::load(folder().join("nowhere.toml"))
        .unwrap_err()
        .to_string();
    assert!(
        error.ends_with("nowhere.toml: cannot be read: No such file or directory (os error 2)"),
        "{error}"
    );
}

/// docs/scenario.md: "A scenario has 1 MiB at the most".
#[test]
fn a_scenario_has_a_mebibyte_at_the_most() {
    let path = folder().join("mebibyte.toml");
    let of = |bytes: usize| {
        let comment = "#".repeat(bytes - VALID.len());
        std::fs::write(&path, format!("{VALID}{comment}")).unwrap();
        (Scenario::load(&path).err(), mistakes(&path))
    };
    assert_eq!(of(1 << 20), (None, Ok(vec![])));
    let (loaded, mistakes) = of((1 << 20) + 1);
    let loaded = loaded.unwrap();
    let rule = "cannot be read: it has more than 1 MiB, which is the most that is taken";
    assert_eq!((loaded.message.as_str(), loaded.line), (rule, None));
    assert_eq!(mistakes, Err(loaded));
}
