//! Figures of docs/accuracy.md are those of the code.

use core::time::Duration;

use crake::board::{Board, Correction, Mean, OperatingPoint, Rail};
use crake::calibration::{Collection, Point, gain, offset};
use crake::info::PartInfo;
use crake::part::corncrake::{Address, Corncrake};
use crake::part::{corncrake, moorhen};
use crake::units::{Current, Power, Tolerance, Voltage};
use crake::{Channel, Monitor, ShuntMonitor};
use crake_sim::bench::Bench;
use crake_sim::board::SenseResistor;
use crake_sim::part::corncrake as model;
use crake_sim::plant::{self, Constant, Recorded, Source};

use super::*;

fn document() -> String {
    std::fs::read_to_string(Path::new(ROOT).join("docs/accuracy.md")).unwrap()
}

/// Cells of the rows of tables.
fn rows(text: &str) -> impl Iterator<Item = Vec<&str>> {
    let rows = text.lines().filter_map(|line| line.strip_prefix("| "));
    rows.map(|row| {
        row.trim_end_matches('|')
            .split('|')
            .map(str::trim)
            .collect()
    })
}

/// The command at its head, and every sample, are what the program prints.
#[test]
fn the_samples_are_printed() {
    let text = document();
    let joined = text.replace(" \\\n   ", "");
    assert!(joined.contains(&format!("crake-sim -- shunt {EXAMPLE}\n")));
    let filter = "--filter-resistance 10 --filter-capacitance 1e-6";
    let printed = printed(EXAMPLE) + &printed(&format!("{EXAMPLE} {filter}"));
    let lines: Vec<_> = printed.lines().collect();
    let samples = text.split("```text\n").skip(2);
    let samples = samples.flat_map(|sample| sample.split("```").next().unwrap().lines());
    let samples: Vec<_> = samples.collect();
    assert_eq!(samples.len(), 12 + 3 + 1);
    for sample in samples {
        assert!(lines.contains(&sample), "{sample}");
    }
}

/// The table of contributions is the parts' own.
#[test]
fn the_limits_are_the_parts() {
    let text = document();
    let cells = |name: &str| {
        let row = rows(&text).find(|row| row[0] == name);
        let row = row.unwrap_or_else(|| panic!("no row {name}"));
        [row[1].to_owned(), row[2].to_owned()]
    };
    let both = |of: fn(&PartInfo) -> String| [&corncrake::INFO, &moorhen::INFO].map(of);
    let percent = |ppm: u32| format!("±{:.2} %", f64::from(ppm) / 1e4);
    let gain = |info: &PartInfo| info.sense_errors[0].gain_ppm;
    assert_eq!(
        cells("gain"),
        [&corncrake::INFO, &moorhen::INFO].map(|info| percent(gain(info)))
    );
    let of_rail = |info: &PartInfo| percent(info.rail_errors[0].gain_ppm);
    assert_eq!(
        cells("gain of the rail voltage"),
        [&corncrake::INFO, &moorhen::INFO].map(of_rail)
    );
    assert_eq!(
        cells("offset"),
        both(|info| format!("±{:.0}", info.sense_errors[0].offset))
    );
    let leaves = both(|info| {
        let microvolts = info.offset_stability.as_nanovolts() as f64 / 1e3;
        format!("±{microvolts} µV")
    });
    assert_eq!(cells("what an offset calibration leaves later"), leaves);
    assert_eq!(cells("bias"), both(|info| format!("±{:.0}", info.bias)));
    // Places in the tables: the coarse range first.
    for (range, name) in ["coarse", "fine"].into_iter().enumerate() {
        let microvolts = |voltage: Voltage| voltage.as_nanovolts() as f64 / 1e3;
        let noise = [&corncrake::INFO, &moorhen::INFO]
            .map(|info| format!("{} µV", microvolts(info.sense_errors[range].noise)));
        assert_eq!(
            cells(&format!("noise of a conversion, {name} range")),
            noise
        );
        let code = [&corncrake::INFO, &moorhen::INFO].map(|info| {
            let lsb = info.sense_ranges[range].lsb_nv(info.sense_unit);
            format!("{:.0}", Voltage::from_nanovolts(lsb as i64))
        });
        assert_eq!(cells(&format!("quantisation, {name} range")), code);
    }
    let wander = [&corncrake::INFO, &moorhen::INFO].map(|info| info.oscillator.wander_ppm);
    assert_eq!(
        cells("clock"),
        [format!("±{} ppm", wander[0]), format!("{} ppm", wander[1])]
    );
    // The two clocks: 50 ppm and twice 100 ppm, over 1 − ρ of 1.5 % and 0.15 %.
    assert_eq!(corncrake::INFO.oscillator.error_ppm, 15_000);
    let clock = printed(EXAMPLE);
    let clock = clock.lines().find(|line| line.starts_with("  clock"));
    assert!(clock.unwrap().contains(" 0.0254 %"), "{clock:?}");
}

