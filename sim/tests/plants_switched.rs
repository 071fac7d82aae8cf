//! Switched rails against exact rational arithmetic, and control loops that close over a bench.

use core::time::Duration;

use crake_sim::{
    bench::{Bench, Part},
    board::SenseResistor,
    part::corncrake::{Corncrake, Output},
    plant::{
        Cell, Charger, Constant, Inrush, Load, Plant, PlantError, Recorded, Source, Switch,
        Switched,
    },
    rng::Rng,
};
use embedded_hal::{
    digital::{OutputPin, StatefulOutputPin},
    i2c::I2c,
};
use embedded_hal_async::digital::Wait;
use num_bigint::BigInt;
use num_rational::BigRational;

const CONVERSION_NS: u64 = 62_500;
const WAKE_UP_NS: u64 = 150_000;
const AMPERE: i64 = 1_000_000_000;
const VOLT: i64 = 1_000_000_000;

fn exact(value: impl Into<BigInt>) -> BigRational {
    BigRational::from_integer(value.into())
}

/// Rounded to nearest, halves towards plus infinity: the rule of the rail's break points.
fn nearest(value: &BigRational) -> BigRational {
    (value + BigRational::new(1.into(), 2.into())).floor()
}

fn constant(value: i64) -> Constant {
    Constant::new(value).expect("within limits")
}

fn volts(volts: i64) -> Source {
    Source::of(constant(volts * VOLT))
}

/// Straight from (0, `from`) to (`length_ns`, `to`), level from there on, and never rounded.
struct Ramp {
    from: i64,
    to: i64,
    length_ns: u64,
}

impl Ramp {
    fn at(&self, ns: u64) -> BigRational {
        let share = BigRational::new(ns.min(self.length_ns).into(), self.length_ns.into());
        exact(self.from) + (exact(self.to) - exact(self.from)) * share
    }

    fn profile(&self) -> Recorded {
        Recorded::ramp((0, self.from), (self.length_ns, self.to)).expect("a ramp")
    }
}

/// Charge and energy of a rail by its definition, in whole rationals: a ramp of current always on,
/// constant loads behind switches, a ramp of voltage behind an impedance.
struct Definition {
    load: Ramp,
    source: Ramp,
    impedance_uohm: u64,
    switched_na: Vec<i64>,
}

impl Definition {
    /// Current and voltage where a piece begins or ends, rounded as the rail's documentation says.
    /// The loads were asked at `asked_ns` and answered with a straight line from there to the end
    /// of the ramp.
    fn ends(&self, asked_ns: u64, at_ns: u64, on: &[bool]) -> [BigRational; 2] {
        let switched = on.iter().zip(&self.switched_na).filter(|(on, _)| **on);
        let switched: i64 = switched.map(|(_, na)| na).sum();
        let start = nearest(&self.load.at(asked_ns));
        let ramp = if asked_ns < self.load.length_ns {
            let length = exact(self.load.length_ns - asked_ns);
            let change = exact(self.load.to) - &start;
            nearest(&(start + change * exact(at_ns - asked_ns) / length))
        } else {
            start
        };
        let current = ramp + exact(switched);
        let drop = &current * exact(self.impedance_uohm) / exact(1_000_000);
        let voltage = nearest(&self.source.at(at_ns)) - nearest(&drop);
        [current, voltage]
    }

