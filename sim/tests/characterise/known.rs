//! Logs made by hand, with figures worked out by hand.

use super::*;

/// 1000 s at a reading a millisecond: 900 s at 10 µA, 90 s at 20 mA in three stretches, and ten
/// pulses of 1 s at 1.5 A with a ripple of ±0.02 %, at 3.6 V.
fn three_levels() -> String {
    let mut text = String::from("time_s,rail,voltage_v,current_a\n");
    for ms in 0..1_000_000_u32 {
        let wave = if ms.is_multiple_of(2) { 1.0002 } else { 0.9998 };
        let current = match ms {
            200_000..230_000 | 400_000..430_000 | 600_000..630_000 => 0.02,
            _ if ms % 100_000 >= 50_000 && ms % 100_000 < 51_000 => 1.5,
            _ => 10e-6,
        };
        let time = f64::from(ms) / 1000.0;
        text += &format!("{time:.3},ONE,3.6,{:.9}\n", current * wave);
    }
    text
}

/// Shares: 90 %, 9 %, 1 % of the time. Energy goes with the current: 9 mC, 1.8 C, 15 C of 16.809 C.
/// I²t of a pulse: 1.5² A²s.
#[test]
fn three_known_levels() {
    let path = log("levels", &three_levels());
    let told = json(&["characterise", &path]);
    let rail = &told["rails"][0];
    let levels = rail["levels"].as_array().unwrap();
    let wanted = [
        ("sleep", 0.90, 0.009 / 16.809, 10e-6),
        ("active", 0.09, 1.8 / 16.809, 0.02),
        ("peak", 0.01, 15.0 / 16.809, 1.5),
    ];
    assert_eq!(levels.len(), wanted.len(), "{levels:#?}");
    for (level, (name, time, energy, current)) in levels.iter().zip(wanted) {
        assert_eq!(level["name"], name);
        for (key, wanted) in [
            ("time_share", time),
            ("energy_share", energy),
            ("mean_current_a", current),
        ] {
            let found = level[key].as_f64().unwrap();
            assert!(
                (found / wanted - 1.0).abs() < 0.01,
                "{name} {key}: {found}, not {wanted}"
            );
        }
    }
    assert_eq!(
        [0, 1, 2].map(|level| levels[level]["visits"].as_u64().unwrap()),
        [14, 3, 10]
    );
    let peaks = &rail["peaks"];
    assert_eq!(peaks["count"], 10);
    assert!((number(peaks, "/longest_s") - 1.0).abs() < 0.01);
    for peak in peaks["of_greatest_i2t"].as_array().unwrap() {
        let i2t = peak["i2t_a2s"].as_f64().unwrap();
        assert!((i2t / 2.25 - 1.0).abs() < 0.01, "{peak}");
    }
    // Up and down, 13 times.
    assert_eq!(rail["steps"]["count"], 26);
    assert!((number(rail, "/steps/per_hour") - 26.0 * 3.6).abs() < 0.01);
    assert_eq!(number(rail, "/charge_c/back"), 0.0);
    assert!((number(rail, "/charge_c/out") / 16.809 - 1.0).abs() < 1e-3);
}

/// Readings at 0, 1, 3 and 6 s of 1, 2, 2 and -1 A. Each counts half of the time to its
/// neighbours: 0.5, 1.5, 2.5 and 1.5 s of 6 s; mean (0.5 + 3 + 5 - 1.5) ÷ 6. Straight lines: 1.5 C,
/// 4 C, and 2 s down to zero and 1 s beyond it, 2 C and -0.5 C.
#[test]
fn readings_at_times_that_are_not_even_are_weighed_by_time() {
    let path = log(
        "uneven",
        "t_ms;I [mA]\n0;1000\n1000;2000\n3000;2000\n6000;-1000\n",
    );
    let arguments = [
        "characterise",
        &path,
        "--separator",
        ";",
        "--capacity",
        "1",
        "--rail",
        "X",
    ];
    let told = json(&arguments);
    let rail = &told["rails"][0];
    assert_eq!(rail["spacing"]["weighed"], "by time");
    assert_eq!(rail["name"], "X");
    let near = |path: &str, wanted: f64| {
        let found = number(rail, path);
        assert!(
            (found - wanted).abs() < 1e-12,
            "{path}: {found}, not {wanted}"
        );
    };
    near("/current_a/mean", 7.0 / 6.0);
    near(
        "/current_a/rms",
        ((0.5 + 6.0 + 10.0 + 1.5_f64) / 6.0).sqrt(),
    );
    near("/charge_c/out", 7.5);
    near("/charge_c/back", 0.5);
    near("/lasts_h", 6.0 / 7.0);
    assert!(rail["power_w"].is_null());
    // A gap: nothing is counted across it.
    let told = json(&[&arguments[..], &["--gap", "2.5"]].concat());
    let rail = &told["rails"][0];
    assert_eq!(
        (
            number(rail, "/spacing/gaps"),
            number(rail, "/spacing/gaps_s")
        ),
        (1.0, 3.0)
    );
    assert_eq!(number(rail, "/charge_c/net"), 5.5);
}

