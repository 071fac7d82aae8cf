//! All mistakes at once, as `check` tells them.

use std::process::Command;

use crate::scenario_errors::{RECORDED, VALID, folder, with_load};

/// What `crake-sim check` prints of a text, without the folder, and its exit status.
fn check(name: &str, text: &str) -> (Vec<String>, i32) {
    let path = folder().join(name);
    std::fs::write(&path, text).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_crake-sim"));
    let output = command.arg("check").arg(&path).output().unwrap();
    let printed = String::from_utf8(output.stdout).unwrap();
    let prefix = format!("{}:", path.display());
    let lines = printed.lines().map(|line| line.replace(&prefix, ""));
    (lines.collect(), output.status.code().unwrap())
}

/// Each of these in one file: line and column of the mistake, and the word that is meant.
#[test]
fn every_mistake_is_told_once_with_its_place() {
    let spoils = [
        (
            "seed = 1",
            "sed = 1",
            "3:1: unknown key sed in the file; did you mean seed?",
        ),
        (
            "averaging = 0",
            "averaging = 11",
            "8:13: averaging = 11: averaging is k",
        ),
        ("\"400k\"", "\"400\"", "11:9: speed = \"400\": it must be"),
        (
            "clock_limit_ppm = 20",
            "clock_limit_ppm = true",
            "13:19: clock_limit_ppm = true: not a",
        ),
        (
            "declared_c = [0, 40]",
            "declared_c = [40, 0]",
            "18:14: declared_c = [40, 0]: it must",
        ),
        (
            "resistance_ohm = 0.5",
            "resistance_ohm = 50",
            "23:18: rail \"LOGIC\": resistance_ohm",
        ),
        (
            "tolerance_percent",
            "tolerance_per_cent",
            "24:1: rail \"LOGIC\": unknown key tolerance",
        ),
        (
            "capacity_ah = 2\n",
            "\n",
            "29:1: rail \"LOGIC\": [rail.source] needs capacity_ah",
        ),
        (
            "\"pulses\"",
            "\"pulse\"",
            "37:8: rail \"LOGIC\": kind = \"pulse\": it must be",
        ),
        (
            "low_a = 0",
            "low_a = false",
            "38:9: rail \"LOGIC\": low_a = false",
        ),
        (
            "flow = \"forward\"",
            "flow = \"forwards\"",
            "47:8: rail \"LOGIC\": flow = \"forwards\"",
        ),
        (
            "greatest_a = 0.03",
            "greatest_a = -1",
            "48:14: rail \"LOGIC\": greatest_a = -1: the",
        ),
    ];
    let mut text = VALID.to_owned();
    for (from, to, _) in spoils {
        assert!(text.contains(from), "{from}");
        text = text.replacen(from, to, 1);
    }
    let (told, status) = check("all.toml", &text);
    assert_eq!(status, 2);
    assert_eq!(told.len(), spoils.len(), "{told:#?}");
    for (told, (.., wanted)) in told.iter().zip(spoils) {
        assert!(told.starts_with(wanted), "{told}, not {wanted}");
    }
    for (at, meant) in [
        (0, "seed"),
        (2, "400k"),
        (6, "tolerance_percent"),
        (8, "pulses"),
        (10, "forward"),
    ] {
        let meant = format!("did you mean {meant}?");
        assert!(told[at].contains(&meant), "{}: {meant}", told[at]);
    }
}

/// A mistake in one of several faults or limits does not hide those of the others.
#[test]
fn each_of_a_list_is_looked_at() {
    let fault = |key: &str| format!("[[fault]]\nkind = \"reset\"\n{key}\n");
    let text = format!(
        "{VALID}{}{}[[fault]]\nkind = \"no_supply\"\nfrom_s = 20\n{}",
        fault("form_s = 1"),
        fault("times = 1"),
        "[[fault]]\nkind = \"sense_open\"\nrail = \"MODEM\"\n"
    );
    let (told, _) = check("faults.toml", &text);
    let wanted = [
        "51:1: unknown key form_s",
        "54:1: unknown key times",
        "57:10: from_s = 20",
        "60:8: rail",
    ];
    assert_eq!(told.len(), wanted.len(), "{told:#?}");
    for (told, wanted) in told.iter().zip(wanted) {
        assert!(told.starts_with(wanted), "{told}, not {wanted}");
    }
}

