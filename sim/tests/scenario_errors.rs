//! Every message of the scenario reader, word for word.
#![cfg(feature = "cli")]

use std::path::{Path, PathBuf};

use crake_sim::scenario::Scenario;

/// A valid scenario, to be spoilt in one place at a time.
const VALID: &str = r#"title = "t"
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

/// The table that replaces [rail.load] where a recording is at fault; `file` is spoilt.csv unless edited.
const RECORDED: &str = r#"kind = "recorded"
file = "spoilt.csv"
interpolation = "hold"
at_end = "repeat"
"#;

fn folder() -> &'static Path {
    Path::new(env!("CARGO_TARGET_TMPDIR"))
}

/// What reading `text` as `case.toml` says, without the folder.
fn message(text: &str) -> String {
    match Scenario::parse(text, folder().join("case.toml")) {
        Ok(_) => "no error".to_owned(),
        Err(error) => {
            let folder = format!("{}/", folder().display());
            error.to_string().replace(&folder, "")
        }
    }
}

/// `VALID` with the first `from` replaced by `to`.
fn spoilt(from: &str, to: &str) -> String {
    assert!(VALID.contains(from), "{from}");
    VALID.replacen(from, to, 1)
}

fn with_load(load: &str) -> String {
    let (before, rest) = VALID.split_once("[rail.load]\n").unwrap();
    let (_, after) = rest.split_once("[rail.load_declared]\n").unwrap();
    format!("{before}[rail.load]\n{load}[rail.load_declared]\n{after}")
}

