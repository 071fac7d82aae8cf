//! Section 6, the modes of 3.3, and the supply of section 8, at the nominal oscillator.

use core::time::Duration;

use crake_sim::{
    bench::Bench,
    old::corncrake::{Corncrake, Individual},
};

use crate::old_corncrake::{
    datasheet::{number, table},
    desk::{CONVERSION_NS, Desk},
};

/// A time of section 6's first table, in nanoseconds.
fn nominal_ns(what: &str) -> u64 {
    let rows = table("| what | nominal | unit |");
    let row = rows
        .iter()
        .find(|row| row[0] == what)
        .unwrap_or_else(|| panic!("{what}"));
    assert_eq!(row[2], "µs");
    (row[1].parse::<f64>().expect("microseconds") * 1_000.0) as u64
}

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

fn conversions_at(desk: &Desk, ns: u64) -> u64 {
    desk.bench.run_until(ns);
    desk.part.conversions()
}

#[test]
fn rounds_of_every_pace_begin_one_period_apart_after_the_wake_up() {
    assert_eq!(nominal_ns("conversion"), CONVERSION_NS);
    for (mode, row) in (0x10..).zip(table("| pace | round period |")) {
        let period_ns = duration_ns(row[1]);
        assert_eq!(
            period_ns,
            number(row[2]) as u64 * CONVERSION_NS,
            "{}",
            row[0]
        );
        let desk = Desk::ideal();
        desk.run(mode, 1, 0);
        let first_ns = desk.bench.now_ns() + nominal_ns("wake-up from idle");
        for round in 0..5 {
            let began_ns = first_ns + round * period_ns;
            for conversion in 1..=8 {
                let until_ns = began_ns + conversion * CONVERSION_NS;
                assert_eq!(
                    conversions_at(&desk, until_ns - 1),
                    8 * round + conversion - 1,
                    "{}",
                    row[0]
                );
                assert_eq!(
                    conversions_at(&desk, until_ns),
                    8 * round + conversion,
                    "{}",
                    row[0]
                );
            }
        }
    }
}

/// A part whose conversions last 63 µs: round and period scale with them, the wake-up does not.
#[test]
fn oscillator_times_scale_together_and_the_wake_up_stands() {
    let mut slow = Individual::ideal();
    slow.conversion_ns = 63_000;
    let desk = Desk::with(&Bench::new(0), Corncrake::individual(0x32, slow));
    desk.run(0x11, 1, 0);
    let first_ns = desk.bench.now_ns() + 150_000;
    assert_eq!(conversions_at(&desk, first_ns + 63_000 - 1), 0);
    assert_eq!(conversions_at(&desk, first_ns + 8 * 63_000), 8);
    assert_eq!(desk.part.next_event_ns(), Some(first_ns + 32 * 63_000));
}

#[test]
fn a_round_lasts_125_us_for_each_enabled_channel_and_the_part_rests_after_it() {
    for channels in 0x01..=0x0F_u8 {
        let desk = Desk::ideal();
        desk.write(0x05, &[channels]);
        desk.run(0x14, 1, 0);
        let began_ns = desk.bench.now_ns() + 150_000;
        let ends_ns =
            began_ns + u64::from(channels.count_ones()) * nominal_ns("round per enabled channel");
        desk.bench.run_until(ends_ns);
        assert_eq!(
            desk.part.conversions(),
            2 * u64::from(channels.count_ones())
        );
        assert_eq!(desk.part.next_event_ns(), Some(began_ns + 1_000_000_000));
        assert_eq!(desk.state(), 0x01);
    }
}

#[test]
fn state_tells_round_mode_and_latch() {
    let desk = Desk::ideal();
    assert_eq!(desk.state(), 0x00);
    desk.run(0x14, 1, 0);
    assert_eq!(desk.state(), 0x01, "waking up");
    desk.bench.run_for(Duration::from_micros(150));
    assert_eq!(desk.state(), 0x81, "in a round");
    desk.latch(2, 1);
    assert_eq!(desk.state(), 0xC1, "a latch waits for the round's end");
    desk.bench.run_for(Duration::from_micros(500));
    assert_eq!(desk.state(), 0x01, "resting");
    desk.run(0x32, 3, 2);
    desk.run_conversions(2);
    assert_eq!(desk.state(), 0x83, "burst");
    desk.run(0x00, 4, 3);
    assert_eq!(desk.state(), 0x00);
}

#[test]
fn single_shot_does_its_rounds_back_to_back_and_goes_idle() {
    for averaging in 0..=4 {
        let desk = Desk::ideal();
        desk.write(0x05, &[0x05]);
        desk.write(0x07, &[averaging]);
        desk.run(0x20, 1, 0);
        let rounds = 1_u64 << averaging;
        let ends_ns = desk.bench.now_ns() + 150_000 + rounds * 4 * CONVERSION_NS;
        assert_eq!(conversions_at(&desk, ends_ns - 1), 4 * rounds - 1);
        assert_eq!(desk.part.next_event_ns(), Some(ends_ns));
        assert_eq!(conversions_at(&desk, ends_ns + 1_000_000_000), 4 * rounds);
        assert_eq!(desk.state(), 0x00);
        assert_eq!(desk.unsigned(0x74, 4), rounds);
        // Done: the next one wakes the part up again.
        desk.run(0x20, 2, 1);
        assert_eq!(
            desk.part.next_event_ns(),
            Some(desk.bench.now_ns() + 150_000)
        );
    }
}

