//! The program's `registers`, against the bench's own look inside the part, which knows nothing of
//! descriptions; and what it refuses.
#![cfg(feature = "cli")]

use std::collections::BTreeSet;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::Duration;

use crake_sim::bench::{Bench, Part};
use crake_sim::part::corncrake::Snapshot;
use crake_sim::run::{self, Observer, Row};
use crake_sim::scenario::Scenario;
use serde_json::Value;

const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/..");
const SKIFF: &str = "examples/survey-skiff.toml";

/// An ideal part and constant rails: what stands in a register stays there while the others are
/// read. 20 mA × 0.5 Ω are 10 mV; 3.3 V less 10 mV; the limit of 30 mA is never passed.
const STILL: &str = r#"title = "still"
duration_s = 5
[part]
model = "corncrake"
scan_rate = 100
errors = "none"
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
kind = "constant"
voltage_v = 3.3
impedance_ohm = 0.5
[rail.load]
kind = "constant"
current_a = 0.02
[rail.load_declared]
steps_per_hour = 0
step_a = 0
flow = "forward"
greatest_a = 0.03
[[rail.alert]]
kind = "over_current"
limit_a = 0.03
debounce = 2
output = "B"
[[rail]]
name = "BACK"
channel = 2
[rail.sense]
resistance_ohm = 0.1
tolerance_percent = 1
temperature_coefficient_ppm_per_k = 50
thermal_resistance_k_per_w = 20
sense_full_scale_v = 0.06
rail_full_scale_v = 60
[rail.source]
kind = "constant"
voltage_v = 48
impedance_ohm = 0
[rail.load]
kind = "constant"
current_a = -0.25
[rail.load_declared]
steps_per_hour = 0
step_a = 0
flow = "both"
greatest_a = 0.5
"#;

fn program(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_crake-sim"))
        .current_dir(ROOT)
        .arg("registers")
        .args(arguments)
        .output()
        .unwrap()
}

fn printed(arguments: &[&str]) -> String {
    let output = program(arguments);
    let errors = String::from_utf8(output.stderr).unwrap();
    assert_eq!((errors.as_str(), output.status.code()), ("", Some(0)));
    String::from_utf8(output.stdout).unwrap()
}

fn json(arguments: &[&str]) -> Value {
    serde_json::from_str(&printed(&[arguments, &["--json"]].concat())).unwrap()
}

/// The scenario above as a file.
fn still(name: &str) -> String {
    let directory = Path::new(env!("CARGO_TARGET_TMPDIR")).join("registers");
    fs::create_dir_all(&directory).unwrap();
    let path: PathBuf = directory.join(name);
    fs::write(&path, STILL).unwrap();
    path.to_str().unwrap().to_owned()
}

/// The register of this name.
fn register<'a>(state: &'a Value, name: &str) -> &'a Value {
    let registers = state["registers"].as_array().unwrap();
    let found = registers.iter().find(|register| register["name"] == name);
    found.unwrap_or_else(|| panic!("no register {name}"))
}

/// The field of this name in the register of that one.
fn field<'a>(state: &'a Value, name: &str, field: &str) -> &'a Value {
    let fields = register(state, name)["fields"].as_array().unwrap();
    let found = fields.iter().find(|other| other["name"] == field);
    found.unwrap_or_else(|| panic!("{name} has no field {field}"))
}

/// Keeps the bench and its part.
#[derive(Default)]
struct Keeper(Option<(Bench, Part)>);

impl Observer for Keeper {
    fn begin(&mut self, bench: &Bench, part: &Part) -> io::Result<()> {
        self.0 = Some((bench.clone(), part.clone()));
        Ok(())
    }

    fn progress(&mut self, _: u64, _: u64) {}

    fn reading(&mut self, _: &Row<'_>) -> io::Result<()> {
        Ok(())
    }
}

/// The same run here, and the inside of its part a little later, as the program comes to see it:
/// what the firmware cleared last has been set again.
fn snapshot(path: &str, seconds: u64) -> Snapshot {
    let mut scenario = Scenario::load(path).unwrap();
    scenario.duration_ns = seconds * 1_000_000_000;
    let mut keeper = Keeper::default();
    run::run(&scenario, scenario.seed, &mut keeper).unwrap();
    let (bench, part) = keeper.0.unwrap();
    bench.run_for(Duration::from_millis(50));
    part.snapshot()
}

