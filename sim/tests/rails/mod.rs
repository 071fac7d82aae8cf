//! Rails against exact rational arithmetic, and recorded data against its published sums.

mod definition;

use crake_sim::plant::{
    AfterEnd, Bounds, Cell, Constant, Interpolation, Plant, PlantError, Profile, Pulses, Rail,
    Recorded, Scaled, Section, Source, Sum,
};

use definition::{Definition, Dice, Listed, assert_close, exact};

/// Goal: no rounding anywhere but at break points. Method: random jumps and slopes of load and
/// source, random impedance, random questions in rising time, some reaching over many pieces,
/// against rationals.
#[test]
fn windows_and_truth_are_those_of_exact_arithmetic() {
    const UNTIL: u64 = 500_000;
    for seed in 0..40 {
        let mut dice = Dice(seed);
        let greatest_na = 1 << dice.below(40);
        let load = Listed::random(&mut dice, -greatest_na, greatest_na, UNTIL);
        let source = Listed::random(&mut dice, -1_000_000, 65_536_000_000, UNTIL);
        let impedance = dice.below(500_000);
        let definition = Definition::new(&load, &source, impedance);
        let source = Source::of(source).behind_microohms(impedance).unwrap();
        let mut rail = Rail::new(source, load).unwrap();
        let mut at_ns = 0;
        loop {
            let from_ns = at_ns + dice.of_any_size(16);
            let to_ns = from_ns + 1 + dice.of_any_size(18);
            if to_ns > UNTIL {
                break;
            }
            let means = rail.window(from_ns, to_ns);
            let [current, voltage, _] = definition.integrals(from_ns, to_ns);
            let length = exact(to_ns - from_ns);
            assert_close(means.current_na, &(current / &length), 4 * greatest_na);
            assert_close(means.voltage_nv, &(voltage / &length), 1 << 39);
            assert_eq!(
                rail.truth(to_ns),
                definition.truth(to_ns),
                "seed {seed} at {to_ns}"
            );
            at_ns = to_ns;
        }
        // To the end of a piece, where values are whole.
        let ends = definition.stretches.iter().map(|stretch| stretch.1);
        let end_ns = ends.clone().find(|&end| end >= at_ns).unwrap();
        let seen = rail.extremes(end_ns);
        let held = definition.stretches.iter().filter(|one| one.1 <= end_ns);
        let amps: Vec<_> = held.clone().flat_map(|one| one.2.clone()).collect();
        let volts: Vec<_> = held.flat_map(|one| one.3.clone()).collect();
        let watts: Vec<_> = amps.iter().zip(&volts).map(|(i, v)| i * v).collect();
        for (values, least, greatest) in [
            (amps, exact(seen.current_na_min), exact(seen.current_na_max)),
            (
                volts,
                exact(seen.voltage_nv_min),
                exact(seen.voltage_nv_max),
            ),
            (
                watts,
                exact(seen.power_na_nv_min),
                exact(seen.power_na_nv_max),
            ),
        ] {
            assert_eq!(values.iter().min(), Some(&least), "seed {seed}");
            assert_eq!(values.iter().max(), Some(&greatest), "seed {seed}");
        }
    }
}

/// Goal: a truth asked for in mid-conversion changes nothing. Method: two rails, one asked ahead of
/// each window.
#[test]
fn a_question_may_reach_back_a_millisecond() {
    let rail = || {
        let load = Pulses::new(0, 30_000_000, 200_000, 70_000).unwrap();
        let load = load.with_edges(20_000).unwrap();
        let source = Source::of(Constant::new(3_300_000_000).unwrap());
        Rail::new(source.behind_microohms(100_000).unwrap(), load).unwrap()
    };
    let (mut plain, mut ahead) = (rail(), rail());
    for round in 0..100 {
        let from_ns = round * 125_000;
        let to_ns = from_ns + 62_500;
        ahead.truth(from_ns + 1_000_000);
        assert_eq!(ahead.window(from_ns, to_ns), plain.window(from_ns, to_ns));
        assert_eq!(ahead.truth(to_ns), plain.truth(to_ns));
    }
    // Exactly that far, and a piece further.
    let mut short = {
        let load = Pulses::new(0, 2, 2_000, 1_000).unwrap();
        Rail::new(Source::of(Constant::new(1).unwrap()), load).unwrap()
    };
    short.truth(10_000_000);
    assert_eq!(short.truth(9_000_000).charge_half_na_ns, 2 * 9_000_000);
    assert_eq!(short.truth(8_995_000).charge_half_na_ns, i128::MAX);
    assert_eq!(short.window(9_000_000, 9_004_000).current_na, 1.0);
    assert!(short.window(8_995_000, 9_004_000).current_na.is_nan());
    ahead.truth(1_000_000_000);
    assert!(ahead.window(900_000_000, 900_062_500).current_na.is_nan());
    assert_eq!(ahead.truth(900_000_000).charge_half_na_ns, i128::MAX);
}

