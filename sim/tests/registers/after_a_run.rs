//! What a run left in a part, against the bench's own look inside.

use super::*;

/// Keeps the bench and its part.
#[derive(Default)]
struct Keeper(Option<(Bench, Part)>);

impl Observer for Keeper {
    fn begin(&mut self, bench: &Bench, parts: &[OnBench<'_>]) -> io::Result<()> {
        self.0 = parts[0]
            .part()
            .map(|part: &Part| (bench.clone(), part.clone()));
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