/// A recording of its own for each case, since tests run side by side.
fn recording(name: &str, rows: &str, edit: (&str, &str)) -> String {
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
fn each_mistake_in_a_scenario_has_its_message() {
    let cases: &[(&str, &str, &str)] = &[
        // The file as a whole.
        (
            "title = \"t\"",
            "title = ",
            "case.toml:1:9: string values must be quoted, expected literal string",
        ),
        ("seed = 1", "duration_s = 1", "case.toml:3:1: duplicate key"),
        (
            "title = \"t\"\n",
            "",
            "case.toml:1: the file needs title: one line about the scenario",
        ),
        (
            "seed",
            "seeds",
            "case.toml:3: unknown key seeds in the file; it takes title, duration_s, seed, part, bus, host, board, rail",
        ),
        (
            "\"t\"",
            "5",
            "case.toml:1: title = 5: not a string; put it in double quotes",
        ),
        (
            "duration_s = 10",
            "duration_s = 0",
            "case.toml:2: duration_s = 0: a duration must be above 0 and at most 315576000 s",
        ),
        (
            "duration_s = 10",
            "duration_s = -1.5",
            "case.toml:2: duration_s = -1.5: a duration must be above 0 and at most 315576000 s",
        ),
        (
            "duration_s = 10",
            "duration_s = nan",
            "case.toml:2: duration_s = nan: not a finite number; write a decimal number such as 0.25",
        ),
        (
            "duration_s = 10",
            "duration_s = \"10\"",
            "case.toml:2: duration_s = \"10\": not a number",
        ),
        (
            "seed = 1",
            "seed = 1.5",
            "case.toml:3: seed = 1.5: a seed is a whole number from 0 to 9223372036854775807",
        ),
        // Part, bus, host, board.
        (
            "\"corncrake\"",
            "\"corn\"",
            "case.toml:5: model = \"corn\": it must be \"corncrake\"",
        ),
        (
            "strap = 1",
            "address = 0x36",
            "case.toml:6: address = 0x36: an address must lie between 0x32 and 0x35",
        ),
        (
            "strap = 1",
            "strap = 4",
            "case.toml:6: strap = 4: a strap is 0 to 3, for addresses 0x32 to 0x35",
        ),
        (
            "strap = 1",
            "strap = 1\naddress = 0x33",
            "case.toml:6: strap = 1: address is given already; leave one of them out",
        ),
        (
            "scan_rate = 2000\n",
            "",
            "case.toml:4: [part] needs scan_rate: a scan rate is 2000, 500, 100, 10 or 1 scans a second",
        ),
        (
            "scan_rate = 2000",
            "scan_rate = 1000",
            "case.toml:7: scan_rate = 1000: a scan rate is 2000, 500, 100, 10 or 1 scans a second",
        ),
        (
            "averaging = 0",
            "averaging = 11",
            "case.toml:8: averaging = 11: averaging is k of 2^k scans, from 0 to 10",
        ),
        (
            "\"none\"",
            "\"some\"",
            "case.toml:9: errors = \"some\": it must be \"individual\" or \"none\"",
        ),
        (
            "averaging",
            "avreaging",
            "case.toml:8: unknown key avreaging in [part]; it takes model, address, strap, scan_rate, errors, averaging",
        ),
        (
            "\"400k\"",
            "400",
            "case.toml:11: speed = 400: it must be \"100k\" or \"400k\" or \"1M\"",
        ),
        (
            "clock_limit_ppm = 20",
            "clock_limit_ppm = -1",
            "case.toml:13: clock_limit_ppm = -1: a clock's limit must lie between 0 and 100000 ppm",
        ),
        (
            "clock_error_ppm = 5",
            "clock_error_ppm = 21",
            "case.toml:14: clock_error_ppm = 21: it must lie within clock_limit_ppm, which is 50 unless given",
        ),
        (
            "clock_error_ppm = 5",
            "clock_error_ppm = \"any\"",
            "case.toml:14: clock_error_ppm = \"any\": it must be \"individual\"",
        ),
        (
            "read_every_s = 1",
            "read_every_s = 11",
            "case.toml:15: read_every_s = 11: it must be at most duration_s, or nothing is ever read",
        ),
        (
            "read_every_s = 1",
            "read_every_s = 0.0005",
            "case.toml:15: read_every_s = 0.0005: the host reads every 0.001 s or less often",
        ),
        (
            "ambient_c = 20",
            "ambient_c = 41",
            "case.toml:17: ambient_c = 41: it must lie within declared_c",
        ),
        (
            "[0, 40]",
            "[0, 90]",
            "case.toml:18: declared_c = 90: a temperature must lie between -40 and 85 °C, for which the part is specified",
        ),
        (
            "[0, 40]",
            "[40, 0]",
            "case.toml:18: declared_c = [40, 0]: it must be the least and the greatest temperature, such as [0, 60]",
        ),
        (
            "[0, 40]",
            "[40]",
            "case.toml:18: declared_c = [40]: it must be the least and the greatest temperature, such as [0, 60]",
        ),
        // Rails.
        (
            "name = \"LOGIC\"\n",
            "",
            "case.toml:19: [[rail]] needs name: what the rail is called",
        ),
        (
            "channel = 0\n",
            "",
            "case.toml:19: rail \"LOGIC\": [[rail]] needs channel: a channel is 0 to 3",
        ),
        (
            "channel = 0",
            "channel = 4",
            "case.toml:21: rail \"LOGIC\": channel = 4: a channel is 0 to 3",
        ),
        (
            "channel = 0",
            "channel = 0\nchanel = 0",
            "case.toml:22: rail \"LOGIC\": unknown key chanel in [[rail]]; it takes name, channel, sense, source, load, load_declared, alert",
        ),
        (
            "resistance_ohm = 0.5",
            "resistance_ohm = 0",
            "case.toml:23: rail \"LOGIC\": resistance_ohm = 0: a sense resistor must lie between 0.0001 and 10 ohm",
        ),
        (
            "resistance_ohm = 0.5",
            "resistance_ohm = 0.00009",
            "case.toml:23: rail \"LOGIC\": resistance_ohm = 0.00009: a sense resistor must lie between 0.0001 and 10 ohm",
        ),
        (
            "resistance_ohm = 0.5",
            "resistance_ohm = 10.1",
            "case.toml:23: rail \"LOGIC\": resistance_ohm = 10.1: a sense resistor must lie between 0.0001 and 10 ohm",
        ),
        (
            "resistance_ohm = 0.5",
            "resistance_ohm = inf",
            "case.toml:23: rail \"LOGIC\": resistance_ohm = inf: not a finite number; write a decimal number such as 0.25",
        ),
        (
            "tolerance_percent = 1",
            "tolerance_percent = 11",
            "case.toml:24: rail \"LOGIC\": tolerance_percent = 11: a tolerance must lie between 0 and 10 %",
        ),
        (
            "per_k = 50",
            "per_k = -50",
            "case.toml:25: rail \"LOGIC\": temperature_coefficient_ppm_per_k = -50: a temperature coefficient must lie between 0 and 1000 ppm/K; its sign comes from the seed",
        ),
        (
            "per_w = 20",
            "per_w = 1001",
            "case.toml:26: rail \"LOGIC\": thermal_resistance_k_per_w = 1001: a thermal resistance must lie between 0 and 1000 K/W",
        ),
        (
            "sense_full_scale_v = 0.025",
            "sense_full_scale_v = 0.0655356",
            "case.toml:27: rail \"LOGIC\": sense_full_scale_v = 0.0655356: the sense voltage to be measured must lie between 0 and 0.0655355 V",
        ),
        (
            "rail_full_scale_v = 6.5",
            "rail_full_scale_v = \"6.5V\"",
            "case.toml:28: rail \"LOGIC\": rail_full_scale_v = \"6.5V\": not a number",
        ),
        (
            "rail_full_scale_v = 6.5",
            "rail_full_scale_v = 65.5351",
            "case.toml:28: rail \"LOGIC\": rail_full_scale_v = 65.5351: the rail voltage to be measured must lie between 0 and 65.535 V",
        ),
        // Sources.
        (
            "kind = \"cell\"\n",
            "",
            "case.toml:29: rail \"LOGIC\": [rail.source] needs kind: what it is, such as \"constant\"",
        ),
        (
            "kind = \"cell\"",
            "kind = \"dynamo\"",
            "case.toml:30: rail \"LOGIC\": kind = \"dynamo\": it must be \"constant\" or \"steps\" or \"ramp\" or \"pulses\" or \"recorded\" or \"sum\" or \"cell\"",
        ),
        (
            "capacity_ah = 2",
            "capacity_ah = 10001",
            "case.toml:31: rail \"LOGIC\": capacity_ah = 10001: a capacity must lie between 0.000001 and 10000 Ah",
        ),
        (
            "initial_state = 0.5",
            "initial_state = 50",
            "case.toml:32: rail \"LOGIC\": initial_state = 50: a state must lie between 0 and 1",
        ),
        (
            "series = 1",
            "series = 0",
            "case.toml:33: rail \"LOGIC\": series = 0: 1 to 1000 cells may be in series",
        ),
        (
            "[[0, 3.0], [1, 4.2]]",
            "[[0, 3.0], [1, 99]]",
            "case.toml:34: rail \"LOGIC\": open_circuit = 99: a voltage must lie between 0 and 72 V, which is what the part's inputs stand",
        ),
        (
            "[[0, 3.0], [1, 4.2]]",
            "[[0.1, 3.0], [1, 4.2]]",
            "case.toml:34: rail \"LOGIC\": open_circuit = [[0.1, 3.0], [1, 4.2]]: the table of a cell must begin at state 0 and end at state 1",
        ),
        (
            "[[0, 3.0], [1, 4.2]]",
            "[[0, 3.0], [0, 3.1], [1, 4.2]]",
            "case.toml:34: rail \"LOGIC\": open_circuit = [[0, 3.0], [0, 3.1], [1, 4.2]]: point 1 (from 0) is not after the one before it",
        ),
        (
            "[[0, 3.0], [1, 4.2]]",
            "[]",
            "case.toml:34: rail \"LOGIC\": open_circuit = []: there is no point at all",
        ),
        (
            "[[0, 3.0], [1, 4.2]]",
            "[3.0, 4.2]",
            "case.toml:34: rail \"LOGIC\": open_circuit = 3.0: pairs of state and volts of one cell, such as [[0, 3.0], [1, 4.2]], states from 0 to 1 rising",
        ),
        (
            "impedance_ohm = 0.5",
            "impedance_ohm = -1",
            "case.toml:35: rail \"LOGIC\": impedance_ohm = -1: an impedance must lie between 0 and 1000 ohm",
        ),
        // Loads.
        (
            "high_a = 0.03",
            "high_a = 1000.1",
            "case.toml:39: rail \"LOGIC\": high_a = 1000.1: a current must lie between -1000 and 1000 A",
        ),
        (
            "low_a = 0",
            "low_a = -1001",
            "case.toml:38: rail \"LOGIC\": low_a = -1001: a current must lie between -1000 and 1000 A",
        ),
        (
            "high_a = 0.03",
            "high_a = 1e40",
            "case.toml:39: rail \"LOGIC\": high_a = 1e40: too great a number",
        ),
        (
            "period_s = 1",
            "period_s = -1",
            "case.toml:40: rail \"LOGIC\": period_s = -1: a time must lie between 0 and 315576000 s",
        ),
        (
            "width_s = 0.004",
            "width_s = 2",
            "case.toml:36: rail \"LOGIC\": pulses need 0 < width, edge <= width and width + edge <= period",
        ),
        (
            "train_pulses = 2",
            "train_pulses = 6",
            "case.toml:36: rail \"LOGIC\": a train needs at least one pulse, and a period as long as its pulses together",
        ),
        (
            "train_pulses = 2",
            "train_pulses = 0",
            "case.toml:42: rail \"LOGIC\": train_pulses = 0: a train has 1 to 1000000000 pulses",
        ),
        (
            "train_pulses = 2\n",
            "",
            "case.toml:42: rail \"LOGIC\": train_period_s = 5: train_pulses and train_period_s belong together",
        ),
        (
            "steps_per_hour = 7200",
            "steps_per_hour = -2",
            "case.toml:45: rail \"LOGIC\": steps_per_hour = -2: the number of steps in an hour must be a whole number from 0 to 3600000000",
        ),
        (
            "steps_per_hour = 7200",
            "steps_per_hour = 7200\nvoltage_step_v = 1",
            "case.toml:46: rail \"LOGIC\": voltage_step_v = 1: voltage_steps_per_hour and voltage_step_v belong together; give both or neither",
        ),
        (
            "steps_per_hour = 7200",
            "steps_per_hour = 7200\nvoltage_steps_per_hour = 1\nvoltage_step_v = 1001",
            "case.toml:47: rail \"LOGIC\": voltage_step_v = 1001: a step must lie between 0 and 1000 V",
        ),
        (
            "step_a = 0.03",
            "step_a = -0.03",
            "case.toml:46: rail \"LOGIC\": step_a = -0.03: a step must lie between 0 and 1000 A",
        ),
        (
            "\"forward\"",
            "\"back\"",
            "case.toml:47: rail \"LOGIC\": flow = \"back\": it must be \"forward\" or \"both\"",
        ),
        (
            "greatest_a = 0.03",
            "greatest_a = 0",
            "case.toml:48: rail \"LOGIC\": greatest_a = 0: the greatest current must be above 0 and at most 1000 A",
        ),
        // What only shows when the rail is put together.
        (
            "impedance_ohm = 0.5",
            "impedance_ohm = 1000\n[rail.load]\nkind = \"constant\"\ncurrent_a = -999\n[ignored]",
            "case.toml:19: rail \"LOGIC\": the voltage at the load, with the drop across the source's impedance, may come to 999003 V; it must stay within ±1000 V",
        ),
    ];
    for &(from, to, expected) in cases {
        let text = match to.split_once("[ignored]") {
            // A load of its own in place of the pulses.
            Some((to, _)) => {
                let (before, _) = VALID.split_once(from).unwrap();
                let (_, after) = VALID.split_once("[rail.load_declared]").unwrap();
                format!("{before}{to}[rail.load_declared]{after}")
            }
            None => spoilt(from, to),
        };
        assert_eq!(message(&text), expected, "{from} -> {to}");
    }
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
        "case.toml:51: rail \"MODEM\": channel = 0: rail \"LOGIC\" at line 19 has that channel already"
    );
    let (none, _) = VALID.split_once("[[rail]]").unwrap();
    let rule = "a scenario has one to four rails, each under [[rail]]";
    assert_eq!(
        message(none),
        format!("case.toml:1: the file needs rail: {rule}")
    );
    let empty = format!("rail = []\n{none}");
    assert_eq!(message(&empty), format!("case.toml:1: rail = []: {rule}"));
    let five = format!("{none}{}", "[[rail]]\nname = \"A\"\n".repeat(5));
    assert_eq!(
        message(&five),
        format!("case.toml:27: rail = [[rail]]: {rule}")
    );
    let no_table = format!("rail = [1]\n{none}");
    assert_eq!(
        message(&no_table),
        "case.toml:1: rail = 1: it must be a table, [[rail]]"
    );
}

