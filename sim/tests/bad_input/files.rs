//! Files that are none, files that do not end, and what is left behind.

use std::fs;
use std::io::Read;
use std::os::unix::fs::symlink;
use std::process::{Command, Stdio};

use crate::bad_input::case::{Case, RECORDING, VALID};

#[test]
fn a_recording_is_a_file() {
    for (file, test, about) in [
        ("there", "recording_directory", "is a directory"),
        ("/dev/zero", "recording_device", "is a device or a pipe"),
    ] {
        let scenario = VALID.replacen("load.csv", file, 1);
        let case = Case::new(test, &scenario, None);
        fs::create_dir(case.directory.join("there")).expect("a place for it");
        case.refuses(&["scenario.toml"], "scenario.toml:22", about);
    }
}

#[test]
fn no_file_is_read_without_end() {
    let case = Case::new("endless", VALID, Some(RECORDING));
    case.refuses(&["/dev/zero"], "/dev/zero", "more than 1 MiB");
    case.refuses(&["."], ".", "cannot be read");
    fs::write(case.directory.join("scenario.toml"), [0xff, 0xfe]).expect("a file");
    case.refuses(&["scenario.toml"], "scenario.toml", "not UTF-8");
}

#[test]
fn results_of_an_earlier_run_stay_unless_it_is_asked_for() {
    let case = Case::new("overwrite", VALID, Some(RECORDING));
    assert!(
        case.run(&["scenario.toml", "--out", "out"])
            .status
            .success()
    );
    let (place, about) = ("out/readings.csv", "--overwrite");
    case.refuses(
        &["scenario.toml", "--out", "out", "--seed", "2"],
        place,
        about,
    );
    let again = case.run(&["scenario.toml", "--out", "out", "--overwrite"]);
    assert!(again.status.success());
}

/// A device that is always full takes the place of the file that grows.
#[test]
fn a_full_disk_is_told_with_the_file() {
    let case = Case::new("full", VALID, Some(RECORDING));
    fs::create_dir(case.directory.join("out")).expect("a place for it");
    symlink("/dev/full", case.directory.join("out/.readings.csv.part")).expect("a link");
    let output = case.run(&["scenario.toml", "--out", "out"]);
    let errors = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(
        errors.starts_with("crake-sim: out/readings.csv: cannot be written: "),
        "{errors}"
    );
    assert_eq!((errors.lines().count(), output.status.code()), (1, Some(2)));
    assert_eq!(
        fs::read_dir(case.directory.join("out"))
            .expect("it is there")
            .count(),
        0
    );
}

/// Ten years of a scenario, ended by a signal once its files grow.
#[test]
fn a_signal_leaves_nothing_behind() {
    let scenario = VALID.replacen("duration_s = 2", "duration_s = 31536000", 1);
    for signal in ["-INT", "-TERM"] {
        let case = Case::new("signal", &scenario, Some(RECORDING));
        let mut run = Command::new(env!("CARGO_BIN_EXE_crake-sim"))
            .current_dir(&case.directory)
            .args(["run", "scenario.toml", "--out", "out"])
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .expect("it starts");
        let growing = case.directory.join("out/.readings.csv.part");
        while !growing.exists() {
            assert_eq!(
                run.try_wait().expect("a process"),
                None,
                "it ended by itself"
            );
            std::thread::yield_now();
        }
        let pid = run.id().to_string();
        let sent = Command::new("kill").args([signal, &pid]).status();
        assert!(sent.expect("kill is there").success());
        let status = run.wait().expect("it ends");
        assert_eq!(status.code(), Some(130), "{signal}");
        // A reading a second of a year, some 80 bytes each.
        let mut told = String::new();
        run.stderr
            .take()
            .map(|mut errors| errors.read_to_string(&mut told));
        assert!(told.starts_with(
            "crake-sim: out/readings.csv will have 31 536 000 rows, some 2.5 GB; --readings-every"
        ), "{told}");
        assert!(!case.directory.join("out").exists());
    }
}
