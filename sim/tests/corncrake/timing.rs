//! Section 6, the modes of 3.3, and the supply of section 8, at the nominal oscillator.

use core::time::Duration;

use crake_sim::{
    bench::Bench,
    part::corncrake::{Corncrake, Individual},
};

use crate::corncrake::{
    datasheet::{number, table, timing_ns},
    fixture::{CONVERSION_NS, Fixture},
};

/// A cell like `2 ms` in nanoseconds.
fn duration_ns(cell: &str) -> u64 {
    let (count, unit) = cell.split_once(' ').expect("a number and a unit");
    let unit_ns = match unit {
        "µs" => 1_000,
        "ms" => 1_000_000,
        "s" => 1_000_000_000,
        other => panic!("unit {other}"),
    };
    number(count) as u64 * unit_ns
}

fn conversions_at(fixture: &Fixture, ns: u64) -> u64 {
    fixture.bench.run_until(ns);
    fixture.part.conversions()
}

#[test]
fn rounds_of_every_rate_begin_one_period_apart_after_the_wake_up() {
    assert_eq!(timing_ns("conversion"), CONVERSION_NS);
    for (mode, row) in (0x10..).zip(table("| scan rate | scan period |")) {
        let period_ns = duration_ns(row[1]);
        assert_eq!(
            period_ns,
            number(row[2]) as u64 * CONVERSION_NS,
            "{}",
            row[0]
        );
        let fixture = Fixture::ideal();
        fixture.run(mode);
        let first_ns = fixture.bench.now_ns() + timing_ns("wake-up from idle");
        for scan in 0..5 {
            let began_ns = first_ns + scan * period_ns;
            for conversion in 1..=8 {
                let until_ns = began_ns + conversion * CONVERSION_NS;
                assert_eq!(
                    conversions_at(&fixture, until_ns - 1),
                    8 * scan + conversion - 1,
                    "{}",
                    row[0]
                );
                assert_eq!(
                    conversions_at(&fixture, until_ns),
                    8 * scan + conversion,
                    "{}",
                    row[0]
                );
            }
        }
    }
}

/// A part whose conversions last 63 µs: scan and period scale with them, the wake-up does not.
#[test]
fn oscillator_times_scale_together_and_the_wake_up_stands() {
    let mut slow = Individual::ideal();
    slow.conversion_ns = 63_000;
    let fixture = Fixture::with(&Bench::new(0), Corncrake::individual(0x32, slow));
    fixture.run(0x11);
    let first_ns = fixture.bench.now_ns() + 150_000;
    assert_eq!(conversions_at(&fixture, first_ns + 63_000 - 1), 0);
    assert_eq!(conversions_at(&fixture, first_ns + 8 * 63_000), 8);
    assert_eq!(fixture.part.next_event_ns(), Some(first_ns + 32 * 63_000));
}

#[test]
fn a_scan_lasts_125_us_for_each_enabled_channel_and_the_part_rests_after_it() {
    for channels in 0x01..=0x0F_u8 {
        let fixture = Fixture::ideal();
        fixture.write(0x05, &[channels]);
        fixture.run(0x14);
        let began_ns = fixture.bench.now_ns() + 150_000;
        let ends_ns =
            began_ns + u64::from(channels.count_ones()) * timing_ns("scan per enabled channel");
        fixture.bench.run_until(ends_ns);
        assert_eq!(
            fixture.part.conversions(),
            2 * u64::from(channels.count_ones())
        );
        assert_eq!(fixture.part.next_event_ns(), Some(began_ns + 1_000_000_000));
        assert_eq!(fixture.state(), 0x01);
    }
}

#[test]
fn state_tells_scan_mode_and_latch() {
    let fixture = Fixture::ideal();
    assert_eq!(fixture.state(), 0x00);
    fixture.run(0x14);
    assert_eq!(fixture.state(), 0x01, "waking up");
    fixture.bench.run_for(Duration::from_micros(150));
    assert_eq!(fixture.state(), 0x81, "in a scan");
    fixture.latch(2, 1);
    assert_eq!(fixture.state(), 0xC1, "a latch waits for the scan's end");
    fixture.bench.run_for(Duration::from_micros(500));
    assert_eq!(fixture.state(), 0x01, "resting");
    fixture.stop();
    fixture.run(0x32);
    fixture.run_conversions(4);
    assert_eq!(fixture.state(), 0x83, "capture");
    fixture.stop();
    assert_eq!(fixture.state(), 0x00);
}

