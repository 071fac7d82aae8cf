//! Sections 3.4 and 5: when things happen, and what is to be seen meanwhile.

use core::cell::RefCell;
use std::rc::Rc;

use crake_sim::{
    bench::{Bench, Step},
    old::moorhen::{Individual, Moorhen},
    part::{Converted, Input as Kind},
    plant::{Means, Plant, Truth},
};

use crate::old_moorhen::{
    common::plants::ohm,
    datasheet::{Input, pointer, si, table, timing_ns},
    desk::{ADDRESS, Desk},
};

/// The table of a single-shot: input, begin and end from the trigger, in nanoseconds.
fn shot() -> Vec<(Input, u64, u64)> {
    let rows = table("| conversion | begins |").into_iter();
    let rows = Input::all().into_iter().zip(rows);
    rows.map(|(input, row)| (input, si(row[1]) as u64, si(row[2]) as u64))
        .collect()
}

/// A plant that notes for which windows it was asked. Its current grows by 1 nA per nanosecond from 0 at time 0.
struct Witness {
    channel: usize,
    windows: Rc<RefCell<Vec<(usize, u64, u64)>>>,
}

impl Plant for Witness {
    fn window(&mut self, from_ns: u64, to_ns: u64) -> Means {
        self.windows
            .borrow_mut()
            .push((self.channel, from_ns, to_ns));
        Means {
            current_na: (from_ns + to_ns) as f64 / 2.0,
            voltage_nv: 0.0,
        }
    }

    fn truth(&mut self, at_ns: u64) -> Truth {
        self.windows.borrow_mut().push((self.channel, at_ns, at_ns));
        Truth::default()
    }
}

#[test]
fn apertures_lie_where_the_table_says_and_so_does_the_skew() {
    let desk = Desk::ideal();
    let windows = Rc::new(RefCell::new(Vec::new()));
    for channel in 0..2 {
        let plant = Witness {
            channel,
            windows: windows.clone(),
        };
        desk.part.rail(channel, plant, ohm()).expect("channel");
    }
    let began_ns = desk.trigger();
    desk.run_us(5_000);
    let expected: Vec<_> = shot()
        .iter()
        .map(|(input, from, to)| (input.channel, began_ns + from, began_ns + to))
        .collect();
    assert_eq!(*windows.borrow(), expected);

    let middle = |i: usize| (expected[i].1 + expected[i].2) / 2;
    let skews = table("| skew | nominal |");
    let skew = |row: usize| skews[row][1].parse::<u64>().expect("a number") * 1_000;
    assert_eq!([middle(1) - middle(0), middle(3) - middle(2)], [skew(0); 2]);
    assert_eq!([middle(2) - middle(0), middle(3) - middle(1)], [skew(1); 2]);
    assert_eq!(expected[3].2 - expected[0].1, skew(2));
    assert_eq!(expected[3].2 - began_ns, timing_ns("single-shot"));
    assert_eq!(expected[0].1 - began_ns, timing_ns("settling"));
    assert_eq!(expected[0].2 - expected[0].1, timing_ns("conversion"));
}

#[test]
fn asking_for_the_truth_within_an_aperture_never_sends_a_plant_back_and_changes_no_code() {
    let codes = |asks: bool| {
        let desk = Desk::ideal();
        let windows = Rc::new(RefCell::new(Vec::new()));
        for channel in 0..2 {
            let plant = Witness {
                channel,
                windows: windows.clone(),
            };
            desk.part.rail(channel, plant, ohm()).expect("channel");
        }
        desk.bench.run_until(10_000_000);
        let began_ns = desk.trigger();
        for step in 1..=120 {
            desk.bench.run_until(began_ns + step * 7_000);
            if asks {
                desk.part.truth(0).expect("channel");
                desk.part.truth(1).expect("channel");
            }
        }
        let windows = windows.borrow();
        let in_order = windows.windows(2).all(|pair| pair[0].2 <= pair[1].1);
        assert!(in_order, "{windows:?}");
        Input::all()
            .into_iter()
            .map(|input| desk.code(input))
            .collect::<Vec<_>>()
    };
    // The middle of the first aperture is 175 µs after the trigger, which ends a little after 10 ms: 10.3 mA or so in 1 Ω.
    let whole = codes(false);
    assert!((280..290).contains(&whole[0]), "{whole:?}");
    assert_eq!(codes(true), whole);
}

#[test]
fn the_bench_steps_through_the_conversions_and_then_the_part_sleeps() {
    let desk = Desk::ideal();
    desk.steady(1, 50.0 * 36e3, 60.0 * 7e6);
    assert_eq!(desk.bench.step(), None);
    let began_ns = desk.trigger();
    for (input, _, end_ns) in shot() {
        let kind = if input.is_sense {
            Kind::Sense
        } else {
            Kind::Rail
        };
        let code = match (input.channel, kind) {
            (1, Kind::Sense) => 50,
            (1, Kind::Rail) => 60,
            _ => 0,
        };
        let converted = Converted {
            channel: input.channel,
            input: kind,
            code,
            clipped: false,
            at_ns: began_ns + end_ns,
        };
        let step = Step {
            address: ADDRESS,
            converted,
        };
        assert_eq!(desk.bench.step(), Some(step));
        assert_eq!(desk.bench.now_ns(), began_ns + end_ns);
    }
    assert_eq!(desk.bench.step(), None);
    assert_eq!(
        (desk.part.conversions(), desk.part.next_event_ns()),
        (4, None)
    );
}

