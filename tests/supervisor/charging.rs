//! What is told of a charge.

use skiff_supervisor::charge::Charging;
use skiff_supervisor::{CELL, Event};

use crate::SEEDS;
use crate::skiff::Skiff;

/// A real charge, the charger's own rule on the bench: woken, bulk, taper, done; and the cell's
/// charge is negative on its rail.
#[test]
fn a_whole_charge_is_told_in_its_order() {
    let mut skiff = Skiff::plan().cell_on_charger().launch(2);
    skiff.run_to_ms(120_000);
    use Charging::{Bulk, No, Taper, Trickle};
    assert_eq!(charging(&skiff), [Trickle, Bulk, Taper, No]);
    assert!(skiff.charge(CELL).0 < 0);
}

fn charging(skiff: &Skiff) -> Vec<Charging> {
    let events = skiff.events().into_iter();
    let charging = events.filter_map(|event| match event {
        Event::Charging(charging) => Some(charging),
        _ => None,
    });
    charging.collect()
}

/// Four seconds each: woken at a tenth of 2.28 A, charged at half of it, tapering, at rest.
#[test]
fn trickle_bulk_and_taper_are_told_apart_far_from_the_thresholds() {
    for seed in SEEDS {
        let amps = [
            (0.0, 0.5),
            (4_000.0, -0.228),
            (8_000.0, -1.14),
            (12_000.0, -0.228),
            (16_000.0, 0.0),
        ];
        let volts = [
            (0.0, 3.4),
            (4_000.0, 2.8),
            (8_000.0, 3.6),
            (12_000.0, 4.15),
            (16_000.0, 4.1),
        ];
        let mut skiff = Skiff::plan()
            .amps(CELL, &amps)
            .volts(CELL, &volts)
            .launch(seed);
        skiff.run_to_ms(20_000);
        assert_eq!(
            charging(&skiff),
            [
                Charging::Trickle,
                Charging::Bulk,
                Charging::Taper,
                Charging::No
            ],
            "seed {seed}"
        );
    }
}

/// Within the bounds of a threshold (600 mA, 3.0 V, 50 mA) a verdict is the right one or is not
/// given, so that `No` of the launch stands. Beyond any bound (3 % and 10 mA; 25 mV) it is given.
#[test]
fn near_the_thresholds_a_verdict_is_right_or_not_given() {
    use Charging::{Bulk, No, Taper, Trickle};
    let cases = [
        (0.599, 2.8, Trickle, false),
        (0.601, 2.8, Bulk, false),
        (0.572, 2.8, Trickle, true),
        (0.628, 2.8, Bulk, true),
        (0.3, 2.996, Trickle, false),
        (0.3, 3.004, Taper, false),
        (0.3, 2.975, Trickle, true),
        (0.3, 3.025, Taper, true),
        (0.049, 2.8, No, false),
        (0.051, 2.8, Trickle, false),
        (0.070, 2.8, Trickle, true),
    ];
    for seed in SEEDS {
        for (into_cell, volts, right, sure) in cases {
            let plan = Skiff::plan()
                .amps(CELL, &[(0.0, -into_cell)])
                .volts(CELL, &[(0.0, volts)]);
            let mut skiff = plan.launch(seed);
            skiff.run_to_ms(3_000);
            let told = skiff.supervisor.charging();
            assert!(
                told == right || (!sure && told == No),
                "seed {seed}: {into_cell} A at {volts} V is told as {told:?}"
            );
        }
    }
}
