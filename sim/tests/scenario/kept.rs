//! What a scenario's keys become: each in the unit of the document's tables, or its default.

use core::time::Duration;

use super::{DOCUMENT, SECOND};
use crake_sim::fault::{BusLine, Fault, FaultKind};
use crake_sim::plant::Converter;
use crake_sim::scenario::{Declared, Draws, Flow, LoadPlan, ProfilePlan, Scenario, Supply};

/// The document's tables for what a rail has: what is left out, and every key in its unit.
#[test]
fn keys_of_rails_are_kept_in_their_units() {
    let text = r#"title = "t"
duration_s = 10
[[part]]
[[part]]
model = "gallinule"
[[rail]]
name = "PACK"
part = "Corncrake"
sense.resistance_ohm = 0.01
source = { kind = "cell", capacity_ah = 2, initial_state = 0.5, open_circuit = [[0, 3], [1, 4]] }
[rail.load]
kind = "sum"
parts = [
    { kind = "pulses", low_a = 0, high_a = 0.1, period_s = 1, width_s = 0.1 },
    { kind = "inrush", capacitance_f = 0.001, series_ohm = 5, opens_s = 3 },
    { kind = "inrush", capacitance_f = 0.001, series_ohm = 5, initial_v = 2, closes_s = 4 },
]
[rail.load_declared]
steps_per_hour = 7200
step_a = 0.1
voltage_steps_per_hour = 3
voltage_step_v = 0.25
flow = "both"
greatest_a = 3
mean_a = 0.5
mean_over_s = 60
voltage_v = [2.5, 4.5]
[[rail]]
name = "CORE"
part = "Gallinule"
load.current_a = 0.1
[rail.source]
kind = "converter"
input = "PACK"
voltage_v = 1
efficiency = 0.9
input_down_to_v = 2.5
"#;
    let scenario = Scenario::parse(text, DOCUMENT).unwrap();
    // TOML writes whole numbers in sixteens, too.
    let hex = Scenario::parse(&text.replace("= 10\n", "= 0xA\n"), DOCUMENT).unwrap();
    assert_eq!(hex.duration_ns, 10 * SECOND);
    let [pack, core] = scenario.rails.as_slice() else {
        panic!("two rails");
    };
    let Supply::Cell(cell) = &pack.source.supply else {
        panic!("a cell");
    };
    assert_eq!((cell.series, pack.source.impedance_uohm), (1, 0));
    let pulses = ProfilePlan::Pulses {
        low: 0,
        high: 100_000_000,
        period_ns: SECOND,
        width_ns: SECOND / 10,
        first_ns: 0,
        edge_ns: 0,
        train: None,
    };
    let inrush = |initial_nv: i64, closes_ns: u64, opens_ns: u64| LoadPlan {
        draws: Draws::Inrush {
            pf: 1_000_000_000,
            series_uohm: 5_000_000,
            initial_nv,
        },
        between_ns: Some((closes_ns, opens_ns)),
    };
    let pulses = LoadPlan {
        draws: Draws::Current(pulses),
        between_ns: None,
    };
    let expected = [
        pulses,
        inrush(0, 0, 3 * SECOND),
        inrush(2_000_000_000, 4 * SECOND, u64::MAX),
    ];
    assert_eq!(pack.load, expected);
    let expected = Declared {
        line: 18,
        steps_per_hour: 7_200,
        step_na: 100_000_000,
        voltage_steps: Some((3, 250_000_000)),
        flow: Flow::Both,
        greatest_na: 3_000_000_000,
        mean: Some((500_000_000, 60)),
        voltage_nv: Some((2_500_000_000, 4_500_000_000)),
    };
    assert_eq!(pack.declared, expected);
    let Supply::Converter(converter) = &core.source.supply else {
        panic!("a converter");
    };
    assert_eq!(converter.voltage_nv, 1_000_000_000);
    let expected = Converter {
        efficiency_ppm: 900_000,
        idle_nw: 0,
        least_input_nv: 2_500_000_000,
    };
    assert_eq!(converter.converter, expected);
    // docs/pmbus-device.md: an ideal ohm stands for what measures amperes itself.
    let sense = &core.sense;
    assert_eq!(sense.resistance_nohm, 1_000_000_000);
    let errors = [
        sense.tolerance_ppm,
        sense.temperature_coefficient_ppb_per_k,
        sense.thermal_resistance_mk_per_w,
    ];
    assert_eq!(errors, [0; 3]);
}

