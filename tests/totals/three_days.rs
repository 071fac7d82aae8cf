//! A cell that is charged and discharged for three days: bounds stay useful where little is left of
//! what was turned over.

use crate::stub::Stub;
use crake::Channel;
use crake::board::{Board, Load, LoadSteps, Rail, SenseResistor};
use crake::part::corncrake::INFO;
use crake::totals::{Discontinuity, Margins, Totals, Update};
use crake::units::{Current, Resistance, Tolerance, Voltage};

const HOUR: u64 = 7_200_000;

/// The bounds that seven named parts kept apart gave of the same three days, by the ledger of the
/// core before this one (commit 1d8f41f): one bound may be wider by a tenth at the most.
const IN_SEVEN_PARTS_NC: i128 = 2_298_973_582_763;
const IN_SEVEN_PARTS_NJ: i128 = 9_963_167_381_147;

#[test]
fn charge_and_discharge_with_one_change_of_range() {
    let resistor = SenseResistor::new(Resistance::from_milliohms(10), Tolerance::from_ppm(10_000))
        .with_temperature(50, 40_000);
    let load = Load::smooth(Current::from_amps(2))
        .both_ways()
        .with_mean(Current::from_milliamps(1_300), 3_600)
        .with_steps(LoadSteps {
            per_hour: 3_600,
            step: Current::from_milliamps(500),
        });
    let rail = Rail::new(resistor)
        .with_load(load)
        .with_voltage(Voltage::from_volts(3), Voltage::from_millivolts(4_200));
    let board = Board::new(&INFO, &[rail]).with_clock(Tolerance::from_ppm(50));
    let margins = Margins::new(&INFO, &board, &[rail]);
    let mut totals = Totals::with_bounds(&margins);
    let mut stub = Stub::new(board);
    stub.configure(0, [Some((0, 0))]);
    assert_eq!(totals.update(&stub), Update::First);
    let mut lsb_nv = 500;
    for hour in 0..72 {
        if hour == 36 {
            // The finer sense range from here on, after a gap of 20 ms.
            (stub.now_us, lsb_nv) = (stub.now_us + 20_000, 200);
            stub.configure(0, [Some((1, 0))]);
            let configured = Update::Discontinuity(Discontinuity::Configured);
            assert_eq!(totals.update(&stub), configured);
        }
        // 1.2 A out by day, 1.17 A in by night, at 3.7 V.
        let nanovolts = if hour % 24 < 12 {
            12_000_000
        } else {
            -11_700_000
        };
        stub.run(HOUR, HOUR * 500, [nanovolts / lsb_nv], [37_000]);
        assert_eq!(totals.update(&stub), Update::Continued, "hour {hour}");
    }
    let (charge, energy) = (totals.charge(Channel::C0), totals.energy(Channel::C0));
    let (charge, energy) = (charge.expect("a rail"), energy.expect("a rail"));
    // Three times 0.03 A for twelve hours are 3 888 C, at 3.7 V 14 385.6 J.
    assert_eq!(charge.value.as_nanocoulombs(), 3_888_000_000_000);
    assert_eq!(energy.value.as_nanojoules(), 14_385_600_000_000);
    let bounds = [
        (charge.bound.as_nanocoulombs(), IN_SEVEN_PARTS_NC),
        (energy.bound.as_nanojoules(), IN_SEVEN_PARTS_NJ),
    ];
    for (bound, before) in bounds {
        assert!(bound * 10 <= before * 11, "{bound}, before {before}");
        // Nor is anything left out.
        assert!(bound * 10 >= before * 9, "{bound}, before {before}");
    }
}
