//! What an earlier form of the file called otherwise.

use crate::scenario_errors::{message, spoilt};

/// What an earlier form of the file called otherwise, alone or beside the new key.
#[test]
fn old_keys_and_words_are_refused_and_told_the_new_ones() {
    let cases: &[(&str, &str, &str)] = &[
        (
            "scan_rate = 2000",
            "pace = 2000",
            "case.toml:7: pace in [part] is scan_rate now: scans a second, the same number",
        ),
        (
            "scan_rate = 2000",
            "scan_rate = 2000\npace = 2000",
            "case.toml:8: pace in [part] is scan_rate now: scans a second, the same number",
        ),
        (
            "errors = \"none\"",
            "errors = \"drawn\"",
            "case.toml:9: errors = \"drawn\": it is \"individual\" now",
        ),
        (
            "clock_error_ppm = 5",
            "clock_error_ppm = \"drawn\"",
            "case.toml:14: clock_error_ppm = \"drawn\": it is \"individual\" now",
        ),
        (
            "sense_full_scale_v = 0.025",
            "sense_range = \"26mV\"",
            "case.toml:27: rail \"LOGIC\": sense_range in [rail.sense] is sense_full_scale_v now: \
             the greatest voltage to be measured across the resistor, such as 0.065",
        ),
        (
            "rail_full_scale_v = 6.5",
            "bus_range = \"6.5V\"",
            "case.toml:28: rail \"LOGIC\": bus_range in [rail.sense] is rail_full_scale_v now: \
             the greatest rail voltage to be measured, such as 16",
        ),
        (
            "steps_per_hour = 7200",
            "edges_per_second = 2",
            "case.toml:45: rail \"LOGIC\": edges_per_second in [rail.load_declared] is \
             steps_per_hour now: the greatest number in any hour, at most 3600 times as many",
        ),
        (
            "greatest_a = 0.03",
            "greatest_a = 0.03\n[[rail.alert]]\nkind = \"over_current\"\nlimit_a = 0.02\nmode = \
             \"held\"\noutput = \"A\"",
            "case.toml:52: rail \"LOGIC\": mode = \"held\": it is \"latching\" now",
        ),
        // Where nothing of that name ever stood, it is a key like any other that is unknown.
        (
            "title = \"t\"",
            "title = \"t\"\npace = 2000",
            "case.toml:2: unknown key pace in the file; it takes title, duration_s, seed, part, \
             bus, host, board, rail, fault",
        ),
    ];
    for (from, to, expected) in cases {
        assert_eq!(message(&spoilt(from, to)), *expected, "{to}");
    }
}