/// What the file lacks, or a table of dotted keys, begins where a key does: that key is no mistake.
#[test]
fn what_is_missing_takes_no_key_with_it() {
    let (told, status) = check("bare.toml", "title = 3\nduration_s = 10\n");
    assert_eq!(status, 2);
    let [first, second] = &told[..] else {
        panic!("{told:?}");
    };
    assert!(first.starts_with("1:1: the file needs rail"), "{told:?}");
    assert!(
        second.starts_with("1:9: title = 3: not a string"),
        "{told:?}"
    );
    let endless = "title = \"A\"\n[[rail]]\nname = \"A\"\nsource = { voltage_v = 5 }\n\
                   sense.resistance_ohm = 50\nload.current_a = 1\n";
    let (told, _) = check("endless.toml", endless);
    let [first, second] = &told[..] else {
        panic!("{told:?}");
    };
    assert!(
        first.starts_with("1:1: the file needs duration_s"),
        "{told:?}"
    );
    assert!(second.starts_with("5:24: rail"), "{told:?}");
    let dotted = "title = \"A\"\nduration_s = 10\n[[rail]]\nname = \"A\"\nsource.impedance_ohm = 1\n\
                  sense.resistance_ohm = 50\nload.current_a = 1\n";
    let (told, _) = check("dotted.toml", dotted);
    let begins = [
        "5:1: rail \"A\": [rail.source] needs kind",
        "5:1: rail \"A\": [rail.source] needs voltage_v",
        "6:24: rail \"A\": resistance_ohm = 50",
    ];
    assert_eq!(told.len(), begins.len(), "{told:?}");
    let mut pairs = told.iter().zip(begins);
    assert!(
        pairs.all(|(told, begins)| told.starts_with(begins)),
        "{told:?}"
    );
}

/// What is missing is a whole number: what is put in its place is one, too.
#[test]
fn a_missing_number_hides_nothing() {
    let text = VALID.replace("steps_per_hour = 7200\n", "");
    let (told, _) = check(
        "number.toml",
        &text.replace("greatest_a = 0.03", "greatest_a = -1"),
    );
    assert_eq!(told.len(), 2, "{told:?}");
    assert!(told[0].contains("needs steps_per_hour"), "{told:?}");
    assert!(told[1].contains("greatest_a = -1"), "{told:?}");
}

/// A rail that has another's name keeps it in what else is wrong with it.
#[test]
fn a_rail_is_called_by_its_name() {
    let second = "[[rail]]\nname = \"LOGIC\"\nchannel = 9\nsource.voltage_v = 5\n\
                  load.current_a = 1\nsense.resistance_ohm = 0.01\n";
    let (told, _) = check("twice.toml", &format!("{VALID}{second}"));
    assert_eq!(told.len(), 2, "{told:?}");
    assert!(
        told[1].contains("rail \"LOGIC 2\": channel = 9"),
        "{told:?}"
    );
}

/// The longest name that leaves room for another's mark; one that is longer, and what is no name,
/// are not made one.
#[test]
fn a_name_that_cannot_be_kept_hides_nothing() {
    let second = |name: &str| {
        format!(
            "{}[[rail]]\nname = {name}\nchannel = 9\nsource.voltage_v = 5\n\
             load.current_a = 1\nsense.resistance_ohm = 0.01\n",
            VALID.replace("LOGIC", &"N".repeat(name.matches('N').count().max(1)))
        )
    };
    let long = |length: usize| format!("\"{}\"", "N".repeat(length));
    for (file, name, called) in [
        ("long.toml", long(22), format!("{} 2", "N".repeat(22))),
        ("longer.toml", long(23), "sample".to_owned()),
        ("empty.toml", long(0), "sample".to_owned()),
        ("blank.toml", "\" \"".to_owned(), "sample".to_owned()),
        ("control.toml", "\"A\\tB\"".to_owned(), "sample".to_owned()),
    ] {
        let (told, _) = check(file, &second(&name));
        assert_eq!(told.len(), 2, "{told:?}");
        let called = format!("rail \"{called}\": channel = 9");
        assert!(told[1].contains(&called), "{told:?}");
    }
}

