use super::*;

/// The same schema, refusing every key that it does not name.
fn strict(schema: &mut Value) {
    match schema {
        Value::Object(entries) => {
            entries.values_mut().for_each(strict);
            if entries.contains_key("properties") {
                entries.insert("additionalProperties".to_owned(), false.into());
            }
        }
        Value::Array(entries) => entries.iter_mut().for_each(strict),
        _ => {}
    }
}

#[track_caller]
fn fits(name: &str, text: &str) {
    let mut schema = schema(name);
    strict(&mut schema);
    let validator = validator(&schema);
    let object: Value = serde_json::from_str(text).unwrap();
    let mistakes: Vec<_> = validator
        .iter_errors(&object)
        .map(|e| e.to_string())
        .collect();
    assert!(mistakes.is_empty(), "{name}: {mistakes:?}");
    // And the schema asks for every key that is always there.
    let keys = object.as_object().unwrap();
    for key in keys.keys() {
        let mut less = object.clone();
        less.as_object_mut().unwrap().remove(key);
        assert!(!validator.is_valid(&less), "{name} without {key}");
    }
}

/// A run with faults, alerts and a contradiction, and the first transfers of it.
#[test]
fn a_run() {
    let directory = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("schema");
    std::fs::create_dir_all(&directory).unwrap();
    let skiff = std::fs::read_to_string(format!("{ROOT}/examples/survey-skiff.toml")).unwrap();
    let skiff = skiff.replace("../tests", &format!("{ROOT}/tests"));
    let skiff = skiff.replace("step_a = 1.94", "step_a = 1.9");
    let scenario = directory.join("scenario.toml");
    let fault = "\n[[fault]]\nkind = \"arbitration_lost\"\nfrom_s = 2\nuntil_s = 4\n";
    std::fs::write(&scenario, skiff + fault).unwrap();
    let (scenario, out) = (scenario.to_str().unwrap(), directory.to_str().unwrap());
    let run = [
        "run",
        scenario,
        "--for",
        "7",
        "--json",
        "--out",
        out,
        "--overwrite",
    ];
    let object = printed(&run);
    for list in ["alerts", "faults", "failures", "contradictions"] {
        let object: Value = serde_json::from_str(&object).unwrap();
        assert!(!object[list].as_array().unwrap().is_empty(), "{list}");
    }
    fits("run", &object);
    fits(
        "run",
        &std::fs::read_to_string(directory.join("report.json")).unwrap(),
    );
    let transactions = std::fs::read_to_string(directory.join("transactions.jsonl")).unwrap();
    for line in [transactions.lines().next(), transactions.lines().last()] {
        fits("transaction", line.unwrap());
    }
}

/// Of a bench's log and of a board's, against a scenario and not; and the files that `--out`
/// writes.
#[test]
fn a_log() {
    let directory = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("schema-log");
    let _ = std::fs::remove_dir_all(&directory);
    let out = directory.to_str().unwrap();
    let skiff = "examples/survey-skiff.toml";
    printed(&["run", skiff, "--for", "20", "--out", out]);
    let readings = directory.join("readings.csv");
    let told = [
        "characterise",
        readings.to_str().unwrap(),
        "--capacity",
        "2",
        "--json",
    ];
    fits("characterise", &printed(&told));
    let against = [&told[..], &["--against", skiff, "--out", out]].concat();
    let object = printed(&against);
    fits("characterise", &object);
    let text = |name: &str| std::fs::read_to_string(directory.join(name)).unwrap();
    assert_eq!(text("characterise.json"), object);
    assert!(text("characterise.txt").contains("against the bench"));
    let page = text("characterise.html");
    assert!(page.contains("Log and bench agree within their bounds") && page.contains("MODEM"));
    let board = directory.join("board.csv");
    std::fs::write(&board, "t_s,i_ma\n0,1\n1,2\n").unwrap();
    fits(
        "characterise",
        &printed(&["characterise", board.to_str().unwrap(), "--json"]),
    );
}

#[test]
fn registers() {
    let skiff = "examples/survey-skiff.toml";
    fits(
        "registers",
        &printed(&["registers", skiff, "--at", "1", "--json"]),
    );
    for part in ["corncrake", "moorhen", "gallinule"] {
        let list = ["registers", "--part", part, "--json"];
        fits("register-list", &printed(&list));
        fits("registers", &printed(&[&list[..], &["--state"]].concat()));
    }
}

#[test]
fn shunt() {
    let skiff = [
        "shunt",
        "--scenario",
        "examples/survey-skiff.toml",
        "--json",
    ];
    let demands = ["--decades", "2", "--error", "10"];
    fits("shunt", &printed(&[&skiff[..], &demands].concat()));
}

#[test]
fn plans() {
    for asked in [
        &["--event", "0.01"][..],
        &["--wake-every", "60", "--part", "moorhen"],
    ] {
        fits("plan", &printed(&[&["plan", "--json"], asked].concat()));
    }
}

/// Every schema that the list names is one.
#[test]
fn the_list() {
    let list = printed(&["schema"]);
    assert!(list.lines().count() >= 5);
    for line in list.lines() {
        validator(&schema(line.split(' ').next().unwrap()));
    }
}
