extern crate std;

use super::*;
use crate::old::board::{Load, Rail, Shunt};
use crate::old::bound::Parts;
use crate::old::part::{Codes, Counters, corncrake::SPEC};
use crate::units::{Current, Resistance, Tolerance};

/// Each field with a value of its own, so that two that change places are seen.
#[test]
fn every_field_comes_back() {
    let shunt = Shunt::new(Resistance::from_milliohms(10), Tolerance::ZERO);
    let rail = Rail::new(shunt, Load::smooth(Current::from_amps(2)));
    let board = Board::new(&SPEC, [rail; 2]).expect("a board");
    let mut ledger = Ledger::new(&board, &SPEC);
    let stamp = |us| Stamp {
        before_us: us,
        after_us: us + 1,
    };
    ledger.epoch = 3;
    ledger.gap = Gap {
        least_us: 4,
        greatest_us: 5,
    };
    ledger.shift_us = u64::MAX - 6;
    let modes = [
        None,
        Some(Mode::Idle),
        Some(Mode::Paced(Pace(4))),
        Some(Mode::SingleShot),
        Some(Mode::Burst(Channel::C3)),
    ];
    let parts = |from: u32| Parts {
        mantissas: core::array::from_fn(|place| from + place as u32),
        exponents: core::array::from_fn(|place| -100 + place as i8),
    };
    for (number, (totals, tally)) in (1..).zip(ledger.closed.iter_mut().zip(&mut ledger.tallies)) {
        let base = 1_i128 << (100 + number);
        *totals = Totals {
            by_host: Flowed {
                charge: -base,
                energy: base + 1,
            },
            twice_us: 1 << 50,
            sense_clipped: true,
            bus_clipped: false,
            kept: Bounds {
                by_part: Flowed {
                    charge: -base + 2,
                    energy: base + 3,
                },
                charge: parts(1 << 31),
                energy: parts(3 << 30),
            },
        };
        let ranges = Ranges {
            sense: SenseRange(1),
            bus: BusRange(2),
        };
        let counters = |charge, energy| Counters { charge, energy };
        *tally = Tally::from(counters(-8, 9), Some(ranges), false);
        let codes = Codes {
            bus: 77,
            bus_clipped: true,
            ..Codes::default()
        };
        tally.add(
            SPEC.accumulators,
            counters(-(1 << 40), 1 << 58),
            codes,
            Some(5),
        );
        tally.twice_bus.words = [10, 11, 12];
    }
    let mut bytes = [0; Ledger::<2>::CHECKPOINT_LEN];
    for mode in modes {
        let course = match mode {
            None => Course::Stopped,
            Some(_) => Course::Open,
        };
        ledger.segment = Segment {
            course,
            start: stamp(20),
            last: stamp(30),
            rounds: 40,
            last_rounds: 50,
            unread: 35,
            ..Segment::EMPTY
        };
        ledger.run_as(mode);
        ledger
            .save(&Joint { serial: 60 }, &mut bytes)
            .expect("room");
        let (again, joint) = Ledger::load(&board, &SPEC, &bytes).expect("whole");
        assert_eq!(std::format!("{again:?}"), std::format!("{ledger:?}"));
        assert_eq!(joint, Joint { serial: 60 });
    }
    // The last field ends where the check value begins: the lengths above are those of the fields.
    let mut eye = Eye::new(&bytes);
    Head::default().visit(&mut eye);
    Common::of(&ledger).visit(&mut eye);
    for _ in 0..2 {
        visit_totals(&mut { Totals::<Bounds>::EMPTY }, &mut eye);
        visit_tally(&mut { Tally::EMPTY }, &mut eye);
    }
    assert_eq!(eye.rest(), CHECK);
}