/// Beyond 4.5 V at 2 s, and from 4 s to 6 s; never above 1 A, which the reading at 1 s just is.
#[test]
fn excursions_beyond_limits() {
    let rows = [4.0, 4.0, 4.6, 4.4, 4.7, 4.8, 4.51, 4.5];
    let mut text = String::from("time,rail,v,i\n");
    for (second, volts) in rows.iter().enumerate() {
        text += &format!("{second},A B,{volts},1\n");
    }
    let path = log("limits", &text);
    let limits = [
        "--limit",
        "A B:over_voltage=4.5",
        "--limit",
        "A B:over_current=1",
    ];
    let told = json(&[&["characterise", &path][..], &limits].concat());
    let beyond = &told["rails"][0]["excursions"];
    assert_eq!(beyond[0]["times"], 2);
    assert_eq!(number(beyond, "/0/longest_s"), 2.0);
    assert_eq!(number(beyond, "/0/farthest"), 4.8);
    assert_eq!(
        (number(beyond, "/0/first_s"), number(beyond, "/0/last_s")),
        (2.0, 6.0)
    );
    assert_eq!(
        (&beyond[1]["times"], &beyond[1]["farthest"]),
        (&0.into(), &Value::Null)
    );
}

/// A triangle of 10 mV peak to peak every 20 readings, with 30 mV in the third window of 100.
#[test]
fn ripple_is_told_of_windows() {
    let mut text = String::from("time_us,voltage_mv,current_ma\n");
    for reading in 0..500_u32 {
        let height = if (200..300).contains(&reading) {
            30.0
        } else {
            10.0
        };
        let at = f64::from(reading % 20).min(f64::from(20 - reading % 20)) / 10.0;
        text += &format!("{},{:.3},5\n", reading * 100, 3300.0 + height * at);
    }
    let told = json(&["characterise", &log("ripple", &text)]);
    let ripple = &told["rails"][0]["ripple_v"];
    assert!((number(ripple, "/mean") - 0.014).abs() < 1e-9, "{ripple}");
    assert!(
        (number(ripple, "/greatest") - 0.030).abs() < 1e-9,
        "{ripple}"
    );
    assert!(
        (number(ripple, "/greatest_at_s") - 0.02).abs() < 1e-9,
        "{ripple}"
    );
    assert_eq!(told["rails"][0]["name"], "log");
}

/// Totals of one kind alone: 3 C in 2 s, or 8 J, whatever the readings show.
#[test]
fn totals_of_charge_or_of_energy_alone_are_taken() {
    for (column, unit, current_a, power_w, printed) in [
        ("charge_c", 1.5, 1.5.into(), Value::Null, "1.5000 A"),
        ("energy_j", 4.0, Value::Null, 4.0.into(), "4.0000 W"),
    ] {
        let mut text = format!("time_s,rail,voltage_v,current_a,{column}\n");
        for second in 0..3 {
            text += &format!("{second},A,5,1,{}\n", 10.0 + unit * f64::from(second));
        }
        let path = log(column, &text);
        let rail = &json(&["characterise", &path, "--capacity", "3"])["rails"][0];
        assert_eq!(rail["total_current_a"], current_a);
        assert_eq!(rail["total_power_w"], power_w);
        // 3 Ah at the total's 1.5 A, or at the readings' 1 A.
        let hours = 3.0 / current_a.as_f64().unwrap_or(1.0);
        assert_eq!(number(rail, "/lasts_h"), hours);
        let table = program(&["characterise", &path]).stdout;
        let line = format!("  totals   of the log: {printed} in the mean\n");
        assert!(String::from_utf8(table).unwrap().contains(&line));
    }
}

/// Doubled quotes within quotes are single ones, as RFC 4180 has it, and separators there are none.
#[test]
fn names_in_quotes_are_read_as_they_were_written() {
    let text = "t,rail,\"current \"\"all\"\" (mA)\"\n\
                0,\"A \"\"B\"\", C\",\"1\"\n0,\"\"\"\"\"\",2\n0, \"D\" ,3\n0,\"5\"\"\",4\n";
    let column = "current=current \"all\" (mA):mA";
    let told = json(&["characterise", &log("quotes", text), "--column", column]);
    let rails = told["rails"].as_array().unwrap().iter();
    let names: Vec<_> = rails.map(|rail| &rail["name"]).collect();
    assert_eq!(names, ["A \"B\", C", "\"\"", "D", "5\""]);
    // And those that the bench writes.
    let directory = scratch("written");
    let out = directory.to_str().unwrap();
    let hostile = "sim/tests/page/hostile.toml";
    let run = ["run", hostile, "--for", "3", "--every-scan", "--out", out];
    json(&run);
    for file in ["readings.csv", "scans.csv"] {
        let path = directory.join(file);
        let told = json(&["characterise", path.to_str().unwrap()]);
        let names = [0, 1].map(|rail| told["rails"][rail]["name"].as_str().unwrap());
        assert_eq!(names, ["<script>", "\"><img src=x onerror=a>"], "{file}");
    }
}

/// 100 mA for 10 s: 0.1 A²s. Programs that write UTF-8 may begin it with a mark.
#[test]
fn a_log_with_a_byte_order_mark_is_read_and_i2t_has_no_prefix() {
    let mut text = "\u{feff}time_s,current_a\n".to_owned();
    for second in 0..40 {
        let amps = if (10..20).contains(&second) {
            0.1
        } else {
            0.001
        };
        text += &format!("{second},{amps}\n");
    }
    let path = log("mark", &text);
    let output = program(&["characterise", &path]);
    assert!(output.status.success(), "{output:?}");
    let printed = String::from_utf8(output.stdout).unwrap();
    assert!(
        printed.contains("of greatest I²t: 0.1000 A²s up to 100.0 mA for 10.00 s"),
        "{printed}"
    );
    let twice = [
        "--column",
        "current=current_a",
        "--column",
        "current=time_s",
    ];
    let output = program(&[&["characterise", &path], &twice[..]].concat());
    let errors = String::from_utf8(output.stderr).unwrap();
    assert_eq!(output.status.code(), Some(2));
    assert!(
        errors.contains("--column current: is given more than once"),
        "{errors}"
    );
}