#[test]
fn results_flags_count_and_busy_change_together_when_the_last_conversion_ends() {
    let desk = Desk::ideal();
    let seen = || {
        let results = Input::all().into_iter().map(|input| input.result());
        let words = results.chain([pointer("PROGRESS")]).map(|at| desk.peek(at));
        words.collect::<Option<Vec<u16>>>().expect("it answers")
    };
    let end_ns = timing_ns("single-shot");
    // Channel in bit 15, code from bit 3 on, the count's three bits below (3.5).
    let word = |channel: u16, code: u16, count| channel << 15 | code << 3 | count;
    let reset = [0, 0, word(1, 0, 0), word(1, 0, 0), 0];
    let first = [
        word(0, 10, 1),
        word(0, 20, 1),
        word(1, 30, 1),
        word(1, 40, 1),
        1,
    ];
    // The first and the last clipped: -31 is 4065 of 4096.
    let second = [
        word(0, 2047, 2),
        word(0, 21, 2),
        word(1, 4_065, 2),
        word(1, 4_095, 2),
        0x0242,
    ];

    desk.steady(0, 10.0 * 36e3, 20.0 * 7e6);
    desk.steady(1, 30.0 * 36e3, 40.0 * 7e6);
    for (before, after) in [(reset, first), (first, second)] {
        let began_ns = desk.trigger();
        let busy = {
            let mut busy = before;
            busy[4] |= 0x0400;
            busy
        };
        for ns in [0, 1, 90_000, 260_000, 430_000, 600_000, end_ns - 1] {
            desk.bench.run_until(began_ns + ns);
            assert_eq!(seen(), busy, "{ns} ns after the trigger");
        }
        desk.bench.run_until(began_ns + end_ns);
        assert_eq!(seen(), after);
        desk.run_us(10_000);
        assert_eq!(seen(), after);
        desk.steady(0, 1e9, 21.0 * 7e6);
        desk.steady(1, -31.0 * 36e3, 1e12);
    }
}

#[test]
fn a_trigger_while_busy_is_ignored_and_one_at_the_end_is_not() {
    let desk = Desk::ideal();
    let began_ns = desk.trigger();
    desk.run_us(300);
    desk.set("TRIGGER", 1);
    desk.bench.run_until(began_ns + timing_ns("single-shot"));
    assert_eq!(
        (desk.part.conversions(), desk.part.next_event_ns()),
        (4, None)
    );
    desk.run_us(2_000);
    assert_eq!(desk.named("PROGRESS"), 1);
    desk.shoot();
    assert_eq!(desk.named("PROGRESS"), 2);
}

#[test]
fn the_sequence_count_goes_round_after_64() {
    let desk = Desk::ideal();
    for shots in 1..=130_u16 {
        desk.shoot();
        assert_eq!(desk.named("PROGRESS"), shots % 64);
        assert_eq!(desk.named("BUS_1"), 0x8000 + shots % 8);
    }
}

#[test]
fn ranges_written_during_a_single_shot_wait_for_the_next() {
    for input in Input::all() {
        let desk = Desk::ideal();
        desk.show(input, 0, 100);
        desk.trigger();
        desk.set("RANGES", input.bit);
        desk.run_us(1_000);
        assert_eq!(desk.code(input), 100);
        assert_eq!(desk.named("RANGES"), input.bit);
        desk.shoot();
        // Four times as fine.
        assert_eq!(desk.code(input), 400);
        // The bit is this input's own.
        for other in Input::all().into_iter().filter(|other| *other != input) {
            desk.show(other, 0, 100);
            desk.shoot();
            assert_eq!(desk.code(other), 100, "{other:?} with the bit of {input:?}");
        }
    }
}

#[test]
fn conversions_scale_with_the_oscillator_and_settling_does_not() {
    // 3 % too fast and too slow: 170 µs / 1.03 and / 0.97.
    for conversion_ns in [165_049, 175_257, 1] {
        let individual = Individual {
            conversion_ns,
            ..Individual::ideal()
        };
        let desk = Desk::with(&Bench::new(0), Moorhen::individual(ADDRESS, individual));
        let began_ns = desk.trigger();
        let ends: Vec<u64> = core::iter::from_fn(|| desk.bench.step())
            .map(|step| step.converted.at_ns - began_ns)
            .collect();
        let settling_ns = timing_ns("settling");
        let expected: Vec<u64> = (1..=4).map(|n| settling_ns + n * conversion_ns).collect();
        assert_eq!(ends, expected);
    }
}