/// A mistake in a recording is told with the recording's own line, and hides nothing of the file.
#[test]
fn a_recordings_mistake_hides_nothing() {
    std::fs::write(folder().join("hides.csv"), "0,1\n1,x\n").unwrap();
    let load = RECORDED.replace("spoilt.csv", "hides.csv");
    let text = with_load(&load).replace("greatest_a = 0.03", "greatest_a = -1");
    let (told, _) = check("hides.toml", &text);
    assert_eq!(told.len(), 2, "{told:?}");
    let row = format!(
        "{}:2: rail \"LOGIC\": value x",
        folder().join("hides.csv").display()
    );
    assert!(told.iter().any(|told| told.starts_with(&row)), "{told:?}");
    assert!(
        told.iter().any(|told| told.contains("greatest_a = -1")),
        "{told:?}"
    );
}

/// What feeds a converter is looked for when all rails are read; what is wrong behind it is told,
/// too.
#[test]
fn a_converters_input_hides_nothing() {
    let more = "[[rail]]\nname = \"OUT\"\nchannel = 1\nload.current_a = 0.01\n\
                sense.resistance_ohm = 0.1\n\
                source = { kind = \"converter\", input = \"LOGIK\", voltage_v = 1, efficiency = 0.9, \
                input_down_to_v = 1 }\n[[fault]]\nkind = \"resett\"\nfrom_s = 1\n";
    let (told, _) = check("converter.toml", &format!("{VALID}{more}"));
    assert_eq!(told.len(), 2, "{told:?}");
    let input = "54:40: rail \"OUT\": input = \"LOGIK\": there is no rail of that name";
    assert!(told[0].starts_with(input), "{told:?}");
    assert!(told[1].contains("did you mean reset?"), "{told:?}");
}

/// docs/scenario.md: "It tells 50 at the most", also of what is no TOML.
#[test]
fn no_more_than_fifty_are_told() {
    let (told, status) = check("html.toml", &"<p>\n".repeat(200));
    assert_eq!((told.len(), status), (50, 2));
    let (told, status) = check("kinds.toml", &faults(50));
    assert_eq!((told.len(), status), (50, 2));
    assert_eq!(check("more.toml", &faults(60)), (told, 2));
}

/// So many faults, each with a mistake.
fn faults(count: usize) -> String {
    let fault = "[[fault]]\nkind = \"reset\"\nform_s = 1\n";
    format!("{VALID}{}", fault.repeat(count))
}

/// What is wrong with one element of a list says nothing of the next.
#[test]
fn each_of_several_alerts_is_told() {
    let alerts = "[[rail.alert]]\nkind = \"qqqq\"\nlimit_a = 0.01\noutput = \"A\"\n\
                  [[rail.alert]]\nkind = \"over_current\"\nlimit_a = true\noutput = \"A\"\n\
                  [[rail.alert]]\nkind = \"over_voltage\"\nlimit_v = 1\noutput = \"C\"\n";
    let (told, _) = check("alerts.toml", &format!("{VALID}{alerts}"));
    assert_eq!(told.len(), 3, "{told:?}");
    for (told, begins) in told.iter().zip(["kind", "limit_a = true", "output"]) {
        assert!(told.contains(begins), "{told}");
    }
}

#[test]
fn a_scenario_without_a_mistake_and_one_that_is_no_toml() {
    let (told, status) = check("valid.toml", VALID);
    assert_eq!((told.len(), status), (1, 0));
    assert!(
        told[0].ends_with(" no mistake; 1 rail over 10 s"),
        "{told:?}"
    );
    let (told, status) = check("no.toml", "title = \nseed = = 1\n");
    assert_eq!(status, 2);
    assert!(
        told.len() >= 2 && told.iter().any(|line| line.starts_with("2:8: ")),
        "{told:?}"
    );
}
