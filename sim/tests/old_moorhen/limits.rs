//! Section 3.6: limits, causes, mask and the alert output.

use crake_sim::{bench::Edge, old::moorhen::Output};
use embedded_hal::digital::PinState;

use crate::old_moorhen::{
    datasheet::{Input, si, table},
    desk::Desk,
};

/// A code at its place in a limit word.
fn word(code: i64) -> u16 {
    (code * 8).rem_euclid(32_768) as u16
}

#[test]
fn a_code_above_its_limit_sets_its_cause_and_one_at_it_does_not() {
    for input in Input::all() {
        let (least, greatest) = input.ends();
        let desk = Desk::ideal();
        for limit in [least, least + 1, -1, 0, 1, 1_234, greatest - 1, greatest] {
            if limit < least {
                continue;
            }
            desk.write(input.limit(), word(limit));
            for code in [limit - 1, limit, limit + 1, least, greatest] {
                let code = code.clamp(least, greatest);
                for range in [0, 1] {
                    desk.set("RANGES", input.bit * range as u16);
                    desk.set("CAUSES", 0xFFFF);
                    desk.show(input, range, code);
                    desk.shoot();
                    assert_eq!(desk.code(input), code);
                    let expected = if code > limit { input.bit } else { 0 };
                    assert_eq!(
                        desk.named("CAUSES"),
                        expected,
                        "{input:?} {code} at {limit}"
                    );
                }
            }
        }
    }
}

#[test]
fn after_a_reset_nothing_sets_a_cause_not_even_a_clipped_code() {
    let desk = Desk::ideal();
    for sign in [1.0, -1.0] {
        desk.steady(0, sign * 1e12, sign * 1e12);
        desk.steady(1, sign * 1e12, sign * 1e12);
        desk.shoot();
        assert_eq!(desk.named("CAUSES"), 0);
        // A bus voltage below zero is not clipped.
        let clipped = if sign > 0.0 { 0x03C0 } else { 0x0140 };
        assert_eq!(desk.named("PROGRESS") & 0x03C0, clipped);
    }
    desk.steady(0, 0.0, 0.0);
    desk.steady(1, 0.0, 0.0);
    desk.shoot();
    assert_eq!(
        desk.named("PROGRESS") & 0x03C0,
        0,
        "the flags are those of the last single-shot"
    );
}

/// Every subset of masks against every subset of causes.
#[test]
fn the_output_is_low_while_a_cause_that_is_set_is_masked_to_it() {
    let desk = Desk::ideal();
    let inputs = Input::all();
    let bits = |subset: usize| {
        let chosen = inputs
            .iter()
            .enumerate()
            .filter(|(i, _)| subset >> i & 1 == 1);
        chosen.fold(0, |bits, (_, input)| bits | input.bit)
    };
    desk.steady(0, 5.0 * 36e3, 5.0 * 7e6);
    desk.steady(1, 5.0 * 36e3, 5.0 * 7e6);
    for causes in 0..16 {
        for (i, input) in inputs.iter().enumerate() {
            let limit = if causes >> i & 1 == 1 { 4 } else { 5 };
            desk.write(input.limit(), word(limit));
        }
        desk.set("CAUSES", 0xFFFF);
        desk.shoot();
        assert_eq!(desk.named("CAUSES"), bits(causes));
        for mask in 0..16 {
            desk.set("MASK", bits(mask));
            assert_eq!(
                desk.part.is_low(Output::Alert),
                causes & mask != 0,
                "{causes:04b} {mask:04b}"
            );
            assert_eq!(desk.named("CAUSES"), bits(causes), "a mask clears nothing");
        }
    }
}

/// Every subset of ones written against every subset of causes.
#[test]
fn writing_causes_clears_exactly_the_ones_and_only_by_a_whole_write() {
    let desk = Desk::ideal();
    let inputs = Input::all();
    let limits = |word: u16| {
        inputs
            .iter()
            .for_each(|input| desk.write(input.limit(), word))
    };
    desk.steady(0, 5.0 * 36e3, 5.0 * 7e6);
    desk.steady(1, 5.0 * 36e3, 5.0 * 7e6);
    for ones in 0..16_u16 {
        limits(word(4));
        desk.shoot();
        assert_eq!(desk.named("CAUSES"), 0x03C0);
        // Held, whatever the limits, the ranges and later codes are.
        limits(word(2_000));
        desk.set("RANGES", 0);
        desk.shoot();
        assert_eq!(desk.named("CAUSES"), 0x03C0);
        desk.raw_write(&[0x3C, 0xFF]);
        desk.raw_write(&[0x3C, 0xFF, 0xFF, 0xFF]);
        assert_eq!(desk.named("CAUSES"), 0x03C0);
        desk.set("CAUSES", ones << 6);
        assert_eq!(desk.named("CAUSES"), 0x03C0 & !(ones << 6), "{ones:04b}");
        // Unset causes and bits that are none may be written.
        desk.set("CAUSES", !0x03C0);
        assert_eq!(desk.named("CAUSES"), 0x03C0 & !(ones << 6));
    }
}

#[test]
fn a_condition_that_lasts_sets_its_cause_again_at_the_next_single_shot() {
    let desk = Desk::ideal();
    desk.set("SENSE_LIMIT_0", word(4));
    desk.set("MASK", 0x0040);
    desk.steady(0, 5.0 * 36e3, 0.0);
    for _ in 0..3 {
        desk.shoot();
        assert!(desk.part.is_low(Output::Alert));
        desk.set("CAUSES", 0x0040);
        assert!(!desk.part.is_low(Output::Alert));
        desk.run_us(100_000);
        assert_eq!(
            desk.named("CAUSES"),
            0,
            "nothing is compared between single-shots"
        );
    }
}

#[test]
fn the_line_falls_at_the_end_of_the_conversion_and_rises_at_the_stop_that_clears() {
    let ends = table("| conversion | begins |");
    for (input, row) in Input::all().into_iter().zip(ends) {
        let desk = Desk::ideal();
        let line = desk.bench.alert(&desk.part, Output::Alert);
        line.set_recording(true);
        desk.write(input.limit(), word(4));
        desk.set("MASK", 0x03C0);
        desk.show(input, 0, 5);
        let began_ns = desk.trigger();
        // The cause is there before the result that set it.
        desk.bench.run_until(began_ns + si(row[2]) as u64);
        assert_eq!(line.level(), PinState::Low);
        desk.run_us(1_000);
        desk.set("CAUSES", input.bit);
        let cleared_ns = desk.bench.now_ns();
        let fall = Edge {
            at_ns: began_ns + si(row[2]) as u64,
            to: PinState::Low,
        };
        let rise = Edge {
            at_ns: cleared_ns,
            to: PinState::High,
        };
        assert_eq!(line.edges(), [fall, rise], "{input:?}");
    }
}

#[test]
fn a_limit_counts_as_it_stands_when_the_conversion_ends() {
    let ends = table("| conversion | begins |");
    for (input, row) in Input::all().into_iter().zip(ends) {
        for early_ns in [1, 0] {
            let desk = Desk::ideal();
            desk.show(input, 0, 5);
            let began_ns = desk.trigger();
            desk.bench
                .run_until(began_ns + si(row[2]) as u64 - early_ns);
            desk.poke(input.limit(), word(4));
            desk.run_us(1_000);
            let expected = if early_ns > 0 { input.bit } else { 0 };
            assert_eq!(desk.named("CAUSES"), expected, "{input:?}");
        }
    }
}
