//! The shipped scenario and the one in the documentation: what they mean, and that their
//! declarations are true.

mod declared;
mod jumps;
mod kept;
mod loads;
mod text;

use crake_sim::plant::{AfterEnd, Interpolation, Switched, Train};
use crake_sim::scenario::{Declared, Draws, Errors, Flow, ProfilePlan, Scenario, Sense, Supply};

const SKIFF: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../examples/survey-skiff.toml");
const DOCUMENT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../docs/scenario.md");
const SECOND: u64 = 1_000_000_000;
const HOUR: u64 = 3600 * SECOND;

fn skiff() -> Scenario {
    Scenario::load(SKIFF).unwrap()
}

fn documented() -> Scenario {
    let document = std::fs::read_to_string(DOCUMENT).unwrap();
    let (_, example) = document.split_once("## A whole example").unwrap();
    let (_, example) = example.split_once("```toml\n").unwrap();
    let (example, _) = example.split_once("```").unwrap();
    Scenario::parse(example, DOCUMENT).unwrap()
}

/// Time and height of every jump of the current up to `until_ns`.
fn steps(rail: &mut Switched, until_ns: u64) -> Vec<(u64, i64)> {
    let mut jumps = Vec::new();
    let mut before = rail.piece(0).unwrap();
    while before.to_ns < until_ns {
        let after = rail.piece(before.to_ns + 1).unwrap();
        assert_eq!(after.from_ns, before.to_ns);
        if after.start_na != before.end_na {
            jumps.push((after.from_ns, after.start_na - before.end_na));
        }
        before = after;
    }
    jumps
}

#[test]
fn declarations_of_the_skiff_are_true_and_tight() {
    let mut seen = Vec::new();
    for plan in skiff().rails {
        let name = &plan.name;
        let mut rail = plan.rail().unwrap();
        // Hours that begin with a jump of the first: none has more.
        let jumps = steps(&mut rail, 2 * HOUR);
        let first_hour = jumps.iter().take_while(|jump| jump.0 < HOUR);
        let in_an_hour = first_hour
            .enumerate()
            .map(|(first, jump)| jumps.partition_point(|later| later.0 < jump.0 + HOUR) - first);
        let step = jumps.iter().map(|jump| jump.1.abs()).max();
        let extremes = rail.extremes(HOUR);
        let greatest = extremes.current_na_max.max(-extremes.current_na_min);
        let flow = if extremes.current_na_min < 0 {
            Flow::Both
        } else {
            Flow::Forward
        };
        let found = Declared {
            line: plan.declared.line,
            steps_per_hour: in_an_hour.max().unwrap_or(0) as u32,
            step_na: step.unwrap_or(0),
            flow,
            greatest_na: greatest,
            voltage_steps: None,
            mean: plan.declared.mean,
            voltage_nv: plan.declared.voltage_nv,
        };
        assert_eq!(plan.declared, found, "{name}");
        // The voltage from above and below, by 5 % at the most.
        let (least, greatest) = plan.declared.voltage_nv.unwrap();
        let (lowest, highest) = (extremes.voltage_nv_min, extremes.voltage_nv_max);
        assert!(
            (lowest * 95 / 100..=lowest).contains(&least),
            "{name}: {extremes:?}"
        );
        assert!(
            (highest..=highest * 105 / 100).contains(&greatest),
            "{name}: {extremes:?}"
        );
        seen.push((plan.name, found.steps_per_hour, found.flow));
    }
    // By the numbers of the file: every second up and down; 514 trains of three pulses, and four
    // edges in the two seconds that an hour has left over 514 trains.
    let expected = [
        ("DRIVE", 0, Flow::Both),
        ("CELL", 0, Flow::Forward),
        ("LOGIC", 2 * 3_600, Flow::Forward),
        ("MODEM", 514 * 6 + 4, Flow::Forward),
    ];
    assert_eq!(
        seen,
        expected.map(|(name, steps, flow)| (name.to_owned(), steps, flow))
    );
}

/// Mean magnitudes over whole seconds of the recording, by trapezoids whose halves never differ in
/// sign by much: pieces are a second long.
#[test]
fn the_declared_mean_of_the_skiffs_drive_is_never_exceeded_and_tight() {
    let scenario = skiff();
    let plan = scenario
        .rails
        .iter()
        .find(|plan| plan.name == "DRIVE")
        .unwrap();
    let (mean_na, over_s) = plan.declared.mean.unwrap();
    let mut rail = plan.rail().unwrap();
    let mut turned = vec![0_i128];
    for second in 0..HOUR / SECOND {
        let (mut at_ns, mut half_na_ns) = (second * SECOND, 0);
        while at_ns < (second + 1) * SECOND {
            let piece = rail.piece(at_ns + 1).unwrap();
            // Mean of the ends' magnitudes: never below the magnitude's own mean, whatever the
            // signs.
            let ends = i128::from(piece.start_na.abs()) + i128::from(piece.end_na.abs());
            half_na_ns += ends * i128::from(piece.to_ns - piece.from_ns);
            at_ns = piece.to_ns;
        }
        turned.push(turned[turned.len() - 1] + half_na_ns);
    }
    let means = (over_s as usize..turned.len()).flat_map(|end| {
        let turned = &turned;
        (0..=end - over_s as usize).map(move |start| {
            (turned[end] - turned[start]) / 2 / i128::from(SECOND) / (end - start) as i128
        })
    });
    let greatest = means.max().unwrap();
    assert!(greatest <= i128::from(mean_na), "{greatest} nA");
    assert!(
        greatest * 100 >= i128::from(mean_na) * 97,
        "{greatest} nA: the declaration is slack"
    );
}

