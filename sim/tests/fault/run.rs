//! Faults of a scenario file: what a run makes of them, and what it tells.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use crake_sim::run::{Report, Silent, run};
use crake_sim::scenario::Scenario;

/// 2 A of pulses at 5 V through 10 mΩ, for 20 s, with an over-current limit between rest and pulse.
const SCENARIO: &str = r#"title = "faults"
duration_s = 20
[part]
model = "corncrake"
scan_rate = 500
[[rail]]
name = "MAIN"
channel = 0
[rail.sense]
resistance_ohm = 0.01
tolerance_percent = 1
temperature_coefficient_ppm_per_k = 50
thermal_resistance_k_per_w = 20
sense_full_scale_v = 0.065
rail_full_scale_v = 6.5
[rail.source]
kind = "constant"
voltage_v = 5
impedance_ohm = 0.01
[rail.load]
kind = "pulses"
low_a = 0.5
high_a = 2
period_s = 2
width_s = 0.5
first_s = 0.25
[rail.load_declared]
steps_per_hour = 3600
step_a = 1.5
flow = "forward"
greatest_a = 2
[[rail.alert]]
kind = "over_current"
limit_a = 1.5
output = "A"
"#;

fn with(faults: &str) -> String {
    format!("{SCENARIO}{faults}")
}

fn report(faults: &str) -> Report {
    let scenario = Scenario::parse(&with(faults), "case.toml").expect("a scenario");
    run(&scenario, 1, &mut Silent).expect("it comes to its end")
}

/// The program on a scenario of this name.
fn program(name: &str, faults: &str, arguments: &[&str]) -> Output {
    let directory = Path::new(env!("CARGO_TARGET_TMPDIR")).join("fault");
    fs::create_dir_all(&directory).expect("a directory");
    let path = directory.join(name);
    fs::write(&path, with(faults)).expect("a file");
    Command::new(env!("CARGO_BIN_EXE_crake-sim"))
        .arg("run")
        .arg(path)
        .args(arguments)
        .output()
        .expect("it runs")
}

#[test]
fn without_faults_nothing_fails() {
    let report = report("");
    assert!(report.verdict.holds && report.faults.is_empty() && report.failures.is_empty());
    assert_eq!(report.alerts.len(), 10);
}

/// Each kind that the driver rides through strikes, is told, and changes no total beyond its bound.
#[test]
fn what_the_driver_rides_through_holds() {
    let sound = report("");
    for (keys, what) in [
        (
            "kind = \"address_not_acknowledged\"",
            "address not acknowledged at LATCH",
        ),
        (
            "kind = \"data_not_acknowledged\"",
            "data not acknowledged at LATCH",
        ),
        (
            "kind = \"bits_flipped\"\nbyte = 1\nbits = 0x10",
            "bits 0x10 of data byte 1 flipped at LATCH",
        ),
        (
            "kind = \"clock_held\"\nheld_s = 0.002",
            "clock held for 2 ms at LATCH",
        ),
        ("kind = \"arbitration_lost\"", "arbitration lost at LATCH"),
        ("kind = \"answer_lost\"", "answer lost at LATCH"),
    ] {
        let fault = format!("[[fault]]\n{keys}\nregister = \"LATCH\"\nfrom_s = 5.5\ntimes = 2\n");
        let report = report(&fault);
        assert!(report.verdict.holds, "{what}: {:?}", report.verdict);
        let [fault] = report.faults.as_slice() else {
            panic!("one fault");
        };
        assert_eq!((fault.what.as_str(), fault.times), (what, 2));
        let first_s = fault.first_s.expect("it struck");
        assert!((5.5..6.3).contains(&first_s), "{first_s}");
        assert_eq!(report.failures, [], "{what}");
        assert_eq!(report.samples, sound.samples);
        assert!(
            report.bus.transactions > sound.bus.transactions || keys.contains("held"),
            "{what}: there was a repeat"
        );
    }
}