/// The table of what a calibration brings, from one on the bench.
#[test]
fn what_a_calibration_brings() {
    let rail = &board::RAILS[0];
    let [no_load, loaded] = collected();
    let of_offset = offset(&no_load, rail).unwrap();
    let point = Point {
        collection: &loaded,
        current: Current::from_amps(4),
        uncertainty: Tolerance::from_ppm(1_000),
    };
    let of_both = gain(&of_offset, &point, rail).unwrap();
    let worked = [
        ("nothing", Correction::NONE),
        ("offset", of_offset),
        ("offset and gain", of_both),
    ]
    .map(|(name, correction)| {
        let worst = |current| format!("{:.2} %", 100.0 * worst(rail, correction, current));
        let [least, greatest] = [50, 5_000].map(|ma| worst(Current::from_milliamps(ma)));
        format!("| {name} | {least} | {greatest} |\n")
    });
    let worked = worked.concat();
    assert!(document().contains(&worked), "{worked}");
}

/// Worst case of a reading, as a share.
fn worst(rail: &Rail, correction: Correction, current: Current) -> f64 {
    let mut scan = crake::config::Scan::<1>::NONE;
    board::CONFIG.resolve(&corncrake::INFO, &mut scan).unwrap();
    let at = OperatingPoint {
        range: *scan.range(Channel::C0).unwrap(),
        current,
        voltage: Voltage::from_volts(12),
        power: Power::from_nanowatts(12 * current.as_nanoamps()),
        mean: Mean::Reading { averaging_log2: 4 },
    };
    let rail = rail.corrected(correction);
    let budget = rail.current_budget(&corncrake::INFO, &at).unwrap();
    budget.total().as_nanoamps() as f64 / current.as_nanoamps() as f64
}

/// No load, then 4 A, through exactly 11 mΩ and a part without errors but noise; 4000 scans each.
fn collected() -> [Collection; 2] {
    let bench = Bench::new(1);
    let individual = model::Individual {
        noise: true,
        ..model::Individual::ideal()
    };
    let part = bench
        .part(model::Corncrake::individual(0x32, individual))
        .unwrap();
    let load = Recorded::steps(0, &[(3_000_000_000, 4_000_000_000)]).unwrap();
    let source = Source::of(Constant::new(12_000_000_000).unwrap());
    let plant = plant::Rail::new(source, load).unwrap();
    part.rail(0, plant, SenseResistor::ideal(11_000_000))
        .unwrap();
    let board: Board<1> = board::BOARD;
    let chip = Corncrake::new(Address::Strap0);
    let mut monitor =
        Monitor::new(bench.i2c(), bench.delay(), chip, &board).with_clock(bench.clock());
    monitor.init(&board::CONFIG).unwrap();
    [100_000_000, 3_100_000_000].map(|from_ns| {
        bench.run_until(from_ns);
        let mut collection = Collection::new(Channel::C0);
        while !collection.is_enough() {
            collection.add(monitor.sample().unwrap()).unwrap();
            bench.run_for(Duration::from_millis(500));
        }
        collection
    })
}
