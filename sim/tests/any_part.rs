//! Runs on each part, on several at once, and what is wrong with a file that asks for parts that
//! cannot be.

use std::path::PathBuf;
use std::process::{Command, Output};

use crake_sim::scenario::Scenario;
use serde_json::Value;

/// Three parts. Loads step from 0.5 A (4 A) to 1.5 A (15 A) at 2 s and back at 4 s; the deck's is
/// steady.
const THREE: &str = r#"title = "Three parts on one bus"
duration_s = 5
[host]
read_every_s = 0.1
[[part]]
name = "DECK"
[[part]]
name = "CABIN"
model = "moorhen"
[[part]]
name = "POWER"
model = "gallinule"
[[rail]]
name = "MAIN"
part = "DECK"
sense.resistance_ohm = 0.01
source.voltage_v = 5
load.current_a = 1
[[rail]]
name = "LAMP"
part = "CABIN"
sense.resistance_ohm = 0.03
source.voltage_v = 12
load = { kind = "steps", initial_a = 0.5, steps = [[2, 1.5], [4, 0.5]] }
[[rail.alert]]
kind = "over_current"
limit_a = 1.2
output = "A"
[[rail.alert]]
kind = "under_voltage"
limit_v = 11
output = "A"
[[rail]]
name = "PUMP"
part = "POWER"
source.voltage_v = 3.3
load = { kind = "steps", initial_a = 4, steps = [[2, 15], [4, 4]] }
[[rail.alert]]
kind = "over_current"
limit_a = 12
output = "A"
[[rail]]
name = "INPUT"
part = "POWER"
channel = 3
source.voltage_v = 48
load.current_a = 4
"#;

fn file(name: &str, text: &str) -> PathBuf {
    let folder = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join("any_part");
    std::fs::create_dir_all(&folder).unwrap();
    let path = folder.join(name);
    std::fs::write(&path, text).unwrap();
    path
}

fn program(name: &str, text: &str, command: &str, arguments: &[&str]) -> Output {
    let mut program = Command::new(env!("CARGO_BIN_EXE_crake-sim"));
    let path = file(name, text);
    program
        .arg(command)
        .arg(path)
        .args(arguments)
        .output()
        .unwrap()
}

fn object(name: &str, text: &str, status: i32) -> Value {
    let output = program(name, text, "run", &["--json"]);
    assert_eq!(output.status.code(), Some(status), "{output:?}");
    serde_json::from_slice(&output.stdout).unwrap()
}

fn rail<'o>(object: &'o Value, name: &str) -> &'o Value {
    let mut rails = object["rails"].as_array().unwrap().iter();
    rails.find(|rail| rail["name"] == name).unwrap()
}

/// Charge in coulombs and energy in joules that flow over 5 s, by hand: what the totals cover of it
/// begins up to 60 ms later. Every total within its bound of the truth, and the bound of use.
fn holds(object: &Value, name: &str, amps: [f64; 2], volts: f64) {
    let rail = rail(object, name);
    let coulombs = 3.0 * amps[0] + 2.0 * amps[1];
    for (key, whole) in [("charge_c", coulombs), ("energy_j", coulombs * volts)] {
        let figure = |of: &str| rail[key][of].as_f64().unwrap();
        let missed = 0.06 * amps[0] / coulombs;
        let share = figure("truth") / whole;
        assert!(
            (1.0 - missed..=1.0).contains(&share),
            "{name} {key}: {share} of {whole}"
        );
        let off = figure("measured") - figure("truth");
        assert!(off.abs() <= figure("bound"), "{name} {key}: {rail}");
        assert!(figure("bound") < 0.2 * whole, "{name} {key}: {rail}");
    }
}

/// The moments at which a rail's over-current was told.
fn told(object: &Value, name: &str) -> Vec<f64> {
    let alerts = object["alerts"].as_array().unwrap().iter();
    let of_rail = alerts.filter(|alert| alert["rail"] == name);
    of_rail
        .map(|alert| alert["time_s"].as_f64().unwrap())
        .collect()
}

/// The part with this name, and its rails, alone.
fn alone(name: &str) -> String {
    let mut tables: Vec<&str> = THREE.split("\n[[").collect();
    tables.retain(|table| {
        let is_part = table.starts_with("part]]") || table.starts_with("rail]]");
        let of = |key: &str| table.contains(&format!("{key} = \"{name}\""));
        !is_part || of("name") || of("part")
    });
    let rails: Vec<_> = THREE.split("\n[[rail]]\n").skip(1).collect();
    let mut text = String::new();
    for table in tables.iter().filter(|table| !table.starts_with("rail")) {
        text.push_str(if text.is_empty() { "" } else { "\n[[" });
        text.push_str(table);
    }
    for rail in rails
        .iter()
        .filter(|rail| rail.contains(&format!("part = \"{name}\"")))
    {
        text.push_str("\n[[rail]]\n");
        text.push_str(rail);
    }
    text
}

