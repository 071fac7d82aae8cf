//! The driver against the model while transfers fail, the part resets and firmware starts over, at
//! every moment.

use std::cell::Cell;
use std::time::Duration;

use crake::old::alert::{Causes, Limit, Outputs, Watch, Watches};
use crake::old::board::{Board, Load, Rail, Shunt};
use crake::old::ledger::{Entry, Ledger};
use crake::old::part::moorhen::{self, BUS_7_V, SENSE_73_MV, SPEC};
use crake::old::part::{Counters, Pace};
use crake::old::units::{Current, Resistance, Tolerance};
use crake::old::{Channel, Condition, Mode, Monitor, Ranges, Setup, ShuntMonitor};
use crake_sim::bench::{self, Bench, Part};
use crake_sim::board::SenseResistor;
use crake_sim::bus;
use crake_sim::old::moorhen::{Model, Moorhen};
use crake_sim::plant::{self, Constant, Recorded, Source};
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, Operation};

const RANGES: Ranges = Ranges {
    sense: SENSE_73_MV,
    bus: BUS_7_V,
};
/// Frames at least every 100 ms.
const SETUP: Setup<2> = Setup::all(RANGES, Mode::Paced(Pace(4)));
/// 2 A on 10 mΩ, up to 5 A.
static WATCHES: [Watch; 1] = [
    Watch::new(Channel::C0, Limit::OverCurrent(Current::from_amps(2)))
        .held()
        .to(Outputs::A),
];

/// A bench with 1 A on the first channel, from 500 ms on 4 A.
struct Desk {
    bench: Bench,
    part: Part<Model>,
    /// Transfers since it was set to 0.
    count: Cell<usize>,
    /// From this transfer on nothing comes through.
    cut: Cell<Option<usize>>,
    /// Before this transfer the part resets, and is ready again.
    reset: Cell<Option<usize>>,
}

impl Desk {
    fn new() -> Self {
        let bench = Bench::new(1);
        let part = bench.part(Moorhen::ideal(0x17)).expect("an address");
        let load = Recorded::steps(1_000_000_000, &[(500_000_000, 4_000_000_000)]);
        let source = Source::of(Constant::new(5_000_000_000).expect("a voltage"));
        let rail = plant::Rail::new(source, load.expect("steps")).expect("a rail");
        part.rail(0, rail, SenseResistor::ideal(10_000_000))
            .expect("a channel");
        Self {
            bench,
            part,
            count: Cell::new(0),
            cut: Cell::new(None),
            reset: Cell::new(None),
        }
    }

    fn monitor<'d>(&'d self, board: &'d Board<2>) -> TestMonitor<'d> {
        let (delay, clock) = (self.bench.delay(), self.bench.clock());
        let wire = Wire(self, self.bench.i2c());
        Monitor::new(wire, delay, clock, moorhen::Moorhen::new(), 0x17, board).with_repeats(0)
    }

    fn pass_us(&self, us: u64) {
        self.bench.run_for(Duration::from_micros(us));
    }
}

type TestMonitor<'d> = Monitor<'d, Wire<'d>, bench::Delay, bus::Clock, moorhen::Moorhen, 2>;

struct Wire<'d>(&'d Desk, bench::I2c);

impl ErrorType for Wire<'_> {
    type Error = ErrorKind;
}

impl I2c for Wire<'_> {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), ErrorKind> {
        let number = self.0.count.replace(self.0.count.get() + 1);
        if self.0.reset.get() == Some(number) {
            self.0.part.brown_out();
            self.0.pass_us(3_000);
        }
        if self.0.cut.get().is_some_and(|cut| number >= cut) {
            return Err(ErrorKind::Bus);
        }
        let done = self.1.transaction(address, operations);
        done.map_err(|_| ErrorKind::Other)
    }
}

fn board() -> Board<2> {
    let shunt = Shunt::new(Resistance::from_milliohms(10), Tolerance::ZERO);
    Board::new(
        &SPEC,
        [Rail::new(shunt, Load::smooth(Current::from_amps(5))); 2],
    )
    .expect("a board")
}

fn arm(monitor: &mut TestMonitor<'_>) -> Result<Condition, crake::old::Error<ErrorKind>> {
    let watches = Watches::limits(&WATCHES);
    let frame = monitor.arm(&SETUP, &watches, &mut Causes::empty())?;
    Ok(frame.condition())
}

/// Whether 4 A are told within two services.
fn watches(desk: &Desk, monitor: &mut TestMonitor<'_>) -> bool {
    desk.bench.run_until(600_000_000);
    let mut found = Causes::empty();
    for _ in 0..2 {
        let interest = Watches::limits(&WATCHES).interest();
        monitor
            .service(interest, &mut found)
            .expect("a part that answers");
    }
    !found.is_empty()
}

