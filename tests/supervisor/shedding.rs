//! When MODEM is shed, and when it comes back.

use crake::units::Voltage;
use skiff_supervisor::{CELL, DRIVE, MODEM, Settings};

use crate::SEEDS;
use crate::skiff::Skiff;

/// Limit 3.3 V, margin 0.2 V, 2 s: 3.45 V is not enough for ever, 3.55 V is after 2 s.
#[test]
fn modem_comes_back_when_allowed_and_not_before() {
    for seed in SEEDS {
        let volts = [
            (0.0, 3.8),
            (500.0, 3.25),
            (800.0, 3.45),
            (5_000.0, 3.55),
            (6_000.0, 3.45),
            (6_050.0, 3.55),
        ];
        let mut skiff = Skiff::plan().volts(CELL, &volts).launch(seed);
        skiff.run_to_ms(8_049);
        assert!(!skiff.is_on(MODEM), "seed {seed}");
        skiff.run_to_ms(8_500);
        assert!(skiff.is_on(MODEM) && skiff.is_on(DRIVE), "seed {seed}");
        let (opened, closed) = (skiff.openings_ns(MODEM), skiff.closings_ns(MODEM));
        assert_eq!((opened.len(), closed.len()), (1, 2), "seed {seed}");
        assert!(
            (503_000_000..515_000_000).contains(&opened[0]),
            "seed {seed}: {opened:?}"
        );
        // Not before 2 s of enough; then at the second service at the latest, its own time
        // included.
        assert!(
            (8_050_000_000..8_050_000_000 + 60_000_000).contains(&closed[1]),
            "seed {seed}: {closed:?}"
        );
    }
}

/// CELL of 3.45 V behind 0.1 ohm: with MODEM's 1.7 A it stands at 3.23 V, without at 3.4 V. The
/// margin of 0.2 V is more than shedding lifts it by: one switching, however long it lasts. A
/// margin of 50 mV is less, and shows what the margin is for: off and on every two seconds.
#[test]
fn modem_does_not_chatter_where_the_margin_is_greater_than_what_shedding_lifts() {
    let run = |seed, cell_margin| {
        let settings = Settings {
            cell_margin,
            ..Settings::SKIFF
        };
        let plan = Skiff::plan().settings(settings).cell_feeds_modem(100);
        let plan = plan
            .volts(CELL, &[(0.0, 3.45)])
            .amps(MODEM, &[(0.0, 0.06), (500.0, 1.7)]);
        let mut skiff = plan.launch(seed);
        skiff.run_to_ms(30_000);
        (
            skiff.openings_ns(MODEM).len(),
            skiff.closings_ns(MODEM).len(),
        )
    };
    for seed in SEEDS {
        assert_eq!(
            run(seed, Settings::SKIFF.cell_margin),
            (1, 1),
            "seed {seed}"
        );
    }
    // 29.5 s in turns of 2 s off and some 10 to 50 ms on.
    let (openings, closings) = run(1, Voltage::from_millivolts(50));
    assert!(
        (14..=15).contains(&openings) && closings.abs_diff(openings) <= 1,
        "{openings}"
    );
}
