//! One mistake in one place of a rail.

use crate::scenario_errors::{VALID, message, spoilt};

#[test]
fn each_mistake_in_a_rail_has_its_message() {
    let cases: &[(&str, &str, &str)] = &[
        // Rails.
        (
            "name = \"LOGIC\"\n",
            "",
            "case.toml:19: [[rail]] needs name: what the rail is called",
        ),
        (
            "channel = 0",
            "channel = 4",
            "case.toml:21: rail \"LOGIC\": channel = 4: a channel of Corncrake is 0 to 3",
        ),
        (
            "channel = 0",
            "channel = 0\nchanel = 0",
            "case.toml:22: rail \"LOGIC\": unknown key chanel in [[rail]]; did you mean channel? it \
             takes name, part, \
             channel, sense, source, load, load_declared, alert",
        ),
        (
            "resistance_ohm = 0.5",
            "resistance_ohm = 0",
            "case.toml:23: rail \"LOGIC\": resistance_ohm = 0: a sense resistor must lie between \
             0.0001 and 10 ohm",
        ),
        (
            "resistance_ohm = 0.5",
            "resistance_ohm = 0.00009",
            "case.toml:23: rail \"LOGIC\": resistance_ohm = 0.00009: a sense resistor must lie \
             between 0.0001 and 10 ohm",
        ),
        (
            "resistance_ohm = 0.5",
            "resistance_ohm = 10.1",
            "case.toml:23: rail \"LOGIC\": resistance_ohm = 10.1: a sense resistor must lie \
             between 0.0001 and 10 ohm",
        ),
        (
            "resistance_ohm = 0.5",
            "resistance_ohm = inf",
            "case.toml:23: rail \"LOGIC\": resistance_ohm = inf: not a finite number; write a \
             decimal number such as 0.25",
        ),
        (
            "tolerance_percent = 1",
            "tolerance_percent = 11",
            "case.toml:24: rail \"LOGIC\": tolerance_percent = 11: a tolerance must lie between 0 \
             and 10 %",
        ),
        (
            "per_k = 50",
            "per_k = -50",
            "case.toml:25: rail \"LOGIC\": temperature_coefficient_ppm_per_k = -50: a temperature \
             coefficient must lie between 0 and 1000 ppm/K; its sign comes from the seed",
        ),
        (
            "per_w = 20",
            "per_w = 1001",
            "case.toml:26: rail \"LOGIC\": thermal_resistance_k_per_w = 1001: a thermal \
             resistance must lie between 0 and 1000 K/W",
        ),
        (
            "sense_full_scale_v = 0.025",
            "sense_full_scale_v = 0.0655356",
            "case.toml:27: rail \"LOGIC\": sense_full_scale_v = 0.0655356: the sense voltage to \
             be measured must lie between 0 and 0.065535 V",
        ),
        (
            "rail_full_scale_v = 6.5",
            "rail_full_scale_v = \"6.5V\"",
            "case.toml:28: rail \"LOGIC\": rail_full_scale_v = \"6.5V\": not a number",
        ),
        (
            "rail_full_scale_v = 6.5",
            "rail_full_scale_v = 65.5351",
            "case.toml:28: rail \"LOGIC\": rail_full_scale_v = 65.5351: the rail voltage to be \
             measured must lie between 0 and 65.535 V",
        ),
        // Sources.
        (
            "kind = \"cell\"\n",
            "",
            "case.toml:29: rail \"LOGIC\": [rail.source] needs kind: what it is, such as \
             \"constant\"",
        ),
        (
            "kind = \"cell\"",
            "kind = \"dynamo\"",
            "case.toml:30: rail \"LOGIC\": kind = \"dynamo\": it must be \"constant\" or \
             \"steps\" or \"ramp\" or \"pulses\" or \"recorded\" or \"sum\" or \"cell\" or \"converter\"",
        ),
        (
            "capacity_ah = 2",
            "capacity_ah = 10001",
            "case.toml:31: rail \"LOGIC\": capacity_ah = 10001: a capacity must lie between \
             0.000001 and 10000 Ah",
        ),
        (
            "initial_state = 0.5",
            "initial_state = 50",
            "case.toml:32: rail \"LOGIC\": initial_state = 50: a state must lie between 0 and 1",
        ),
        (
            "series = 1",
            "series = 0",
            "case.toml:33: rail \"LOGIC\": series = 0: 1 to 1000 cells may be in series",
        ),
        (
            "[[0, 3.0], [1, 4.2]]",
            "[[0, 3.0], [1, 99]]",
            "case.toml:34: rail \"LOGIC\": open_circuit = 99: a voltage must lie between 0 and 72 \
             V, which is what the part's inputs stand",
        ),
        (
            "[[0, 3.0], [1, 4.2]]",
            "[[0.1, 3.0], [1, 4.2]]",
            "case.toml:34: rail \"LOGIC\": open_circuit = [[0.1, 3.0], [1, 4.2]]: the table of a \
             cell must begin at state 0 and end at state 1",
        ),
        (
            "[[0, 3.0], [1, 4.2]]",
            "[[0, 3.0], [0, 3.1], [1, 4.2]]",
            "case.toml:34: rail \"LOGIC\": open_circuit = [[0, 3.0], [0, 3.1], [1, 4.2]]: point 1 \
             (from 0) is not after the one before it",
        ),
        (
            "[[0, 3.0], [1, 4.2]]",
            "[]",
            "case.toml:34: rail \"LOGIC\": open_circuit = []: there is no point at all",
        ),
        (
            "[[0, 3.0], [1, 4.2]]",
            "[3.0, 4.2]",
            "case.toml:34: rail \"LOGIC\": open_circuit = 3.0: pairs of state and volts of one \
             cell, such as [[0, 3.0], [1, 4.2]], states from 0 to 1 rising",
        ),
        (
            "impedance_ohm = 0.5",
            "impedance_ohm = -1",
            "case.toml:35: rail \"LOGIC\": impedance_ohm = -1: an impedance must lie between 0 \
             and 1000 ohm",
        ),
        // Loads.
        (
            "high_a = 0.03",
            "high_a = 1000.1",
            "case.toml:39: rail \"LOGIC\": high_a = 1000.1: a current must lie between -1000 and \
             1000 A",
        ),
        (
            "low_a = 0",
            "low_a = -1001",
            "case.toml:38: rail \"LOGIC\": low_a = -1001: a current must lie between -1000 and \
             1000 A",
        ),
        (
            "high_a = 0.03",
            "high_a = 1e40",
            "case.toml:39: rail \"LOGIC\": high_a = 1e40: too great a number",
        ),
        (
            "period_s = 1",
            "period_s = -1",
            "case.toml:40: rail \"LOGIC\": period_s = -1: a time must lie between 0 and 315576000 \
             s",
        ),
        (
            "width_s = 0.004",
            "width_s = 2",
            "case.toml:36: rail \"LOGIC\": pulses need 0 < width, edge <= width and width + edge \
             <= period",
        ),
        (
            "train_pulses = 2",
            "train_pulses = 6",
            "case.toml:36: rail \"LOGIC\": a train needs at least one pulse, and a period as long \
             as its pulses together",
        ),
        (
            "train_pulses = 2",
            "train_pulses = 0",
            "case.toml:42: rail \"LOGIC\": train_pulses = 0: a train has 1 to 1000000000 pulses",
        ),
        (
            "train_pulses = 2\n",
            "",
            "case.toml:42: rail \"LOGIC\": train_period_s = 5: train_pulses and train_period_s \
             belong together",
        ),
        (
            "steps_per_hour = 7200",
            "steps_per_hour = -2",
            "case.toml:45: rail \"LOGIC\": steps_per_hour = -2: the number of steps in an hour \
             must be a whole number from 0 to 3600000000",
        ),
        (
            "steps_per_hour = 7200",
            "steps_per_hour = 7200\nvoltage_step_v = 1",
            "case.toml:46: rail \"LOGIC\": voltage_step_v = 1: voltage_steps_per_hour and \
             voltage_step_v belong together; give both or neither",
        ),
        (
            "steps_per_hour = 7200",
            "steps_per_hour = 7200\nvoltage_steps_per_hour = 1\nvoltage_step_v = 1001",
            "case.toml:47: rail \"LOGIC\": voltage_step_v = 1001: a step must lie between 0 and \
             1000 V",
        ),
        (
            "step_a = 0.03",
            "step_a = -0.03",
            "case.toml:46: rail \"LOGIC\": step_a = -0.03: a step must lie between 0 and 1000 A",
        ),
        (
            "\"forward\"",
            "\"back\"",
            "case.toml:47: rail \"LOGIC\": flow = \"back\": it must be \"forward\" or \"both\"",
        ),
        (
            "greatest_a = 0.03",
            "greatest_a = 0",
            "case.toml:48: rail \"LOGIC\": greatest_a = 0: the greatest current must be above 0 \
             and at most 1000 A",
        ),
        // Alerts.
        (
            "greatest_a = 0.03",
            "greatest_a = 0.03\n[[rail.alert]]\nkind = \"over_current\"\nlimit_a = 0.02",
            "case.toml:49: rail \"LOGIC\": [[rail.alert]] needs output: \"A\", \"B\" or \"both\"",
        ),
        (
            "greatest_a = 0.03",
            "greatest_a = 0.03\n[[rail.alert]]\nkind = \"over_current\"\nlimit_a = 0.02\ndebounce \
             = 16",
            "case.toml:52: rail \"LOGIC\": debounce = 16: the debounce must be a whole number of \
             conversions from 1 to 15",
        ),
        (
            "greatest_a = 0.03",
            "greatest_a = 0.03\n[[rail.alert]]\nkind = \"over_current\"\nlimit_a = 0.02\noutput = \
             \"A\"\nhysteresis_a = -1",
            "case.toml:53: rail \"LOGIC\": hysteresis_a = -1: the hysteresis must lie between 0 \
             and 100000",
        ),
        (
            "greatest_a = 0.03",
            "greatest_a = 0.03\n[[rail.alert]]\nkind = \"over_current\"\nlimit_a = 0.02\noutput = \
             \"A\"\nlook_again_s = 0",
            "case.toml:53: rail \"LOGIC\": look_again_s = 0: a condition that lasts is looked at \
             again after 0.001 to 86400 s",
        ),
        // What only shows when the rail is put together.
        (
            "impedance_ohm = 0.5",
            "impedance_ohm = 1000\n[rail.load]\nkind = \"constant\"\ncurrent_a = -999\n[ignored]",
            "case.toml:19: rail \"LOGIC\": the voltage at the load, with the drop across the \
             source's impedance, may come to 999003 V; it must stay within ±1000 V",
        ),
    ];
    for &(from, to, expected) in cases {
        let text = match to.split_once("[ignored]") {
            // A load of its own in place of the pulses.
            Some((to, _)) => {
                let (before, _) = VALID.split_once(from).unwrap();
                let (_, after) = VALID.split_once("[rail.load_declared]").unwrap();
                format!("{before}{to}[rail.load_declared]{after}")
            }
            None => spoilt(from, to),
        };
        assert_eq!(message(&text), expected, "{from} -> {to}");
    }
}
