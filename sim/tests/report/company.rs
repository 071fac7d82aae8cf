//! Several parts on one bus, and one in time: what a report adds up, takes the greatest of, or
//! dates.

use std::io;

use crake_sim::run::{AlertReport, Observer, Report, Row, Silent, run};
use crake_sim::scenario::Scenario;

const RAIL: &str = r#"[[rail]]
name = "NAME"
part = "PART"
sense.resistance_ohm = 0.03
source.voltage_v = 5
load = { kind = "steps", initial_a = 0.5, steps = [[0.55, 1.5]] }
"#;
const LIMIT: &str = "[[rail.alert]]\nkind = \"over_current\"\nlimit_a = 1\noutput = \"A\"\n";

/// Parts by name, model and what stands behind; the rail of each is called as the part.
fn text(duration_s: f64, parts: &[(&str, &str, &str)], rest: &str) -> String {
    let mut text = format!(
        "title = \"t\"\nduration_s = {duration_s}\n\
         host = {{ read_every_s = 0.1, clock_error_ppm = 0 }}\n"
    );
    for (name, model, _) in parts {
        text.push_str(&format!(
            "[[part]]\nname = \"{name}\"\nmodel = \"{model}\"\nerrors = \"none\"\n"
        ));
        if *model == "moorhen" && !text.contains("0x17") {
            text.push_str("address = 0x17\n");
        } else if *model == "moorhen" {
            text.push_str("address = 0x31\n");
        }
    }
    for (name, _, alert) in parts {
        text.push_str(&RAIL.replace("NAME", name).replace("PART", name));
        text.push_str(alert);
    }
    text + rest
}

fn report(duration_s: f64, parts: &[(&str, &str, &str)], rest: &str) -> Report {
    let text = text(duration_s, parts, rest);
    let scenario = Scenario::parse(&text, "company.toml").unwrap_or_else(|e| panic!("{e}\n{text}"));
    run(&scenario, 1, &mut Silent).unwrap()
}

fn near(found: f64, expected: f64, off: f64) {
    assert!((found - expected).abs() <= off, "{found}, not {expected}");
}

/// A Moorhen converts two inputs of a channel for each sample: at 240 µA for 90 µs and twice 170 µs
/// (sections 5 and 7 of its datasheet), and rests at 0.8 µA. Ten readings, and the sample with
/// which the totals begin.
#[test]
fn samples_conversions_and_what_the_parts_drew_are_of_all_parts() {
    let report = report(1.0, &[("ONE", "moorhen", ""), ("TWO", "moorhen", "")], "");
    assert_eq!((report.samples, report.conversions), (22, 44));
    let busy_s = 11.0 * (90e-6 + 2.0 * 170e-6);
    let until_s = report.bus.busy_s / report.bus.busy_share;
    assert!((1.0..1.01).contains(&until_s), "{until_s}");
    let charge = 2.0 * (0.8e-6 * (until_s - busy_s) + 240e-6 * busy_s);
    near(report.monitor.energy_j / (3.3 * charge), 1.0, 1e-6);
    let mean_w = report.monitor.energy_j / until_s;
    near(report.monitor.mean_power_w / mean_w, 1.0, 1e-9);
}

/// Totals begin with a first sample, the second part's after the first's; they end with the last
/// reading, a few milliseconds after the end. A reset begins no others.
#[test]
fn totals_began_with_the_last_part_that_was_set_up() {
    let parts = [("ONE", "moorhen", ""), ("TWO", "moorhen", "")];
    let sound = report(1.0, &parts, "");
    let began_s = sound.monitor.began_s.unwrap();
    assert!((0.002..0.02).contains(&began_s), "{began_s}");
    near(began_s, 1.0 - sound.rails[1].duration_s, 0.003);
    assert!(1.0 - sound.rails[0].duration_s < began_s - 0.001);
    let fault = "[[fault]]\nkind = \"reset\"\npart = \"TWO\"\nfrom_s = 0.55\n";
    let reset = report(1.0, &parts, fault);
    assert_eq!(reset.discontinuities, 1);
    assert_eq!(reset.monitor.began_s, Some(began_s));
}

