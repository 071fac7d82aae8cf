use crake::ShuntMonitor;
use crake::info::PartInfo;
use crake::part::Part;
use crake::part::pmbus::gallinule::{ADDRESSES, Gallinule, INFO};
use crake::part::pmbus::{Declaration, Device, Page, Pmbus, gallinule};
use crake::totals::{Margins, Totals, Update};
use crake_sim::part::pmbus::Description;
use crake_sim::plant::Pulses;

use super::desk::{ADDRESS, BOARD, CHANNELS, CONFIG, Desk, RAILS, USUAL, steps};

/// Gallinule whose counts nobody reads.
#[derive(Debug)]
struct Uncounted;

const fn uncounted(page: usize) -> Page {
    Page {
        energy: None,
        ..gallinule::DECLARATION.pages[page]
    }
}

impl Device for Uncounted {
    const INFO: &'static PartInfo = &INFO;
    const DECLARATION: &'static Declaration = &Declaration {
        pages: &[uncounted(0), uncounted(1), uncounted(2), uncounted(3)],
        ..gallinule::DECLARATION
    };
}

/// Joules and coulombs by channel: as the totals have them, how far they may be off, and as they
/// were.
type Flowed = [[(f64, f64, f64); 2]; 4];

static MARGINS: Margins<'static, 4> = Margins::new(&INFO, &BOARD, &RAILS);

fn gallinule() -> Gallinule {
    Gallinule::new(ADDRESSES[0])
}

/// A sample every `step_ms`, `count` times.
fn totals<P: Part>(desk: &Desk, map: P, count: u32, step_ms: u64) -> Flowed {
    let mut monitor = desk.monitor_of(map, &BOARD);
    let mut totals = Totals::with_bounds(&MARGINS);
    monitor.init(&CONFIG).unwrap();
    desk.run_ms(20);
    totals.update(monitor.sample().unwrap());
    let flowed = |desk: &Desk| {
        [0, 1, 2, 3].map(|page| {
            let truth = desk.part.truth(page).unwrap();
            [
                truth.energy_sixth_na_nv_ns as f64 / 6.0 * 1e-27,
                truth.charge_half_na_ns as f64 / 2.0 * 1e-18,
            ]
        })
    };
    let before = flowed(desk);
    for _ in 0..count {
        // From one multiple of the step to the next.
        let step_ns = step_ms * 1_000_000;
        desk.bench
            .run_until((desk.bench.now_ns() / step_ns + 1) * step_ns);
        assert_eq!(totals.update(monitor.sample().unwrap()), Update::Continued);
    }
    let after = flowed(desk);
    std::array::from_fn(|page| {
        let energy = totals.energy(CHANNELS[page]).unwrap();
        let charge = totals.charge(CHANNELS[page]).unwrap();
        let shown = [
            (energy.value.as_nanojoules(), energy.bound.as_nanojoules()),
            (
                charge.value.as_nanocoulombs(),
                charge.bound.as_nanocoulombs(),
            ),
        ];
        std::array::from_fn(|which| {
            let (net, bound) = shown[which];
            let truth = after[page][which] - before[page][which];
            (net as f64 * 1e-9, bound as f64 * 1e-9, truth)
        })
    })
}

/// Steady rails on individuals with every error that the document allows: charge and energy within
/// the bounds of totals, on every page.
#[test]
fn totals_lie_within_their_bounds() {
    for seed in 0..20 {
        let desk = Desk::drawn(seed);
        for (page, totals) in totals(&desk, gallinule(), 40, 20).into_iter().enumerate() {
            for (total, bound, truth) in totals {
                let well = truth.abs() > 0.4 && (total - truth).abs() <= bound;
                assert!(
                    well,
                    "seed {seed}, page {page}: {total}, {bound} of {truth}"
                );
            }
        }
    }
}

/// Pulses of 5 ms every 40 ms, read every 80 ms: each sample sees the same of them, the device's
/// own count sees each. Without the count the same samples miss the energy.
#[test]
fn the_devices_own_count_sees_what_happens_between_samples() {
    let run = |counted: bool| {
        let desk = Desk::ideal();
        for (page, (volts, amperes)) in USUAL.into_iter().enumerate() {
            let amperes = amperes.abs();
            let high = (amperes * 4e9) as i64;
            let load = Pulses::new((amperes * 1e8) as i64, high, 40_000_000, 5_000_000).unwrap();
            desk.rail(page, steps(volts, &[]), load);
        }
        if counted {
            totals(&desk, gallinule(), 50, 80)
        } else {
            totals(&desk, Pmbus::<Uncounted, 4>::new(ADDRESS), 50, 80)
        }
    };
    let off = |[(energy, _, truth), _]: [(f64, f64, f64); 2]| (energy / truth - 1.0).abs();
    let (with, without) = (run(true).map(off), run(false).map(off));
    for page in [0, 2, 3] {
        assert!(with[page] < 0.06, "page {page}: {with:?}");
    }
    // Page 1 has no count, and is as bad as the others would be.
    assert!(without.into_iter().any(|off| off > 0.2), "{without:?}");
}