#[test]
fn mistakes_of_other_profiles_have_their_messages() {
    let cases = [
        (
            "kind = \"constant\"\n",
            "case.toml:36: rail \"LOGIC\": [rail.load] needs current_a: a current must lie between -1000 and 1000 A",
        ),
        (
            "kind = \"constant\"\ncurrent_a = 1\nvoltage_v = 1\n",
            "case.toml:39: rail \"LOGIC\": unknown key voltage_v in [rail.load]; it takes kind, current_a",
        ),
        (
            "kind = \"steps\"\ninitial_a = 1\nsteps = [[0, 1]]\n",
            "case.toml:36: rail \"LOGIC\": point 1 (from 0) is not after the one before it",
        ),
        (
            "kind = \"steps\"\ninitial_a = 1\nsteps = [1]\n",
            "case.toml:39: rail \"LOGIC\": steps = 1: steps are pairs of time and value, such as [[10, 0.5], [20, 0.1]]",
        ),
        (
            "kind = \"ramp\"\nstart_s = 2\nfrom_a = 1\nend_s = 1\nto_a = 2\n",
            "case.toml:36: rail \"LOGIC\": point 1 (from 0) is not after the one before it",
        ),
        (
            "kind = \"sum\"\nparts = []\n",
            "case.toml:36: rail \"LOGIC\": there is no point at all",
        ),
        (
            "kind = \"sum\"\nparts = 3\n",
            "case.toml:38: rail \"LOGIC\": parts = 3: parts are profiles, such as [{ kind = \"constant\", current_a = 0.1 }]",
        ),
        (
            "kind = \"sum\"\nparts = [\n{ kind = \"constant\", current_a = 900 },\n{ kind = \"constant\", current_a = 900 }]\n",
            "case.toml:36: rail \"LOGIC\": values may come to 1800 A (or V); they must stay within ±1000",
        ),
        (
            "kind = \"sum\"\nparts = [\n{ kind = \"constant\", curent_a = 9 }]\n",
            "case.toml:39: rail \"LOGIC\": parts needs current_a: a current must lie between -1000 and 1000 A",
        ),
        (
            "kind = \"constant\"\ncurrent_a = \"inf\"\n",
            "case.toml:38: rail \"LOGIC\": current_a = \"inf\": not a number",
        ),
    ];
    for (load, expected) in cases {
        assert_eq!(message(&with_load(load)), expected, "{load}");
    }
    // 1 kA at the 72 V that inputs stand, for 10^6 s, is 72 GJ.
    let long = with_load("kind = \"constant\"\ncurrent_a = 1000\n")
        .replace("duration_s = 10", "duration_s = 1e6");
    assert_eq!(
        message(&long),
        "case.toml:19: rail \"LOGIC\": its energy over duration_s might exceed 28 GJ, as far as the truth counts: shorten duration_s"
    );
}

