use std::collections::BTreeSet;

use crake_sim::scenario::Scenario;
use toml::{Table, Value as Toml};

use super::*;

/// Profiles of a source (`v`) or of a load (`a`).
const PROFILES: [&str; 6] = [
    "{ kind = \"constant\", voltage_v = 1 }",
    "{ kind = \"steps\", initial_v = 1, steps = [[1, 2], [2, 1]] }",
    "{ kind = \"ramp\", start_s = 1, from_v = 1, end_s = 2, to_v = 2 }",
    "{ kind = \"pulses\", low_v = 1, high_v = 2, period_s = 1, width_s = 0.1, first_s = 1, \
       edge_s = 0.01, train_pulses = 2, train_period_s = 5 }",
    "{ kind = \"recorded\", file = \"levels.csv\", time_column = 0, \
       value_column = 1, separator = \",\", comment = \"#\", interpolation = \"linear\", \
       at_end = \"hold\", scale = 0 }",
    "{ kind = \"sum\", parts = [{ kind = \"constant\", voltage_v = 1 }] }",
];
const LOADS: [&str; 5] = [
    "{ current_a = 0.1, closes_s = 1, opens_s = 2 }",
    "{ kind = \"resistance\", resistance_ohm = 100, closes_s = 1, opens_s = 2 }",
    "{ kind = \"constant_power\", power_w = 0.1, down_to_v = 1, closes_s = 1, opens_s = 2 }",
    "{ kind = \"inrush\", capacitance_f = 0.001, series_ohm = 5, initial_v = 1, closes_s = 1, \
       opens_s = 2 }",
    "{ kind = \"charger\", trickle_a = 0.1, trickle_below_v = 3, constant_current_a = 0.5, \
       constant_voltage_v = 4.2, end_a = 0.05, closes_s = 1, opens_s = 2 }",
];
const CELL: &str = "{ kind = \"cell\", capacity_ah = 2, initial_state = 0.5, series = 1, \
                    open_circuit = [[0, 3.0], [1, 4.2]], impedance_ohm = 0.1 }";
const LIMITS: [&str; 5] = [
    "over_voltage\", limit_v = 6, hysteresis_v = 0.1",
    "under_voltage\", limit_v = 1, hysteresis_v = 0.1",
    "over_current\", limit_a = 0.4, hysteresis_a = 0.1",
    "under_current\", limit_a = -0.4, hysteresis_a = 0.1",
    "over_power\", limit_w = 2, hysteresis_w = 0.1",
];
const OF_TRANSFERS: &str = ", register = 3, after_transfers = 1, times = 2";
const FAULTS: [(&str, &str); 17] = [
    ("address_not_acknowledged", OF_TRANSFERS),
    ("data_not_acknowledged", OF_TRANSFERS),
    (
        "bits_flipped",
        ", byte = 1, bits = 3, register = 3, after_transfers = 1, times = 2",
    ),
    (
        "clock_held",
        ", held_s = 0.001, register = 3, after_transfers = 1, times = 2",
    ),
    ("arbitration_lost", OF_TRANSFERS),
    ("answer_lost", OF_TRANSFERS),
    ("write_lost", OF_TRANSFERS),
    ("no_data_pull_up", OF_TRANSFERS),
    ("no_clock_pull_up", OF_TRANSFERS),
    ("reset", ", register = 3, after_transfers = 1"),
    ("no_supply", ", register = 3, after_transfers = 1"),
    ("line_low", ", output = \"A\""),
    ("line_released", ", output = \"A\""),
    ("sense_value", ", rail = \"ONE\", resistance_ohm = 1"),
    ("sense_drift", ", rail = \"ONE\", drift_percent = 5"),
    ("sense_open", ", rail = \"ONE\""),
    ("sense_swapped", ", rail = \"ONE\""),
];