/// Each part by itself: what it is and what the driver makes up, from the parts' documents; totals
/// beside the truth; limits told.
#[test]
fn each_part_alone_measures_within_its_bounds() {
    let deck = object("deck.toml", &alone("DECK"), 0);
    holds(&deck, "MAIN", [1.0, 1.0], 5.0);
    assert_eq!(deck["parts"][0]["model"], "Corncrake");
    assert_eq!(deck["parts"][0]["by_driver"], serde_json::json!([]));

    // docs/moorhen-datasheet.md: no products, no sums, upper limits alone.
    let cabin = object("cabin.toml", &alone("CABIN"), 0);
    holds(&cabin, "LAMP", [0.5, 1.5], 12.0);
    let part = &cabin["parts"][0];
    assert_eq!(
        (&part["model"], &part["scans_per_second"]),
        (&"Moorhen".into(), &0.into())
    );
    let made_up = ["power", "charge sum", "energy sum", "under-voltage of LAMP"];
    assert_eq!(part["by_driver"], serde_json::json!(made_up));
    // It counts no conversions in a row: that, too, is the driver's.
    let debounced = alone("CABIN").replacen("limit_a = 1.2", "limit_a = 1.2\ndebounce = 2", 1);
    let debounced = object("debounced.toml", &debounced, 0);
    let made_up = debounced["parts"][0]["by_driver"].as_array().unwrap();
    assert!(
        made_up.contains(&"over-current of LAMP".into()),
        "{made_up:?}"
    );
    let lamp = told(&cabin, "LAMP");
    // With the first reading after the step.
    assert!(
        lamp.len() == 1 && (2.0..2.12).contains(&lamp[0]),
        "{lamp:?}"
    );

    // docs/pmbus-device.md: counts of energy that the driver's own sums are checked against, no
    // charge.
    let power = object("power.toml", &alone("POWER"), 0);
    holds(&power, "PUMP", [4.0, 15.0], 3.3);
    holds(&power, "INPUT", [4.0, 4.0], 48.0);
    let part = &power["parts"][0];
    assert_eq!(
        (&part["model"], &part["address"]),
        (&"Gallinule".into(), &0x58.into())
    );
    assert_eq!(
        part["by_driver"],
        serde_json::json!(["charge sum", "energy sum"])
    );
    let pump = told(&power, "PUMP");
    // A sample period of 5 ms, 2 % slow, the aperture before it, and a service.
    assert!(
        pump.len() == 1 && (2.0..2.03).contains(&pump[0]),
        "{pump:?}"
    );
}

#[test]
fn three_parts_at_once_are_named() {
    let three = object("three.toml", THREE, 0);
    holds(&three, "MAIN", [1.0, 1.0], 5.0);
    holds(&three, "LAMP", [0.5, 1.5], 12.0);
    holds(&three, "PUMP", [4.0, 15.0], 3.3);
    holds(&three, "INPUT", [4.0, 4.0], 48.0);
    let names = |list: &str, key: &str| -> Vec<String> {
        let entries = three[list].as_array().unwrap().iter();
        entries
            .map(|entry| entry[key].as_str().unwrap().to_owned())
            .collect()
    };
    assert_eq!(names("parts", "name"), ["DECK", "CABIN", "POWER"]);
    assert_eq!(names("rails", "name"), ["MAIN", "LAMP", "PUMP", "INPUT"]);
    assert_eq!(names("rails", "part"), ["DECK", "CABIN", "POWER", "POWER"]);
    assert_eq!(
        (told(&three, "LAMP").len(), told(&three, "PUMP").len()),
        (1, 1)
    );
    assert!(three["bus"]["busy_share"].as_f64().unwrap() < 0.1);

    let printed = String::from_utf8(program("three.toml", THREE, "run", &[]).stdout).unwrap();
    for line in [
        "DECK: Corncrake at 0x32, 2000 scans a second",
        "CABIN: Moorhen at 0x17, converting with each sample; by the driver: power, charge sum, \
         energy sum, under-voltage of LAMP",
        "POWER: Gallinule at 0x58, 200 scans a second; by the driver: charge sum, energy sum",
        "LAMP (channel 0 of CABIN)",
        "INPUT (channel 3 of POWER)",
    ] {
        assert!(
            printed.lines().any(|printed| printed == line),
            "{line}\n{printed}"
        );
    }
    let registers = program(
        "three.toml",
        THREE,
        "registers",
        &["--of", "CABIN", "--at", "1"],
    );
    let registers = String::from_utf8(registers.stdout).unwrap();
    assert!(registers.contains("Moorhen at address 0x17"), "{registers}");
}

