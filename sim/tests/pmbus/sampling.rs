//! Samples: when, over what, how exact; and the truth beside them (B4).

use std::{cell::RefCell, rc::Rc};

use crake_sim::{
    bench::{Bench, BenchError},
    board::SenseResistor,
    fault::{Fault, FaultKind},
    part::{
        Order, PartModel,
        pmbus::{Description, Device, Individual, PageErrors},
    },
    plant::{Constant, Means, Plant, Rail, Recorded, Source, Truth},
    rng::Rng,
};

use crate::pmbus::{
    desk::{ADDRESS, Desk, SAMPLE_NS},
    document::table,
};

const APERTURE_NS: u64 = SAMPLE_NS / 4;

#[test]
fn the_document_and_the_description_agree_on_time() {
    for row in table("| what | nominal | unit |") {
        let us: u64 = row[1].parse().expect("a number");
        match row[0] {
            "sample period" => assert_eq!(us * 1_000, SAMPLE_NS),
            "aperture of a page" => assert_eq!(us * 1_000, APERTURE_NS),
            other => assert_eq!((other, us), ("not addressable after a reset", 2_000)),
        }
    }
    assert_eq!(Description::gallinule().sample_period_ns, SAMPLE_NS);
}

/// 1 V more with every call; the calls are kept.
struct Counted(Rc<RefCell<Vec<(u64, u64)>>>);

impl Plant for Counted {
    fn window(&mut self, from_ns: u64, to_ns: u64) -> Means {
        self.0.borrow_mut().push((from_ns, to_ns));
        Means {
            current_na: 1e9,
            voltage_nv: self.0.borrow().len() as f64 * 1e9,
        }
    }

    fn truth(&mut self, at_ns: u64) -> Truth {
        self.0.borrow_mut().push((at_ns, at_ns));
        Truth::default()
    }
}

#[test]
fn each_page_has_its_quarter_of_the_period_and_is_updated_at_its_end() {
    for page in 0..4 {
        let desk = Desk::ideal();
        let calls = Rc::new(RefCell::new(Vec::new()));
        desk.part
            .rail(page, Counted(calls.clone()), SenseResistor::ideal(1))
            .expect("page");
        let quarter = page as u64 * APERTURE_NS;
        desk.bench.run_until(quarter + APERTURE_NS - 1);
        assert_eq!(*calls.borrow(), []);
        desk.bench.run_until(quarter + APERTURE_NS);
        assert_eq!(*calls.borrow(), [(quarter, quarter + APERTURE_NS)]);
        desk.bench.run_until(2 * SAMPLE_NS + quarter + APERTURE_NS);
        let third = 2 * SAMPLE_NS + quarter;
        assert_eq!(calls.borrow().len(), 3);
        assert_eq!(calls.borrow()[2], (third, third + APERTURE_NS));
        desk.select(page as u8);
        let command = if page == 3 { 0x88 } else { 0x8B };
        // 3 V, by hand from B1; no update comes for a period.
        let expected = [1536, 12_288, 1380, 0xC300][page];
        assert_eq!(desk.word(command), expected, "page {page}");
    }
}

// Rails of one device may share a source: whatever is asked, and of which page, their time never
// goes back.
#[test]
fn plants_are_asked_in_the_order_of_time() {
    let desk = Desk::ideal();
    let calls = Rc::new(RefCell::new(Vec::new()));
    for page in 0..4 {
        desk.part
            .rail(page, Counted(calls.clone()), SenseResistor::ideal(1))
            .expect("page");
    }
    for step in 1..40 {
        desk.bench.run_until(step * 400_000);
        let page = (step % 4) as usize;
        desk.part.truth(page).expect("page");
        if step == 20 {
            desk.part.brown_out();
        }
    }
    let calls = calls.borrow();
    assert!(calls.len() > 60);
    assert!(
        calls.windows(2).all(|pair| pair[0].1 <= pair[1].0),
        "{calls:?}"
    );
}

#[test]
fn values_are_means_over_the_aperture() {
    let desk = Desk::ideal();
    // 1 A for the first quarter of page 0's aperture, then 2 A: 1.75 A.
    let load = Recorded::steps(1_000_000_000, &[(APERTURE_NS / 4, 2_000_000_000)]).expect("a load");
    let source = Source::of(Constant::new(4_000_000_000).expect("a voltage"));
    desk.part
        .rail(
            0,
            Rail::new(source, load).expect("a rail"),
            SenseResistor::ideal(1),
        )
        .expect("page");
    desk.bench.run_until(APERTURE_NS);
    assert_eq!(desk.word(0x8C), 0xC000 | 448);
    assert_eq!(desk.word(0x96), 0xC800 | 896);
}