/// A scenario that gives every key of its tables, with this source and this load.
fn scenario(source: &str, load: &str, strap: &str) -> Table {
    let alerts = LIMITS.map(|limit| {
        format!(
            "{{ kind = \"{limit}, debounce = 2, mode = \"latching\", output = \"A\", \
             look_again_s = 1 }}"
        )
    });
    let faults = FAULTS.map(|(kind, keys)| {
        let until = if kind == "reset" { "" } else { ", until_s = 2" };
        format!("{{ kind = \"{kind}\", from_s = 1{until}{keys} }}")
    });
    let text = format!(
        "title = \"t\"\nduration_s = 10\nseed = 1\n\
         part = {{ model = \"corncrake\", {strap}, fitted_strap = 1, scan_rate = 2000, averaging = 0, \
         errors = \"none\" }}\nbus = {{ speed = \"400k\" }}\n\
         host = {{ clock_limit_ppm = 20, clock_error_ppm = 5, read_every_s = 1, latency_us = 9 }}\n\
         board = {{ ambient_c = 20, declared_c = [0, 40] }}\nfault = [{}]\n\
         [[rail]]\nname = \"ONE\"\nchannel = 0\nsource = {source}\nload = {load}\nalert = [{}]\n\
         sense = {{ resistance_ohm = 0.1, tolerance_percent = 1, \
         temperature_coefficient_ppm_per_k = 50, thermal_resistance_k_per_w = 20, \
         sense_full_scale_v = 0.05, rail_full_scale_v = 16 }}\n\
         load_declared = {{ steps_per_hour = 100, step_a = 1, voltage_steps_per_hour = 10, \
         voltage_step_v = 1, flow = \"both\", greatest_a = 1, mean_a = 1, mean_over_s = 10, \
         voltage_v = [0, 16] }}\n\
         [[rail]]\nname = \"TWO\"\nchannel = 1\nload = {{ current_a = 0.01 }}\n\
         sense = {{ resistance_ohm = 0.1 }}\n\
         source = {{ kind = \"converter\", input = \"ONE\", voltage_v = 1, efficiency = 0.9, \
         idle_w = 0.001, input_down_to_v = 0.5, impedance_ohm = 0 }}\n",
        faults.join(", "),
        alerts.join(", ")
    );
    text.parse()
        .unwrap_or_else(|error| panic!("{error}: {text}"))
}

fn folder() -> &'static std::path::Path {
    std::path::Path::new(env!("CARGO_TARGET_TMPDIR"))
}

/// With every kind of source and of load between them.
fn all() -> Vec<Table> {
    // Once, for another test may be reading it.
    static WRITTEN: std::sync::Once = std::sync::Once::new();
    WRITTEN.call_once(|| std::fs::write(folder().join("levels.csv"), "0,1\n1,2\n").unwrap());
    let amps = |profile: &str| {
        profile
            .replace("_v =", "_a =")
            .replace("voltage_a", "current_a")
    };
    let switched = |load: &str| match load.contains("\"sum\"") {
        true => load.to_owned(),
        false => load.replace(" }", ", closes_s = 1, opens_s = 2 }"),
    };
    let current = PROFILES.map(|profile| switched(&amps(profile)));
    let loads = [&current.each_ref().map(String::as_str)[..], &LOADS].concat();
    let one = "{ voltage_v = 5, impedance_ohm = 0.1 }";
    let sum = format!(
        "{{ kind = \"sum\", parts = [{}], impedance_ohm = 0.1 }}",
        PROFILES.join(", ")
    );
    let sources = PROFILES
        .iter()
        .map(|&profile| match profile.strip_suffix(" }] }") {
            Some(before) => format!("{before} }}], impedance_ohm = 0.1 }}"),
            None => profile.replace(" }", ", impedance_ohm = 0.1 }"),
        });
    let mut all: Vec<_> = sources
        .chain([one.to_owned(), sum])
        .map(|source| scenario(&source, LOADS[0], "address = 0x33"))
        .collect();
    all.extend(loads.iter().map(|load| scenario(CELL, load, "strap = 1")));
    let loads: Vec<_> = loads
        .iter()
        .filter(|load| !load.contains("charger"))
        .copied()
        .collect();
    let sum = format!("{{ kind = \"sum\", parts = [{}] }}", loads.join(", "));
    all.push(scenario(CELL, &sum, "strap = 1"));
    all
}

fn read(table: &Table) -> Result<Scenario, String> {
    let text = toml::to_string(table).unwrap();
    Scenario::parse(&text, folder().join("case.toml")).map_err(|error| error.to_string())
}

fn json(table: &Table) -> Value {
    serde_json::to_value(table).unwrap()
}

/// The paths of the tables of `all()[at]`, but for those that an earlier one has.
fn own_paths(at: usize, scenario: &Table) -> Vec<Vec<String>> {
    let mut paths = Vec::new();
    tables(&Toml::Table(scenario.clone()), &[], &mut |path| {
        let of_the_first = matches!(path, [_, rail, ..] if rail == "0");
        let is_own = path
            .get(2)
            .is_some_and(|key| key == "source" || key == "load");
        if at == 0 || of_the_first && is_own {
            paths.push(path.to_vec());
        }
    });
    paths
}