#[test]
fn rails_of_the_skiff_stay_within_their_full_scales() {
    for plan in skiff().rails {
        let extremes = plan.rail().unwrap().extremes(HOUR);
        let greatest = extremes.current_na_max.max(-extremes.current_na_min);
        let sense_nv =
            i128::from(greatest) * i128::from(plan.sense.resistance_nohm) / 1_000_000_000;
        let Sense {
            sense_full_scale_nv,
            rail_full_scale_nv,
            ..
        } = plan.sense;
        // A fiftieth to spare for tolerance, gain and offset.
        assert!(
            sense_nv * 102 / 100 < i128::from(sense_full_scale_nv),
            "{}: {sense_nv} nV",
            plan.name
        );
        let rail = extremes.voltage_nv_min..=extremes.voltage_nv_max;
        assert!(
            *rail.start() > 0 && rail.end() * 101 / 100 < rail_full_scale_nv,
            "{}: {rail:?}",
            plan.name
        );
    }
}

/// Totals of the hour from the file's own numbers.
#[test]
fn an_hour_of_the_skiff_carries_the_charge_of_its_description() {
    let mut plants = skiff().plants().unwrap();
    let mut coulombs = |channel: usize| plants[channel].truth(HOUR).charge_half_na_ns as f64 / 2e18;
    // Six passes of 505.1161 C (tests/data/README.md).
    assert!((coulombs(0) / (6.0 * 505.1161) - 1.0).abs() < 1e-6);
    assert_eq!(coulombs(1), 2.28 * 3600.0);
    // 40 µA all the time and 29.96 mA more for 8 ms, 3600 times.
    assert!((coulombs(2) - (0.00004 * 3600.0 + 0.02996 * 0.008 * 3600.0)).abs() < 1e-12);
    // From 3 s on 514 trains of 7 s, all but the last whole: it begins at 3594 s, and its third
    // pulse ends at 3596.202 s.
    assert!((coulombs(3) - (0.06 * 3600.0 + 1.94 * 0.002 * 3.0 * 514.0)).abs() < 1e-9);
}

/// 1C over an hour: published voltage × 2.28 A, by trapezoids over the file's rows, second by
/// second.
#[test]
fn the_recorded_discharge_delivers_its_energy() {
    let text = include_str!("../../../tests/data/li_ion_1c_discharge_voltage.tsv");
    let volts: Vec<f64> = text
        .lines()
        .map(|line| line.split('\t').nth(1).unwrap().trim().parse().unwrap())
        .collect();
    let sum: f64 = volts
        .windows(2)
        .take(3600)
        .map(|pair| (pair[0] + pair[1]) / 2.0)
        .sum();
    let truth = skiff().plants().unwrap()[1].truth(HOUR);
    let joules = truth.energy_sixth_na_nv_ns as f64 / 6e27;
    assert!((joules / (sum * 2.28) - 1.0).abs() < 1e-12, "{joules}");
}

