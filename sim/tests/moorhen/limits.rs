//! Section 3.5: limits, alert flags, mask and the alert output.

use crake_sim::{bench::Edge, part::moorhen::Output};
use embedded_hal::digital::PinState;

use crate::moorhen::{
    datasheet::{Input, both, enable, pointer, si, table},
    fixture::{Fixture, word},
};

/// The register's name of an input's limit.
fn limit_name(input: Input) -> String {
    let of = if input.is_sense { "SENSE" } else { "RAIL" };
    format!("{of}_LIMIT_{}", input.channel)
}

/// Five codes at each input, in the wide ranges.
fn five_everywhere(fixture: &Fixture) {
    for channel in 0..2 {
        fixture.steady(channel, 5.0 * 36e3, 5.0 * 7e6);
    }
}

#[test]
fn a_code_above_its_limit_sets_its_flag_and_one_at_it_does_not() {
    for input in Input::all() {
        let (least, greatest) = input.ends();
        let fixture = Fixture::ideal();
        for limit in [least, least + 1, -1, 0, 1, 1_234, greatest - 1, greatest] {
            if limit < least {
                continue;
            }
            fixture.write(input.limit(), word(limit));
            for code in [limit - 1, limit, limit + 1, least, greatest] {
                let code = code.clamp(least, greatest);
                for range in [0, 1] {
                    let range_bit = input.bit * range as u16;
                    fixture.set("CONFIGURATION", both() | range_bit);
                    fixture.set("ALERT_FLAGS", 0xFFFF);
                    fixture.show(input, range, code);
                    fixture.shoot();
                    assert_eq!(fixture.code(input), code);
                    let expected = if code > limit { input.bit } else { 0 };
                    let found = fixture.named("ALERT_FLAGS");
                    assert_eq!(found, expected, "{input:?} {code} at {limit}");
                }
            }
        }
    }
}

#[test]
fn after_a_reset_no_limit_is_passed_not_even_over_range() {
    let fixture = Fixture::enabled();
    for sign in [1.0, -1.0] {
        fixture.steady(0, sign * 1e12, sign * 1e12);
        fixture.steady(1, sign * 1e12, sign * 1e12);
        fixture.shoot();
        assert_eq!(fixture.named("ALERT_FLAGS"), 0);
    }
}

#[test]
fn a_channel_that_is_not_enabled_passes_no_limit() {
    for channel in 0..2 {
        let fixture = Fixture::ideal();
        fixture.set("CONFIGURATION", enable(channel));
        five_everywhere(&fixture);
        for input in Input::all() {
            // Below what any code can be, where there is such a limit.
            fixture.write(input.limit(), word(input.ends().0));
        }
        fixture.shoot();
        let inputs = Input::all().into_iter();
        let own = inputs.filter(|input| input.channel == channel);
        let expected = own.fold(0, |bits, input| bits | input.bit);
        assert_eq!(fixture.named("ALERT_FLAGS"), expected);
    }
}

/// The bits of a subset of the inputs.
fn bits(subset: usize) -> u16 {
    let inputs = Input::all().into_iter().enumerate();
    let chosen = inputs.filter(|(i, _)| subset >> i & 1 == 1);
    chosen.fold(0, |bits, (_, input)| bits | input.bit)
}

/// Every subset of masks against every subset of flags.
#[test]
fn the_output_is_low_while_a_flag_is_set_that_is_in_mask() {
    let fixture = Fixture::enabled();
    five_everywhere(&fixture);
    for flags in 0..16 {
        for (i, input) in Input::all().into_iter().enumerate() {
            let limit = if flags >> i & 1 == 1 { 4 } else { 5 };
            fixture.write(input.limit(), word(limit));
        }
        fixture.set("ALERT_FLAGS", 0xFFFF);
        fixture.shoot();
        assert_eq!(fixture.named("ALERT_FLAGS"), bits(flags));
        for mask in 0..16 {
            fixture.set("MASK", bits(mask));
            let is_low = fixture.part.is_low(Output::Alert);
            assert_eq!(is_low, flags & mask != 0, "{flags:04b} {mask:04b}");
            let after = fixture.named("ALERT_FLAGS");
            assert_eq!(after, bits(flags), "a mask clears nothing");
        }
    }
}

