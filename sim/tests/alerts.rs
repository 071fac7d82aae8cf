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

#[test]
fn a_limit_beyond_full_scale_is_refused_by_the_name_of_its_rail() {
    let text = std::fs::read_to_string(SKIFF)
        .unwrap()
        .replace("limit_a = 7.5", "limit_a = 75");
    let error = run(&Scenario::parse(&text, SKIFF).unwrap(), 1, &mut Silent).unwrap_err();
    let expected = "rail \"DRIVE\": the limit for over-current of channel 0 lies beyond full scale: choose a wider range or another limit";
    assert_eq!(error.to_string(), expected);
}