/// The same rail with a load that steps over the current's limit at a moment, and at 6.6 s over one
/// of the power at output B.
fn stepping(from_s: &str, fault: &str) -> Report {
    let steps = format!(
        "kind = \"steps\"\ninitial_a = 0.5\nsteps = [[{from_s}, 2], [6.6, 2.5], [7.8, 0.5]]\n"
    );
    let (head, rest) = SCENARIO.split_once("kind = \"pulses\"").expect("a load");
    let (_, rest) = rest.split_once("[rail.load_declared]").expect("declared");
    let rest = rest
        .replace("greatest_a = 2", "greatest_a = 2.5")
        .replace("step_a = 1.5", "step_a = 2");
    let power = "[[rail.alert]]\nkind = \"over_power\"\nlimit_w = 11\noutput = \"B\"\n";
    let text = format!("{head}{steps}[rail.load_declared]{rest}{power}{fault}");
    let scenario = Scenario::parse(&text, "case.toml").expect("a scenario");
    run(&scenario, 1, &mut Silent).expect("it comes to its end")
}

/// A condition that stands when the part is set up again after a reset is served at once; and an
/// edge that comes while the firmware does not listen, after a failure, has no reaction time.
/// Neither is taken for a slow reaction.
#[test]
fn a_condition_behind_a_fault_breaks_no_bound() {
    let times = |report: &Report| -> Vec<_> {
        let alerts = report.alerts.iter();
        alerts
            .map(|alert| (alert.output, (alert.time_s * 10.0) as u32))
            .collect()
    };
    assert_eq!(times(&stepping("6.25", "")), [("A", 62), ("B", 66)]);
    // At a reading, which fails; the next look at what lasts finds the reset.
    let reset = stepping("4.25", "[[fault]]\nkind = \"reset\"\nfrom_s = 6\n");
    assert_eq!(times(&reset), [("A", 42), ("A", 62), ("B", 66)]);
    assert!(reset.verdict.holds, "{:?}", reset.verdict);
    // The look at the first edge fails; from then on nobody listens until the reading at 7 s.
    let unheard = stepping(
        "6.25",
        "[[fault]]\nkind = \"bits_flipped\"\nregister = \"FLAGS\"\nfrom_s = 6.1\nuntil_s = 6.4\n",
    );
    assert_eq!(times(&unheard), [("A", 70), ("B", 70)]);
    assert!(unheard.verdict.holds, "{:?}", unheard.verdict);
}

/// A sample that is lost is told, and lost from no total.
#[test]
fn a_sample_that_fails_is_told_and_the_next_makes_it_good() {
    let lost = "[[fault]]\nkind = \"write_lost\"\nregister = 3\nfrom_s = 10.9\nuntil_s = 11.1\n";
    let report = report(lost);
    assert!(report.verdict.holds, "{:?}", report.verdict);
    let [failure] = report.failures.as_slice() else {
        panic!("{:?}", report.failures);
    };
    // The reading at 11 s, tried twice.
    assert!(failure.what.starts_with("sample of the part at 0x32"));
    assert_eq!(failure.times, 2);
    assert!((11.0..11.1).contains(&failure.first_s) && failure.last_s < 11.1);
    assert_eq!(
        (report.discontinuities, report.unaccounted_s),
        (0, [0.0; 2])
    );
    let rail = &report.rails[0];
    assert!((rail.duration_s - 20.0).abs() < 0.1, "{}", rail.duration_s);
}

/// Resets, and two seconds without supply: the firmware sets the part up again, the time between is
/// told as a gap, and the totals of the rest are right.
#[test]
fn what_a_reset_takes_is_a_gap_and_no_error() {
    let faults = "[[fault]]\nkind = \"reset\"\nfrom_s = 3.7\n\
        [[fault]]\nkind = \"no_supply\"\nfrom_s = 8.5\nuntil_s = 10.5\n\
        [[fault]]\nkind = \"reset\"\nregister = \"LATCH\"\nafter_transfers = 4\nfrom_s = 12\n";
    let report = report(faults);
    assert!(report.verdict.holds, "{:?}", report.verdict);
    assert_eq!(report.discontinuities, 3);
    let times: Vec<_> = report.faults.iter().map(|fault| fault.times).collect();
    assert_eq!(times, [1, 1, 1]);
    assert_eq!(
        (report.faults[1].first_s, report.faults[1].last_s),
        (Some(8.5), Some(10.5))
    );
    // From the sample before to the one after: the readings at 3 and 4 s, at 8 and 11 s, and of the
    // last reset a second at the most.
    let [least, greatest] = report.unaccounted_s;
    assert!(
        (4.0..5.1).contains(&least) && greatest < 5.1,
        "{least} {greatest}"
    );
    let counted_s = report.rails[0].duration_s;
    assert!((counted_s + least - 20.0).abs() < 0.1, "{counted_s}");
}