/// What an earlier form of the file called otherwise, alone or beside the new key.
#[test]
fn old_keys_and_words_are_refused_and_told_the_new_ones() {
    let cases: &[(&str, &str, &str)] = &[
        (
            "scan_rate = 2000",
            "pace = 2000",
            "case.toml:7: pace in [part] is scan_rate now: scans a second, the same number",
        ),
        (
            "scan_rate = 2000",
            "scan_rate = 2000\npace = 2000",
            "case.toml:8: pace in [part] is scan_rate now: scans a second, the same number",
        ),
        (
            "errors = \"none\"",
            "errors = \"drawn\"",
            "case.toml:9: errors = \"drawn\": it is \"individual\" now",
        ),
        (
            "clock_error_ppm = 5",
            "clock_error_ppm = \"drawn\"",
            "case.toml:14: clock_error_ppm = \"drawn\": it is \"individual\" now",
        ),
        (
            "sense_full_scale_v = 0.025",
            "sense_range = \"26mV\"",
            "case.toml:27: rail \"LOGIC\": sense_range in [rail.sense] is sense_full_scale_v now: the greatest voltage to be measured across the resistor, such as 0.065",
        ),
        (
            "rail_full_scale_v = 6.5",
            "bus_range = \"6.5V\"",
            "case.toml:28: rail \"LOGIC\": bus_range in [rail.sense] is rail_full_scale_v now: the greatest rail voltage to be measured, such as 16",
        ),
        (
            "steps_per_hour = 7200",
            "edges_per_second = 2",
            "case.toml:45: rail \"LOGIC\": edges_per_second in [rail.load_declared] is steps_per_hour now: the greatest number in any hour, at most 3600 times as many",
        ),
        (
            "greatest_a = 0.03",
            "greatest_a = 0.03\n[[rail.alert]]\nkind = \"over_current\"\nlimit_a = 0.02\nmode = \"held\"\noutput = \"A\"",
            "case.toml:52: rail \"LOGIC\": mode = \"held\": it is \"latching\" now",
        ),
        // Where nothing of that name ever stood, it is a key like any other that is unknown.
        (
            "title = \"t\"",
            "title = \"t\"\npace = 2000",
            "case.toml:2: unknown key pace in the file; it takes title, duration_s, seed, part, bus, host, board, rail",
        ),
    ];
    for (from, to, expected) in cases {
        assert_eq!(message(&spoilt(from, to)), *expected, "{to}");
    }
}