/// An aperture may be longer than questions may reach back.
#[test]
fn a_window_may_span_any_number_of_pieces() {
    let load = Pulses::new(0, 3_000, 1_000_000, 250_000).unwrap();
    let source = Source::of(Constant::new(1_000_000).unwrap()).behind_microohms(1_000_000);
    let mut rail = Rail::new(source.unwrap(), load).unwrap();
    let means = rail.window(10_000_000, 60_000_000);
    assert_eq!((means.current_na, means.voltage_nv), (750.0, 999_250.0));
}

/// Published source: tests/data/README.md (PyBaMM 23.5, US06.csv); 505.1161 C both held and by
/// trapezoids, worked out there with a second program.
#[test]
fn one_pass_of_the_drive_cycle_carries_its_charge() {
    let text = include_str!("../../../tests/data/us06_current.csv");
    let points: Vec<(u64, i64)> = text
        .lines()
        .filter(|line| !line.starts_with('#'))
        .map(|line| {
            let (time, current) = line.split_once(',').unwrap();
            let seconds: u64 = time.parse().unwrap();
            let amps: f64 = current.parse().unwrap();
            (seconds * 1_000_000_000, (amps * 1e9).round() as i64)
        })
        .collect();
    assert_eq!(points.len(), 601);
    for interpolation in [Interpolation::Hold, Interpolation::Linear] {
        let load = Recorded::new(points.clone(), interpolation, AfterEnd::Repeat).unwrap();
        let source = Source::of(Constant::new(12_000_000_000).unwrap());
        let mut rail = Rail::new(source, load).unwrap();
        let pass = rail.truth(600_000_000_000);
        let coulombs = pass.charge_half_na_ns as f64 / 2e18;
        assert!((coulombs / 505.1161 - 1.0).abs() < 1e-6, "{coulombs}");
        // At a constant voltage energy is charge × voltage: × 12 V, and × 3 from halves to sixths.
        assert_eq!(
            pass.energy_sixth_na_nv_ns,
            pass.charge_half_na_ns * 3 * 12_000_000_000
        );
        let six_passes = rail.truth(3_600_000_000_000);
        assert_eq!(six_passes.charge_half_na_ns, 6 * pass.charge_half_na_ns);
        let extremes = rail.extremes(3_600_000_000_000);
        // The data's own limits, from its README: -4.21 A to 8.10 A.
        assert_eq!((extremes.current_na_min + 5_000_000) / 10_000_000, -420);
        assert_eq!((extremes.current_na_max + 5_000_000) / 10_000_000, 810);
    }
}

/// Goal: what leaves the cell is what the rail counts, to the last half of a nA·ns, and voltage is
/// the table's at that state.
#[test]
fn a_cell_loses_exactly_what_flows() {
    // 1 Ah at half; 1.8 A for half an hour, then 0.9 A back for half an hour: 0.5 - 0.9 + 0.45 =
    // 0.05 Ah.
    let table = [(0, 3_000_000_000), (1_000_000, 4_000_000_000)];
    let cell = Cell::new(1_000_000, 500_000, &table).unwrap();
    let load = Recorded::steps(1_800_000_000, &[(1_800_000_000_000, -900_000_000)]).unwrap();
    let source = Source::cell(cell).behind_microohms(20_000).unwrap();
    let mut rail = Rail::new(source, load).unwrap();
    let half_ah = 2 * 3_600_000_000_000 * 1_000_000_000_i128;

    let first = rail.piece(0).unwrap();
    // 3.5 V less 1.8 A × 20 mΩ; pieces of a cell last 100 ms, in which 0.18 C of 3600 C cost 50 µV.
    assert_eq!((first.start_nv, first.to_ns), (3_464_000_000, 100_000_000));
    assert_eq!(first.end_nv, 3_463_950_000);
    // After 720 s 0.36 Ah are gone: state 0.14.
    assert_eq!(
        rail.piece(720_000_000_000).unwrap().end_nv,
        3_140_000_000 - 36_000_000
    );
    assert_eq!(
        rail.cell_left_half_na_ns(720_000_000_000),
        Some(half_ah * 14 / 100)
    );
    // Overdrawn at the middle: the state counts on and the voltage stays at the table's end.
    assert_eq!(
        rail.cell_left_half_na_ns(1_800_000_000_000),
        Some(-half_ah * 4 / 10)
    );
    assert_eq!(
        rail.piece(1_800_000_000_000).unwrap().end_nv,
        3_000_000_000 - 36_000_000
    );
    let left = rail.cell_left_half_na_ns(3_600_000_000_000);
    assert_eq!(left, Some(half_ah * 5 / 100));
    let drawn = rail.truth(3_600_000_000_000).charge_half_na_ns;
    assert_eq!(half_ah / 2 - drawn, half_ah * 5 / 100);
    assert_eq!(
        rail.piece(3_600_000_000_000).unwrap().end_nv,
        3_050_000_000 + 18_000_000
    );
}