/// Faults by the document's tables, with their defaults: of the second part, whose strap is another
/// than the firmware's, or of a rail on its second channel.
#[test]
fn faults_mean_what_the_document_says() {
    use FaultKind::{
        BitsFlipped, ClockHeld, LineStuck, NoPullUp, Reset, SenseDrift, SenseOpen, SenseSwapped,
        SenseValue, WriteLost,
    };
    use embedded_hal::digital::PinState::{High, Low};

    let rail = |name: &str, part: &str| {
        format!(
            "[[rail]]\nname = \"{name}\"\npart = \"{part}\"\nsense.resistance_ohm = 0.1\n\
             source.voltage_v = 5\nload.current_a = 0.1\n"
        )
    };
    let head = format!(
        "title = \"t\"\nduration_s = 10\n[[part]]\nname = \"A\"\n\
         [[part]]\nname = \"B\"\nfitted_strap = 3\n{}{}{}",
        rail("ONE", "A"),
        rail("TWO", "B"),
        rail("THREE", "B")
    );
    let (line, channel) = (BusLine::Clock, 1);
    let nano_ohms = 500_000_000;
    for (kind, keys, expected) in [
        ("bits_flipped", "", BitsFlipped { byte: 0, bits: 1 }),
        (
            "bits_flipped",
            "byte = 3\nbits = 0x80",
            BitsFlipped {
                byte: 3,
                bits: 0x80,
            },
        ),
        (
            "clock_held",
            "held_s = 0.02",
            ClockHeld(Duration::from_millis(20)),
        ),
        ("no_clock_pull_up", "", NoPullUp { line }),
        ("write_lost", "", WriteLost),
        ("reset", "", Reset),
        (
            "line_low",
            "output = \"A\"",
            LineStuck {
                output: "A",
                level: Low,
            },
        ),
        (
            "line_released",
            "output = \"B\"",
            LineStuck {
                output: "B",
                level: High,
            },
        ),
        (
            "sense_value",
            "resistance_ohm = 0.5",
            SenseValue { channel, nano_ohms },
        ),
        (
            "sense_drift",
            "drift_percent = -0.5",
            SenseDrift {
                channel,
                ppm: -5_000,
            },
        ),
        ("sense_open", "", SenseOpen { channel }),
        ("sense_swapped", "", SenseSwapped { channel }),
    ] {
        let whom = match expected {
            SenseValue { .. } | SenseDrift { .. } | SenseOpen { .. } | SenseSwapped { .. } => {
                "rail = \"THREE\""
            }
            _ => "part = \"B\"",
        };
        let read = |more: &str| {
            let fault = format!("[[fault]]\nkind = \"{kind}\"\n{whom}\n{keys}\n{more}");
            let scenario = Scenario::parse(&format!("{head}{fault}"), DOCUMENT).unwrap();
            scenario.faults[0].fault
        };
        let fault = Fault::new(expected).part(0x35);
        assert_eq!(read(""), fault, "{kind}");
        let from = fault.from(Duration::from_nanos(9_999_999_999));
        assert_eq!(read("from_s = 9.999999999"), from, "{kind}");
        if expected != Reset {
            let until = fault.until(Duration::from_nanos(1));
            assert_eq!(read("until_s = 0.000000001"), until, "{kind}");
        }
        if expected.is_of_transfers() {
            let counted = fault.register(0x80).after(7).times(2);
            let keys = "register = 0x80\nafter_transfers = 7\ntimes = 2";
            assert_eq!(read(keys), counted, "{kind}");
            assert_eq!(read("register = \"LATCH\""), fault.register(0x03), "{kind}");
        }
    }
}
