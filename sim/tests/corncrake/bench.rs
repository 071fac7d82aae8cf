//! What the bench sees of the part: truth, watchers, alert lines, debug text.

use core::{
    cell::{Cell, RefCell},
    time::Duration,
};
use std::rc::Rc;

use crake_sim::{
    bench::Bench,
    part::corncrake::{Corncrake, Output, PartWatcher, Snapshot},
    plant::{Means, Plant, Truth},
};
use embedded_hal::digital::InputPin;

use crate::corncrake::fixture::{CONVERSION_NS, Fixture, ohm};

#[test]
fn truth_counts_on_through_conversions_and_resets() {
    let fixture = Fixture::ideal();
    fixture.steady(0, 2e6, 0.0);
    fixture.run(0x10);
    fixture.bench.run_until(10_000_001);
    assert_eq!(
        fixture.part.truth(0).expect("channel").charge_half_na_ns,
        2 * 2_000_000 * 10_000_001
    );
    fixture.part.brown_out();
    fixture.bench.run_until(20_000_000);
    assert_eq!(
        fixture.part.truth(0).expect("channel").charge_half_na_ns,
        2 * 2_000_000 * 20_000_000
    );
    assert_eq!(fixture.part.truth(1).expect("channel").charge_half_na_ns, 0);
    assert!(fixture.part.truth(4).is_err());
}

#[test]
fn addresses_are_checked() {
    let bench = Bench::new(0);
    assert!(bench.part(Corncrake::ideal(0x31)).is_err());
    assert!(bench.part(Corncrake::ideal(0x36)).is_err());
    assert!(bench.part(Corncrake::ideal(0x32)).is_ok());
    assert!(bench.part(Corncrake::new(0x32)).is_err());
}

/// One source behind two rails, which fails the test when its time goes back.
struct Shared(Rc<Cell<u64>>);

impl Plant for Shared {
    fn window(&mut self, from_ns: u64, to_ns: u64) -> Means {
        assert!(
            self.0.replace(to_ns) <= from_ns && from_ns < to_ns,
            "window {from_ns} to {to_ns}"
        );
        Means {
            current_na: 1e7,
            voltage_nv: 1e9,
        }
    }

    fn truth(&mut self, at_ns: u64) -> Truth {
        assert!(self.0.replace(at_ns) <= at_ns, "truth at {at_ns}");
        Truth::default()
    }
}

#[test]
fn a_plants_time_never_goes_back_whenever_the_truth_is_asked_for() {
    let fixture = Fixture::ideal();
    let time = Rc::new(Cell::new(0));
    for channel in 0..2 {
        fixture
            .part
            .rail(channel, Shared(time.clone()), ohm())
            .expect("channel");
    }
    fixture.write(0x05, &[0x03]);
    fixture.write(0x06, &[0, 0]);
    for step in 0..500 {
        // Now and then a stop abandons an aperture that the truth has cut.
        if step % 50 == 0 {
            fixture.stop();
            fixture.run(0x10);
        }
        fixture.bench.run_for(Duration::from_nanos(step * 131));
        fixture.part.truth(step as usize % 2).expect("channel");
    }
    assert_eq!(
        (fixture.signed(0x60, 3), fixture.unsigned(0x65, 2)),
        (20_000, 10_000)
    );
}

/// Every moment shown, up to a number.
struct Seen {
    moments: Vec<(u64, Snapshot)>,
    wanted: usize,
}

impl PartWatcher for Seen {
    fn see(&mut self, at_ns: u64, part: &Snapshot) -> bool {
        self.moments.push((at_ns, *part));
        self.moments.len() < self.wanted
    }
}

/// Goal: a watcher sees the part as the watch begins, each write as it takes effect, and each
/// conversion as it ends.
#[test]
fn a_watcher_sees_every_moment_of_the_part_until_it_has_seen_enough() {
    let fixture = Fixture::ideal();
    fixture.write(0x05, &[0x02]);
    fixture.write(0x06, &[0, 0]);
    fixture.write(0x1A, &[0, 0, 10]);
    fixture.steady(1, 11.0 * 500.0, 7.0 * 100_000.0);
    let seen = Rc::new(RefCell::new(Seen {
        moments: Vec::new(),
        wanted: 6,
    }));
    fixture.part.watch(fixture.bench.now_ns(), seen.clone());
    fixture.run(0x20);
    let run_ns = fixture.bench.now_ns();
    fixture.bench.run_for(Duration::from_millis(1));
    fixture.stop();
    fixture.run(0x20);
    fixture.bench.run_for(Duration::from_millis(1));
    let moments = &seen.borrow().moments;
    assert_eq!(moments.len(), 6);
    let begin_ns = run_ns + 150_000;
    let [first, running, _, sense, rail, stopped] = &moments[..] else {
        panic!("six moments");
    };
    assert_eq!((first.1.channels[1].sense, first.1.flags), (0, 0x40_0000));
    assert_eq!(running.0, run_ns);
    assert_eq!(sense.0, begin_ns + CONVERSION_NS);
    let channel = sense.1.channels[1];
    assert_eq!((channel.sense, channel.rail), (11, 0));
    assert_eq!(channel.counts, [0, 0, 1, 0, 0]);
    assert_eq!(channel.truth.current_na, 11.0 * 500.0);
    assert_eq!((sense.1.conditions, sense.1.flags), (1 << 7, 0x40_0080));
    assert_eq!(rail.0, begin_ns + 2 * CONVERSION_NS);
    let channel = rail.1.channels[1];
    assert_eq!((channel.sense, channel.rail), (11, 7));
    assert_eq!(channel.truth.voltage_nv, 7.0 * 100_000.0);
    assert_eq!(rail.1.flags, 0x60_0080, "scan done");
    assert_eq!(stopped.1.conditions, 1 << 7, "idle before the stop");
}

#[test]
fn a_line_follows_its_output_and_the_debug_text_says_so() {
    let bench = Bench::new(0);
    let fixture = Fixture::with(&bench, Corncrake::ideal(0x32));
    let (mut a, mut b) = (
        bench.alert(&fixture.part, Output::A),
        bench.alert(&fixture.part, Output::B),
    );
    let mut levels = || (a.is_low().expect("a line"), b.is_low().expect("a line"));
    assert_eq!(levels(), (false, false));
    // Reset seen reaches output B.
    fixture.write(0x36, &[0x40, 0, 0]);
    assert_eq!(levels(), (false, true));
    fixture.run(0x14);
    assert_eq!(
        format!("{:?}", fixture.part),
        "Part(0x32, mode 0x14, A high, B low, 0 conversions)"
    );
    fixture.write(0x0A, &[1]);
    assert_eq!(levels(), (false, false));
    fixture.part.power_loss();
    assert_eq!(format!("{:?}", fixture.part), "Part(0x32, without supply)");
}