/// "After 1000 s at the latest, and after 100 ms if a cell feeds it and current flows."
#[test]
fn pieces_last_as_long_as_they_may() {
    const SECOND: u64 = 1_000_000_000;
    let lasts = |is_cell: bool, load: Recorded| {
        let table = [(0, 3_000_000_000), (1_000_000, 4_000_000_000)];
        let source = match is_cell {
            true => Source::cell(Cell::new(1_000_000, 500_000, &table).unwrap()),
            false => Source::of(Constant::new(1).unwrap()),
        };
        Rail::new(source, load).unwrap().piece(0).unwrap().to_ns
    };
    let ramp = |from, to| Recorded::ramp((0, from), (500 * SECOND, to)).unwrap();
    let steady = |na| Recorded::steps(na, &[]).unwrap();
    assert_eq!(lasts(false, steady(1)), 1_000 * SECOND);
    assert_eq!(lasts(true, steady(0)), 1_000 * SECOND);
    assert_eq!(lasts(true, steady(1)), SECOND / 10);
    assert_eq!(lasts(true, ramp(0, 5)), SECOND / 10);
    assert_eq!(lasts(true, ramp(5, 0)), SECOND / 10);
    assert_eq!(lasts(false, ramp(5, 0)), 500 * SECOND);
}

#[test]
fn extremes_are_those_up_to_the_question() {
    let load = Recorded::ramp((0, -1_000_000), (10_000, 1_000_000)).unwrap();
    let source = Source::of(Constant::new(1_000_000).unwrap());
    let mut rail = Rail::new(source.behind_microohms(1_000_000).unwrap(), load).unwrap();
    let early = rail.extremes(2_500);
    assert_eq!(
        (early.current_na_min, early.current_na_max),
        (-1_000_000, -500_000)
    );
    assert_eq!(
        (early.voltage_nv_min, early.voltage_nv_max),
        (1_500_000, 2_000_000)
    );
    let whole = rail.extremes(20_000);
    assert_eq!(
        (whole.current_na_min, whole.current_na_max),
        (-1_000_000, 1_000_000)
    );
    assert_eq!((whole.voltage_nv_min, whole.voltage_nv_max), (0, 2_000_000));
    assert_eq!(whole.power_na_nv_min, -2_000_000_000_000);
    // At the ends of pieces alone, 1 mA × 0 V; the bulge of 0.25 nW in between is not looked for.
    assert_eq!(whole.power_na_nv_max, 0);
}

#[test]
fn sums_and_reversals_reach_the_totals() {
    let base = || Constant::new(60_000_000).unwrap();
    let back = Scaled::reversed(Constant::new(100_000_000).unwrap());
    let load = Sum::new(vec![Box::new(base()), Box::new(back)]).unwrap();
    let source = Source::of(Constant::new(3_800_000_000).unwrap());
    let mut rail = Rail::new(source, load).unwrap();
    let second = 1_000_000_000;
    assert_eq!(
        rail.truth(second).charge_half_na_ns,
        -2 * 40_000_000 * i128::from(second)
    );
    assert_eq!(
        rail.window(second, second + 62_500).current_na,
        -40_000_000.0
    );
}

#[test]
fn rails_beyond_the_limits_are_refused() {
    let amps = |amps: i64| Constant::new(amps * 1_000_000_000).unwrap();
    let source = || Source::of(Constant::new(60_000_000_000).unwrap());
    assert!(Rail::new(source(), amps(1000)).is_ok());
    let soft = source().behind_microohms(2_000_000).unwrap();
    let refused = Rail::new(soft, amps(-1000)).err();
    assert_eq!(refused, Some(PlantError::Voltage(2_060_000_000_000)));
    let listed = Listed(vec![Section::flat(0, u64::MAX, -1_000_000_000_001)]);
    let refused = Rail::new(source(), listed).err();
    assert_eq!(refused, Some(PlantError::Current(-1_000_000_000_001)));
}