#[test]
fn fields_are_what_the_bench_sees_inside_the_part() {
    let path = still("inside.toml");
    let inside = snapshot(&path, 2);
    let state = json(&[&path, "--at", "2"]);
    for (c, channel) in inside.channels.iter().enumerate() {
        let of = |register: &str| field(&state, &format!("{register}_{c}"), "code");
        assert_eq!(of("SENSE")["value"], channel.sense, "channel {c}");
        assert_eq!(of("RAIL")["value"], channel.rail, "channel {c}");
        let power = i64::from(channel.sense) * i64::from(channel.rail);
        assert_eq!(of("POWER")["value"], power, "channel {c}");
    }
    assert_ne!((inside.channels[0].sense, inside.channels[2].sense), (0, 0));

    // The rails' truth: 20 mA at 3.29 V, and -250 mA at 48 V. An LSB of sense is 200 nV over 0.5 Ω
    // and 500 nV over 0.1 Ω, of rail 100 µV and 1 mV.
    for (c, ampere_lsb, volt_lsb) in [(0, 4e-7, 1e-4), (2, 5e-6, 1e-3)] {
        let truth = inside.channels[c].truth;
        let near = |value: &Value, truth_n: f64, lsb: f64| {
            let value = value.as_f64().unwrap();
            assert!(
                (value - truth_n / 1e9).abs() <= 0.51 * lsb,
                "channel {c}: {value}"
            );
        };
        let of = |register: &str| field(&state, &format!("{register}_{c}"), "code");
        near(&of("SENSE")["amperes"], truth.current_na, ampere_lsb);
        near(&of("RAIL")["volts"], truth.voltage_nv, volt_lsb);
        let watts = truth.current_na * truth.voltage_nv / 1e9;
        let power_lsb =
            truth.current_na.abs() / 1e9 * volt_lsb + truth.voltage_nv / 1e9 * ampere_lsb;
        near(&of("POWER")["watts"], watts, power_lsb);
    }
    assert_eq!(field(&state, "SENSE_0", "code")["volts"], 0.01);

    // Of a channel without a rail there is no resistor to know.
    assert!(field(&state, "POWER_1", "code").get("watts").is_none());
    // The limit asked for, on the safe side by one code at most, 30 mA × 0.5 Ω.
    let limit = field(&state, "OVER_CURRENT_0", "code");
    let volts = limit["volts"].as_f64().unwrap();
    assert!((0.015 - 2e-7..=0.015).contains(&volts), "{volts}");
}

/// Flag bits by the datasheet, section 3.6: 5c and the kind's place. The limit is moved to where
/// the current always passes it, and looked at again each 0.4 s, so that its flag stays on its
/// output.
#[test]
fn flags_conditions_and_outputs_are_what_the_bench_sees() {
    let path = still("conditions.toml");
    fs::write(
        &path,
        STILL.replace("limit_a = 0.03", "limit_a = 0.015\nlook_again_s = 0.4"),
    )
    .unwrap();
    let inside = snapshot(&path, 1);
    assert_eq!((inside.conditions, inside.outputs), (1 << 2, 1 << 1));
    let state = json(&[&path, "--at", "1"]);
    let bits = |register: &str| {
        let mut names = Vec::new();
        for c in 0..4 {
            for kind in [
                "over_voltage",
                "under_voltage",
                "over_current",
                "under_current",
                "over_power",
            ] {
                names.push(format!("{kind}_{c}"));
            }
        }
        names.extend(["rollover_ahead", "scan_done", "reset_seen"].map(str::to_owned));
        let set = names
            .iter()
            .map(|name| &field(&state, register, name)["value"]);
        set.enumerate().fold(0, |bits, (place, set)| {
            bits | u32::from(set.as_bool().unwrap()) << place
        })
    };
    assert_eq!(bits("CONDITIONS"), inside.conditions);
    assert_eq!(bits("FLAGS"), inside.flags);
    // Told on output B, and on no other.
    assert_eq!((bits("MASK_A"), bits("MASK_B")), (0, 1 << 2));
    for (output, name) in [(0, "a_low"), (1, "b_low")] {
        let low = inside.outputs >> output & 1 == 1;
        assert_eq!(field(&state, "OUTPUTS", name)["value"], low, "{name}");
    }
}