/// Alerts are told in the order of time, whichever part they are of.
#[test]
fn alerts_of_several_parts_are_in_one_order() {
    let later = THREE.replacen("[[2, 1.5], [4, 0.5]]", "[[3, 1.5], [4, 0.5]]", 1);
    let later = object("later.toml", &later, 0);
    let alerts = later["alerts"].as_array().unwrap().iter();
    let alerts: Vec<_> = alerts.map(|alert| &alert["rail"]).collect();
    assert_eq!(alerts, ["PUMP", "LAMP"]);
}

/// The host is late by its latency for each of three parts that may come first.
#[test]
fn a_latency_is_waited_for_once_for_each_part() {
    let bound = |latency_us: u32| {
        let host = format!("read_every_s = 0.1\nlatency_us = {latency_us}");
        let text = THREE.replacen("read_every_s = 0.1", &host, 1);
        let three = object("latency.toml", &text, 0);
        let mut alerts = three["alerts"].as_array().unwrap().iter();
        let pump = alerts.find(|alert| alert["rail"] == "PUMP").unwrap();
        pump["edge_to_event_bound_s"].as_f64().unwrap()
    };
    let more_s = bound(20_000) - bound(0);
    assert!((more_s - 3.0 * 0.02).abs() < 1e-6, "{more_s}");
}

/// docs/scenario.md: where the driver compares, `read_every_s` decides how soon a limit is told,
/// and no output tells of it. A pulse of 5 W that a single reading sees is told with that reading.
#[test]
fn what_the_driver_compares_is_told_with_the_next_reading() {
    let text = r#"title = "t"
duration_s = 8
host = { read_every_s = 0.05 }
[[part]]
name = "CABIN"
model = "moorhen"
[[rail]]
name = "LAMP"
part = "CABIN"
sense.resistance_ohm = 0.03
source.voltage_v = 5
load = { kind = "steps", initial_a = 0.1, steps = [[5.1, 1], [5.2, 0.1]] }
[[rail.alert]]
kind = "over_power"
limit_w = 2
output = "A"
"#;
    let told = object("seldom.toml", text, 0);
    let alerts = told["alerts"].as_array().unwrap();
    assert_eq!(alerts.len(), 1, "{alerts:?}");
    assert_eq!(alerts[0]["output"], "none");
    // An interval, and a service of some ten milliseconds.
    let time_s = alerts[0]["time_s"].as_f64().unwrap();
    assert!((5.1..5.18).contains(&time_s), "{time_s}");
}

/// A resistor of twice the declared value on the second part.
#[test]
fn a_wrong_resistor_is_told_with_its_rail_and_its_part() {
    let fault = "[[fault]]\nkind = \"sense_value\"\nrail = \"LAMP\"\nresistance_ohm = 0.06\n";
    let wrong = object("wrong.toml", &format!("{THREE}{fault}"), 1);
    let outside = ["LAMP on CABIN energy", "LAMP on CABIN charge"];
    let outside = outside.map(|of| format!("{of} lies outside its bound"));
    assert_eq!(wrong["verdict"]["outside"], serde_json::json!(outside));
    for name in ["MAIN", "PUMP", "INPUT"] {
        assert_eq!(rail(&wrong, name)["charge_c"]["within"], true, "{name}");
    }
}

/// A reset of one part of three is made good, and is told with the part; the others lose nothing.
#[test]
fn a_fault_is_of_one_part() {
    let fault = "[[fault]]\nkind = \"reset\"\npart = \"CABIN\"\nfrom_s = 2.55\n";
    let faulty = object("faulty.toml", &format!("{THREE}{fault}"), 0);
    assert_eq!(faulty["faults"][0]["what"], "CABIN: reset");
    assert_eq!(faulty["faults"][0]["times"], 1);
    assert_eq!(faulty["discontinuities"], 1);
    let seconds = |name| rail(&faulty, name)["duration_s"].as_f64().unwrap();
    assert!(seconds("LAMP") < 4.95 && seconds("MAIN") > 4.93, "{faulty}");
    assert_eq!(faulty["verdict"]["holds"], true);
}

