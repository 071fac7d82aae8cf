//! Section 3.6: RESTART, a brown-out, and a supply that stays away.

use crake_sim::{
    bench::{Bench, BenchError},
    part::{
        Target,
        moorhen::{Moorhen, Output},
    },
};

use crate::moorhen::{
    common::plants::{Steady, ohm},
    datasheet::{Input, both, command, number, pointer, registers, si, table, timing_ns},
    fixture::{ADDRESS, Fixture, word},
};

/// A part with everything different from what it is after a reset, in the middle of a single-shot.
fn used() -> Fixture {
    let fixture = Fixture::ideal();
    fixture.steady(0, 5.0 * 9e3, 1e12);
    fixture.steady(1, 5.0 * 36e3, 5.0 * 7e6);
    fixture.set("CONFIGURATION", both() | Input::all()[0].bit);
    for input in Input::all() {
        fixture.write(input.limit(), word(4));
    }
    fixture.set("MASK", Input::bits());
    fixture.shoot();
    for row in registers() {
        if row.readable && row.name != "IDENTITY" {
            let found = Some(fixture.read(row.pointer));
            assert_ne!(found, row.reset, "{}", row.name);
        }
    }
    assert!(fixture.part.is_low(Output::Alert));
    fixture.trigger();
    fixture.run_us(500);
    fixture
}

fn answers(fixture: &Fixture) -> bool {
    fixture.wire.start();
    let acknowledged = fixture.wire.send(ADDRESS << 1);
    fixture.wire.stop();
    acknowledged
}

/// What section 7 says of an idle part.
fn idle_na() -> u128 {
    si(table("| state | typical |")[0][1]) as u128
}

#[test]
fn a_reset_clears_everything_and_the_part_answers_when_the_document_says() {
    let resets: [fn(&Fixture); 2] = [
        |fixture| fixture.set("RESTART", command("RESTART")),
        |fixture| fixture.part.brown_out(),
    ];
    let silent_ns = timing_ns("not addressable after a reset");
    for reset in resets {
        let fixture = used();
        reset(&fixture);
        let answers_ns = fixture.bench.now_ns() + silent_ns;
        let charge = fixture.part.supply_charge_na_ns();
        assert!(!fixture.part.is_low(Output::Alert));
        let next = fixture.part.next_event_ns();
        assert_eq!(next, None, "what it was doing is over");
        fixture.bench.run_until(answers_ns - 1);
        assert_eq!(fixture.peek(pointer("STATUS")), None);
        fixture.bench.run_until(answers_ns);
        let acknowledged = fixture.part.with(|model| {
            model.start();
            let acknowledged = Target::address(model, ADDRESS << 1);
            model.stop();
            acknowledged
        });
        assert!(acknowledged, "at that very moment");
        let charge = fixture.part.supply_charge_na_ns() - charge;
        assert_eq!(charge, idle_na() * u128::from(silent_ns));
        // The pointer too is as after a reset.
        assert_eq!(fixture.read_on(2), [0x2D, 0x6B]);
        for row in registers() {
            let found = fixture.read(row.pointer);
            assert_eq!(found, row.reset.unwrap_or(0), "{}", row.name);
        }
    }
}

#[test]
fn without_supply_it_neither_answers_nor_pulls_nor_draws() {
    let fixture = used();
    fixture.part.power_loss();
    let charge = fixture.part.supply_charge_na_ns();
    fixture.run_us(100_000);
    assert!(!answers(&fixture) && !fixture.part.is_low(Output::Alert));
    assert_eq!(fixture.part.supply_charge_na_ns(), charge);
    let shown = format!("{:?}", fixture.part);
    assert_eq!(shown, "Part(0x17, without supply)");
    fixture.part.power_up();
    assert!(!answers(&fixture));
    let before_ns = fixture.bench.now_ns();
    let charge = fixture.part.supply_charge_na_ns();
    fixture.run_us(2_200);
    let spent = fixture.part.supply_charge_na_ns() - charge;
    assert_eq!(
        spent,
        idle_na() * u128::from(fixture.bench.now_ns() - before_ns)
    );
    assert_eq!(fixture.named("CONFIGURATION"), 0);
    // With supply, power-up is no reset.
    fixture.set("CONFIGURATION", both());
    fixture.part.power_up();
    assert_eq!(fixture.named("CONFIGURATION"), both());
}

#[test]
fn there_are_two_straps_and_two_channels() {
    let straps = table("| strap | 7-bit address |");
    let straps: Vec<u8> = straps.iter().map(|row| number(row[1]) as u8).collect();
    for address in 0..=0xFF {
        match Bench::new(0).part(Moorhen::new(address)) {
            Ok(part) => assert!(straps.contains(&part.address())),
            Err(error) => {
                assert_eq!(error, BenchError::NoSuchAddress(address));
                assert!(!straps.contains(&address));
            }
        }
    }
    let fixture = Fixture::ideal();
    let plant = Steady {
        current_na: 0.0,
        voltage_nv: 0.0,
    };
    let refused = fixture.part.rail(2, plant, ohm());
    assert_eq!(refused, Err(BenchError::NoSuchChannel(2)));
    let truth = fixture.part.truth(2);
    assert_eq!(truth, Err(BenchError::NoSuchChannel(2)));
}
