//! Conditions that stand before their limits are set, and for ever: the run ends, one event is
//! told, and no reaction is formed of a crossing that nobody watched.

use crake_sim::run::{Silent, run};
use crake_sim::scenario::Scenario;

/// A constant 2 A, beyond the one limit from the beginning.
fn scenario(scan_rate: u32, alert: &str) -> Scenario {
    let text = format!(
        r#"title = "A constant current beyond its limit"
duration_s = 2
[part]
model = "corncrake"
scan_rate = {scan_rate}
[[rail]]
name = "R"
channel = 0
[rail.sense]
resistance_ohm = 0.01
tolerance_percent = 1
temperature_coefficient_ppm_per_k = 50
thermal_resistance_k_per_w = 20
sense_full_scale_v = 0.025
rail_full_scale_v = 6
[rail.source]
kind = "constant"
voltage_v = 5
impedance_ohm = 0
[rail.load]
kind = "constant"
current_a = 2
[rail.load_declared]
steps_per_hour = 0
step_a = 0
flow = "forward"
greatest_a = 2
voltage_v = [4.9, 5]
[[rail.alert]]
kind = "over_current"
limit_a = 1
output = "A"
{alert}"#
    );
    Scenario::parse(&text, "standing.toml").expect("a scenario")
}

#[test]
fn a_condition_that_stood_before_has_no_reaction_time() {
    for scan_rate in [2000, 500, 100, 10] {
        for alert in [
            "",
            "mode = \"following\"",
            "look_again_s = 0.5",
            "hysteresis_a = 0",
        ] {
            let report = run(&scenario(scan_rate, alert), 1, &mut Silent).expect("it ends");
            let told = format!("{scan_rate} {alert}: {:?}", report.alerts);
            assert_eq!(report.alerts.len(), 1, "{told}");
            assert_eq!(report.alerts[0].crossing_to_edge_s, None, "{told}");
            assert!(report.alerts[0].edge_to_event_s.is_some(), "{told}");
            assert!(report.verdict.holds, "{told} {:?}", report.verdict);
            assert!(report.bus.busy_share < 0.1, "{told} {:?}", report.bus);
        }
    }
}
