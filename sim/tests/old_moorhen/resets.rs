//! Resets: RESTART, a brown-out, and a supply that stays away.

use crake_sim::{bench::BenchError, old::moorhen::Output};

use crate::old_moorhen::{
    datasheet::{registers, si, table, timing_ns},
    desk::{ADDRESS, Desk},
};

/// A part with everything different from what it is after a reset, in the middle of a single-shot.
fn used() -> Desk {
    let desk = Desk::ideal();
    desk.steady(0, 5.0 * 9e3, 1e12);
    desk.steady(1, 5.0 * 36e3, 5.0 * 7e6);
    desk.set("MARK", 0xBEE5);
    desk.set("RANGES", 0x0040);
    for name in [
        "BUS_LIMIT_0",
        "SENSE_LIMIT_0",
        "BUS_LIMIT_1",
        "SENSE_LIMIT_1",
    ] {
        desk.set(name, 4 << 3);
    }
    desk.set("MASK", 0x03C0);
    desk.shoot();
    for row in registers()
        .iter()
        .filter(|row| row.readable && row.name != "IDENTITY")
    {
        assert_ne!(Some(desk.read(row.pointer)), row.reset, "{}", row.name);
    }
    assert!(desk.part.is_low(Output::Alert));
    desk.trigger();
    desk.run_us(500);
    desk
}

fn answers(desk: &Desk) -> bool {
    desk.wire.start();
    let acknowledged = desk.wire.send(ADDRESS << 1);
    desk.wire.stop();
    acknowledged
}

#[test]
fn a_reset_clears_everything_and_the_part_answers_when_the_document_says() {
    let resets: [fn(&Desk); 2] = [
        |desk| desk.set("RESTART", 0xC35A),
        |desk| desk.part.brown_out(),
    ];
    for reset in resets {
        let desk = used();
        reset(&desk);
        let reset_ns = desk.bench.now_ns();
        assert!(!desk.part.is_low(Output::Alert));
        assert_eq!(desk.part.next_event_ns(), None, "what it was doing is over");
        let answers_ns = reset_ns + timing_ns("not addressable");
        desk.bench.run_until(answers_ns - 1);
        assert_eq!(
            (desk.peek(0x35), answers(&desk)),
            (None, true),
            "the address byte ends later"
        );
        let desk = used();
        reset(&desk);
        let answers_ns = desk.bench.now_ns() + timing_ns("not addressable");
        desk.bench.run_until(answers_ns);
        assert!(desk.peek(0x36).is_some());
        let desk = used();
        reset(&desk);
        desk.run_us(2_200);
        // The pointer too is as after a reset.
        assert_eq!(desk.read_on(2), [0xE4, 0x91]);
        for row in registers() {
            assert_eq!(
                desk.read(row.pointer),
                row.reset.unwrap_or(0),
                "{}",
                row.name
            );
        }
    }
}

#[test]
fn without_supply_it_neither_answers_nor_pulls_nor_draws() {
    let desk = used();
    desk.part.power_loss();
    let charge = desk.part.supply_charge_na_ns();
    desk.run_us(100_000);
    assert!(!answers(&desk) && !desk.part.is_low(Output::Alert));
    assert_eq!(desk.part.supply_charge_na_ns(), charge);
    assert_eq!(format!("{:?}", desk.part), "Part(0x17, without supply)");
    desk.part.power_up();
    desk.run_us(2_200);
    assert_eq!(desk.named("MARK"), 0);
    // With supply, power-up is no reset.
    desk.set("MARK", 1);
    desk.part.power_up();
    assert_eq!(desk.named("MARK"), 1);
}

#[test]
fn it_draws_what_section_7_says() {
    let desk = Desk::ideal();
    let rows = table("| state | typical |");
    let typical = |row: usize| si(rows[row][1]) as u128;
    desk.run_us(500);
    let began_ns = desk.trigger();
    desk.bench.run_until(began_ns + 3_000_000);
    let busy_ns = u128::from(timing_ns("single-shot"));
    let asleep_ns = u128::from(began_ns + 3_000_000) - busy_ns;
    let expected = typical(0) * asleep_ns + typical(1) * busy_ns;
    assert_eq!(desk.part.supply_charge_na_ns(), expected);
    assert_eq!(desk.part.supply_energy_na_mv_ns(), expected * 3_300);
}

#[test]
fn there_are_two_straps_and_two_channels() {
    use crake_sim::{bench::Bench, old::moorhen::Moorhen};
    let straps = table("| strap | 7-bit address |");
    let straps: Vec<u8> = straps
        .iter()
        .map(|row| crate::old_moorhen::datasheet::number(row[1]) as u8)
        .collect();
    for address in 0..=0xFF {
        let part = Bench::new(0).part(Moorhen::new(address));
        match part {
            Ok(part) => assert!(straps.contains(&part.address())),
            Err(error) => {
                assert_eq!(error, BenchError::NoSuchAddress(address));
                assert!(!straps.contains(&address));
            }
        }
    }
    let desk = Desk::ideal();
    let plant = crate::old_moorhen::common::plants::Steady {
        current_na: 0.0,
        voltage_nv: 0.0,
    };
    let refused = desk
        .part
        .rail(2, plant, crate::old_moorhen::common::plants::ohm());
    assert_eq!(refused, Err(BenchError::NoSuchChannel(2)));
    assert_eq!(desk.part.truth(2), Err(BenchError::NoSuchChannel(2)));
}
