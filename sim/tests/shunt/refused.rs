//! Demands that cannot be met: one line that names the demand, exit status 2, nothing printed.

use super::*;

#[test]
fn each_impossible_demand_by_name() {
    for (changed, to, about) in [
        ("--voltage 12", "--voltage -12", "'--voltage <VOLTS>'"),
        ("--voltage 12", "--voltage x", "'--voltage <VOLTS>'"),
        // 80 V and 0.15 %, 10 mV, 9 mV and two codes.
        ("--voltage 12", "--voltage 80", "a rail voltage of 80.000 V"),
        ("--least 0.05", "--least 0", "'--least <AMPERES>'"),
        ("--least 0.05", "", "--least <AMPERES>"),
        (
            "--least 0.05",
            "--least 6",
            "the least current, 6.000 A, must lie below the greatest",
        ),
        ("--least 0.05", "--decades 9", "'--decades <N>'"),
        ("--greatest 5", "--greatest -5", "'--greatest <AMPERES>'"),
        // 90 mV across 100 µΩ.
        ("--greatest 5", "--greatest 900", "sense voltage 90.000 mV"),
        ("--error 5", "--error -5", "'--error <PERCENT>'"),
        ("--error 5", "", "--error <PERCENT>"),
        // 0.2 % + 1 % + 50 ppm/K × 65 K.
        (
            "--error 5",
            "--error 1.5",
            "may take 1.52 % whatever its size",
        ),
        (
            "--error 5",
            "--error 3",
            "comes closest (error 4.209 %, allowed 3 %)",
        ),
        (
            "--error 5",
            "--error 3",
            "any one of these would do: an error of 4.21 % (3 % now)",
        ),
        ("--burden 0.06", "--burden 0", "'--burden <VOLTS>'"),
        ("--burden 0.06", "--burden 0.00001", "allowed 10.000 µV"),
        ("--burden 0.06", "--burden 0.03", "a burden of "),
        (
            "--burden 0.06",
            "--ambient 60 20",
            "the least ambient temperature lies above",
        ),
        (
            "--burden 0.06",
            "--ambient -60 20",
            "'--ambient <LEAST> <GREATEST>'",
        ),
        ("--greatest 5", "--greatest 400", "°C hot"),
        ("--burden 0.06", "--tolerance 11", "'--tolerance <PERCENT>'"),
        (
            "--averaging 4",
            "--averaging 11",
            "means of 2^11 scans: Corncrake goes to 2^10",
        ),
        (
            "--averaging 4",
            "--at 6",
            "--at: 6.000 A lies above the greatest current",
        ),
        (
            "--averaging 4",
            "--part gallinule",
            "--part: a Gallinule measures amperes by itself",
        ),
        (
            "--averaging 4",
            "--part moorhen --calibrated",
            "an offset calibration needs scans",
        ),
        (
            "--averaging 4",
            "--filter-resistance 10",
            "--filter-capacitance",
        ),
        ("--averaging 4", "--rail X", "--scenario"),
        (
            "--averaging 4",
            "--scenario none.toml",
            "none.toml: cannot be read",
        ),
        (
            "--averaging 4",
            "--scenario examples/survey-skiff.toml --rail X",
            "--rail X: examples/survey-skiff.toml has none of that name, but DRIVE, CELL",
        ),
        (
            "--averaging 4",
            "--scenario examples/survey-skiff.toml --error 5",
            "--error",
        ),
    ] {
        assert!(EXAMPLE.contains(changed));
        let output = shunt(&EXAMPLE.replace(changed, to));
        let errors = String::from_utf8(output.stderr).unwrap();
        assert!(
            errors.starts_with("crake-sim: ") && errors.contains(about),
            "{to}: {errors}"
        );
        assert_eq!(errors.lines().count(), 1, "{errors}");
        assert_eq!(output.status.code(), Some(2), "{errors}");
        assert!(output.stdout.is_empty(), "{errors}");
    }
}

/// What would help does help, each by itself, and a little less does not.
#[test]
fn what_would_help_does() {
    // Means of 16, and so of less than 2^10 scans, would do.
    let asked = EXAMPLE.replace("--averaging 4", "--averaging 0");
    let refused = shunt(&asked);
    let errors = String::from_utf8(refused.stderr).unwrap();
    let (_, helps) = errors.split_once("would do: ").unwrap();
    let number = |begin: &str, end: &str| {
        let (_, rest) = helps.split_once(begin).unwrap();
        rest.split_once(end).unwrap().0.parse::<f64>().unwrap()
    };
    let error = number("an error of ", " %");
    let least = number("a least current of ", " mA") / 1e3;
    let averaging = number("means of 2^", " scans");
    for (changed, to, less) in [
        (
            "--error 5",
            format!("--error {error}"),
            format!("--error {}", error - 0.02),
        ),
        (
            "--least 0.05",
            format!("--least {least}"),
            format!("--least {}", least - 1e-4),
        ),
        (
            "--averaging 0",
            format!("--averaging {averaging}"),
            format!("--averaging {}", averaging - 1.0),
        ),
    ] {
        printed(&asked.replace(changed, &to));
        assert_eq!(
            shunt(&asked.replace(changed, &less)).status.code(),
            Some(2),
            "{less}"
        );
    }
    assert!(helps.contains("an offset calibration"));
    printed(&format!("{asked} --calibrated"));
}

/// A rail of a scenario that nothing fits is named, and a file that is there stays as it is.
#[test]
fn nothing_is_written_half() {
    let directory = Path::new(env!("CARGO_TARGET_TMPDIR")).join("shunt_refused");
    let _ = std::fs::remove_dir_all(&directory);
    let out = directory.to_str().unwrap();
    let skiff = [
        "--scenario",
        "examples/survey-skiff.toml",
        "--decades",
        "2",
        "--out",
        out,
    ];
    let output = shunt_with(skiff.into_iter().chain(["--error", "2"]));
    let errors = String::from_utf8(output.stderr).unwrap();
    assert!(
        errors.starts_with("crake-sim: rail \"DRIVE\": "),
        "{errors}"
    );
    assert!(!directory.exists());

    std::fs::create_dir_all(&directory).unwrap();
    std::fs::write(directory.join("board.rs"), "of an earlier choice").unwrap();
    let output = shunt_with(skiff.into_iter().chain(["--error", "10"]));
    let errors = String::from_utf8(output.stderr).unwrap();
    assert!(errors.contains("board.rs: is there already"), "{errors}");
    assert_eq!(output.status.code(), Some(2));
    assert_eq!(std::fs::read_dir(&directory).unwrap().count(), 1);
    let again = skiff.into_iter().chain(["--error", "10", "--overwrite"]);
    assert!(shunt_with(again).status.success());
    assert_eq!(std::fs::read_dir(&directory).unwrap().count(), 5);
}