#[test]
fn mistakes_in_recordings_have_their_messages_and_lines() {
    let good = "0,1\n1,2\n";
    let cases: &[(&str, (&str, &str), &str)] = &[
        ("", ("", ""), "{}: rail \"LOGIC\": there is no row of data"),
        (
            "# only\n\n# comments\n",
            ("", ""),
            "{}: rail \"LOGIC\": there is no row of data",
        ),
        (
            "# c\n\n0,1\n# c\n\n1,2\n# c\n1,3\n",
            ("", ""),
            "{}:8: rail \"LOGIC\": time 1: not after the time of the row before; rows must be in order of time",
        ),
        (
            "0,1\r\n\r\n# c\r\n1,x\r\n",
            ("", ""),
            "{}:4: rail \"LOGIC\": value x: not a number; if this row is a header, give columns by name",
        ),
        (
            "t,i\n0,1\n",
            ("", ""),
            "{}:1: rail \"LOGIC\": time t: not a number; if this row is a header, give columns by name",
        ),
        (
            "0,1\n1,nan\n",
            ("", ""),
            "{}:2: rail \"LOGIC\": value nan: not a finite number; write a decimal number such as 0.25",
        ),
        (
            "0,1\ninf,1\n",
            ("", ""),
            "{}:2: rail \"LOGIC\": time inf: not a finite number; write a decimal number such as 0.25",
        ),
        (
            "0,1\n1,\n",
            ("", ""),
            "{}:2: rail \"LOGIC\": the value in column 1 (from 0) is empty",
        ),
        (
            "0,1\n1\n",
            ("", ""),
            "{}:2: rail \"LOGIC\": there is no column 1 (from 0) for the value; the row has 1",
        ),
        (
            "0,1\n1,1000.5\n",
            ("", ""),
            "{}:2: rail \"LOGIC\": value 1000.5: a current must lie between -1000 and 1000 A",
        ),
        (
            "0,1\n4e9,1\n",
            ("", ""),
            "{}:2: rail \"LOGIC\": time 4e9: a time must lie within 100 years, in seconds",
        ),
        (
            "0,1\n",
            ("", ""),
            "case.toml:36: rail \"LOGIC\": a repeated recording needs at least two points",
        ),
        (
            "t,i\n0,1\n1,2\n",
            (
                "interpolation",
                "time_column = \"t\"\nvalue_column = \"u\"\ninterpolation",
            ),
            "{}:1: rail \"LOGIC\": no column is called \"u\"; the header has \"t\", \"i\"",
        ),
        (
            good,
            ("interpolation", "value_column = -1\ninterpolation"),
            "case.toml:39: rail \"LOGIC\": value_column = -1: a column is a whole number from 0 to 1000, or a name in the header",
        ),
        (
            good,
            ("interpolation", "separator = \"comma\"\ninterpolation"),
            "case.toml:39: rail \"LOGIC\": separator = \"comma\": it must be one ASCII character, or \"tab\"",
        ),
        (
            good,
            ("interpolation = \"hold\"\n", ""),
            "case.toml:36: rail \"LOGIC\": [rail.load] needs interpolation: \"hold\" or \"linear\"",
        ),
        (
            good,
            ("\"hold\"", "\"cubic\""),
            "case.toml:39: rail \"LOGIC\": interpolation = \"cubic\": it must be \"hold\" or \"linear\"",
        ),
        (
            good,
            ("at_end = \"repeat\"\n", ""),
            "case.toml:36: rail \"LOGIC\": [rail.load] needs at_end: \"repeat\", \"hold\" or \"zero\"",
        ),
        (
            good,
            ("\"repeat\"", "\"stop\""),
            "case.toml:40: rail \"LOGIC\": at_end = \"stop\": it must be \"repeat\" or \"hold\" or \"zero\"",
        ),
        (
            good,
            ("interpolation", "scale = 1001\ninterpolation"),
            "case.toml:39: rail \"LOGIC\": scale = 1001: a scale must lie between -1000 and 1000",
        ),
        (
            good,
            ("interpolation", "scale = 600\ninterpolation"),
            "case.toml:36: rail \"LOGIC\": values may come to 1200 A (or V); they must stay within ±1000",
        ),
    ];
    for (index, (rows, edit, expected)) in cases.iter().enumerate() {
        let name = format!("recording-{index}.csv");
        let expected = expected.replace("{}", &name);
        assert_eq!(recording(&name, rows, *edit), expected, "{rows:?} {edit:?}");
    }
    let missing = with_load(&RECORDED.replace("spoilt", "missing"));
    assert_eq!(
        message(&missing),
        "case.toml:38: rail \"LOGIC\": file = \"missing.csv\": there is no file missing.csv"
    );
    let unnamed = with_load(&RECORDED.replace("file", "fiel"));
    assert_eq!(
        message(&unnamed),
        "case.toml:36: rail \"LOGIC\": [rail.load] needs file: the path of a recording, relative to the scenario"
    );
}

#[test]
fn a_recording_that_is_no_text_is_refused() {
    let name = "bytes.csv";
    std::fs::write(folder().join(name), b"0,1\n1,\xFF\n").unwrap();
    let text = with_load(&RECORDED.replace("spoilt.csv", name));
    assert_eq!(
        message(&text),
        "bytes.csv: rail \"LOGIC\": cannot be read: stream did not contain valid UTF-8"
    );
}

#[test]
fn a_header_may_name_the_columns_and_times_begin_at_the_first_row() {
    let rows = "# c\nload;note;t\n-0.5;x;1700000000.25\n0.25;y;1700000001\n";
    std::fs::write(folder().join("named.csv"), rows).unwrap();
    let load = "kind = \"recorded\"\nfile = \"named.csv\"\ntime_column = \"t\"\nvalue_column = \"load\"\n\
                separator = \";\"\ninterpolation = \"hold\"\nat_end = \"hold\"\n";
    let scenario = Scenario::parse(&with_load(load), folder().join("case.toml")).unwrap();
    let crake_sim::scenario::ProfilePlan::Recorded { points, .. } = &scenario.rails[0].load else {
        panic!("a recording");
    };
    assert_eq!(points, &[(0, -500_000_000), (750_000_000, 250_000_000)]);
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
