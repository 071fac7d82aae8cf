use crake::old::ledger::{Entry, Ledger};
use crake::old::part::pmbus::gallinule::{Gallinule, Map, SPEC};
use crake::old::part::pmbus::{Declaration, Device, PageSpec, Pmbus};
use crake::old::part::{Pace, Part};
use crake::old::units::Energy;
use crake::old::{Channel, Mode, Setup, ShuntMonitor};
use crake_sim::part::pmbus::{Description, Device as Order};
use crake_sim::plant::Pulses;

use super::desk::{ADDRESS, Desk, USUAL, board, setup, steps};

/// Gallinule whose counts nobody reads.
#[derive(Debug)]
struct Uncounted;

const fn uncounted(page: usize) -> PageSpec {
    PageSpec {
        energy: None,
        ..Map::DECLARATION.pages[page]
    }
}

impl Device for Uncounted {
    const DECLARATION: &'static Declaration = &Declaration {
        pages: &[uncounted(0), uncounted(1), uncounted(2), uncounted(3)],
        ..*Map::DECLARATION
    };
}

/// Joules by channel: as the ledger has them, how far they may be off, and as they were.
type Totals = [(f64, f64, f64); 4];

/// A frame every `step_ms`, `count` times, with the slowest of all paces promised: 10 s.
fn totals<P: Part>(desk: &Desk, map: P, count: u32, step_ms: u64) -> Totals {
    let board = board();
    let slowest = Pace(SPEC.paces.len() as u8 - 1);
    let setup = Setup {
        mode: Mode::Paced(slowest),
        ..setup()
    };
    let mut monitor = desk.monitor(map, &board);
    let mut ledger = Ledger::<4>::new(&board, &SPEC);
    ledger.update(&monitor.init(&setup).unwrap());
    desk.run_ms(20);
    assert_eq!(ledger.update(&monitor.latch().unwrap()), Entry::Added);
    let truth = |desk: &Desk| {
        [0, 1, 2, 3]
            .map(|page| desk.part.truth(page).unwrap().energy_sixth_na_nv_ns as f64 / 6.0 * 1e-27)
    };
    let joules = |energy: Energy| energy.as_nanojoules() as f64 * 1e-9;
    let account = |ledger: &Ledger<'_, 4>| {
        [0, 1, 2, 3].map(|page| ledger.account(Channel::new(page)).unwrap())
    };
    let (truth_before, before) = (truth(desk), account(&ledger));
    for _ in 0..count {
        desk.run_ms(step_ms);
        assert_eq!(ledger.update(&monitor.latch().unwrap()), Entry::Added);
    }
    let (truth_after, after) = (truth(desk), account(&ledger));
    [0, 1, 2, 3].map(|page| {
        (
            joules(after[page].energy) - joules(before[page].energy),
            joules(after[page].energy_bound.total()),
            truth_after[page] - truth_before[page],
        )
    })
}

/// Steady rails on individuals with every error that the document allows: energy within the
/// ledger's bound, on every page.
#[test]
fn totals_lie_within_their_bounds() {
    for seed in 0..20 {
        let description = Description::gallinule();
        let desk = Desk::drawn(Order::new(description, ADDRESS).unwrap(), 4, seed);
        let totals = totals(&desk, Gallinule::new(), 40, 20);
        for (page, (energy, bound, truth)) in totals.into_iter().enumerate() {
            assert!(
                truth > 0.5 && (energy - truth).abs() <= bound,
                "seed {seed}, page {page}: {energy} J, {bound} J of {truth} J"
            );
        }
    }
}

/// Pulses of 5 ms every 40 ms, read every 80 ms or so: samples between them see nothing, the
/// device's own count sees each. Without the count the same frames miss the energy.
#[test]
fn the_devices_own_count_sees_what_happens_between_frames() {
    let run = |counted: bool| {
        let desk = Desk::ideal();
        for (page, (volts, amperes)) in USUAL.into_iter().enumerate() {
            let high = (amperes * 4e9) as i64;
            let load = Pulses::new((amperes * 1e8) as i64, high, 40_000_000, 5_000_000).unwrap();
            desk.rail(page, steps(volts, &[]), load);
        }
        if counted {
            totals(&desk, Gallinule::new(), 50, 73)
        } else {
            totals(&desk, Pmbus::<Uncounted, 4>::new(), 50, 73)
        }
    };
    let (with, without) = (run(true), run(false));
    for page in [0, 2, 3] {
        let (energy, _, truth) = with[page];
        assert!(
            (energy / truth - 1.0).abs() < 0.06,
            "page {page}: {energy} of {truth}"
        );
    }
    // Page 1 has no count, and is as bad as the others would be.
    let off = |(energy, _, truth): (f64, f64, f64)| (energy / truth - 1.0).abs();
    assert!(
        without.into_iter().any(|page| off(page) > 0.2),
        "{without:?}"
    );
}