#[test]
fn the_truth_is_the_rails_own_and_asking_changes_no_sample() {
    let word = |ask: bool| {
        let desk = Desk::ideal();
        let load = Recorded::steps(1_000_000_000, &[(SAMPLE_NS + 100_000, 3_000_000_000)])
            .expect("a load");
        let source = Source::of(Constant::new(5_000_000_000).expect("a voltage"));
        desk.part
            .rail(
                0,
                Rail::new(source, load).expect("a rail"),
                SenseResistor::ideal(1),
            )
            .expect("page");
        for at in [
            100_000,
            SAMPLE_NS + 50_000,
            SAMPLE_NS + 700_000,
            SAMPLE_NS + 700_000,
        ] {
            desk.bench.run_until(at);
            if ask {
                let expected: u64 = at + 2 * at.saturating_sub(SAMPLE_NS + 100_000);
                let truth = desk.part.truth(0).expect("page");
                assert_eq!(
                    truth.charge_half_na_ns,
                    2 * 1_000_000_000 * i128::from(expected)
                );
            }
        }
        desk.bench.run_until(SAMPLE_NS + APERTURE_NS);
        desk.word(0x8C)
    };
    assert_eq!(word(true), word(false));
    assert!(Desk::ideal().part.truth(4).is_err());
}

#[test]
fn readings_end_at_the_ranges_of_the_table() {
    // Words of the ends, by hand from B1 and B4: volts, amperes up, amperes down.
    let ends = [
        (0x2000, 0xD800 | 800, 0xD800 | (2048 - 800)),
        (24_576, 0xD000 | 960, 0xD000 | (2048 - 960)),
        (29_880, 32_475, (475_i16 - 32_000) as u16),
        (0xE000 | 960, 0xE000 | 800, 0xE000 | (2048 - 800)),
    ];
    for (page, (volts, up, down)) in ends.into_iter().enumerate() {
        for (amperes, current) in [(999.0, up), (-999.0, down)] {
            let desk = Desk::ideal();
            desk.rail(page, 999.0, amperes);
            desk.select(page as u8);
            desk.settle(1);
            let (v, i) = if page == 3 {
                (0x88, 0x89)
            } else {
                (0x8B, 0x8C)
            };
            assert_eq!(
                (desk.word(v), desk.word(i)),
                (volts, current),
                "page {page}"
            );
        }
        let desk = Desk::ideal();
        desk.rail(page, -1.0, 0.0);
        desk.select(page as u8);
        desk.settle(1);
        let zero = if page == 3 {
            0xC000
        } else {
            [0, 0, (-120_i16) as u16][page]
        };
        assert_eq!(
            desk.word(if page == 3 { 0x88 } else { 0x8B }),
            zero,
            "page {page}"
        );
    }
}

#[test]
fn errors_are_gain_then_offset_and_power_has_none_of_its_own() {
    let description = Description::gallinule();
    let errors = PageErrors {
        voltage_gain: 0.25,
        voltage_offset: 0.5,
        current_gain: -0.5,
        current_offset: 0.25,
    };
    let individual = Individual {
        pages: vec![errors],
        ..Individual::ideal(&description)
    };
    let desk = Desk::with(Device::individual(description, ADDRESS, individual).expect("sound"));
    desk.rail(0, 2.0, 1.0);
    desk.rail(1, 2.0, 1.0);
    desk.settle(1);
    // 3 V, 0.75 A, 2.25 W.
    assert_eq!(
        [desk.word(0x8B), desk.word(0x8C), desk.word(0x96)],
        [1536, 0xC000 | 192, 0xC000 | 576]
    );
    // A page that the individual does not name has no errors.
    desk.select(1);
    assert_eq!([desk.word(0x8B), desk.word(0x8C)], [8192, 0xD000 | 64]);
}