#[test]
fn run_from_a_rest_begins_at_once_and_during_a_wake_up_when_that_ends() {
    let desk = Desk::ideal();
    desk.run(0x14, 1, 0);
    let awake_ns = desk.bench.now_ns() + 150_000;
    desk.run(0x13, 2, 1);
    assert_eq!(desk.part.next_event_ns(), Some(awake_ns));
    desk.run_conversions(20);
    desk.run(0x12, 3, 2);
    let began_ns = desk.bench.now_ns();
    desk.bench.run_for(Duration::ZERO);
    assert_eq!(desk.part.next_event_ns(), Some(began_ns + CONVERSION_NS));
}

#[test]
fn a_burst_keeps_1024_conversions_of_its_channel_and_goes_idle() {
    let desk = Desk::ideal();
    let codes: Vec<i64> = (0..2000).map(|i| (i * 37 % 4001) - 2000).collect();
    desk.listed(2, &codes);
    desk.run(0x32, 1, 0);
    let began_ns = desk.bench.now_ns() + nominal_ns("wake-up from idle");
    desk.bench
        .run_until(began_ns + 100 * nominal_ns("burst conversion"));
    assert_eq!(desk.unsigned(0x78, 2), 100);
    // A latch is done at once.
    desk.latch(2, 1);
    assert_eq!(
        (
            desk.frame().tag(),
            desk.frame().mode(),
            desk.frame().rounds()
        ),
        (2, 0x32, 0)
    );
    assert_eq!(
        conversions_at(&desk, began_ns + 1024 * CONVERSION_NS - 1),
        1023
    );
    assert_eq!(conversions_at(&desk, began_ns + 5000 * CONVERSION_NS), 1024);
    assert_eq!((desk.state(), desk.unsigned(0x78, 2)), (0x00, 1024));
    for first in [0, 1, 500, 1008] {
        desk.write(0x79, &(first as u16).to_be_bytes());
        let stored = desk.read(0x7A, 48);
        for (i, bytes) in stored.chunks(3).enumerate() {
            let code = i64::from(i32::from_be_bytes([bytes[0], bytes[1], bytes[2], 0]) >> 8);
            assert_eq!(code, codes[first + i], "{first} {i}");
        }
    }
    assert_eq!(
        (
            desk.unsigned(0x74, 4),
            desk.signed(0x6E, 6),
            desk.signed(0x62, 3)
        ),
        (0, 0, 0)
    );
    // Further bursts count anew, after one that was finished and one that was cut short.
    for tag in 3..6 {
        desk.run(0x30, tag, tag - 1);
        desk.bench.run_for(Duration::from_millis(1));
        let count = desk.unsigned(0x78, 2);
        assert!((13..20).contains(&count), "{count}");
    }
}

/// The acknowledge of the address comes 260 ns and eight clocks of 1 µs after START.
#[test]
fn the_part_is_not_addressable_for_1_ms_after_a_reset() {
    let answers_at = |desk: &Desk, ns: u64| {
        desk.bench.run_until(ns - 8_260);
        desk.wire.start();
        let acknowledged = desk.wire.send(0x64);
        desk.wire.stop();
        acknowledged
    };
    let silent_ns = nominal_ns("not addressable after a reset");
    for early in [1, 0] {
        let desk = Desk::ideal();
        desk.bench.run_for(Duration::from_millis(1));
        desk.part.brown_out();
        assert_eq!(
            answers_at(&desk, desk.bench.now_ns() + silent_ns - early),
            early == 0
        );

        desk.bench.run_for(Duration::from_millis(2));
        desk.write(0x09, &[0xA5]);
        assert_eq!(
            answers_at(&desk, desk.bench.now_ns() + silent_ns - early),
            early == 0
        );
    }
    let desk = Desk::ideal();
    desk.bench.run_for(Duration::from_millis(1));
    desk.part.power_loss();
    assert!(!answers_at(&desk, 3_000_000_000));
    desk.part.power_up();
    assert!(answers_at(&desk, 3_001_100_000));
}

#[test]
fn a_reset_loses_everything() {
    let desk = Desk::ideal();
    desk.steady(0, 1e6, 1e9);
    desk.write(0x08, &[1]);
    desk.write(0x0A, &[1]);
    desk.write(0x37, &[0x7F, 0xFF, 0xFF]);
    desk.run(0x10, 1, 0);
    desk.run_conversions(1000);
    assert!(desk.signed(0x6C, 6) > 0);
    desk.part.brown_out();
    desk.bench.run_for(Duration::from_secs(1));
    for row in crate::old_corncrake::datasheet::registers()
        .into_iter()
        .filter(|row| row.readable)
    {
        assert_eq!(desk.read(row.pointer, row.width), row.reset, "{}", row.name);
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
        typical_na("resting between rounds"),
        typical_na("converting, or waking up"),
    );
    let desk = Desk::ideal();
    desk.write(0x05, &[0x01]);
    desk.run(0x13, 1, 0);
    let idle_ns = desk.bench.now_ns();
    // Ten periods of 100 ms; each has a round of two conversions.
    desk.bench.run_for(Duration::from_micros(150 + 1_000_000));
    let converting_ns = 150_000 + 10 * 2 * CONVERSION_NS;
    let resting_ns = 1_000_000_000 - 10 * 2 * CONVERSION_NS;
    let charge = idle * u128::from(idle_ns)
        + converting * u128::from(converting_ns)
        + resting * u128::from(resting_ns);
    assert_eq!(desk.part.supply_charge_na_ns(), charge);
    assert_eq!(desk.part.supply_energy_na_mv_ns(), charge * 3_300);
    desk.part.power_loss();
    desk.bench.run_for(Duration::from_secs(100));
    assert_eq!(desk.part.supply_charge_na_ns(), charge);
}