/// Counts near every wrap, in both periods: energy goes on as if nothing had been.
#[test]
fn counts_wrap_unseen() {
    for (counts, samples) in [(0, 0), (32_760, 65_530), (256 * 32_767 - 3, 0x00FF_FFF0)] {
        let desk = Desk::ideal();
        for page in [0, 2, 3] {
            assert!(desk.part.with(|model| model.preload(page, counts, samples)));
        }
        let totals = totals(&desk, Gallinule::new(), 40, 50);
        for (page, (energy, _, truth)) in totals.into_iter().enumerate() {
            // Half a unit of the count: 0.05 W of 13.9 W, 0.5 W of 60 and 37.8 W; page 1 has none.
            assert!(
                (energy / truth - 1.0).abs() < 0.014,
                "page {page}, {counts}: {energy} of {truth}"
            );
        }
    }
}

/// Frames further apart than a count can tell: 9.9 s of a device that samples every 4 ms, at nearly
/// full power on page 0, where the count comes round after 2097 samples (B5). The trapezoid stands
/// in.
#[test]
fn a_count_that_may_have_come_round_is_not_relied_on() {
    let mut description = Description::gallinule();
    description.sample_period_ns = 4_000_000;
    let desk = Desk::of(description);
    desk.rail(0, steps(15.5, &[]), steps(24.5, &[]));
    let [(energy, _, truth), ..] = totals(&desk, Gallinule::new(), 2, 9_900);
    assert!((energy / truth - 1.0).abs() < 0.002, "{energy} of {truth}");
}

/// Energy that flows backwards is in no count (B5), but in the total.
#[test]
fn energy_that_flows_back() {
    let desk = Desk::ideal();
    desk.rail(2, steps(48.0, &[]), steps(-2.0, &[]));
    let [_, _, (energy, _, truth), _] = totals(&desk, Gallinule::new(), 10, 50);
    assert!(
        truth < -10.0 && (energy / truth - 1.0).abs() < 0.002,
        "{energy} of {truth}"
    );
}

/// A count that has jumped by more than its samples can have added, 10 of 90 000 codes each (4.5 kW
/// on a page of 400 W): it is not cut off at full scale, the trapezoid stands in.
#[test]
fn a_mean_that_no_sample_can_have_had_is_not_relied_on() {
    let (desk, board) = (Desk::ideal(), board());
    let mut monitor = desk.monitor(Gallinule::new(), &board);
    let mut ledger = Ledger::<4>::new(&board, &SPEC);
    ledger.update(&monitor.init(&setup()).unwrap());
    desk.run_ms(20);
    assert!(desk.part.with(|model| model.preload(0, 100_000, 1_000)));
    assert_eq!(ledger.update(&monitor.latch().unwrap()), Entry::Added);
    let joules = |ledger: &Ledger<'_, 4>| {
        let account = ledger.account(Channel::C0).unwrap();
        account.energy.as_nanojoules() as f64 * 1e-9
    };
    let before = joules(&ledger);
    desk.run_ms(80);
    assert!(desk.part.with(|model| model.preload(0, 1_000_000, 1_010)));
    assert_eq!(ledger.update(&monitor.latch().unwrap()), Entry::Added);
    // 3.3 V and 4.2 A, for 80 ms and what reading four pages takes.
    let energy = joules(&ledger) - before;
    assert!((1.1..1.5).contains(&energy), "{energy} J");
}

/// The bound of page 0's currents holds half a step of READ_POUT, too: of 2^-1 W from 256 W on, a
/// mantissa of 10 bits (Part II, LINEAR11), at the 10.24 V that 25 A need for it.
#[test]
fn the_bound_of_page_0_holds_half_a_step_of_power() {
    let microvolts = 256_000_000 / 25;
    let half_a_step = 250_000 * 1_000_000 / microvolts; // µA
    let allowed = 50_000; // B4
    // A microvolt stands for a microampere.
    let bound = SPEC.sense[0].offset.as_nanovolts() / 1_000;
    assert!(bound >= allowed + half_a_step, "{bound} µA");
}