/// Counters of a run with something between its two frames.
fn counted(between: impl Fn(&Desk, &mut TestMonitor<'_>)) -> Counters {
    let (desk, board) = (Desk::new(), board());
    let mut monitor = desk.monitor(&board);
    monitor.init(&SETUP).expect("a part that answers");
    let mut ledger = Ledger::new(&board, &SPEC);
    desk.bench.run_until(450_000_000);
    ledger.update(&monitor.latch().expect("a part that answers"));
    between(&desk, &mut monitor);
    desk.bench.run_until(540_000_000);
    let frame = monitor.latch().expect("a part that answers");
    assert_eq!(ledger.update(&frame), Entry::Added);
    frame.counters(Channel::C0)
}

/// A look takes no sample: however often the causes are read, the sums are what the frames say.
#[test]
fn looks_do_not_count() {
    let plain = counted(|_, _| {});
    let looked = counted(|desk, monitor| {
        for _ in 0..300 {
            let looked = monitor.look(Causes::LIMITS, &mut Causes::empty());
            assert_eq!(looked, Ok(false));
            desk.pass_us(50);
        }
    });
    assert_eq!(looked, plain);
}

/// Nor does what a failed latch left behind, whichever of its transfers failed.
#[test]
fn a_failed_latch_counts_nothing_even_if_a_look_follows() {
    let plain = counted(|_, _| {});
    for transfer in 0..8 {
        let failed = counted(|desk, monitor| {
            desk.bench.run_until(520_000_000);
            desk.count.set(0);
            desk.cut.set(Some(transfer));
            assert!(monitor.latch().is_err());
            desk.cut.set(None);
            let looked = monitor.look(Causes::LIMITS, &mut Causes::empty());
            assert_eq!(looked, Ok(false));
        });
        // The next trigger waits for one that may be in progress still: 0.8 ms of 90, in the sums
        // as in the time.
        let off = (failed.charge - plain.charge).abs();
        assert!(
            off * 100 < plain.charge,
            "transfer {transfer}: {failed:?} {plain:?}"
        );
    }
}

/// The part resets and is ready again before any transfer of a change: then the change fails, or a
/// frame says so. There is one moment that nobody can see: between the last look at the mark and
/// the writing of the new one.
#[test]
fn a_reset_at_any_moment_of_a_change_is_found() {
    let board = board();
    let transfers = {
        let desk = Desk::new();
        let mut monitor = desk.monitor(&board);
        monitor.init(&SETUP).expect("a part that answers");
        desk.count.set(0);
        arm(&mut monitor).expect("a part that answers");
        desk.count.get()
    };
    let blind = transfers - 2;
    for moment in (0..transfers).filter(|moment| *moment != blind) {
        let desk = Desk::new();
        let mut monitor = desk.monitor(&board).with_repeats(2);
        monitor.init(&SETUP).expect("a part that answers");
        desk.count.set(0);
        desk.reset.set(Some(moment));
        let armed = arm(&mut monitor);
        desk.reset.set(None);
        let told = !matches!(armed, Ok(Condition::Boundary))
            || monitor.latch().map(|frame| frame.condition()) != Ok(Condition::Steady);
        assert!(
            told || watches(&desk, &mut monitor),
            "transfer {moment}: {armed:?}"
        );
    }
}

/// Firmware is gone in the middle of arming: the next one joins the part only where its limits are
/// in force.
#[test]
fn a_part_that_was_being_armed_is_not_joined_as_armed() {
    let board = board();
    for transfer in 0..60 {
        let desk = Desk::new();
        let mut monitor = desk.monitor(&board);
        monitor.init(&SETUP).expect("a part that answers");
        arm(&mut monitor).expect("a part that answers");
        let joint = monitor.joint();
        desk.count.set(0);
        desk.cut.set(Some(transfer));
        let whole = arm(&mut monitor).is_ok();
        desk.cut.set(None);
        let mut next = desk.monitor(&board);
        if next.attach(&joint).is_ok() {
            assert!(watches(&desk, &mut next), "transfer {transfer}");
        }
        if whole {
            return;
        }
    }
    panic!("arming takes fewer transfers");
}

/// After a failure anywhere in arming, arming again is all it takes.
#[test]
fn arming_again_after_a_failure_anywhere_puts_the_limits_in_force() {
    let board = board();
    for transfer in 0..60 {
        let desk = Desk::new();
        let mut monitor = desk.monitor(&board);
        monitor.init(&SETUP).expect("a part that answers");
        desk.count.set(0);
        desk.cut.set(Some(transfer));
        let whole = arm(&mut monitor).is_ok();
        desk.cut.set(None);
        assert_eq!(
            arm(&mut monitor),
            Ok(Condition::Boundary),
            "transfer {transfer}"
        );
        assert!(watches(&desk, &mut monitor), "transfer {transfer}");
        if whole {
            return;
        }
    }
    panic!("arming takes fewer transfers");
}