#[test]
fn an_individual_with_an_impossible_period_neither_hangs_nor_overruns() {
    for sample_period_ns in [0, u64::MAX] {
        let description = Description::gallinule();
        let individual = Individual {
            sample_period_ns,
            ..Individual::ideal(&description)
        };
        let order = Device::individual(description, ADDRESS, individual).expect("sound");
        let desk = Desk::with(order);
        desk.bench.run_until(1_000);
        let samples = if sample_period_ns == 0 { 1_000 } else { 0 };
        assert_eq!(desk.part.conversions(), samples);
    }
}

#[test]
fn drawn_devices_keep_within_the_table_and_fill_it() {
    let rows = table("| page | voltage range | gain | offset | current range | gain | offset |");
    let number = |cell: &str| -> f64 {
        let (number, unit) = cell
            .trim_start_matches('±')
            .split_once(' ')
            .expect("a unit");
        let factor = if unit == "%" { 0.01 } else { 0.001 };
        number.parse::<f64>().expect("a number") * factor
    };
    let limits: Vec<[f64; 4]> = rows
        .iter()
        .map(|row| [2, 3, 5, 6].map(|i| number(row[i])))
        .collect();
    let mut greatest = [[0.0_f64; 4]; 4];
    let mut periods = vec![];
    for seed in 0..200 {
        let order = Device::new(Description::gallinule(), ADDRESS).expect("sound");
        let model = order.clone().build(&Rng::new(seed)).expect("a model");
        assert_eq!(
            order.build(&Rng::new(seed)).expect("a model").errors(),
            model.errors()
        );
        for (page, errors) in model.errors().pages.iter().enumerate() {
            let all = [
                errors.voltage_gain,
                errors.voltage_offset,
                errors.current_gain,
                errors.current_offset,
            ];
            for (i, error) in all.into_iter().enumerate() {
                assert!(error.abs() <= limits[page][i] * 1.000_001);
                greatest[page][i] = greatest[page][i].max(error.abs());
            }
        }
        periods.push(model.errors().sample_period_ns);
    }
    for (page, limits) in limits.iter().enumerate() {
        assert!(
            (0..4).all(|i| greatest[page][i] > 0.9 * limits[i]),
            "page {page}"
        );
    }
    assert!(
        periods
            .iter()
            .all(|ns| (4_900_000..=5_100_000).contains(ns))
    );
    assert!(periods.iter().any(|ns| *ns < 4_910_000) && periods.iter().any(|ns| *ns > 5_090_000));
}

#[test]
fn the_supply_is_that_of_the_document() {
    let desk = Desk::ideal();
    desk.bench.run_until(1_000);
    assert_eq!(desk.part.supply_charge_na_ns(), 12_000_000 * 1_000);
    assert_eq!(
        desk.part.supply_energy_na_mv_ns(),
        12_000_000 * 1_000 * 3_300
    );
    desk.part.power_loss();
    desk.bench.run_until(2_000);
    desk.part.power_up();
    desk.bench.run_until(3_000);
    assert_eq!(desk.part.supply_charge_na_ns(), 12_000_000 * 2_000);
}

#[test]
fn a_bench_can_step_from_sample_to_sample() {
    let desk = Desk::ideal();
    desk.bench.run_until(3 * SAMPLE_NS);
    assert_eq!(desk.part.conversions(), 12);
    let last = desk.part.last_conversion().expect("a sample");
    assert_eq!((last.channel, last.at_ns), (3, 3 * SAMPLE_NS));
    assert_eq!(desk.part.with(|model| model.channels()), 4);
    assert_eq!(desk.part.next_event_ns(), Some(3 * SAMPLE_NS + APERTURE_NS));
    let bench = Bench::new(7);
    let part = bench
        .part(Device::new(Description::gallinule(), ADDRESS).expect("sound"))
        .expect("free");
    assert_eq!(part.address(), ADDRESS);
}

/// A fault can be of a resistor in front of a page, and is of no effect: currents are sensed
/// inside.
#[test]
fn a_resistor_in_front_of_a_page_changes_nothing() {
    let desk = Desk::ideal();
    desk.rail(0, 3.0, 2.0);
    let open = |channel| {
        desk.bench
            .fault(Fault::new(FaultKind::SenseOpen { channel }))
    };
    assert!(open(0).is_ok());
    assert_eq!(open(1).map(drop), Err(BenchError::NoRail(1)));
    desk.settle(2);
    // 2 A in Linear11 with the least exponent from -8 on, 2^-8: 512.
    assert_eq!(desk.word(0x8C), 0xC200);
}