/// ONE loses what lies between two readings, TWO what lies between four, and later once more what
/// lies between two; it fails first. What is told is of the part that loses most, and how often is
/// of both.
#[test]
fn gaps_are_of_the_part_that_loses_most_and_failures_in_their_order() {
    let faults = "[[fault]]\nkind = \"no_supply\"\npart = \"TWO\"\nfrom_s = 0.25\nuntil_s = 0.45\n\
                  [[fault]]\nkind = \"reset\"\npart = \"ONE\"\nfrom_s = 0.65\n\
                  [[fault]]\nkind = \"reset\"\npart = \"TWO\"\nfrom_s = 0.85\n";
    for parts in [
        [("ONE", "moorhen", ""), ("TWO", "moorhen", "")],
        [("TWO", "moorhen", ""), ("ONE", "moorhen", "")],
    ] {
        let report = report(1.0, &parts, faults);
        assert_eq!(report.discontinuities, 3);
        let [least, greatest] = report.unaccounted_s;
        assert!(least <= greatest);
        near(least, 0.4, 0.02);
        near(greatest, 0.4, 0.02);
        let first: Vec<f64> = report.failures.iter().map(|it| it.first_s).collect();
        assert!(first.len() > 2 && first.is_sorted(), "{first:?}");
        assert!(first[0] < 0.35, "{first:?}");
    }
}

/// docs/report.md: beside its own reading and service a part waits for those of every other, here
/// for one that is the same; where it converts with readings that is as much of the time to the
/// edge.
#[test]
fn a_part_waits_for_the_reading_and_the_service_of_every_other() {
    let alone = report(1.0, &[("ONE", "moorhen", LIMIT)], "");
    let both = report(
        1.0,
        &[("ONE", "moorhen", LIMIT), ("TWO", "moorhen", LIMIT)],
        "",
    );
    assert_eq!((alone.alerts.len(), both.alerts.len()), (1, 2));
    let event_s = alone.alerts[0].edge_to_event_bound_s;
    assert!(event_s > 0.001, "{event_s}");
    for alert in &both.alerts {
        near(alert.edge_to_event_bound_s, 2.0 * event_s, 1e-12);
        let more_s = alert.crossing_to_edge_bound_s - alone.alerts[0].crossing_to_edge_bound_s;
        near(more_s, event_s, 1e-12);
        assert!(alert.crossing_to_edge_s > Some(0.0), "{alert:?}");
    }
    // A part that converts by itself does not wait for the host.
    let corncrake = [("ONE", "corncrake", LIMIT), ("TWO", "moorhen", "")];
    let bound_s = |parts: &[_]| report(1.0, parts, "").alerts[0].crossing_to_edge_bound_s;
    near(bound_s(&corncrake), bound_s(&corncrake[..1]), 0.0);
}

/// TWO is set up again at the reading at 0.6 s, after a reset. An edge of ONE that comes meanwhile
/// is served, and says nothing of how long that takes; one that comes a reading later does.
#[test]
fn an_edge_during_another_parts_set_up_has_no_reaction() {
    let parts = [("ONE", "corncrake", LIMIT), ("TWO", "moorhen", "")];
    let fault = "[[fault]]\nkind = \"reset\"\npart = \"TWO\"\nfrom_s = 0.58\n";
    let undated = |fault: &str| {
        let at_us = (600_000..640_000_u32).step_by(2_000);
        let undated = at_us.filter(|at_us| {
            let step = format!("[[0.{at_us}, 1.5]]");
            let text = text(0.8, &parts, fault).replace("[[0.55, 1.5]]", &step);
            let scenario = Scenario::parse(&text, "company.toml").unwrap();
            let report = run(&scenario, 1, &mut Silent).unwrap();
            assert!(report.verdict.holds, "{step}: {:?}", report.verdict);
            assert_eq!(report.alerts.len(), 1, "{step}");
            report.alerts[0].edge_to_event_s.is_none()
        });
        undated.count()
    };
    assert_eq!(undated(""), 0);
    let undated = undated(fault);
    assert!((3..19).contains(&undated), "{undated}");
}