    /// Charge in halves and energy in sixths until `until_ns`; `changes` are the moments from which
    /// the switches are as listed, the first of them 0.
    fn totals(&self, changes: &[(u64, Vec<bool>)], until_ns: u64) -> [BigRational; 2] {
        let mut totals = [exact(0), exact(0)];
        for (index, (changed_ns, on)) in changes.iter().enumerate() {
            let next_ns = changes.get(index + 1).map_or(u64::MAX, |next| next.0);
            let mut from_ns = *changed_ns;
            while from_ns < next_ns.min(until_ns) {
                // Straight up to where a ramp ends, if that is still ahead.
                let ramps = [self.load.length_ns, self.source.length_ns];
                let ends = ramps.into_iter().filter(|&end| end > from_ns).min();
                let line_to_ns = ends.unwrap_or(from_ns + 1_000_000_000_000);
                let held_to_ns = line_to_ns.min(next_ns).min(until_ns);
                let asked_ns = match self.load.length_ns {
                    end if end <= from_ns => end.max(*changed_ns),
                    _ => *changed_ns,
                };
                let [i0, v0] = self.ends(asked_ns, from_ns, on);
                let [i1, v1] = self.ends(asked_ns, line_to_ns, on);
                let length = exact(line_to_ns - from_ns);
                let (a, b) = ((i1 - &i0) / &length, (v1 - &v0) / &length);
                let x = exact(held_to_ns - from_ns);
                totals[0] += exact(2) * &i0 * &x + &a * &x * &x;
                totals[1] += exact(6) * &i0 * &v0 * &x
                    + exact(3) * (&i0 * &b + &v0 * &a) * &x * &x
                    + exact(2) * a * b * &x * &x * &x;
                from_ns = held_to_ns;
            }
        }
        totals
    }
}

/// Goal: truth is the integral of the definition wherever switches act, whenever and however often
/// anybody asks. Method: random rails; random moments at which up to three switches change or the
/// truth is asked for, now or up to 1 ms back. Each cut may round its total once, by half a unit.
#[test]
fn truth_of_switched_rails_is_the_integral_by_definition() {
    for seed in 0..40 {
        let mut dice = Rng::new(seed).stream("switched rails");
        let mut within = |least: i64, greatest: i64| {
            least + dice.below((greatest - least + 1).unsigned_abs()) as i64
        };
        let flat = within(0, 2) == 0;
        let mut ramp = |most: i64| {
            let (from, to) = (within(-most, most), within(-most, most));
            Ramp {
                from,
                to: if flat { from } else { to },
                length_ns: within(1, 40_000_000).unsigned_abs(),
            }
        };
        let definition = Definition {
            load: ramp(3 * AMPERE),
            source: ramp(20 * VOLT),
            impedance_uohm: within(0, 500_000).unsigned_abs(),
            switched_na: (0..3).map(|_| within(-AMPERE, 5 * AMPERE)).collect(),
        };
        let bench = Bench::new(seed);
        let mut on: Vec<bool> = (0..3).map(|_| within(0, 1) == 1).collect();
        let mut switches: Vec<Switch> = on
            .iter()
            .map(|&on| {
                if on {
                    Switch::closed(bench.clock())
                } else {
                    Switch::open(bench.clock())
                }
            })
            .collect();
        let mut loads = vec![Load::of(definition.load.profile())];
        for (switch, &na) in switches.iter().zip(&definition.switched_na) {
            loads.push(Load::of(constant(na)).behind(switch));
        }
        let source = Source::of(definition.source.profile());
        let source = source
            .behind_microohms(definition.impedance_uohm)
            .expect("impedance");
        let mut rail = Switched::new(source, loads).expect("rail");

        let mut changes = vec![(0, on.clone())];
        for _ in 0..60 {
            bench.run_for(Duration::from_nanos(within(0, 1_500_000).unsigned_abs()));
            let now_ns = bench.now_ns();
            let which = within(0, 5) as usize;
            if let Some(switch) = switches.get_mut(which) {
                on[which] = !on[which];
                switch.set_state(on[which].into()).expect("never fails");
                changes.push((now_ns, on.clone()));
                continue;
            }
            let back_ns = within(0, 1_000_000).unsigned_abs();
            let asked = if which == 3 {
                [now_ns, now_ns.saturating_sub(back_ns)]
            } else {
                [now_ns; 2]
            };
            for at_ns in asked {
                let truth = rail.truth(at_ns);
                let expected = definition.totals(&changes, at_ns);
                let cuts = if flat { 0 } else { changes.len() };
                let tolerance = BigRational::new(cuts.into(), 2.into());
                let got = [truth.charge_half_na_ns, truth.energy_sixth_na_nv_ns];
                for (got, expected) in got.into_iter().zip(expected) {
                    let apart = exact(got) - &expected;
                    assert!(
                        apart <= tolerance && -apart <= tolerance,
                        "seed {seed} at {at_ns}: {got} for {expected}"
                    );
                }
            }
        }
    }
}