#[test]
fn a_line_that_is_stuck_low_keeps_nobody_busy_and_loses_no_event() {
    let report = report("[[fault]]\nkind = \"line_low\"\noutput = \"A\"\nfrom_s = 5\n");
    assert!(report.verdict.holds, "{:?}", report.verdict);
    // A pulse lasts half a second, and a reading comes every second: its flag latches.
    assert_eq!(report.alerts.len(), 10);
    assert!(report.bus.busy_share < 0.1, "{}", report.bus.busy_share);
    assert_eq!(report.faults[0].last_s, None, "it lasts to the end");
}

/// Nobody calls the firmware: of what began from then on it hears nothing.
#[test]
fn a_line_that_is_released_tells_nothing() {
    let report = report("[[fault]]\nkind = \"line_released\"\noutput = \"A\"\nfrom_s = 5\n");
    assert_eq!(report.alerts.len(), 3);
    assert!(report.alerts.iter().all(|alert| alert.time_s < 5.0));
}

/// Every sense resistor at fault is found by the totals, with the rail, whatever the seed; one that
/// has drifted within its declared tolerance is not.
#[test]
fn a_sense_resistor_at_fault_is_outside_the_bound() {
    for (keys, holds) in [
        ("kind = \"sense_value\"\nresistance_ohm = 0.02", false),
        ("kind = \"sense_drift\"\ndrift_percent = 5", false),
        ("kind = \"sense_drift\"\ndrift_percent = -0.01", true),
        ("kind = \"sense_open\"", false),
        ("kind = \"sense_swapped\"", false),
    ] {
        let report = report(&format!("[[fault]]\n{keys}\nrail = \"MAIN\"\n"));
        assert_eq!(report.verdict.holds, holds, "{keys}: {:?}", report.verdict);
        if !holds {
            let outside = report.verdict.outside.join(" ");
            assert!(outside.contains("MAIN charge lies outside its bound"));
        }
        assert!(report.faults[0].what.starts_with("MAIN: sense "));
    }
}

#[test]
fn twice_the_declared_resistance_is_told_with_the_rail_and_exits_with_1() {
    let fault = "[[fault]]\nkind = \"sense_value\"\nrail = \"MAIN\"\nresistance_ohm = 0.02\n";
    let output = program("twice.toml", fault, &[]);
    assert_eq!(output.status.code(), Some(1));
    let table = String::from_utf8(output.stdout).expect("text");
    let last = table.lines().last().expect("a verdict");
    assert!(
        last.starts_with("verdict    DOES NOT HOLD: ")
            && last.contains("MAIN energy lies outside its bound"),
        "{last}"
    );
    assert!(
        table.contains("MAIN: sense resistor of 0.02 ohm"),
        "{table}"
    );
}

/// The table and the object show when each fault struck and what the driver said.
#[test]
fn table_and_object_show_what_struck_and_when() {
    let faults = "[[fault]]\nkind = \"clock_held\"\nheld_s = 0.03\nfrom_s = 2\nuntil_s = 3.5\n\
        [[fault]]\nkind = \"bits_flipped\"\nregister = \"IDENTITY\"\nfrom_s = 15\n";
    let output = program("shown.toml", faults, &[]);
    assert_eq!(output.status.code(), Some(0));
    let table = String::from_utf8(output.stdout).expect("text");
    let line = |what: &str| {
        let found = table.lines().find(|line| line.contains(what));
        found.unwrap_or_else(|| panic!("{what} is not in\n{table}"))
    };
    let held: Vec<_> = line("clock held for 30 ms").split_whitespace().collect();
    // From the reading at 2 s to the last try of the one at 3 s; the second is of a register that
    // nobody reads any more.
    let seconds: Vec<f64> = [held[1], held[3]].map(|text| text.parse().unwrap()).into();
    assert!((2.0..2.1).contains(&seconds[0]) && (3.0..3.5).contains(&seconds[1]));
    assert!(line("bits 0x01 of data byte 0 flipped at IDENTITY").contains("       0           -"));
    assert!(line("bus failed at register").contains("Other"));

    let out = Path::new(env!("CARGO_TARGET_TMPDIR")).join("fault/shown");
    let out = out.to_str().expect("a path");
    let object = program(
        "shown.toml",
        faults,
        &["--json", "--out", out, "--overwrite"],
    )
    .stdout;
    let object: serde_json::Value = serde_json::from_slice(&object).expect("an object");
    let fault = &object["faults"][0];
    assert_eq!(fault["what"], "clock held for 30 ms");
    assert!(fault["times"].as_u64() > Some(3) && fault["first_s"].as_f64() >= Some(2.0));
    assert_eq!(object["faults"][1]["first_s"], serde_json::Value::Null);
    assert!(object["failures"][0]["times"].as_u64() > Some(0));

    let rows = fs::read_to_string(Path::new(out).join("faults.csv")).expect("a file");
    let of_first = ["times", "first_s", "last_s"]
        .map(|key| fault[key].as_f64().expect("a number").to_string());
    let first = format!("clock held for 30 ms,{}", of_first.join(","));
    let never = "bits 0x01 of data byte 0 flipped at IDENTITY,0,,";
    let expected = format!("what,times,first_s,last_s\n{first}\n{never}\n");
    assert_eq!(rows, expected);
}

