//! Sections 3.2 to 3.4: configuration, trigger, BUSY, DONE and over-range bits.

use crate::moorhen::{
    datasheet::{Input, both, busy, command, done, enable, pointer, timing_ns},
    fixture::{Fixture, word},
};

/// All results and STATUS, at this very moment.
fn seen(fixture: &Fixture) -> Vec<u16> {
    let results = Input::all().into_iter().map(|input| input.result());
    let pointers = results.chain([pointer("STATUS")]);
    let words = pointers.map(|at| fixture.peek(at).expect("it answers"));
    words.collect()
}

#[test]
fn results_over_range_bits_busy_and_done_change_in_one_moment() {
    let fixture = Fixture::enabled();
    let inputs = Input::all();
    let end_ns = timing_ns("single-shot of two channels");
    let first = [10, 20, 30, 40].map(word);
    // The first and the last over range.
    let second = [2_047, 21, -31, 4_095].map(word);
    let over_range = inputs[0].bit | inputs[3].bit;

    fixture.steady(0, 10.0 * 36e3, 20.0 * 7e6);
    fixture.steady(1, 30.0 * 36e3, 40.0 * 7e6);
    for (before, before_over, after, after_over) in
        [([0; 4], 0, first, 0), (first, 0, second, over_range)]
    {
        let began_ns = fixture.trigger();
        let mut expected = before.to_vec();
        expected.push(busy() | before_over);
        for ns in [0, 1, 90_000, 260_000, 430_000, 600_000, end_ns - 1] {
            fixture.bench.run_until(began_ns + ns);
            assert_eq!(seen(&fixture), expected, "{ns} ns after the trigger");
        }
        fixture.bench.run_until(began_ns + end_ns);
        let mut expected = after.to_vec();
        expected.push(done() | after_over);
        assert_eq!(seen(&fixture), expected);
        fixture.run_us(10_000);
        assert_eq!(seen(&fixture), expected);
        fixture.steady(0, 1e9, 21.0 * 7e6);
        fixture.steady(1, -31.0 * 36e3, 1e12);
    }
}

/// Both ends of every input, in both ranges. A rail voltage below zero is not over range.
#[test]
fn over_range_bits_are_those_of_the_last_single_shot() {
    for input in Input::all() {
        let (least, greatest) = input.ends();
        for range in [0, 1] {
            let fixture = Fixture::ideal();
            fixture.set("CONFIGURATION", both() | (input.bit * range as u16));
            let over = if input.is_sense { input.bit } else { 0 };
            for (code, found, bits) in [
                (greatest, greatest, 0),
                (greatest + 1, greatest, input.bit),
                (least, least, 0),
                (least - 1, least, over),
                (0, 0, 0),
            ] {
                fixture.show(input, range, code);
                fixture.shoot();
                assert_eq!(fixture.code(input), found);
                let status = fixture.named("STATUS");
                assert_eq!(status, done() | bits, "{input:?} {range} {code}");
                // Clearing DONE leaves them.
                fixture.set("STATUS", done());
                assert_eq!(fixture.named("STATUS"), bits);
            }
        }
    }
}

/// What a host learns that clears DONE and triggers, with each of the two writes lost or not.
#[test]
fn a_host_that_clears_done_and_triggers_never_takes_an_old_result_for_a_new_one() {
    for (clear_arrives, trigger_arrives) in
        [(true, true), (true, false), (false, true), (false, false)]
    {
        let fixture = Fixture::enabled();
        fixture.steady(0, 10.0 * 36e3, 0.0);
        fixture.shoot();
        assert_eq!(fixture.named("STATUS"), done());
        fixture.steady(0, 11.0 * 36e3, 0.0);
        if clear_arrives {
            fixture.set("STATUS", done());
        }
        // What the document tells a host to read that must exclude that both are lost.
        let cleared = fixture.named("STATUS") & done() == 0;
        assert_eq!(cleared, clear_arrives);
        if trigger_arrives {
            fixture.trigger();
            assert_eq!(fixture.named("STATUS"), busy());
        }
        fixture.run_us(1_000);
        let status = fixture.named("STATUS");
        let looks_done = status & done() != 0 && status & busy() == 0;
        let is_new = fixture.codes()[0] == 11;
        assert_eq!(is_new, trigger_arrives);
        // Old results look new where both were lost, and there alone.
        assert_eq!(looks_done, trigger_arrives || !clear_arrives);
    }
}

#[test]
fn writing_status_clears_done_by_its_own_bit_and_does_nothing_else() {
    let fixture = Fixture::enabled();
    fixture.steady(0, 1e9, 1e12);
    fixture.shoot();
    let status = fixture.named("STATUS");
    assert_eq!(status & done(), done());
    assert_ne!(status & Input::bits(), 0);
    for bit in (0..16).map(|bit| 1 << bit).filter(|&bit| bit != done()) {
        fixture.set("STATUS", bit);
        assert_eq!(fixture.named("STATUS"), status, "{bit:#06x}");
    }
    fixture.set("STATUS", !done());
    assert_eq!(fixture.named("STATUS"), status);
    fixture.set("STATUS", 0xFFFF);
    assert_eq!(fixture.named("STATUS"), status & !done());
    // While busy it changes nothing: not what is to come, nor what stands.
    let began_ns = fixture.trigger();
    fixture.run_us(200);
    fixture.set("STATUS", 0xFFFF);
    assert_eq!(fixture.named("STATUS"), (status & !done()) | busy());
    let length_ns = timing_ns("single-shot of two channels");
    fixture.bench.run_until(began_ns + length_ns);
    assert_eq!(fixture.named("STATUS"), status);
    assert_eq!(fixture.part.conversions(), 8);
}

