//! Loads and sources of a scenario: the documented ones, and converters from rail to rail.

use super::text::{declared, scenario, source};
use super::{DOCUMENT, SECOND};
use crake_sim::plant::{Plant, Switched};
use crake_sim::scenario::Scenario;

/// The block of the documentation that begins with this.
fn block(begin: &str) -> String {
    let document = std::fs::read_to_string(DOCUMENT).unwrap();
    let (_, rest) = document.split_once(&format!("```text\n{begin}")).unwrap();
    format!("{begin}{}", rest.split_once("```").unwrap().0)
}

fn rails(rails: &[(&str, &str)]) -> Vec<Switched> {
    let text = scenario("60", rails);
    let scenario = Scenario::parse(&text, "case.toml").unwrap();
    let rails = scenario.rails.iter().map(|plan| plan.rail().unwrap());
    rails.collect()
}

/// One rail with the documented load of a kind, on this source.
fn documented(kind: &str, source: &str) -> Switched {
    let load = block(&format!("[rail.load]\nkind = \"{kind}\""));
    let rest = [source, &load, &declared(("", ""))].concat();
    rails(&[("ONE", &rest)]).remove(0)
}

/// Charge in coulombs and energy in joules up to then.
fn truth(rail: &mut Switched, at_ns: u64) -> (f64, f64) {
    let truth = rail.truth(at_ns);
    (
        truth.charge_half_na_ns as f64 / 2e18,
        truth.energy_sixth_na_nv_ns as f64 / 6e27,
    )
}

fn close((one, other): (f64, f64), (coulombs, joules): (f64, f64), part: f64) {
    let told = format!("{one} C and {other} J for {coulombs} C and {joules} J");
    assert!((one - coulombs).abs() <= part * coulombs.abs(), "{told}");
    assert!((other - joules).abs() <= part * joules.abs(), "{told}");
}

/// 3.4 V behind 1 Ω into 33 Ω: 0.1 A and 3.3 V. 1.5 W from 7 V behind 4 Ω:
/// I = (7 - √(49 - 24)) / 8 = 0.25 A at 6 V, the least that it takes.
#[test]
fn a_documented_resistance_and_power_draw_what_they_say() {
    let mut resistance = documented("resistance", &source("3.4", "1"));
    close(truth(&mut resistance, 10 * SECOND), (1.0, 3.3), 1e-9);
    let mut power = documented("constant_power", &source("7", "4"));
    close(truth(&mut power, 10 * SECOND), (2.5, 15.0), 1e-8);
}

/// 1 mF behind 5 Ω, from 12 V behind 1 Ω, at 8 s: 12 mC; half of CV² in the capacitor, and five
/// sixths of the other half in its resistance, on the load's side.
#[test]
fn a_documented_inrush_comes_when_its_switch_closes() {
    let mut inrush = documented("inrush", &source("12", "1"));
    assert_eq!(truth(&mut inrush, 8 * SECOND), (0.0, 0.0));
    assert_eq!(inrush.piece(8 * SECOND).unwrap().start_na, 2_000_000_000);
    close(
        truth(&mut inrush, 9 * SECOND),
        (0.012, 0.072 * (1.0 + 5.0 / 6.0)),
        1e-4,
    );
}

/// Three cells of 2 Ah, half full: 11.25 V, and 3.75 V over 7200 C. With 0.4 Ω 2 A leave the load's
/// side at 12.6 V when the cells stand at 11.8 V, after 1056 C and 528 s. From there on the current
/// falls with a time constant of 0.4 Ω × 7200 C / 3.75 V = 768 s, until it is a twentieth.
#[test]
fn a_documented_charger_fills_a_cell() {
    let cell = "[rail.source]\nkind = \"cell\"\ncapacity_ah = 2\ninitial_state = 0.5\nseries = 3\n\
                open_circuit = [[0, 3.125], [1, 4.375]]\nimpedance_ohm = 0.4\n";
    let mut charger = documented("charger", cell);
    assert_eq!(truth(&mut charger, 500 * SECOND).0, -1000.0);
    let amps = charger.window(1296 * SECOND, 1296 * SECOND + 1).current_na / 1e9;
    assert!((amps + 2.0 / 1_f64.exp()).abs() < 0.001, "{amps}");
    let voltage_nv = charger.extremes(2800 * SECOND).voltage_nv_max;
    assert!(
        (12_600_000_000..12_600_110_000).contains(&voltage_nv),
        "{voltage_nv}"
    );
    let (coulombs, _) = truth(&mut charger, 2900 * SECOND);
    assert!(
        (coulombs + 1056.0 + 2.0 * 768.0 * 0.95).abs() < 1.0,
        "{coulombs}"
    );
    assert_eq!(charger.piece(2900 * SECOND).unwrap().end_na, 0);
}

/// PACK feeds MAIN at 80 %, which feeds LOGIC at 90 % and a resistance of its own: what each takes
/// in is worked out by hand from what the last one gives.
#[test]
fn converters_feed_rails_from_rails() {
    let converter = |input: &str, voltage: &str, efficiency: &str, idle: &str| {
        block("[rail.source]\nkind = \"converter\"")
            .replace("\"PACK\"", &format!("\"{input}\""))
            .replace("voltage_v = 3.3", &format!("voltage_v = {voltage}"))
            .replace("0.85", efficiency)
            .replace("0.002", idle)
            .replace("input_down_to_v = 6", "input_down_to_v = 4")
            .replace("0.15", "0.1")
    };
    let load = |ohm: &str| format!("[rail.load]\nkind = \"resistance\"\nresistance_ohm = {ohm}\n");
    let with = |source: &str, load: &str| [source, load, &declared(("", ""))].concat();
    // 3 V behind 0.1 Ω into 2.9 Ω: 1 A, 3 W; MAIN gives 3/0.9 W + 0.5 W for it.
    let logic = with(&converter("MAIN", "3", "0.9", "0.5"), &load("2.9"));
    let main = with(&converter("PACK", "5", "0.8", "0"), &load("1000000000"));
    let pack = with(&source("12", "0"), &load("1000000000"));
    let mut rails = rails(&[("PACK", &pack), ("LOGIC", &logic), ("MAIN", &main)]);
    close(truth(&mut rails[1], SECOND), (1.0, 2.9), 1e-9);
    // I = (5 - √(25 - 4 × 0.1 × P)) / 0.2, P = 23/6 W.
    let power = 23.0 / 6.0;
    let amps = (5.0 - f64::sqrt(25.0 - 0.4 * power)) / 0.2;
    close(truth(&mut rails[2], SECOND), (amps, power), 1e-7);
    let taken = 5.0 * amps / 0.8;
    close(truth(&mut rails[0], SECOND), (taken / 12.0, taken), 1e-7);
}
