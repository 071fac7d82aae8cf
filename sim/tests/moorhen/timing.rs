//! Section 5: when the part does what, and section 7: what it draws meanwhile.

use core::cell::RefCell;
use std::rc::Rc;

use crake_sim::{
    bench::{Bench, Step},
    part::{
        Converted, Input as Kind,
        moorhen::{Individual, Moorhen},
    },
    plant::{Means, Plant, Truth},
};

use crate::moorhen::{
    common::plants::ohm,
    datasheet::{Input, both, busy, done, enable, pointer, si, table, timing_ns},
    fixture::{ADDRESS, Fixture},
};

/// The table of a single-shot: input, begin and end from the trigger, in nanoseconds.
fn shot() -> Vec<(Input, u64, u64)> {
    let rows = table("| conversion | begins |").into_iter();
    let rows = Input::all().into_iter().zip(rows);
    rows.map(|(input, row)| (input, si(row[1]) as u64, si(row[2]) as u64))
        .collect()
}

/// A plant that notes for which windows it was asked. Its current grows by 1 nA per nanosecond from
/// 0 at time 0.
struct Witness {
    channel: usize,
    windows: Rc<RefCell<Vec<(usize, u64, u64)>>>,
}

impl Plant for Witness {
    fn window(&mut self, from_ns: u64, to_ns: u64) -> Means {
        let mut windows = self.windows.borrow_mut();
        windows.push((self.channel, from_ns, to_ns));
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

/// Channel, from and to of every window that a plant was asked for.
type Windows = Rc<RefCell<Vec<(usize, u64, u64)>>>;

fn witnessed(fixture: &Fixture) -> Windows {
    let windows = Rc::new(RefCell::new(Vec::new()));
    for channel in 0..2 {
        let plant = Witness {
            channel,
            windows: windows.clone(),
        };
        fixture.part.rail(channel, plant, ohm()).expect("channel");
    }
    windows
}

#[test]
fn apertures_lie_where_the_table_says_and_so_does_the_skew() {
    let fixture = Fixture::enabled();
    let windows = witnessed(&fixture);
    let began_ns = fixture.trigger();
    fixture.run_us(5_000);
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
    let whole_ns = timing_ns("single-shot of two channels");
    assert_eq!(expected[3].2 - began_ns, whole_ns);
    assert_eq!(expected[0].1 - began_ns, timing_ns("wake-up"));
    assert_eq!(expected[0].2 - expected[0].1, timing_ns("conversion"));
    let first_ns = timing_ns("not addressable") + whole_ns;
    assert_eq!(timing_ns("first results after a reset"), first_ns);
}

/// A channel that is not enabled takes no time, wherever it stands in the order.
#[test]
fn one_channel_alone_is_converted_right_after_the_wake_up() {
    for channel in 0..2 {
        let fixture = Fixture::ideal();
        fixture.set("CONFIGURATION", enable(channel));
        let windows = witnessed(&fixture);
        let began_ns = fixture.trigger();
        let ends_ns = began_ns + timing_ns("single-shot of one channel");
        fixture.bench.run_until(ends_ns - 1);
        assert_eq!(fixture.peek(pointer("STATUS")), Some(busy()));
        fixture.bench.run_until(ends_ns);
        let status = fixture.peek(pointer("STATUS")).expect("it answers");
        assert_eq!(status & (busy() | done()), done());
        let table = shot();
        let windows = windows.borrow();
        let expected = table[..2]
            .iter()
            .map(|(_, from_ns, to_ns)| (channel, began_ns + from_ns, began_ns + to_ns));
        assert!(windows.iter().copied().eq(expected), "{windows:?}");
    }
}

#[test]
fn asking_for_the_truth_within_an_aperture_never_sends_a_plant_back_and_changes_no_code() {
    let codes = |asks: bool| {
        let fixture = Fixture::enabled();
        let windows = witnessed(&fixture);
        fixture.bench.run_until(10_000_000);
        let began_ns = fixture.trigger();
        for step in 1..=120 {
            fixture.bench.run_until(began_ns + step * 7_000);
            if asks {
                fixture.part.truth(0).expect("channel");
                fixture.part.truth(1).expect("channel");
            }
        }
        let windows = windows.borrow();
        let in_order = windows.windows(2).all(|pair| pair[0].2 <= pair[1].1);
        assert!(in_order, "{windows:?}");
        fixture.codes()
    };
    // The middle of the first aperture is 175 µs after the trigger, which ends a little after
    // 10 ms: 10.3 mA or so in 1 Ω.
    let whole = codes(false);
    assert!((280..290).contains(&whole[0]), "{whole:?}");
    assert_eq!(codes(true), whole);
}

#[test]
fn the_bench_steps_through_the_conversions_and_then_the_part_is_idle() {
    let fixture = Fixture::enabled();
    fixture.steady(1, 50.0 * 36e3, 60.0 * 7e6);
    assert_eq!(fixture.bench.step(), None);
    let began_ns = fixture.trigger();
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
        assert_eq!(fixture.bench.step(), Some(step));
        assert_eq!(fixture.bench.now_ns(), began_ns + end_ns);
    }
    assert_eq!(fixture.bench.step(), None);
    let part = &fixture.part;
    assert_eq!((part.conversions(), part.next_event_ns()), (4, None));
}

#[test]
fn conversions_scale_with_the_oscillator_and_the_wake_up_does_not() {
    // 3 % too fast and too slow: 170 µs / 1.03 and / 0.97.
    for conversion_ns in [165_049, 175_257, 1] {
        let individual = Individual {
            conversion_ns,
            ..Individual::ideal()
        };
        let order = Moorhen::individual(ADDRESS, individual);
        let fixture = Fixture::with(&Bench::new(0), order);
        fixture.set("CONFIGURATION", both());
        let began_ns = fixture.trigger();
        let ends: Vec<u64> = core::iter::from_fn(|| fixture.bench.step())
            .map(|step| step.converted.at_ns - began_ns)
            .collect();
        let wake_up_ns = timing_ns("wake-up");
        let expected = [1, 2, 3, 4].map(|n| wake_up_ns + n * conversion_ns);
        assert_eq!(ends, expected);
        // The waits that section 5 states for the slowest part.
        assert!(ends[1] <= 441_000 && ends[3] <= 792_000);
    }
}

#[test]
fn it_draws_what_section_7_says() {
    let rows = table("| state | typical |");
    let typical = |row: usize| si(rows[row][1]) as u128;
    for (configuration, single_shot) in [
        (both(), "single-shot of two channels"),
        (enable(1), "single-shot of one channel"),
    ] {
        let fixture = Fixture::ideal();
        fixture.set("CONFIGURATION", configuration);
        fixture.run_us(500);
        let began_ns = fixture.trigger();
        fixture.bench.run_until(began_ns + 3_000_000);
        let busy_ns = u128::from(timing_ns(single_shot));
        let idle_ns = u128::from(began_ns + 3_000_000) - busy_ns;
        let expected = typical(0) * idle_ns + typical(1) * busy_ns;
        assert_eq!(fixture.part.supply_charge_na_ns(), expected);
        assert_eq!(fixture.part.supply_energy_na_mv_ns(), expected * 3_300);
    }
}