fn with_rail(bench: &Bench, rail: Switched) -> Part {
    let part = bench.part(Corncrake::ideal(0x32)).expect("free");
    part.rail(0, rail, SenseResistor::ideal(10_000_000))
        .expect("channel");
    write(bench, &[0x05, 0x01]);
    part
}

fn write(bench: &Bench, bytes: &[u8]) {
    bench.i2c().write(0x32, bytes).expect("acknowledged");
}

/// Starts a pace, and gives the moment at which the first conversion begins.
fn run(bench: &Bench, mode: u8) -> u64 {
    write(bench, &[0x04, mode]);
    bench.now_ns() + WAKE_UP_NS
}

fn code(bench: &Bench, pointer: u8) -> i32 {
    let mut bytes = [0; 3];
    let width = if pointer < 0x64 { 3 } else { 2 };
    bench
        .i2c()
        .write_read(0x32, &[pointer], &mut bytes[..width])
        .expect("acknowledged");
    let [high, middle, low] = bytes;
    if width == 3 {
        i32::from_be_bytes([high, middle, low, 0]) >> 8
    } else {
        i32::from(u16::from_be_bytes([high, middle]))
    }
}

/// 1 A in 10 mΩ is sense code 20 000. The load goes at a quarter of the aperture and a second of
/// 0.6 A comes at a half: 20 000/4 + 12 000/2 = 11 000. Truths asked for in between must not
/// disturb it, nor be disturbed.
#[test]
fn an_aperture_in_which_switches_change_is_the_mean_of_its_parts() {
    for asks in [false, true] {
        let bench = Bench::new(0);
        let mut first = Switch::closed(bench.clock());
        let mut second = Switch::open(bench.clock());
        let loads = vec![
            Load::of(constant(AMPERE)).behind(&first),
            Load::of(constant(600_000_000)).behind(&second),
        ];
        let source = volts(5).behind_microohms(1_000_000).expect("1 Ω");
        let part = with_rail(&bench, Switched::new(source, loads).expect("rail"));
        let began_ns = run(&bench, 0x11);
        let ask = || asks.then(|| part.truth(0).expect("channel").charge_half_na_ns / 2);
        for at_ns in [0, 10_000] {
            bench.run_until(began_ns + at_ns);
            ask();
        }
        bench.run_until(began_ns + CONVERSION_NS / 4);
        let before = ask();
        first.set_low().expect("never fails");
        assert_eq!(ask(), before);
        bench.run_until(began_ns + CONVERSION_NS / 2);
        assert_eq!(ask(), before, "nothing flows");
        second.set_high().expect("never fails");
        bench.run_until(began_ns + CONVERSION_NS);
        let flowed = i128::from(AMPERE) * i128::from(began_ns + CONVERSION_NS / 4)
            + 600_000_000 * i128::from(CONVERSION_NS / 2);
        assert_eq!(
            part.truth(0).expect("channel").charge_half_na_ns / 2,
            flowed
        );
        // The rail conversion that follows sees 5 V less 0.6 V.
        bench.run_for(Duration::from_millis(1));
        assert_eq!((code(&bench, 0x60), code(&bench, 0x64)), (11_000, 4_400));
    }
}

