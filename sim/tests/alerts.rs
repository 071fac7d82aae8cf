//! The alert timeline of a run: what is told, when, and how long it took.

use crake_sim::run::{AlertReport, Silent, run};
use crake_sim::scenario::Scenario;

const SKIFF: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../examples/survey-skiff.toml");
const SECOND: u64 = 1_000_000_000;

fn alerts(seed: u64, seconds: u64) -> Vec<AlertReport> {
    let mut scenario = Scenario::load(SKIFF).unwrap();
    scenario.duration_ns = seconds * SECOND;
    run(&scenario, seed, &mut Silent).unwrap().alerts
}

/// When the modem's pulses of the first `until_s` seconds begin.
fn pulses(until_s: f64) -> Vec<f64> {
    let trains = (0..).map(|train| 3.0 + 7.0 * f64::from(train));
    let trains = trains.take_while(|begin| *begin < until_s);
    let pulses = trains.flat_map(|begin| [0.0, 1.1, 2.2].map(|later| begin + later));
    pulses.filter(|begin| *begin < until_s).collect()
}

/// Pulses begin at 3 s, 4.1 s and 5.2 s, and every seven seconds again: each is told once.
#[test]
fn every_pulse_of_the_modem_is_told_once() {
    for seed in 1..=3 {
        let alerts = alerts(seed, 60);
        let pulses = pulses(59.9);
        assert_eq!(alerts.len(), pulses.len(), "seed {seed}: {alerts:?}");
        for (alert, begin) in alerts.iter().zip(pulses) {
            assert_eq!(
                (alert.rail.as_str(), alert.kind, alert.output),
                ("MODEM", "over_current", "B")
            );
            assert!(
                (begin + 0.001..begin + 0.02).contains(&alert.time_s),
                "seed {seed}: the pulse at {begin} s, told at {} s",
                alert.time_s
            );
            // 1.5 A on the safe side: within one code of 500 nV ÷ 20 mΩ = 25 µA below.
            let limit = alert.limit.unwrap();
            assert!((1.499_974..=1.5).contains(&limit), "{limit}");
            // The two reactions follow each other: from the pulse's beginning to the edge, and on.
            let steps = alert.crossing_to_edge_s.zip(alert.edge_to_event_s);
            let (to_edge, to_event) = steps.unwrap();
            let told_s = begin + to_edge + to_event;
            assert!((alert.time_s - told_s).abs() < 1e-8, "{alert:?}");
        }
    }
}

/// DRIVE is above -3.9 A all the time, on the output of the modem's pulses. Masked until it is
/// over, its flag leaves the output to them; looked at again each 0.3 s, it keeps the output low,
/// and they are found by these looks. Either way the run ends when it is to end, and the bus is
/// left alone.
#[test]
fn a_condition_that_lasts_is_told_once_and_leaves_run_and_bus_alone() {
    let text = std::fs::read_to_string(SKIFF).unwrap();
    for (again, latest_s) in [("", 0.02), ("look_again_s = 0.3\n", 0.35)] {
        let text = text.replacen("limit_a = 7.5\n", &format!("limit_a = -3.9\n{again}"), 1);
        let mut scenario = Scenario::parse(&text, SKIFF).unwrap();
        scenario.duration_ns = 60 * SECOND;
        let report = run(&scenario, 1, &mut Silent).unwrap();
        let of = |rail| {
            let of = move |alert: &&AlertReport| alert.rail == rail;
            report.alerts.iter().filter(of).collect::<Vec<_>>()
        };
        assert_eq!(of("DRIVE").len(), 1, "{again}");
        assert!(of("DRIVE")[0].time_s < 0.02, "{again}");
        let (pulses, told) = (pulses(59.5), of("MODEM"));
        assert_eq!(told.len(), pulses.len(), "{again}");
        for (alert, begin) in told.iter().zip(pulses) {
            let told_s = begin..begin + latest_s;
            assert!(
                told_s.contains(&alert.time_s),
                "{again}: {begin}: {alert:?}"
            );
            // A line that was low when the pulse began tells nothing of it; one that was high does.
            assert_eq!(
                alert.crossing_to_edge_s.is_some(),
                again.is_empty(),
                "{alert:?}"
            );
        }
        assert!(report.verdict.holds, "{again}: {:?}", report.verdict);
        let share = report.bus.busy_share;
        assert!(share < 0.1, "{again}: the bus is busy {share} of the time");
        let bus_s = report.bus.busy_s / share;
        assert!((60.0..60.1).contains(&bus_s), "{again}: {bus_s} s");
    }
}