/// Calls `visit` with the path of each table below `value`, the outermost included.
fn tables(value: &Toml, path: &[String], visit: &mut dyn FnMut(&[String])) {
    let inside = |key: String| [path, &[key]].concat();
    match value {
        Toml::Table(entries) => {
            visit(path);
            for (key, value) in entries {
                tables(value, &inside(key.clone()), visit);
            }
        }
        Toml::Array(entries) => {
            for (at, value) in entries.iter().enumerate() {
                tables(value, &inside(at.to_string()), visit);
            }
        }
        _ => {}
    }
}

fn at<'t>(table: &'t mut Table, path: &[String]) -> &'t mut Table {
    let Some((first, rest)) = path.split_first() else {
        return table;
    };
    let mut value = table.get_mut(first).unwrap();
    for key in rest {
        value = match value {
            Toml::Array(entries) => &mut entries[key.parse::<usize>().unwrap()],
            value => value.get_mut(key).unwrap(),
        };
    }
    value.as_table_mut().unwrap()
}

/// The schema of the table at a path: that of its kind.
fn branch<'s>(schema: &'s Value, scenario: &Value, path: &[String]) -> &'s Value {
    let (mut here, mut value) = (schema, scenario);
    let resolved = |mut here: &'s Value, value: &Value| {
        if let Some(to) = here["$ref"].as_str() {
            here = schema.pointer(to.trim_start_matches('#')).unwrap();
        }
        let Some(kinds) = here["oneOf"].as_array() else {
            return here;
        };
        let kind = value["kind"].as_str().unwrap_or("constant");
        let same = |branch: &&Value| branch["properties"]["kind"]["const"] == kind;
        kinds.iter().find(same).unwrap()
    };
    for key in path {
        (here, value) = match value {
            Value::Array(entries) => (&here["items"], &entries[key.parse::<usize>().unwrap()]),
            value => (&here["properties"][key], &value[key]),
        };
        // One part alone, or several.
        if let Some(forms) = here["anyOf"].as_array() {
            here = &forms[usize::from(value.is_array())];
        }
        here = resolved(here, value);
    }
    here
}

/// The schemas of all tables that a scenario can have.
fn branches(schema: &Value, into: &mut BTreeSet<String>) {
    match schema {
        Value::Object(entries) => {
            if entries.contains_key("properties") {
                into.insert(schema.to_string());
            }
            entries.values().for_each(|value| branches(value, into));
        }
        Value::Array(entries) => entries.iter().for_each(|value| branches(value, into)),
        _ => {}
    }
}

#[test]
fn every_key_of_the_reader_is_in_the_schema_and_every_key_of_the_schema_in_the_reader() {
    let schema = schema("scenario");
    let mut seen = BTreeSet::new();
    for (number, scenario) in all().into_iter().enumerate() {
        read(&scenario).unwrap();
        for path in own_paths(number, &scenario) {
            let mut wrong = scenario.clone();
            at(&mut wrong, &path).insert("unheard_of".to_owned(), 1.into());
            let message = read(&wrong).unwrap_err();
            let (said, takes) = message.split_once("; it takes ").expect(&message);
            assert!(said.contains("unknown key unheard_of"), "{message}");
            let takes: BTreeSet<_> = takes.split(", ").collect();
            let branch = branch(&schema, &json(&scenario), &path);
            let keys = branch["properties"].as_object().unwrap();
            assert_eq!(takes, keys.keys().map(String::as_str).collect(), "{path:?}");
            seen.insert(branch.to_string());
        }
    }
    let mut every = BTreeSet::new();
    branches(&schema, &mut every);
    assert_eq!(
        every.difference(&seen).collect::<Vec<_>>(),
        Vec::<&String>::new()
    );
}