/// Every subset of ones written against all flags.
#[test]
fn writing_flags_clears_exactly_the_ones_and_only_by_a_whole_write() {
    let fixture = Fixture::enabled();
    let all = Input::bits();
    let limits = |code| {
        for input in Input::all() {
            fixture.write(input.limit(), word(code));
        }
    };
    five_everywhere(&fixture);
    for subset in 0..16 {
        let ones = bits(subset);
        limits(4);
        fixture.shoot();
        assert_eq!(fixture.named("ALERT_FLAGS"), all);
        // They stay, whatever limits, configuration and later codes are.
        limits(2_000);
        fixture.set("CONFIGURATION", 0);
        fixture.set("CONFIGURATION", both());
        fixture.shoot();
        assert_eq!(fixture.named("ALERT_FLAGS"), all);
        let at = pointer("ALERT_FLAGS");
        fixture.raw_write(&[at, 0xFF]);
        fixture.raw_write(&[at, 0xFF, 0xFF, 0xFF]);
        assert_eq!(fixture.named("ALERT_FLAGS"), all);
        fixture.set("ALERT_FLAGS", ones);
        assert_eq!(fixture.named("ALERT_FLAGS"), all & !ones, "{subset:04b}");
        // Bits that are no flags may be written.
        fixture.set("ALERT_FLAGS", !all);
        assert_eq!(fixture.named("ALERT_FLAGS"), all & !ones);
    }
}

#[test]
fn a_condition_that_lasts_sets_its_flag_again_at_the_next_single_shot() {
    let fixture = Fixture::enabled();
    let sense_0 = Input::all()[0].bit;
    fixture.set("SENSE_LIMIT_0", word(4));
    fixture.set("MASK", sense_0);
    five_everywhere(&fixture);
    for _ in 0..3 {
        fixture.shoot();
        assert!(fixture.part.is_low(Output::Alert));
        fixture.set("ALERT_FLAGS", sense_0);
        assert!(!fixture.part.is_low(Output::Alert));
        fixture.run_us(100_000);
        let between = fixture.named("ALERT_FLAGS");
        assert_eq!(between, 0, "nothing is compared between single-shots");
    }
}

#[test]
fn the_line_falls_at_the_end_of_the_conversion_and_rises_at_the_stop_that_clears() {
    let ends = table("| conversion | begins |");
    for (input, row) in Input::all().into_iter().zip(ends) {
        let fixture = Fixture::enabled();
        let line = fixture.bench.alert(&fixture.part, Output::Alert);
        line.set_recording(true);
        fixture.write(input.limit(), word(4));
        fixture.set("MASK", Input::bits());
        fixture.show(input, 0, 5);
        let ends_ns = fixture.trigger() + si(row[2]) as u64;
        // The flag may be there before the result that set it.
        fixture.bench.run_until(ends_ns);
        assert_eq!(line.level(), PinState::Low);
        fixture.run_us(1_000);
        fixture.set("ALERT_FLAGS", input.bit);
        let fall = Edge {
            at_ns: ends_ns,
            to: PinState::Low,
        };
        let rise = Edge {
            at_ns: fixture.bench.now_ns(),
            to: PinState::High,
        };
        assert_eq!(line.edges(), [fall, rise], "{input:?}");
    }
}

/// Limits and mask can be written while a single-shot is in progress; what the part does by itself
/// at the moment of the STOP comes first (2.2).
#[test]
fn a_limit_counts_as_it_stands_when_the_conversion_ends() {
    let ends = table("| conversion | begins |");
    for (input, row) in Input::all().into_iter().zip(ends) {
        for early_ns in [1, 0] {
            let fixture = Fixture::enabled();
            fixture.show(input, 0, 5);
            let ends_ns = fixture.trigger() + si(row[2]) as u64;
            fixture.bench.run_until(ends_ns - early_ns);
            fixture.poke(&limit_name(input), word(4));
            fixture.run_us(1_000);
            let expected = if early_ns > 0 { input.bit } else { 0 };
            assert_eq!(fixture.named("ALERT_FLAGS"), expected, "{input:?}");
        }
    }
}

#[test]
fn a_clear_at_the_end_of_a_conversion_clears_what_that_conversion_set() {
    let ends = table("| conversion | begins |");
    for (input, row) in Input::all().into_iter().zip(ends) {
        for early_ns in [1, 0] {
            let fixture = Fixture::enabled();
            fixture.write(input.limit(), word(4));
            fixture.show(input, 0, 5);
            let ends_ns = fixture.trigger() + si(row[2]) as u64;
            fixture.bench.run_until(ends_ns - early_ns);
            fixture.poke("ALERT_FLAGS", 0xFFFF);
            fixture.run_us(1_000);
            let expected = if early_ns > 0 { input.bit } else { 0 };
            assert_eq!(fixture.named("ALERT_FLAGS"), expected, "{input:?}");
        }
    }
}

/// Who waits for a line that cannot fall is told what keeps it.
#[test]
fn what_keeps_the_line_high_is_named() {
    use embedded_hal_async::digital::Wait;
    let fixture = Fixture::enabled();
    let mut line = fixture.bench.alert(&fixture.part, Output::Alert);
    let mut kept = |mask: u16| {
        fixture.set("MASK", mask);
        let waited = fixture.bench.block_on(async { line.wait_for_low().await });
        waited.expect_err("a deadlock").to_string()
    };
    assert!(kept(0).ends_with("(no flag reaches it)"));
    assert!(kept(bits(15)).ends_with("(nothing is converted)"));
}