/// Counts near every wrap, in both periods: energy goes on as if nothing had been.
#[test]
fn counts_wrap_unseen() {
    for (counts, samples) in [(0, 0), (32_760, 65_530), (256 * 32_767 - 3, 0x00FF_FFF0)] {
        let desk = Desk::ideal();
        desk.rail(2, steps(48.0, &[]), steps(1.25, &[]));
        for page in [0, 2, 3] {
            assert!(desk.part.with(|model| model.preload(page, counts, samples)));
        }
        let totals = totals(&desk, gallinule(), 40, 50);
        for (page, [(energy, _, truth), _]) in totals.into_iter().enumerate() {
            // Half a unit of the count: 0.05 W of 13.9 W, 0.5 W of 60 and 37.8 W; page 1 has none.
            let off = (energy / truth - 1.0).abs();
            assert!(off < 0.014, "page {page}, {counts}: {energy} of {truth}");
        }
    }
}

/// Samples further apart than a count can tell: 9.9 s of a device that samples every 4 ms, at
/// nearly full power on page 0, where the count comes round after 2097 samples (B5). The trapezoid
/// stands in.
#[test]
fn a_count_that_may_have_come_round_is_not_relied_on() {
    let mut description = Description::gallinule();
    description.sample_period_ns = 4_000_000;
    let desk = Desk::of(description);
    desk.rail(0, steps(15.5, &[]), steps(24.5, &[]));
    let [[(energy, _, truth), _], ..] = totals(&desk, gallinule(), 2, 9_900);
    assert!((energy / truth - 1.0).abs() < 0.002, "{energy} of {truth}");
}

/// Energy that flows backwards is in no count (B5), but in the total.
#[test]
fn energy_that_flows_back() {
    let desk = Desk::ideal();
    desk.rail(2, steps(48.0, &[]), steps(-2.0, &[]));
    let [_, _, [(energy, _, truth), _], _] = totals(&desk, gallinule(), 10, 50);
    let well = truth < -10.0 && (energy / truth - 1.0).abs() < 0.002;
    assert!(well, "{energy} of {truth}");
}

/// A count that has jumped by more than its samples can have added, 18 of 50 000 codes each (5 kW
/// on a page of 400 W): it is not cut off at full scale, the trapezoid stands in.
#[test]
fn a_mean_that_no_sample_can_have_had_is_not_relied_on() {
    let desk = Desk::ideal();
    let mut monitor = desk.monitor();
    let mut totals = Totals::with_bounds(&MARGINS);
    monitor.init(&CONFIG).unwrap();
    desk.run_ms(20);
    assert!(desk.part.with(|model| model.preload(0, 100_000, 1_000)));
    totals.update(monitor.sample().unwrap());
    desk.run_ms(80);
    assert!(desk.part.with(|model| model.preload(0, 1_000_000, 1_018)));
    assert_eq!(totals.update(monitor.sample().unwrap()), Update::Continued);
    // 3.3 V and 4.2 A, for 80 ms and what reading four pages takes.
    let energy = totals.energy(CHANNELS[0]).unwrap().value.as_nanojoules() as f64 * 1e-9;
    assert!((1.1..1.5).contains(&energy), "{energy} J");
}

/// Current that turns round half-way between two samples: the count has the half that flowed
/// forwards alone, 4.8 J; the trapezoid stands in, off by no more than what lies between a sample
/// and its reading, 8 ms at 96 W at either end.
#[test]
fn a_count_that_saw_half_of_what_flowed_is_not_relied_on() {
    for sign in [1.0, -1.0] {
        let desk = Desk::ideal();
        let load = steps(-2.0 * sign, &[(250, 2.0 * sign)]);
        desk.rail(2, steps(48.0, &[]), load);
        let [_, _, [(energy, _, truth), _], _] = totals(&desk, gallinule(), 4, 100);
        assert!((energy - truth).abs() < 2.0, "{energy} of {truth}");
    }
}

/// The bound of page 0's currents holds half a step of READ_POUT, too: of 2^-1 W from 256 W on, a
/// mantissa of 10 bits (Part II, LINEAR11), at the 10.24 V that 25 A need for it.
#[test]
fn the_bound_of_page_0_holds_half_a_step_of_power() {
    let microvolts = 256_000_000 / 25;
    let half_a_step = 250_000 * 1_000_000 / microvolts; // µA
    let allowed = 50_000; // B4
    // A microvolt stands for a microampere.
    let bound = INFO.sense_errors[0].offset.as_nanovolts() / 1_000;
    assert!(bound >= allowed + half_a_step, "{bound} µA");
}