/// Each value replaced by one of another type, each word by another, each number by one far beyond
/// every limit, each key left out: what the schema refuses the reader refuses, and but for what
/// only the reader can know the other way about.
#[test]
fn reader_and_schema_agree_on_hundreds_of_spoilt_scenarios() {
    let validator = validator(&schema("scenario"));
    let mut spoilt = 0;
    for (number, scenario) in all().into_iter().enumerate() {
        assert!(validator.is_valid(&json(&scenario)), "{scenario}");
        for path in own_paths(number, &scenario) {
            let table = at(&mut scenario.clone(), &path).clone();
            for (key, value) in &table {
                let others: Vec<Option<Toml>> = match value {
                    // A text is a name in the header.
                    _ if key.ends_with("_column") => vec![Some(true.into())],
                    Toml::String(_) => vec![Some(true.into()), Some(Table::new().into())],
                    Toml::Integer(_) | Toml::Float(_) => {
                        vec![
                            Some("1".into()),
                            Some((-1_000_000_000_000_000_i64).into()),
                            Some(false.into()),
                        ]
                    }
                    _ => vec![Some(1.into()), Some("x".into())],
                };
                let word = ["kind", "model", "errors", "speed", "flow", "mode", "output"];
                let word = word.contains(&key.as_str()).then(|| Some("other".into()));
                for other in others.into_iter().chain(word).chain([None]) {
                    let mut wrong = scenario.clone();
                    let table = at(&mut wrong, &path);
                    let is_left_out = other.is_none();
                    match other {
                        Some(other) => drop(table.insert(key.clone(), other)),
                        None => drop(table.remove(key)),
                    }
                    let (read, fits) = (read(&wrong), validator.is_valid(&json(&wrong)));
                    spoilt += 1;
                    // What is left out may be what something else leans on.
                    // So may the sense resistor: some parts have none.
                    let may_be = |error: &String| !error.contains(" needs ") || key == "sense";
                    let only_the_reader = is_left_out && read.as_ref().is_err_and(may_be);
                    assert!(
                        fits == read.is_ok() || only_the_reader && fits,
                        "{path:?} {key}: {read:?}\n{wrong}"
                    );
                }
            }
        }
    }
    assert!(spoilt > 1000, "{spoilt}");
}

/// Limits and pairs that the form states as the reader has them.
#[test]
fn the_form_has_the_length_of_names_and_keys_that_belong_together() {
    let validator = validator(&schema("scenario"));
    let both = |edit: &dyn Fn(&mut Table)| {
        let mut scenario = all().swap_remove(0);
        edit(&mut scenario);
        (
            validator.is_valid(&json(&scenario)),
            read(&scenario).is_ok(),
        )
    };
    // docs/scenario.md; the second rail, for others speak of the first.
    for (path, key, most) in [
        (&["rail", "1"][..], "name", 24),
        (&["part"], "name", 24),
        (&[], "title", 200),
    ] {
        let path: Vec<_> = path.iter().map(ToString::to_string).collect();
        for (length, fits) in [(most, true), (most + 1, false)] {
            let long = both(&|scenario| {
                at(scenario, &path).insert(key.to_owned(), "N".repeat(length).into());
            });
            assert_eq!(long, (fits, fits), "{path:?} {key} {length}");
        }
    }
    for list in ["rail", "part"] {
        let empty = both(&|scenario| {
            scenario.insert(list.to_owned(), Toml::Array(Vec::new()));
        });
        assert_eq!(empty, (false, false), "{list}");
    }
    let path = ["rail", "0", "load_declared"].map(str::to_owned);
    for key in [
        "mean_a",
        "mean_over_s",
        "voltage_step_v",
        "voltage_steps_per_hour",
    ] {
        let without = both(&|scenario| drop(at(scenario, &path).remove(key)));
        assert_eq!(without, (false, false), "{key}");
    }
}

/// Scenarios that are handed out, and those of the documents.
#[test]
fn every_scenario_that_is_shown_fits() {
    let validator = validator(&schema("scenario"));
    let text = |path: &str| std::fs::read_to_string(format!("{ROOT}/{path}")).unwrap();
    let document = text("docs/scenario.md");
    let blocks = document.split("```toml\n").skip(1);
    let mut texts: Vec<_> = blocks
        .map(|block| block.split("```").next().unwrap().to_owned())
        .collect();
    texts.extend(["examples/survey-skiff.toml", "sim/src/cli/scenario.toml"].map(text));
    assert_eq!(texts.len(), 4);
    for text in texts {
        let table: Table = text.parse().unwrap();
        let mistakes: Vec<_> = validator
            .iter_errors(&json(&table))
            .map(|e| e.to_string())
            .collect();
        assert!(mistakes.is_empty(), "{mistakes:?} in {text}");
    }
}
