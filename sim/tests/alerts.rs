//! The alert timeline of a run: what is told, when, and how long it took.
#![cfg(feature = "cli")]

use crake_sim::run::{AlertReport, Silent, run};
use crake_sim::scenario::Scenario;

const SKIFF: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../examples/survey-skiff.toml");
const SECOND: u64 = 1_000_000_000;

fn alerts(seed: u64, seconds: u64) -> Vec<AlertReport> {
    let mut scenario = Scenario::load(SKIFF).unwrap();
    scenario.duration_ns = seconds * SECOND;
    run(&scenario, seed, &mut Silent).unwrap().alerts
}

/// Bursts begin at 3 s, 4.1 s and 5.2 s, and every seven seconds again: each is told once, or twice where a frame came while it lasted.
#[test]
fn every_burst_of_the_modem_is_told() {
    for seed in 1..=3 {
        let alerts = alerts(seed, 60);
        let bursts =
            (0..9).flat_map(|train| [3.0, 4.1, 5.2].map(|first| first + 7.0 * f64::from(train)));
        let bursts: Vec<f64> = bursts.filter(|begin| *begin < 59.9).collect();
        for begin in &bursts {
            let told = alerts
                .iter()
                .filter(|alert| (begin + 0.001..begin + 0.02).contains(&alert.time_s));
            assert!(told.count() >= 1, "seed {seed}: the burst at {begin} s");
        }
        assert!(alerts.len() < 2 * bursts.len(), "seed {seed}: {alerts:?}");
        for alert in &alerts {
            assert_eq!(
                (alert.rail.as_str(), alert.kind, alert.output),
                ("MODEM", "over_current", "B")
            );
            // 1.5 A on the safe side: within one code of 500 nV ÷ 20 mΩ = 25 µA below.
            let limit = alert.limit.unwrap();
            assert!((1.499_974..=1.5).contains(&limit), "{limit}");
        }
    }
}

/// Reactions stay within what datasheet, bus and declared latency allow, for excursions beyond limit and noise.
#[test]
fn reactions_stay_within_their_bounds() {
    let mut measured = (0, 0);
    for seed in 1..=5 {
        for alert in alerts(seed, 360) {
            if let Some(took) = alert.crossing_to_edge_s {
                assert!(
                    (0.0..=alert.crossing_to_edge_bound_s).contains(&took),
                    "seed {seed}: {alert:?}"
                );
                measured.0 += 1;
            }
            if let Some(took) = alert.edge_to_event_s {
                assert!(
                    (0.0..=alert.edge_to_event_bound_s).contains(&took),
                    "seed {seed}: {alert:?}"
                );
                measured.1 += 1;
            }
        }
    }
    assert!(measured.0 > 500 && measured.1 > 500, "{measured:?}");
}

/// (Debounce × round period + two conversions) ÷ (1 − tolerance): sections 3.6, 6 and the oscillator's limit. 2 × 500 µs + 125 µs over 0.985.
#[test]
fn the_bound_is_the_datasheets() {
    let alerts = alerts(1, 5);
    let bound = alerts.first().unwrap().crossing_to_edge_bound_s;
    assert!((bound - 1.125e-3 / 0.985).abs() < 1e-12, "{bound}");
}

/// Beyond ±13.1 A of 5 mΩ in the coarse range, with the wrong unit, and twice: each is told with its
/// line before anything runs.
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
            "rail \"DRIVE\": limit_a = 75: the channel shows -13.1072 to 13.1071, and a limit must lie between: ask for a greater full scale, or choose another limit",
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
            "rail \"DRIVE\": kind = \"over_current\": a second limit of this kind on one rail; the part has one register for each",
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