/// A byte takes nine clocks, START and STOP some more.
#[test]
fn the_bus_is_as_fast_as_the_scenario_says() {
    for (speed, hz) in [("100k", 100e3), ("400k", 400e3), ("1M", 1e6)] {
        let rest = format!("[bus]\nspeed = \"{speed}\"\n");
        let bus = report(0.2, &[("ONE", "corncrake", "")], &rest).bus;
        let bits = bus.busy_s * hz / bus.bytes as f64;
        assert!((9.0..10.0).contains(&bits), "{speed}: {bits}");
    }
}

/// What an observer is shown.
#[derive(Default)]
struct Seen {
    /// Number of the reading, rail, shares of its totals' bounds, and whether it has bounds.
    rows: Vec<(u64, String, [Option<f64>; 2], bool)>,
    progress: Vec<(u64, u64)>,
    alerts: Vec<usize>,
}

impl Observer for Seen {
    fn progress(&mut self, done_ns: u64, total_ns: u64) {
        self.progress.push((done_ns, total_ns));
    }
    fn reading(&mut self, row: &Row<'_>) -> io::Result<()> {
        let bounded = row.bounds().is_some();
        let rail = row.rail.to_owned();
        self.rows.push((row.number, rail, row.shares(), bounded));
        Ok(())
    }
    fn alerts(&mut self, so_far: &[AlertReport]) {
        self.alerts.push(so_far.len());
    }
}

fn seen(text: &str) -> (Seen, Report) {
    let scenario = Scenario::parse(text, "company.toml").unwrap();
    let mut seen = Seen::default();
    let report = run(&scenario, 1, &mut seen).unwrap();
    (seen, report)
}

/// Each reading of each rail, how far the run is, and alerts with the readings of the part that has
/// limits: the first five come before the load steps. Shares of bounds are at last the report's.
#[test]
fn an_observer_sees_what_comes_to_the_report() {
    let parts = [("ONE", "corncrake", LIMIT), ("TWO", "moorhen", "")];
    let text = text(1.0, &parts, "").replace("errors = \"none\"\n", "");
    let (observed, report) = seen(&text);
    let progress: Vec<_> = (1..=10).map(|n| (n * 100_000_000, 1_000_000_000)).collect();
    assert_eq!(observed.progress, progress);
    assert_eq!(observed.alerts, [0, 0, 0, 0, 0, 1, 1, 1, 1, 1]);
    let rows = observed.rows.iter();
    let rows: Vec<_> = rows
        .map(|(number, rail, ..)| (*number, rail.as_str()))
        .collect();
    let expected: Vec<_> = (0..10).flat_map(|n| [(n, "ONE"), (n, "TWO")]).collect();
    assert_eq!(rows, expected);
    for (_, name, shares, bounded) in &observed.rows[18..] {
        assert!(*bounded);
        let rail = report.rails.iter().find(|it| it.name == *name).unwrap();
        for (figure, share) in [&rail.charge_c, &rail.energy_j].into_iter().zip(shares) {
            // In whole nano-units, of some tenths of a coulomb.
            near(share.unwrap(), figure.difference.abs() / figure.bound, 1e-6);
        }
    }
    // Beyond the range's 2.46 A there is a limit, and no value.
    let (clipped, _) = seen(&text.replace("[[0.55, 1.5]]", "[[0.55, 4]]"));
    let (_, rail, shares, bounded) = clipped.rows.last().unwrap();
    assert_eq!(
        (rail.as_str(), shares, *bounded),
        ("TWO", &[None; 2], false)
    );
    assert_ne!(clipped.rows[1].2, [None; 2]);
}

/// After eight services in a row that told nothing a line that stays low is taken for stuck; each
/// takes a sample.
#[test]
fn a_line_that_is_stuck_is_served_eight_times() {
    let samples = |rest: &str| {
        let report = report(1.0, &[("ONE", "corncrake", LIMIT)], rest);
        assert_eq!(report.alerts.len(), 1);
        report.samples
    };
    let stuck = "[[fault]]\nkind = \"line_low\"\noutput = \"A\"\nfrom_s = 0.95\n";
    assert_eq!(samples(stuck), samples("") + 8);
}