/// Goal: energy beyond 128 bits is marked and stays so, and charge goes on. Method: 1 kA at 1 kV
/// reaches it in 28.4 ks; from 30 ks on it flows back.
#[test]
fn an_energy_that_no_longer_fits_says_so() {
    let constant = |value| Constant::new(value).unwrap();
    let reverse = Recorded::steps(
        1_000_000_000_000,
        &[(30_000_000_000_000, -1_000_000_000_000)],
    )
    .unwrap();
    let source = Source::of(constant(1_000_000_000_000));
    let mut rail = Rail::new(source, reverse).unwrap();
    let fits = rail.truth(28_000_000_000_000);
    assert_eq!(fits.energy_sixth_na_nv_ns, 6 * 28 * 10_i128.pow(36));
    assert_eq!(
        rail.truth(29_000_000_000_000).energy_sixth_na_nv_ns,
        i128::MAX
    );
    let later = rail.truth(40_000_000_000_000);
    assert_eq!(later.energy_sixth_na_nv_ns, i128::MAX);
    assert_eq!(later.charge_half_na_ns, 2 * 20 * 10_i128.pow(24));
}

/// A profile that breaks its promise must cost accuracy at most, never an endless loop.
#[test]
fn a_profile_that_stands_still_does_not_stop_the_rail() {
    struct Stuck;
    impl Profile for Stuck {
        fn section(&self, _at_ns: u64) -> Section {
            Section::flat(0, 10, 3)
        }
        fn bounds(&self) -> Bounds {
            Bounds {
                least: 3,
                greatest: 3,
            }
        }
    }
    let source = Source::of(Constant::new(1).unwrap());
    let mut rail = Rail::new(source, Stuck).unwrap();
    assert_eq!(rail.truth(1_000).charge_half_na_ns, 2 * 3 * 1_000);
    let piece = rail.piece(1_000).unwrap();
    assert_eq!((piece.from_ns, piece.to_ns), (999, 1_000));
}

/// 1 A to 3 A while 4 V fall to 1 V, over 2 s, worked out by hand: P = (1 + 2x)(4 - 3x) W turns at
/// x = 5/12, where it is 121/24 W; ∫ over x is 4 + 5/2 - 2 = 4.5. From 0.5 s on x begins at 1/4, so
/// 1.5 A, 3.25 V, 4.875 W.
#[test]
fn a_span_knows_its_least_mean_and_greatest() {
    use crake::units::{Charge, Current, Energy, Power, Voltage};

    let rail = || {
        let volts = Recorded::ramp((0, 4_000_000_000), (2_000_000_000, 1_000_000_000)).unwrap();
        let amps = Recorded::ramp((0, 1_000_000_000), (2_000_000_000, 3_000_000_000)).unwrap();
        Rail::new(Source::of(volts), amps).unwrap()
    };
    let span = rail().span(0, 2_000_000_000).unwrap();
    assert_eq!(span.charge, Charge::from_coulombs(4));
    assert_eq!(span.energy, Energy::from_joules(9));
    let milli = |spread: crake_sim::plant::Spread<Current>| {
        [spread.least, spread.mean, spread.greatest].map(Current::as_milliamps)
    };
    assert_eq!(milli(span.current), [1_000, 2_000, 3_000]);
    assert_eq!(span.voltage.mean, Voltage::from_millivolts(2_500));
    assert_eq!(
        (span.power.least, span.power.mean),
        (Power::from_watts(3), Power::from_milliwatts(4_500))
    );
    assert_eq!(span.power.greatest, Power::from_nanowatts(5_041_666_667));

    let later = rail().span(500_000_000, 2_000_000_000).unwrap();
    assert_eq!(milli(later.current), [1_500, 2_250, 3_000]);
    assert_eq!(later.voltage.greatest, Voltage::from_millivolts(3_250));
    assert_eq!(later.voltage.mean, Voltage::from_millivolts(2_125));
    assert_eq!(later.charge, Charge::from_microcoulombs(3_375_000));
    assert_eq!(rail().span(5, 5), None);
    // The shortest there is: what stays is its own mean.
    let volts = Source::of(Constant::new(5_000_000_000).unwrap());
    let mut steady = Rail::new(volts, Constant::new(1_000_000_000).unwrap()).unwrap();
    let shortest = steady.span(0, 1).unwrap();
    assert_eq!(shortest.voltage.mean, Voltage::from_volts(5));
    assert_eq!(shortest.current.mean, Current::from_amps(1));
}