#[test]
fn single_shot_does_its_scans_back_to_back_and_goes_idle() {
    for averaging in 0..=4 {
        let fixture = Fixture::ideal();
        fixture.write(0x05, &[0x05]);
        fixture.write(0x07, &[averaging]);
        fixture.run(0x20);
        let scans = 1_u64 << averaging;
        let ends_ns = fixture.bench.now_ns() + 150_000 + scans * 4 * CONVERSION_NS;
        assert_eq!(conversions_at(&fixture, ends_ns - 1), 4 * scans - 1);
        assert_eq!(fixture.part.next_event_ns(), Some(ends_ns));
        assert_eq!(conversions_at(&fixture, ends_ns + 1_000_000_000), 4 * scans);
        assert_eq!(fixture.state(), 0x00);
        assert_eq!(fixture.unsigned(0x74, 4), scans);
        // Done: the next one wakes the part up again.
        fixture.run(0x20);
        assert_eq!(
            fixture.part.next_event_ns(),
            Some(fixture.bench.now_ns() + 150_000)
        );
    }
}

/// The acknowledge of the address comes 260 ns and eight clocks of 1 µs after START.
#[test]
fn the_part_is_not_addressable_for_1_ms_after_a_reset() {
    let answers_at = |fixture: &Fixture, ns: u64| {
        fixture.bench.run_until(ns - 8_260);
        fixture.wire.start();
        let acknowledged = fixture.wire.send(0x64);
        fixture.wire.stop();
        acknowledged
    };
    let silent_ns = timing_ns("not addressable after a reset");
    for early in [1, 0] {
        let fixture = Fixture::ideal();
        fixture.bench.run_for(Duration::from_millis(1));
        fixture.part.brown_out();
        assert_eq!(
            answers_at(&fixture, fixture.bench.now_ns() + silent_ns - early),
            early == 0
        );

        fixture.bench.run_for(Duration::from_millis(2));
        fixture.write(0x09, &[0xA5]);
        assert_eq!(
            answers_at(&fixture, fixture.bench.now_ns() + silent_ns - early),
            early == 0
        );
    }
    let fixture = Fixture::ideal();
    fixture.bench.run_for(Duration::from_millis(1));
    fixture.part.power_loss();
    assert!(!answers_at(&fixture, 3_000_000_000));
    fixture.part.power_up();
    assert!(answers_at(&fixture, 3_001_100_000));
}

#[test]
fn a_reset_loses_everything() {
    let fixture = Fixture::ideal();
    fixture.steady(0, 1e6, 1e9);
    fixture.write(0x08, &[1]);
    fixture.write(0x0A, &[1]);
    fixture.write(0x37, &[0x7F, 0xFF, 0xFF]);
    fixture.run(0x10);
    fixture.run_conversions(1000);
    assert!(fixture.signed(0x6C, 6) > 0);
    // A transfer is lost, too.
    fixture.wire.start();
    let write = fixture.with_check(0x35, &[0x01, 0x02, 0x03]);
    let mut bytes = core::iter::once(0x64).chain(write);
    assert!(bytes.all(|byte| fixture.wire.send(byte)));
    fixture.part.brown_out();
    fixture.wire.stop();
    let charge = fixture.part.supply_charge_na_ns();
    fixture.bench.run_for(Duration::from_secs(1));
    // It idles from then on, at 2.2 µA (section 8).
    let charge = fixture.part.supply_charge_na_ns() - charge;
    assert_eq!(charge, 2_200 * 1_000_000_000);
    for row in crate::corncrake::datasheet::registers()
        .into_iter()
        .filter(|row| row.readable)
    {
        assert_eq!(
            fixture.read(row.pointer, row.width),
            row.reset,
            "{}",
            row.name
        );
    }
}

#[test]
fn the_supply_draws_what_section_8_says_of_each_state() {
    let rows = table("| state | typical |");
    let typical_na = |state: &str| {
        let row = rows
            .iter()
            .find(|row| row[0] == state)
            .unwrap_or_else(|| panic!("{state}"));
        let microamperes = row[1].strip_suffix(" µA").expect("microamperes");
        (microamperes.parse::<f64>().expect("a number") * 1_000.0) as u128
    };
    let (idle, resting, converting) = (
        typical_na("idle"),
        typical_na("resting between scans"),
        typical_na("converting, or waking up"),
    );
    let fixture = Fixture::ideal();
    fixture.write(0x05, &[0x01]);
    fixture.run(0x13);
    let idle_ns = fixture.bench.now_ns();
    // Ten periods of 100 ms; each has a scan of two conversions.
    fixture
        .bench
        .run_for(Duration::from_micros(150 + 1_000_000));
    let converting_ns = 150_000 + 10 * 2 * CONVERSION_NS;
    let resting_ns = 1_000_000_000 - 10 * 2 * CONVERSION_NS;
    let charge = idle * u128::from(idle_ns)
        + converting * u128::from(converting_ns)
        + resting * u128::from(resting_ns);
    assert_eq!(fixture.part.supply_charge_na_ns(), charge);
    assert_eq!(fixture.part.supply_energy_na_mv_ns(), charge * 3_300);
    fixture.part.power_loss();
    fixture.bench.run_for(Duration::from_secs(100));
    assert_eq!(fixture.part.supply_charge_na_ns(), charge);
}