#[test]
fn the_documented_example_means_what_it_says() {
    let scenario = documented();
    assert_eq!(scenario.title, "A bench of two rails");
    assert_eq!((scenario.duration_ns, scenario.seed), (60 * SECOND, 7));
    let part = &scenario.parts[0];
    assert_eq!(
        (part.address, part.scans_per_second, part.averaging),
        (0x33, 500, 2)
    );
    assert_eq!(part.errors, Errors::None);
    assert_eq!(scenario.bus_hz, 1_000_000);
    let host = &scenario.host;
    assert_eq!(
        (host.clock_limit_ppb, host.clock_error_ppb),
        (30_000, Some(-12_500))
    );
    assert_eq!(host.read_every_ns, SECOND / 2);
    assert_eq!(
        (scenario.board.ambient_mc, scenario.board.declared_mc),
        (30_000, (0, 60_000))
    );

    let [main, sensor] = scenario.rails.as_slice() else {
        panic!("two rails");
    };
    assert_eq!((main.channel, sensor.channel), (0, 2));
    let sense = &main.sense;
    assert_eq!(
        (sense.resistance_nohm, sense.tolerance_ppm),
        (10_000_000, 10_000)
    );
    assert_eq!(sense.temperature_coefficient_ppb_per_k, 50_000);
    assert_eq!(sense.thermal_resistance_mk_per_w, 25_000);
    assert_eq!(main.source.impedance_uohm, 85_000);
    let Supply::Cell(cell) = &main.source.supply else {
        panic!("a cell");
    };
    assert_eq!(
        (cell.capacity_uah, cell.initial_ppm, cell.series),
        (2_500_000, 900_000, 3)
    );
    assert_eq!(cell.open_circuit[2], (900_000, 4_000_000_000));
    let Draws::Current(ProfilePlan::Sum(parts)) = &main.load[0].draws else {
        panic!("a sum");
    };
    assert_eq!(parts[0], ProfilePlan::Constant(250_000_000));
    let pulses = ProfilePlan::Pulses {
        low: 0,
        high: 1_500_000_000,
        period_ns: SECOND / 10,
        width_ns: SECOND / 50,
        first_ns: SECOND,
        edge_ns: SECOND / 1000,
        train: Some(Train {
            pulses: 5,
            period_ns: 10 * SECOND,
        }),
    };
    assert_eq!(parts[1], pulses);
    let Draws::Current(ProfilePlan::Recorded {
        points,
        interpolation,
        after,
        scale_millionths,
        ..
    }) = &sensor.load[0].draws
    else {
        panic!("a recording");
    };
    assert_eq!(
        (points.len(), points[0], points[14]),
        (601, (0, 12_859_000), (14 * SECOND, -236_770_000))
    );
    assert_eq!(
        (*interpolation, *after),
        (Interpolation::Linear, AfterEnd::Value(0))
    );
    assert_eq!(*scale_millionths, -10_000);

    let mut plants = scenario.plants().unwrap();
    // 3 × 4.0 V less 85 mΩ × 0.25 A.
    let means = plants[0].window(0, 1);
    assert!(
        (means.voltage_nv - 11_978_750_000.0).abs() < 1.0,
        "{means:?}"
    );
    assert_eq!(plants[1].window(0, SECOND).current_na, -128_590.0);
    assert_eq!(plants.len(), 2);
}

/// Every key of the shipped scenario and of the example is in a table of the documentation.
#[test]
fn every_key_in_use_is_documented() {
    let document = std::fs::read_to_string(DOCUMENT).unwrap();
    let (tables, example) = document.split_once("## A whole example").unwrap();
    let skiff = std::fs::read_to_string(SKIFF).unwrap();
    for line in skiff.lines().chain(example.lines()) {
        let Some((key, _)) = line.split_once(" = ") else {
            continue;
        };
        if key.chars().all(|c| c.is_ascii_lowercase() || c == '_') {
            let key = if key == "voltage_v" { "current_a" } else { key };
            assert!(tables.contains(&format!("`{key}`")), "{key}");
        }
    }
}

/// The defaults of the document's tables, in the units that they are kept in.
#[test]
fn what_is_left_out_is_as_the_document_says() {
    let text = r#"title = "t"
duration_s = 10
[[rail]]
name = "MAIN"
sense.resistance_ohm = 0.01
source.voltage_v = 5
load.current_a = 1
[[rail.alert]]
kind = "over_current"
limit_a = 1.5
output = "A"
"#;
    let scenario = Scenario::parse(text, DOCUMENT).unwrap();
    assert_eq!((scenario.seed, scenario.bus_hz), (1, 400_000));
    let part = &scenario.parts[0];
    assert_eq!(
        (part.address, part.scans_per_second, part.averaging),
        (0x32, 2_000, 0)
    );
    assert_eq!(part.errors, Errors::Individual);
    assert_eq!(format!("{:?}", part.kind), "corncrake");
    let host = &scenario.host;
    assert_eq!((host.clock_limit_ppb, host.clock_error_ppb), (50_000, None));
    assert_eq!((host.read_every_ns, host.latency_ns), (SECOND, 100_000));
    let board = &scenario.board;
    assert_eq!(
        (board.ambient_mc, board.declared_mc),
        (25_000, (-40_000, 85_000))
    );
    let rail = &scenario.rails[0];
    assert_eq!((rail.channel, rail.source.impedance_uohm), (0, 0));
    let expected = Sense {
        resistance_nohm: 10_000_000,
        tolerance_ppm: 10_000,
        temperature_coefficient_ppb_per_k: 50_000,
        thermal_resistance_mk_per_w: 20_000,
        sense_full_scale_nv: 65_535_000,
        rail_full_scale_nv: 65_535_000_000,
    };
    assert_eq!(rail.sense, expected);
    let alert = &rail.alerts[0];
    assert_eq!((alert.debounce, alert.latching), (1, true));
    assert_eq!((alert.hysteresis, alert.look_again_ns), (None, None));
}