/// The whole loop: a limit is crossed, the line falls, firmware opens the switch, the next
/// conversion shows it.
#[test]
fn a_load_that_firmware_sheds_is_gone() {
    let bench = Bench::new(0);
    let mut pump = Switch::closed(bench.clock());
    let loads = vec![
        Load::of(constant(100_000_000)),
        Load::of(constant(2 * AMPERE)).behind(&pump),
    ];
    let part = with_rail(&bench, Switched::new(volts(5), loads).expect("rail"));
    let mut alert = bench.alert(&part, Output::A);
    write(&bench, &[0x12, 0x00, 0x4E, 0x20]); // 1 A
    write(&bench, &[0x34, 0x70, 0x00, 0x00]);
    write(&bench, &[0x35, 0x00, 0x00, 0x04]);
    let began_ns = run(&bench, 0x11);
    bench
        .block_on(async {
            alert.wait_for_low().await.expect("never fails");
            pump.set_low().expect("never fails");
            assert_eq!(bench.now_ns(), began_ns + CONVERSION_NS);
            alert.wait_for_high().await.expect("never fails");
            assert_eq!(bench.now_ns(), began_ns + 2_000_000 + CONVERSION_NS);
        })
        .expect("no stall");
    assert_eq!(code(&bench, 0x60), 2_000);
    let flowed = 100_000_000 * i128::from(bench.now_ns())
        + 2 * i128::from(AMPERE) * i128::from(began_ns + CONVERSION_NS);
    assert_eq!(
        part.truth(0).expect("channel").charge_half_na_ns / 2,
        flowed
    );
}

#[test]
fn an_inrush_comes_with_each_closing_and_not_before_time_0() {
    let bench = Bench::new(0);
    let mut radio = Switch::closed(bench.clock());
    let inrush = Inrush {
        peak_na: 4 * AMPERE,
        length_ns: 1_000,
    };
    let load = Load::of(constant(AMPERE))
        .behind(&radio)
        .with_inrush(inrush);
    let mut rail = Switched::new(volts(5), vec![load]).expect("rail");
    bench.run_until(10_000);
    let half = |charge: i64| 2 * i128::from(charge);
    assert_eq!(rail.truth(10_000).charge_half_na_ns, half(10_000 * AMPERE));
    radio.set_high().expect("never fails");
    assert_eq!(
        rail.extremes(10_000).current_na_max,
        AMPERE,
        "it was closed"
    );
    radio.set_low().expect("never fails");
    bench.run_until(20_000);
    radio.set_high().expect("never fails");
    // From 4 A straight to nothing in 1 µs is 2 A for 1 µs; half of it is 3 A for 0.5 µs.
    assert_eq!(
        rail.truth(20_500).charge_half_na_ns,
        half((10_500 + 3 * 500) * AMPERE)
    );
    bench.run_until(21_000);
    assert_eq!(
        rail.truth(21_000).charge_half_na_ns,
        half((11_000 + 2_000) * AMPERE)
    );
    assert_eq!(rail.extremes(21_000).current_na_max, 5 * AMPERE);
    // Opened in the middle of the next one, the rest of it is not.
    radio.set_low().expect("never fails");
    bench.run_until(30_000);
    radio.set_high().expect("never fails");
    bench.run_until(30_500);
    radio.set_low().expect("never fails");
    bench.run_until(40_000);
    assert_eq!(
        rail.truth(40_000).charge_half_na_ns,
        half((13_000 + 500 + 1_500) * AMPERE)
    );
}

#[test]
fn a_stuck_switch_does_not_follow_its_pin() {
    let bench = Bench::new(0);
    let mut switch = Switch::closed(bench.clock());
    let load = Load::of(constant(AMPERE)).behind(&switch);
    let mut rail = Switched::new(volts(5), vec![load]).expect("rail");
    bench.run_until(100);
    switch.stick(true);
    switch.set_low().expect("never fails");
    assert_eq!((switch.is_set_low(), switch.is_closed()), (Ok(true), true));
    assert_eq!(format!("{switch:?}"), "Switch(closed, stuck; pin: open)");
    bench.run_until(200);
    switch.mend();
    assert_eq!(format!("{switch:?}"), "Switch(open)");
    bench.run_until(300);
    switch.stick(false);
    switch.set_high().expect("never fails");
    bench.run_until(400);
    assert_eq!(
        rail.truth(400).charge_half_na_ns,
        2 * 200 * i128::from(AMPERE)
    );
}