/// What the part does by itself at the moment of a STOP comes before the write (2.2).
#[test]
fn a_clear_at_the_very_end_of_a_single_shot_clears_its_done() {
    let length_ns = timing_ns("single-shot of two channels");
    for early_ns in [1, 0] {
        let fixture = Fixture::enabled();
        let began_ns = fixture.trigger();
        fixture.bench.run_until(began_ns + length_ns - early_ns);
        fixture.poke("STATUS", done());
        fixture.run_us(10);
        let expected = if early_ns > 0 { done() } else { 0 };
        assert_eq!(fixture.named("STATUS"), expected);
    }
}

#[test]
fn a_trigger_while_busy_is_ignored_and_one_at_the_end_is_not() {
    let length_ns = timing_ns("single-shot of two channels");
    for early_ns in [600_000, 1, 0] {
        let fixture = Fixture::enabled();
        let began_ns = fixture.trigger();
        fixture.bench.run_until(began_ns + length_ns - early_ns);
        fixture.poke("TRIGGER", command("TRIGGER"));
        fixture.bench.run_until(began_ns + length_ns);
        let expected = if early_ns > 0 { done() } else { busy() };
        assert_eq!(fixture.peek(pointer("STATUS")), Some(expected));
        fixture.run_us(2_000);
        let conversions = if early_ns > 0 { 4 } else { 8 };
        assert_eq!(fixture.part.conversions(), conversions);
    }
}

#[test]
fn a_trigger_without_an_enabled_channel_is_ignored_and_leaves_done() {
    let fixture = Fixture::enabled();
    fixture.shoot();
    for ranges in [0, Input::bits()] {
        fixture.set("CONFIGURATION", ranges);
        fixture.trigger();
        assert_eq!(fixture.named("STATUS"), done());
        assert_eq!(fixture.part.next_event_ns(), None);
    }
}

#[test]
fn configuration_is_not_written_while_a_single_shot_is_in_progress() {
    let length_ns = timing_ns("single-shot of two channels");
    for early_ns in [760_000, 300_000, 1, 0] {
        let fixture = Fixture::enabled();
        fixture.steady(1, 100.0 * 36e3, 100.0 * 7e6);
        let began_ns = fixture.trigger();
        fixture.bench.run_until(began_ns + length_ns - early_ns);
        fixture.poke("CONFIGURATION", enable(0) | Input::bits());
        fixture.run_us(2_000);
        assert_eq!(fixture.codes(), [0, 0, 100, 100]);
        let expected = if early_ns > 0 {
            both()
        } else {
            enable(0) | Input::bits()
        };
        assert_eq!(fixture.named("CONFIGURATION"), expected);
    }
}

#[test]
fn a_write_to_configuration_changes_nothing_else() {
    let fixture = Fixture::enabled();
    for channel in 0..2 {
        fixture.steady(channel, 1e9, 100.0 * 7e6);
    }
    for input in Input::all() {
        fixture.write(input.limit(), word(9));
    }
    fixture.set("MASK", Input::bits());
    fixture.shoot();
    let before = seen(&fixture);
    fixture.set("CONFIGURATION", Input::bits());
    assert_eq!(seen(&fixture), before);
    assert_eq!(fixture.named("MASK"), Input::bits());
    assert_eq!(fixture.named("ALERT_FLAGS"), Input::bits());
    for input in Input::all() {
        assert_eq!(fixture.read(input.limit()), word(9));
    }
}

#[test]
fn channels_that_are_not_enabled_read_zero_after_the_next_single_shot() {
    for channel in 0..2 {
        let fixture = Fixture::enabled();
        for channel in 0..2 {
            fixture.steady(channel, 1e9, 1e12);
        }
        fixture.shoot();
        let all = [2_047, 4_095, 2_047, 4_095];
        fixture.set("CONFIGURATION", enable(channel));
        assert_eq!(fixture.codes(), all, "results stand until then");
        fixture.shoot();
        let mut expected = [0; 4];
        expected[2 * channel] = 2_047;
        expected[2 * channel + 1] = 4_095;
        assert_eq!(fixture.codes(), expected);
        let own = Input::all();
        let own = own[2 * channel].bit | own[2 * channel + 1].bit;
        assert_eq!(fixture.named("STATUS"), done() | own);
    }
}

#[test]
fn each_range_bit_is_its_own_input_s() {
    for input in Input::all() {
        let fixture = Fixture::ideal();
        fixture.set("CONFIGURATION", both() | input.bit);
        for other in Input::all() {
            fixture.show(other, 0, 100);
            fixture.shoot();
            // The narrow range is four times as fine.
            let code = if other == input { 400 } else { 100 };
            assert_eq!(fixture.code(other), code, "{other:?}, bit of {input:?}");
            assert_eq!(input.lsb_nv(0), 4.0 * input.lsb_nv(1));
        }
    }
}

/// Section 3.2: no reset leaves a channel enabled, so what was configured reads back otherwise.
#[test]
fn every_configuration_that_measures_differs_from_the_reset_state() {
    for configuration in [enable(0), enable(1), both() | Input::bits()] {
        let fixture = Fixture::ideal();
        fixture.set("CONFIGURATION", configuration);
        fixture.shoot();
        assert_eq!(fixture.named("CONFIGURATION"), configuration);
        fixture.part.brown_out();
        fixture.run_us(2_200);
        assert_eq!(fixture.named("CONFIGURATION"), 0);
        fixture.shoot();
        assert_eq!(fixture.named("STATUS"), 0, "DONE does not come");
    }
}
