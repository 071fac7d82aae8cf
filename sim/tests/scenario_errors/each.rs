//! One mistake in one place of what is not about rails.

use crate::scenario_errors::{message, spoilt};

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
            "case.toml:3: unknown key seeds in the file; did you mean seed? it takes title, duration_s, seed, part, \
             bus, host, board, rail, fault",
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
            "case.toml:2: duration_s = nan: not a finite number; write a decimal number such as \
             0.25",
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
            "case.toml:5: model = \"corn\": it must be \"corncrake\" or \"moorhen\" or \
             \"gallinule\"",
        ),
        (
            "strap = 1",
            "address = 0x36",
            "case.toml:6: address = 0x36: Corncrake has the addresses 0x32, 0x33, 0x34, 0x35",
        ),
        (
            "strap = 1",
            "strap = 4",
            "case.toml:6: strap = 4: a strap is 0 to 3, for addresses 0x32, 0x33, 0x34, 0x35",
        ),
        (
            "strap = 1",
            "strap = 1\naddress = 0x33",
            "case.toml:6: strap = 1: address is given already; leave one of them out",
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
            "case.toml:8: unknown key avreaging in [part]; did you mean averaging? it takes \
             model, name, address, strap, fitted_strap, scan_rate, averaging, errors",
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
            "case.toml:14: clock_error_ppm = 21: it must lie within clock_limit_ppm, which is 50 \
             unless given",
        ),
        (
            "clock_error_ppm = 5",
            "clock_error_ppm = \"any\"",
            "case.toml:14: clock_error_ppm = \"any\": it must be \"individual\"",
        ),
        (
            "clock_error_ppm = 5",
            "clock_error_ppm = -20.001",
            "case.toml:14: clock_error_ppm = -20.001: it must lie within clock_limit_ppm, which is \
             50 unless given",
        ),
        (
            "read_every_s = 1",
            "read_every_s = 11",
            "case.toml:15: read_every_s = 11: it must be at most duration_s, or nothing is ever \
             read",
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
            "case.toml:18: declared_c = 90: a temperature must lie between -40 and 85 °C, for \
             which the part is specified",
        ),
        (
            "[0, 40]",
            "[40, 0]",
            "case.toml:18: declared_c = [40, 0]: it must be the least and the greatest \
             temperature, such as [0, 60]",
        ),
        (
            "[0, 40]",
            "[40]",
            "case.toml:18: declared_c = [40]: it must be the least and the greatest temperature, \
             such as [0, 60]",
        ),
    ];
    for &(from, to, expected) in cases {
        assert_eq!(message(&spoilt(from, to)), expected, "{from} -> {to}");
    }
}

/// The ends of what docs/scenario.md allows.
#[test]
fn what_is_just_allowed_is_taken() {
    for (from, to) in [
        ("strap = 1", "strap = 3"),
        ("averaging = 0", "averaging = 10"),
        ("clock_error_ppm = 5", "clock_error_ppm = 20"),
        ("clock_error_ppm = 5", "clock_error_ppm = -20"),
        ("read_every_s = 1", "read_every_s = 10"),
        ("ambient_c = 20", "ambient_c = 0"),
        ("ambient_c = 20", "ambient_c = 40"),
        ("[0, 40]", "[20, 20]"),
        ("channel = 0", "channel = 3"),
        ("sense_full_scale_v = 0.025", "sense_full_scale_v = 0"),
        (
            "sense_full_scale_v = 0.025",
            "sense_full_scale_v = 0.065535",
        ),
        ("rail_full_scale_v = 6.5", "rail_full_scale_v = 0"),
        ("rail_full_scale_v = 6.5", "rail_full_scale_v = 65.535"),
        ("train_pulses = 2", "train_pulses = 5"),
        ("width_s = 0.004", "width_s = 1"),
        ("step_a = 0.03", "step_a = 0.03\nvoltage_v = [5, 5]"),
    ] {
        assert_eq!(message(&spoilt(from, to)), "no error", "{to}");
    }
}
