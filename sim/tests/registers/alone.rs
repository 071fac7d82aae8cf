//! Parts alone on the bench, without a run; and what is refused.

use super::*;

/// 66, 15 and 51 registers by the documents' tables, whose rows the suite's own tests compare one
/// by one.
#[test]
fn a_part_s_registers_without_a_run() {
    for (part, count, register, row) in [
        (
            "corncrake",
            66,
            "OVER_POWER_2",
            "0x24     OVER_POWER_2      5  high first  RW      code 39-0 signed [power code]",
        ),
        (
            "moorhen",
            15,
            "SENSE_1",
            "0x43     SENSE_1       2  low first   R       code 15-0 signed [sense code]",
        ),
        (
            "gallinule",
            51,
            "READ_POUT",
            "0x96     READ_POUT      2  low first   R       pages 0, 2: word 15-0 [power]; (page \
             0 LINEAR11; page 2 DIRECT)",
        ),
    ] {
        let list = json(&["--part", part]);
        assert_eq!(list["registers"].as_array().unwrap().len(), count);
        let text = printed(&["--part", part]);
        let pointers = text.lines().filter(|line| line.starts_with("0x")).count();
        assert_eq!(pointers, count);
        let one = printed(&["--part", part, "--register", register]);
        assert_eq!(one.lines().last(), Some(row));
    }
}

/// What a register of a page comes to.
fn on_page<'a>(state: &'a Value, name: &str, page: u8) -> &'a Value {
    let registers = state["registers"].as_array().unwrap();
    let found = registers
        .iter()
        .find(|register| register["name"] == name && register["page"] == page);
    &found.unwrap_or_else(|| panic!("no {name} on page {page}"))["fields"][0]
}

/// 1 A at 5 V, to the limits of gain and offset of docs/pmbus-device.md, B4, and half a step of the
/// formats of B1; power to the product of both. The limit on the safe side of 3 A by one word at
/// most.
#[test]
fn gallinule_alone_on_the_bench() {
    let state = json(&["--part", "gallinule", "--state"]);
    assert_eq!(state["part"], "Gallinule");
    assert_eq!(field(&state, "MFR_MODEL", "text")["value"], "GALLINULE");
    for (page, volt, volt_offset, volt_step, ampere, ampere_offset, ampere_step, side) in [
        (
            0,
            0.005,
            0.010,
            1.0 / 512.0,
            0.01,
            0.050,
            1.0 / 256.0,
            "OUT",
        ),
        (
            1,
            0.005,
            0.003,
            1.0 / 4096.0,
            0.01,
            0.030,
            1.0 / 64.0,
            "OUT",
        ),
        (2, 0.003, 0.030, 0.002, 0.005, 0.040, 0.00125, "OUT"),
        (3, 0.005, 0.050, 1.0 / 128.0, 0.01, 0.100, 1.0 / 256.0, "IN"),
    ] {
        let within = |name: String, key: &str, truth: f64, most: f64| {
            let value = on_page(&state, &name, page)[key].as_f64().unwrap();
            assert!(
                (value - truth).abs() <= most,
                "{name} of page {page}: {value}"
            );
        };
        let volts = 5.0 * volt + volt_offset;
        let amperes = ampere + ampere_offset;
        within(
            format!("READ_V{side}"),
            "volts",
            5.0,
            volts + volt_step / 2.0,
        );
        within(
            format!("READ_I{side}"),
            "amperes",
            1.0,
            amperes + ampere_step / 2.0,
        );
        if page != 1 {
            // Steps of 1/128 W at the coarsest, 1/13 W on page 2.
            let watts = (5.0 + volts) * (1.0 + amperes) - 5.0 + 1.0 / 26.0;
            within(format!("READ_P{side}"), "watts", 5.0, watts);
        }
    }
    let limit = on_page(&state, "IOUT_OC_WARN_LIMIT", 0)["amperes"]
        .as_f64()
        .unwrap();
    assert!((3.0 - 1.0 / 256.0..=3.0).contains(&limit), "{limit}");
    // Nothing was asked that the device does not know.
    assert_eq!(register(&state, "STATUS_CML")["bytes"], "00");
    // A sample each 5 ms, to 2 %, since the end of the reset; 0.1 s and the set-up.
    let samples = |page| {
        let registers = state["registers"].as_array().unwrap();
        let found = registers
            .iter()
            .find(|register| register["name"] == "READ_EOUT" && register["page"] == page);
        found.unwrap()["fields"][2]["value"].as_u64().unwrap()
    };
    assert!((20..40).contains(&samples(0)), "{}", samples(0));
    let one = json(&["--part", "gallinule", "--state", "--register", "read_vout"]);
    assert_eq!(one["registers"].as_array().unwrap().len(), 3);
}