/// Current and voltage of a rail whose source is parted are zero, whatever its loads would draw; a
/// cell keeps its charge.
#[test]
fn a_source_behind_an_open_switch_feeds_nothing() {
    let bench = Bench::new(0);
    let mut main = Switch::open(bench.clock());
    let cell =
        Cell::new(1_000_000, 500_000, &[(0, 3 * VOLT), (1_000_000, 4 * VOLT)]).expect("cell");
    let full = 2 * 500 * 1_000_000_i128 * 3_600_000_000_000;
    let rail = Switched::new(Source::cell(cell.clone()), vec![Load::of(constant(AMPERE))]);
    let mut rail = rail.expect("rail").fed_through(&main);
    let mut twin = Switched::new(Source::cell(cell), vec![Load::of(constant(AMPERE))])
        .expect("rail")
        .fed_through(&main);
    bench.run_until(1_000_000_000);
    let parted = rail.window(999_000_000, 1_000_000_000);
    assert_eq!((parted.current_na, parted.voltage_nv), (0.0, 0.0));
    assert_eq!(rail.cell_left_half_na_ns(1_000_000_000), Some(full));
    main.set_high().expect("never fails");
    bench.run_until(1_000_000_100);
    let fed = rail.window(1_000_000_000, 1_000_000_100);
    assert_eq!(fed.current_na, AMPERE as f64);
    assert!((3.4e9..=3.5e9).contains(&fed.voltage_nv));
    main.set_low().expect("never fails");
    bench.run_until(2_000_000_000);
    let left = full - 2 * 100 * i128::from(AMPERE);
    assert_eq!(rail.cell_left_half_na_ns(2_000_000_000), Some(left));
    // A rail that nobody asked meanwhile comes to the same.
    assert_eq!(twin.cell_left_half_na_ns(2_000_000_000), Some(left));
    assert_eq!(rail.extremes(2_000_000_000).voltage_nv_min, 0);
}

#[test]
fn a_state_that_lasts_no_time_leaves_no_trace() {
    let bench = Bench::new(0);
    let mut switch = Switch::open(bench.clock());
    let load = Load::of(constant(AMPERE)).behind(&switch);
    let mut rail = Switched::new(volts(5), vec![load]).expect("rail");
    for at_ns in [0, 50] {
        bench.run_until(at_ns);
        switch.set_high().expect("never fails");
        switch.set_low().expect("never fails");
    }
    bench.run_until(100);
    assert_eq!(rail.truth(100).charge_half_na_ns, 0);
    assert_eq!(rail.extremes(100).current_na_max, 0);

    let bench = Bench::new(0);
    let mut switch = Switch::closed(bench.clock());
    let main = Switch::open(bench.clock());
    let rail = || Switched::new(volts(5), vec![Load::of(constant(AMPERE)).behind(&switch)]);
    let mut opened = rail().expect("rail");
    let mut parted = rail().expect("rail").fed_through(&main);
    switch.set_low().expect("never fails");
    assert_eq!(opened.extremes(100).current_na_max, 0);
    assert_eq!(parted.extremes(100).voltage_nv_max, 0);
}

/// A rail that was asked about what is still ahead of its switches' clock has answered: nothing
/// changes before that.
#[test]
fn what_was_answered_stays_so() {
    let bench = Bench::new(0);
    let mut switch = Switch::open(bench.clock());
    let base = Recorded::steps(0, &[(500, AMPERE)]).expect("steps");
    let loads = vec![Load::of(base), Load::of(constant(AMPERE)).behind(&switch)];
    let mut rail = Switched::new(volts(5), loads).expect("rail");
    let half = |charge: i64| 2 * i128::from(charge);
    assert_eq!(rail.truth(600).charge_half_na_ns, half(100 * AMPERE));
    switch.set_high().expect("never fails");
    let earliest = rail.truth(500).charge_half_na_ns;
    assert_eq!(earliest, 0);
    assert_eq!(rail.truth(1_000).charge_half_na_ns, half(2 * 500 * AMPERE));
}

