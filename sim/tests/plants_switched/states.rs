//! Switches, sources and chargers in every state; loads that cannot be.

use super::*;

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
    assert_eq!(switch.is_set_high(), Ok(true));
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

/// Closed from one moment to the other, and never where that is none; 2 A that fall to nothing in
/// 2 ns come as it closes, which is before all time if it is closed from time 0 on.
#[test]
fn a_load_between_two_moments_is_on_in_between() {
    for (closes_ns, opens_ns, on_ns) in [
        (0, u64::MAX, 20),
        (0, 5, 5),
        (1, 9, 8 + 2),
        (5, u64::MAX, 15 + 2),
        (0, 0, 0),
        (5, 5, 0),
        (9, 5, 0),
    ] {
        let inrush = Inrush {
            peak_na: 2 * AMPERE,
            length_ns: 2,
        };
        let load = Load::of(constant(AMPERE)).with_inrush(inrush);
        let load = load.between(closes_ns, opens_ns);
        let mut rail = Switched::new(volts(5), vec![load]).expect("rail");
        let charge = rail.truth(20).charge_half_na_ns;
        assert_eq!(
            charge,
            2 * on_ns * i128::from(AMPERE),
            "{closes_ns} {opens_ns}"
        );
    }
}

/// A rail that is asked for windows alone knows of its switch, too.
#[test]
fn windows_alone_see_the_source_come_and_go() {
    let bench = Bench::new(0);
    let mut main = Switch::open(bench.clock());
    let rail = Switched::new(volts(5), vec![Load::of(constant(AMPERE))]);
    let mut rail = rail.expect("rail").fed_through(&main);
    let mut seen = Vec::new();
    for closed in [false, true, false] {
        main.set_state(closed.into()).expect("never fails");
        bench.run_for(Duration::from_nanos(100));
        let now_ns = bench.now_ns();
        seen.push(rail.window(now_ns - 100, now_ns).voltage_nv);
    }
    assert_eq!(seen, [0.0, 5e9, 0.0]);
}

/// Parted from its source a capacitor keeps its charge: it comes back as if nothing had been. 1 nF
/// would lose a volt in a second to a nanoampere.
#[test]
fn a_parted_source_leaves_a_capacitor_alone() {
    let bench = Bench::new(0);
    let mut main = Switch::open(bench.clock());
    let load = Load::capacitor(1_000, 1_000_000_000, 5 * VOLT).expect("capacitor");
    let rail = Switched::new(volts(5), vec![load]).expect("rail");
    let mut rail = rail.fed_through(&main);
    bench.run_until(10_000_000_000);
    assert_eq!(rail.truth(10_000_000_000).charge_half_na_ns, 0);
    main.set_high().expect("never fails");
    bench.run_until(11_000_000_000);
    assert_eq!(rail.extremes(11_000_000_000).current_na_max, 0);
    assert_eq!(rail.extremes(11_000_000_000).current_na_min, 0);
}

/// "Sets its current until the next look": what is switched meanwhile changes nothing of it. What
/// it could ever feed is its own greatest current.
#[test]
fn a_charger_holds_its_current_between_looks() {
    let bench = Bench::new(0);
    let charger = Charger {
        trickle_na: 1_000_000,
        trickle_below_nv: 3 * VOLT,
        bulk_na: 100_000_000,
        full_nv: 4_200_000_000,
        least_na: 0,
    };
    let table = [(0, 2_500_000_000), (1_000_000, 4_200_000_000)];
    let cell = Source::cell(Cell::new(400, 990_000, &table).expect("cell"));
    let source = cell.behind_microohms(500_000).expect("impedance");
    let mut other = Switch::open(bench.clock());
    let loads = vec![
        Load::charger(charger).expect("charger"),
        Load::of(constant(1_000)).behind(&other),
    ];
    let mut rail = Switched::new(source, loads).expect("rail");
    let bounds = rail.bounds();
    assert_eq!((bounds.least, bounds.greatest), (-100_000_000, 1_000));
    let mut at = |bench: &Bench, ms: u64| {
        bench.run_until(ms * 1_000_000);
        rail.piece(ms * 1_000_000).expect("a piece").start_na
    };
    let looked = at(&bench, 10);
    bench.run_until(50_000_000);
    other.set_high().expect("never fails");
    assert_eq!(at(&bench, 60), looked + 1_000);
    assert!(at(&bench, 110) > looked + 1_000_000, "the next look");
}