/// Errors of gain and offset are below 2 % and 5 codes in any range of these two parts' datasheets.
#[test]
fn the_other_parts_alone_on_the_bench() {
    for (part, name, channels, limit, configuration) in [
        (
            "corncrake",
            "Corncrake",
            4,
            "OVER_CURRENT_0",
            ("RANGES", "0000"),
        ),
        // Both channels enabled (bits 8 and 9), both rail inputs narrow (bits 12 and 13).
        (
            "moorhen",
            "Moorhen",
            2,
            "SENSE_LIMIT_0",
            ("CONFIGURATION", "0033"),
        ),
    ] {
        let state = json(&["--part", part, "--state"]);
        assert_eq!(state["part"], name);
        let (ranges, bytes) = configuration;
        assert_eq!(register(&state, ranges)["bytes"], bytes);
        for channel in 0..channels {
            let of = |register: &str, key: &str| {
                let code = field(&state, &format!("{register}_{channel}"), "code");
                code[key].as_f64().unwrap()
            };
            let (volts, amperes) = (of("RAIL", "volts"), of("SENSE", "amperes"));
            assert!((volts - 5.0).abs() < 0.1, "{part} {channel}: {volts}");
            assert!((amperes - 1.0).abs() < 0.02, "{part} {channel}: {amperes}");
        }
        let limit = field(&state, limit, "code")["amperes"].as_f64().unwrap();
        assert!((2.99..=3.0).contains(&limit), "{limit}");
    }
    // Fixed bits are no number: in hexadecimal, and in the object what they are.
    let text = printed(&["--part", "moorhen", "--state", "--register", "identity"]);
    assert!(
        text.lines().last().unwrap().ends_with("  fixed 0x6B2D"),
        "{text}"
    );
    let state = json(&["--part", "moorhen", "--state"]);
    assert_eq!(field(&state, "IDENTITY", "fixed")["value"], 0x6B2D);
}

/// One message, the place first; exit status 2; nothing printed.
#[test]
fn what_is_refused() {
    let path = still("refused.toml");
    for (arguments, begin, about) in [
        (
            &[&path[..], "--register", "NOPE"][..],
            "Corncrake has no register NOPE; it has IDENTITY, WRITES",
            "SAMPLE",
        ),
        (
            &["--part", "moorhen", "--register", "SENSE_2"],
            "Moorhen has no register SENSE_2; it has IDENTITY, CONFIGURATION",
            "SENSE_1",
        ),
        (
            &[&path, "--at", "5.000000001"],
            "--at: the run ends at 5 s",
            "",
        ),
        (&["nowhere.toml"], "nowhere.toml: cannot be read", ""),
    ] {
        let output = program(arguments);
        let errors = String::from_utf8(output.stderr).unwrap();
        assert!(
            errors.starts_with(&format!("crake-sim: {begin}")) && errors.contains(about),
            "{errors}"
        );
        assert_eq!(errors.lines().count(), 1, "{errors}");
        assert_eq!(output.status.code(), Some(2), "{errors}");
        assert!(output.stdout.is_empty(), "{errors}");
    }
    // What the reader of arguments refuses has a message of its own.
    for arguments in [
        &[][..],
        &[&path[..], "--part", "moorhen"],
        &["--part", "plover"],
        &["--state"],
        &[&path, "--state"],
        &["--part", "gallinule", "--state", "--at", "1"],
        &["--part", "moorhen", "--at", "1"],
        &[&path, "--at", "-1"],
        &[&path, "--at", "soon"],
        &[&path, "--seed", "x"],
    ] {
        let output = program(arguments);
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(
            output.stdout.is_empty() && !output.stderr.is_empty(),
            "{arguments:?}"
        );
    }
}