/// The charger's rule worked out in rationals, step by step of 100 ms: an empty cell takes trickle,
/// then bulk, then less and less until nothing. 0.4 mAh between 2.5 and 4.2 V; 0.5 Ω.
#[test]
fn a_charger_trickles_then_fills_and_tapers() {
    let charger = Charger {
        trickle_na: 1_000_000,
        trickle_below_nv: 3 * VOLT,
        bulk_na: 100_000_000,
        full_nv: 4_200_000_000,
        least_na: 5_000_000,
    };
    let capacity = exact(400_000) * exact(3_600_000_000_000_i64);
    let bench = Bench::new(0);
    let cell = Cell::new(
        400,
        290_000,
        &[(0, 2_500_000_000), (1_000_000, 4_200_000_000)],
    )
    .expect("cell");
    let source = Source::cell(cell)
        .behind_microohms(500_000)
        .expect("impedance");
    let mut plug = Switch::closed(bench.clock());
    let load = Load::charger(charger).expect("charger").behind(&plug);
    let mut rail = Switched::new(source, vec![load]).expect("rail");

    let step_ns = 100_000_000_u64;
    let mut left = &capacity * BigRational::new(29.into(), 100.into());
    let mut phases = Vec::new();
    let mut flowed = exact(0);
    for step in 0..400_u64 {
        let open = nearest(&(exact(2_500_000_000_i64) + exact(1_700_000_000) * &left / &capacity));
        let taper = nearest(&((exact(charger.full_nv) - &open) * exact(2)));
        let (phase, current) = if open < exact(charger.trickle_below_nv) {
            ("trickle", exact(charger.trickle_na))
        } else if taper >= exact(charger.bulk_na) {
            ("bulk", exact(charger.bulk_na))
        } else if taper >= exact(charger.least_na) {
            ("taper", taper)
        } else {
            ("full", exact(0))
        };
        if phases.last() != Some(&phase) {
            phases.push(phase);
        }
        flowed -= &current * exact(step_ns);
        left += &current * exact(step_ns);
        let at_ns = (step + 1) * step_ns;
        bench.run_until(at_ns);
        let means = rail.window(at_ns - 1_000, at_ns);
        assert_eq!(exact(-means.current_na as i64), current, "step {step}");
        assert_eq!(
            exact(rail.truth(at_ns).charge_half_na_ns),
            exact(2) * &flowed
        );
    }
    assert_eq!(phases, ["trickle", "bulk", "taper", "full"]);
    // 100 mA for 100 ms raise this cell by 12 mV.
    let over_nv = rail.extremes(bench.now_ns()).voltage_nv_max - charger.full_nv;
    assert!((0..12_000_000).contains(&over_nv), "{over_nv}");
    plug.set_low().expect("never fails");
}

#[test]
fn loads_that_cannot_be_are_refused() {
    let bench = Bench::new(0);
    let switch = Switch::open(bench.clock());
    let new = |loads| Switched::new(volts(5), loads).err();
    assert_eq!(new(vec![]), Some(PlantError::Empty));
    let load = |peak_na, length_ns| {
        let load = Load::of(constant(400 * AMPERE)).behind(&switch);
        load.with_inrush(Inrush { peak_na, length_ns })
    };
    assert_eq!(new(vec![load(AMPERE, 0)]), Some(PlantError::PulseShape));
    // An open switch may close: what could flow counts.
    let beyond = Some(PlantError::Value(1_100 * AMPERE));
    assert_eq!(new(vec![load(700 * AMPERE, 1)]), beyond);
    assert!(new(vec![load(600 * AMPERE, 1)]).is_none());
}
