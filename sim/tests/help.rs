//! Help, notices, and what is written besides.

use std::process::{Command, Output};

const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");

fn program(arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_crake-sim"));
    command.current_dir(ROOT).args(arguments).output().unwrap()
}

fn printed(arguments: &[&str]) -> String {
    String::from_utf8(program(arguments).stdout).unwrap()
}

/// Commands that the help names.
fn commands() -> Vec<String> {
    let help = printed(&["--help"]);
    let (_, commands) = help.split_once("Commands:\n").unwrap();
    let (commands, _) = commands.split_once("\n\n").unwrap();
    let names = commands.lines().filter_map(|line| {
        let name = line.strip_prefix("  ")?.split(' ').next()?;
        (!name.is_empty() && name != "help").then(|| name.to_owned())
    });
    names.collect()
}

/// Each command shows itself in use, and what it shows is run: in a folder with the files that it
/// names, of which `new` writes one.
#[test]
fn every_command_has_an_example_in_its_help() {
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR")).join("help");
    let _ = std::fs::remove_dir_all(&folder);
    for name in [
        "examples/survey-skiff.toml",
        "tests/data/us06_current.csv",
        "tests/data/li_ion_1c_discharge_voltage.tsv",
    ] {
        let to = folder.join(name);
        std::fs::create_dir_all(to.parent().unwrap()).unwrap();
        std::fs::copy(format!("{ROOT}/{name}"), to).unwrap();
    }
    let log = "time_s,rail,voltage_v,I_LOAD\n0,A,5,10\n1,A,5,11\n2,A,5,10\n";
    std::fs::write(folder.join("board.csv"), log).unwrap();

    let mut names = commands();
    assert!(names.len() >= 8, "{names:?}");
    names.sort_by_key(|name| name != "new");
    for name in names {
        let help = printed(&[&name, "--help"]);
        assert!(help.contains("--quiet"), "{name}");
        let lines = help.lines().filter(|line| !line.starts_with("Usage: "));
        let start = format!("crake-sim {name} ");
        let shown = lines.filter_map(|line| Some(line.split_once(&start)?.1));
        let shown: Vec<_> = shown.collect();
        assert!(!shown.is_empty(), "{name}: {help}");
        for arguments in shown {
            let arguments = arguments.split(" >").next().unwrap().split(' ');
            let mut command = Command::new(env!("CARGO_BIN_EXE_crake-sim"));
            command.current_dir(&folder).arg(&name).args(arguments);
            let output = command.output().unwrap();
            if name == "conformance" && !cfg!(feature = "conformance") {
                let errors = String::from_utf8(output.stderr).unwrap();
                assert!(errors.contains("--features conformance"), "{errors}");
            } else {
                assert!(output.status.success(), "{command:?}: {output:?}");
            }
        }
    }
}

/// The same statuses stand in the help and in the document.
#[test]
fn exit_statuses_are_in_help_and_document() {
    let help = printed(&["--help"]);
    let document = std::fs::read_to_string(format!("{ROOT}/docs/exit-status.md")).unwrap();
    for status in ["0", "1", "2", "130"] {
        assert!(help.contains(&format!("\n  {status:4} ")), "{help}");
        assert!(document.contains(&format!("\n| {status} | ")), "{status}");
    }
}

/// A contradiction is a notice, and is in the tables anyway.
#[test]
fn quiet_leaves_notices_out_and_errors_in() {
    let folder = std::path::Path::new(env!("CARGO_TARGET_TMPDIR"));
    let path = folder.join("quiet.toml");
    let text = "title = \"t\"\nduration_s = 1\n[[rail]]\nname = \"A\"\nsense.resistance_ohm = 0.1\n\
                source.voltage_v = 5\nload.current_a = 0.5\n[rail.load_declared]\n\
                steps_per_hour = 0\nstep_a = 0\nflow = \"forward\"\ngreatest_a = 0.4\n";
    std::fs::write(&path, text).unwrap();
    let path = path.to_str().unwrap();
    let told = |arguments: &[&str]| String::from_utf8(program(arguments).stderr).unwrap();
    assert!(told(&["run", path]).contains("greatest_a = 0.4"));
    assert_eq!(told(&["run", path, "--quiet"]), "");
    assert!(told(&["--quiet", "run", "nowhere.toml"]).contains("nowhere.toml"));
}