#[test]
fn ranges_modes_and_the_latched_block() {
    let path = still("ranges.toml");
    let state = json(&[&path, "--at", "3"]);
    let meaning = |register: &str, name: &str| {
        let meaning = field(&state, register, name)["meaning"].as_str();
        meaning.unwrap().to_owned()
    };
    assert_eq!(meaning("RANGES", "sense_range_0"), "26.2144 mV");
    assert_eq!(meaning("RANGES", "rail_range_2"), "65.536 V");
    assert_eq!(meaning("RUN", "mode"), "continuous, 100 scans a second");
    assert_eq!(meaning("SAMPLE", "mode"), meaning("RUN", "mode"));
    for c in [0, 2] {
        for (register, latched) in [("SENSE", "sense"), ("RAIL", "rail"), ("POWER", "power")] {
            let live = field(&state, &format!("{register}_{c}"), "code");
            let latched = field(&state, "SAMPLE", &format!("{latched}_{c}"));
            for key in ["value", "volts", "amperes", "watts"] {
                assert_eq!(live.get(key), latched.get(key), "{register}_{c} {key}");
            }
        }
    }
    let bytes = |name| register(&state, name)["bytes"].clone();
    assert_eq!(bytes("IDENTITY"), "9E37C402");
    assert_eq!(bytes("LATCH"), Value::Null);
    assert_eq!(bytes("CAPTURE"), Value::Null);
    assert_eq!(bytes("SAMPLE").as_str().unwrap().len(), 222);
    // 3 s at 100 scans a second, begun some milliseconds after power-up.
    let scans = field(&state, "SCANS", "scans")["value"].as_u64().unwrap();
    assert!((296..=304).contains(&scans), "{scans}");
}

/// The same figures in the table as in the object, and columns that stand under their heads.
#[test]
fn the_table_for_people() {
    let path = still("table.toml");
    let text = printed(&[&path, "--at", "2"]);
    let mut lines = text.lines();
    assert_eq!(lines.next(), Some("still"));
    let heading = lines.next().unwrap();
    assert!(
        heading.starts_with("Corncrake at address 0x32, 2.00"),
        "{heading}"
    );
    assert_eq!(lines.next(), Some(""));
    let head = lines.next().unwrap();
    let (bytes, fields) = (head.find("bytes").unwrap(), head.find("fields").unwrap());
    let rows: Vec<_> = lines.collect();
    let row = |name: &str| {
        let found = rows.iter().find(|row| row.split(' ').next() == Some(name));
        let row = found.unwrap_or_else(|| panic!("no row {name}"));
        (row[bytes..fields].trim_end(), row[fields..].to_owned())
    };
    assert_eq!(
        row("SENSE_0"),
        ("00 C3 50", "code 50000: 10.000 mV, 20.000 mA".to_owned())
    );
    // -25 mV; 48 V and what flows back through 0.1 Ω stay those of the source's end.
    assert_eq!(
        row("SENSE_2"),
        ("FF 3C B0", "code -50000: -25.000 mV, -250.00 mA".to_owned())
    );
    assert_eq!(row("RESET_SEEN"), ("00", "none set".to_owned()));
    assert_eq!(row("CHANNELS").1, "channel_0; channel_2");
    assert_eq!(row("LATCH"), ("-", "can only be written".to_owned()));
    let why = "left alone: its length depends on another register";
    assert_eq!(row("CAPTURE"), ("-", why.to_owned()));
    for line in &rows {
        assert_eq!(line.trim_end(), *line);
        let gap = line.get(bytes.saturating_sub(2)..bytes);
        assert!(gap.is_none_or(|gap| gap == "  "), "{line}");
    }

    let one = printed(&[&path, "--at", "2", "--register", "sense_0"]);
    assert_eq!(one.lines().count(), 5);
    assert!(one.contains("10.000 mV, 20.000 mA"), "{one}");
}

/// 66, 16 and 51 registers by the documents' tables, whose rows the suite's own tests compare one
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
            16,
            "SENSE_1",
            "0xb6     SENSE_1       2  low first   R       channel 15; code 14-3 signed [sense \
             code]; count 2-0",
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

/// The paths of all values, entries of arrays as `[]`; an array of plain numbers is one value.
fn paths(value: &Value, path: &str, into: &mut BTreeSet<String>) {
    match value {
        Value::Object(entries) => {
            for (key, value) in entries {
                let dot = if path.is_empty() { "" } else { "." };
                paths(value, &format!("{path}{dot}{key}"), into);
            }
        }
        Value::Array(entries) if entries.iter().any(Value::is_object) => {
            for entry in entries {
                paths(entry, &format!("{path}[]"), into);
            }
        }
        Value::Null if [".names", ".formats"].iter().any(|key| path.ends_with(key)) => {}
        Value::Array(entries) if entries.is_empty() => {}
        _ => {
            into.insert(path.to_owned());
        }
    }
}