/// Reactions stay within what datasheet, bus and declared latency allow, for excursions beyond
/// limit and noise, and come in as many ways as there are: the pulses are in step with nothing.
///
/// The modem's edges: two conversions in a row, the first in the scan in which the pulse begins; at
/// the least a scan of the fastest oscillator apart, 500 µs ÷ 1.015, at the most as the datasheet
/// has it, (2 × 500 µs + 125 µs) ÷ 0.985. Its events, at 400 kHz: not before the latency of 50 µs
/// and the 115 bytes of a block are over. At the most what may be in progress, a sample of 1092
/// clocks and 510 µs, flags (129 clocks) and masks (318), and the service: flags twice, sample,
/// masks.
#[test]
fn reactions_stay_within_their_bounds() {
    let clocks = |clocks: u32| f64::from(clocks) / 400e3;
    let event_most = 50e-6 + 2.0 * (clocks(1_092) + 510e-6) + clocks(3 * 129 + 2 * 318);
    let event_least = 50e-6 + clocks(115 * 9);
    let (edge_least, edge_most) = (500e-6 / 1.015, 1.125e-3 / 0.985);
    let (mut edges, mut events) = (Vec::new(), Vec::new());
    for seed in 1..=5 {
        for alert in alerts(seed, 360) {
            if alert.rail == "MODEM" {
                edges.extend(alert.crossing_to_edge_s);
            }
            events.extend(alert.edge_to_event_s);
            // Counted here with six clocks for START and STOP of each transfer, the most that the
            // driver's own count may leave out of them.
            let share = alert.edge_to_event_bound_s / event_most;
            assert!((0.97..=1.0).contains(&share), "{share}: {alert:?}");
        }
    }
    for (took, (least, most), count) in [
        (&edges, (edge_least, edge_most), 700),
        (&events, (event_least, event_most), 700),
    ] {
        assert!(took.len() > count, "{}", took.len());
        let within = |took: &f64| (least..=most).contains(took);
        assert!(took.iter().all(within), "{least} to {most}: {took:?}");
    }
    let ends = |took: &[f64]| {
        let least = took.iter().copied().fold(f64::MAX, f64::min);
        (least, took.iter().copied().fold(0.0, f64::max))
    };
    // Anywhere in a scan, but for the pulse's part that a conversion must see.
    let (least, greatest) = ends(&edges);
    assert!(least < 0.6e-3 && greatest > 1.0e-3, "{least} {greatest}");
}

/// (Debounce × scan period + two conversions) ÷ (1 − tolerance): sections 3.6, 6 and the
/// oscillator's limit. 2 × 500 µs + 125 µs over 0.985, rounded up to microseconds.
#[test]
fn the_bound_is_the_datasheets() {
    let alerts = alerts(1, 5);
    let bound = alerts.first().unwrap().crossing_to_edge_bound_s;
    let more = bound - 1.125e-3 / 0.985;
    assert!((0.0..1e-6).contains(&more), "{bound}");
}

/// Beyond ±13.1 A of 5 mΩ in the coarse range, with the wrong unit, and twice: each is told with
/// its line before anything runs.
#[test]
fn limits_that_cannot_be_are_refused_with_their_line() {
    let text = std::fs::read_to_string(SKIFF).unwrap();
    let line =
        |text: &str, what: &str| 1 + text.lines().position(|line| line.contains(what)).unwrap();
    let cases = [
        (
            "limit_a = 7.5",
            "limit_a = 75",
            "limit_a = 75",
            "rail \"DRIVE\": limit_a = 75: the channel shows -13.1072 to 13.1071, and a limit \
             must lie between: choose another limit, or a smaller sense resistor",
        ),
        (
            "limit_a = 7.5",
            "limit_v = 7.5",
            "limit_v = 7.5",
            "rail \"DRIVE\": limit_v = 7.5: this kind of limit is given as limit_a",
        ),
        (
            "kind = \"under_current\" ",
            "kind = \"over_current\" ",
            "too much of it flowing back",
            "rail \"DRIVE\": kind = \"over_current\": a second limit of this kind on one rail; \
             the part has one register for each",
        ),
    ];
    for (good, bad, at, message) in cases {
        assert!(text.contains(good), "{good}");
        let text = text.replacen(good, bad, 1);
        let error = Scenario::parse(&text, SKIFF).unwrap_err();
        assert_eq!(error.message, message);
        assert_eq!(error.line, Some(line(&text, at) as u64), "{message}");
    }
}

/// What helps depends on whether the part has a greater range than the one that was asked for.
#[test]
fn a_limit_beyond_what_is_shown_comes_with_what_helps() {
    let refused = |full_scales: &str, limit: &str| {
        let text = format!(
            "title = \"t\"\nduration_s = 1\n[[rail]]\nname = \"A\"\n\
             sense = {{ resistance_ohm = 0.01, {full_scales} }}\n\
             source.voltage_v = 5\nload.current_a = 1\n[[rail.alert]]\n{limit}\noutput = \"A\"\n"
        );
        let error = Scenario::parse(&text, "case.toml").expect_err("beyond");
        let (_, remedy) = error.message.split_once("between: ").expect("a remedy");
        remedy.to_owned()
    };
    let volts = "kind = \"over_voltage\"\nlimit_v = 900";
    let amps = "kind = \"under_current\"\nlimit_a = -900";
    let watts = "kind = \"over_power\"\nlimit_w = 90000";
    let least = "sense_full_scale_v = 0.01, rail_full_scale_v = 3";
    let sense = "sense_full_scale_v = 0.01, rail_full_scale_v = 65";
    let rail = "sense_full_scale_v = 0.06, rail_full_scale_v = 3";
    let ask = "ask for a greater full scale, or choose another limit";
    for limit in [volts, amps, watts] {
        assert_eq!(refused(least, limit), ask, "{limit}");
    }
    assert_eq!(refused(sense, volts), "choose another limit");
    assert_eq!(refused(sense, amps), ask);
    assert_eq!(refused(sense, watts), ask);
    let smaller = "choose another limit, or a smaller sense resistor";
    assert_eq!(refused(rail, volts), ask);
    assert_eq!(refused(rail, amps), smaller);
    assert_eq!(refused(rail, watts), smaller);
}