/// A part that never answers, a bus that is never free, an alert line that is always low: the run
/// ends where the scenario does, and says that nothing was measured.
#[test]
fn faults_that_last_for_ever_end_with_the_scenario() {
    for kind in [
        "address_not_acknowledged",
        "arbitration_lost",
        "no_data_pull_up",
        "no_supply",
        "write_lost",
        "answer_lost",
        "bits_flipped",
    ] {
        let low = "[[fault]]\nkind = \"line_low\"\noutput = \"A\"\n";
        let report = report(&format!("[[fault]]\nkind = \"{kind}\"\n{low}"));
        assert!(report.faults[0].times > 0, "{kind}");
        let rails: Vec<_> = report.rails.iter().map(|rail| &rail.name).collect();
        assert!(rails.is_empty(), "{kind}");
        assert_eq!(report.verdict.outside, ["MAIN was never measured"]);
        assert!(report.bus.busy_share < 0.1, "{kind}");
        assert_eq!(report.monitor.began_s, None);
    }
    // From the middle on: with limits armed, and a line that is low.
    let low = "[[fault]]\nkind = \"line_low\"\noutput = \"A\"\nfrom_s = 7\n";
    let dead = "[[fault]]\nkind = \"arbitration_lost\"\nfrom_s = 7.2\n";
    let report = report(&format!("{low}{dead}"));
    assert!(report.verdict.holds && report.bus.busy_share < 0.1);
    let counted_s = report.rails[0].duration_s;
    assert!((6.9..7.3).contains(&counted_s), "{counted_s}");
    assert!(report.failures.iter().any(|failure| failure.last_s > 19.9));
}

/// A resistor that drifts says nothing of how soon another rail's limit is told, but of its own.
#[test]
fn a_fault_of_one_rail_leaves_the_reactions_of_others() {
    let other = "[[rail]]\nname = \"OTHER\"\nchannel = 1\nsense.resistance_ohm = 0.05\n\
                 source.voltage_v = 5\nload.current_a = 0.1\n";
    let dated = |rail: &str| {
        let fault = format!(
            "{other}[[fault]]\nkind = \"sense_drift\"\nrail = \"{rail}\"\ndrift_percent = 0.1\n"
        );
        let alerts = report(&fault).alerts;
        assert_eq!(alerts.len(), 10);
        let dated = alerts
            .iter()
            .filter(|alert| alert.crossing_to_edge_s.is_some());
        dated.count()
    };
    assert_eq!(dated("OTHER"), 10);
    assert_eq!(dated("MAIN"), 0);
}

/// What is not measured any more at the end is told, and a total that went over range is named.
#[test]
fn what_the_totals_leave_out_is_told() {
    let fault = "[[fault]]\nkind = \"no_supply\"\nfrom_s = 5\n";
    let printed = String::from_utf8(program("dead.toml", fault, &[]).stdout).expect("text");
    let line = printed
        .lines()
        .find(|line| line.starts_with("not in the totals: "));
    assert!(
        line.is_some_and(|line| line.ends_with(" s of MAIN up to the end")),
        "{printed}"
    );
}