/// What stands in backticks in the first column of the tables under a heading of docs/registers.md.
fn documented(heading: &str) -> BTreeSet<String> {
    let text = fs::read_to_string(Path::new(ROOT).join("docs/registers.md")).unwrap();
    let (_, section) = text.split_once(&format!("## {heading}\n")).unwrap();
    let section = section.split("\n## ").next().unwrap();
    let rows = section.lines().filter_map(|line| line.strip_prefix("| `"));
    rows.map(|row| row.split('`').next().unwrap().to_owned())
        .collect()
}

#[test]
fn every_key_is_documented_and_every_documented_key_is_there() {
    for (several, heading) in [
        (
            [
                &[SKIFF, "--at", "1"][..],
                &["--part", "gallinule", "--state"],
            ],
            "The state as an object",
        ),
        (
            [&["--part", "corncrake"], &["--part", "gallinule"]],
            "The list as an object",
        ),
    ] {
        let mut found = BTreeSet::new();
        for arguments in several {
            paths(&json(arguments), "", &mut found);
        }
        assert_eq!(found, documented(heading));
    }
}

/// A line without its bytes, and every number as `#`: those follow the firmware's timing to the
/// microsecond.
fn shape(line: &str, bytes: usize, fields: usize) -> String {
    let name: String = line.chars().take(bytes).collect();
    let fields: String = line.chars().skip(fields).collect();
    let digit = |c: char| c.is_ascii_digit() || c == '.' || c == '-';
    let words = fields.split(' ').map(|word| {
        if let Some(pattern) = word.strip_prefix("0x") {
            return format!(
                "#{}",
                pattern.trim_start_matches(|c: char| c.is_ascii_hexdigit())
            );
        }
        let number = word.starts_with(digit);
        let end = word.trim_start_matches(digit);
        if number {
            format!("#{end}")
        } else {
            word.to_owned()
        }
    });
    name + &words.collect::<Vec<_>>().join(" ")
}

/// The samples in the document are some of what the program prints, but for numbers. `…` stands for
/// what is left out.
#[test]
fn the_samples_in_the_document() {
    let text = fs::read_to_string(Path::new(ROOT).join("docs/registers.md")).unwrap();
    let samples = text.split("```text\n").skip(1);
    let samples: Vec<_> = samples
        .map(|text| text.split_once("```").unwrap().0)
        .collect();
    let commands = [
        &[SKIFF, "--at", "20"][..],
        &["--part", "gallinule", "--state"],
    ];
    assert_eq!(samples.len(), commands.len());
    for (sample, command) in samples.iter().zip(commands) {
        let printed = printed(command);
        let mut lines = printed.lines();
        assert_eq!(lines.next(), sample.lines().next());
        let head = lines.nth(2).unwrap();
        let (bytes, fields) = (head.find("bytes").unwrap(), head.find("fields").unwrap());
        let shape = |line| shape(line, bytes, fields);
        let shapes: Vec<_> = lines.map(shape).collect();
        let rows = sample.lines().skip(4).filter(|line| *line != "…");
        let rows: Vec<_> = rows.collect();
        assert!(rows.len() > 15);
        for row in rows {
            assert!(shapes.contains(&shape(row)), "{row}");
        }
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
    for (part, name, channels, limit, ranges, rail) in [
        (
            "corncrake",
            "Corncrake",
            4,
            "OVER_CURRENT_0",
            "0000",
            "RAIL",
        ),
        ("moorhen", "Moorhen", 2, "SENSE_LIMIT_0", "8002", "BUS"),
    ] {
        let state = json(&["--part", part, "--state"]);
        assert_eq!(state["part"], name);
        assert_eq!(register(&state, "RANGES")["bytes"], ranges);
        for channel in 0..channels {
            let of = |register: &str, key: &str| {
                let code = field(&state, &format!("{register}_{channel}"), "code");
                code[key].as_f64().unwrap()
            };
            let (volts, amperes) = (of(rail, "volts"), of("SENSE", "amperes"));
            assert!((volts - 5.0).abs() < 0.1, "{part} {channel}: {volts}");
            assert!((amperes - 1.0).abs() < 0.02, "{part} {channel}: {amperes}");
        }
        let limit = field(&state, limit, "code")["amperes"].as_f64().unwrap();
        assert!((2.99..=3.0).contains(&limit), "{limit}");
    }
    // Fixed bits are no number: in hexadecimal, and in the object what they are.
    let text = printed(&["--part", "moorhen", "--state", "--register", "identity"]);
    assert!(
        text.lines().last().unwrap().ends_with("  fixed 0x91E4"),
        "{text}"
    );
    let state = json(&["--part", "moorhen", "--state"]);
    assert_eq!(field(&state, "IDENTITY", "fixed")["value"], 0x91E4);
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
            "Moorhen has no register SENSE_2; it has IDENTITY, MARK",
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