/// What is wrong is said in one line, with the file's line and what would be right.
#[test]
fn parts_that_cannot_be_are_refused() {
    let cases = [
        (
            "model = \"moorhen\"",
            "model = \"heron\"",
            "model = \"heron\": it must be \"corncrake\" or \"moorhen\" or \"gallinule\"",
        ),
        (
            "model = \"moorhen\"",
            "model = \"moorhen\"\nscan_rate = 10",
            "scan_rate = 10: Moorhen converts when it is told to, at each sample: leave it out",
        ),
        (
            "model = \"moorhen\"",
            "model = \"moorhen\"\naveraging = 2",
            "averaging = 2: Moorhen has no averaging: leave it out",
        ),
        (
            "model = \"gallinule\"",
            "model = \"gallinule\"\nscan_rate = 2000",
            "scan_rate = 2000: a scan rate is 200 scans a second",
        ),
        (
            "model = \"moorhen\"",
            "model = \"moorhen\"\nstrap = 2",
            "strap = 2: a strap is 0 to 1, for addresses 0x17, 0x31",
        ),
        (
            "model = \"moorhen\"",
            "address = 0x32",
            "address = 0x32: DECK at line 5 has address 0x32 already",
        ),
        (
            "name = \"CABIN\"",
            "name = \"DECK\"",
            "the part at line 5 has the name \"DECK\" already",
        ),
        (
            "part = \"CABIN\"\n",
            "",
            "rail \"LAMP\": [[rail]] needs part: one of \"DECK\", \"CABIN\", \"POWER\"",
        ),
        (
            "part = \"CABIN\"",
            "part = \"HOLD\"",
            "rail \"LAMP\": part = \"HOLD\": no part is called so; there is \"DECK\", \
             \"CABIN\", \"POWER\"",
        ),
        (
            "part = \"CABIN\"",
            "part = \"CABIN\"\nchannel = 2",
            "rail \"LAMP\": channel = 2: a channel of CABIN is 0 to 1",
        ),
        (
            "sense.resistance_ohm = 0.03",
            "sense.resistance_ohm = 0.03\nsense.sense_full_scale_v = 0.08",
            "rail \"LAMP\": sense_full_scale_v = 0.08: the sense voltage to be measured \
             must lie between 0 and 0.073692 V",
        ),
        (
            "source.voltage_v = 3.3",
            "source.voltage_v = 3.3\nsense.resistance_ohm = 0.01",
            "rail \"PUMP\": Gallinule measures amperes itself: leave [rail.sense] out",
        ),
        (
            "limit_a = 12\noutput = \"A\"",
            "limit_a = 12\noutput = \"B\"",
            "rail \"PUMP\": output = \"B\": Gallinule has one alert output, \"A\"",
        ),
        (
            "limit_a = 12",
            "limit_a = 26",
            "rail \"PUMP\": limit_a = 26: the channel shows -25.0000 to 25.0000, and a limit \
             must lie between: choose another limit",
        ),
        (
            "limit_a = 1.2",
            "limit_a = 2.5",
            "rail \"LAMP\": limit_a = 2.5: the channel shows -2.4576 to 2.4564, and a limit \
             must lie between: choose another limit, or a smaller sense resistor",
        ),
    ];
    for (good, bad, message) in cases {
        assert!(THREE.contains(good), "{good}");
        let text = THREE.replacen(good, bad, 1);
        let error = Scenario::parse(&text, "case.toml").unwrap_err();
        assert_eq!(error.message, message);
        assert!(error.line.is_some(), "{message}");
    }
    let three_rails = "[[rail]]\nname = \"A\"\npart = \"CABIN\"\nsense.resistance_ohm = 1\n\
                       source.voltage_v = 1\nload.current_a = 0\n";
    let text = format!(
        "{THREE}{three_rails}{}",
        three_rails.replace("\"A\"", "\"B\"")
    );
    let error = Scenario::parse(&text, "case.toml").unwrap_err();
    let message = "rail \"B\": CABIN has 2 channels, and each watches one rail";
    assert_eq!(error.message, message);
    let fault = format!("{THREE}[[fault]]\nkind = \"reset\"\n");
    let error = Scenario::parse(&fault, "case.toml").unwrap_err();
    let message = "[[fault]] needs part: one of \"DECK\", \"CABIN\", \"POWER\"";
    assert_eq!((error.message.as_str(), error.line), (message, Some(48)));
}
