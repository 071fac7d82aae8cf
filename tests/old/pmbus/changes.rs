use crake::old::alert::{Causes, Watches};
use crake::old::part::pmbus::gallinule::Gallinule;
use crake::old::{Came, Condition, Fault, ShuntMonitor};
use embedded_hal::delay::DelayNs;
use embedded_hal::i2c::I2c;

use super::desk::{ADDRESS, Desk, board, setup};
use super::safety::WATCHES;

/// The limit registers that [`WATCHES`] are put to.
fn limits(desk: &Desk) -> Vec<[u8; 2]> {
    let mut bus = desk.bench.i2c();
    let registers = [(0, 0x4A), (0, 0x6A), (1, 0x43), (2, 0x42), (3, 0x5D)];
    let read = registers.map(|(page, register)| {
        let mut word = [0; 2];
        bus.write(ADDRESS, &[0x00, page]).unwrap();
        bus.write_read(ADDRESS, &[register], &mut word).unwrap();
        word
    });
    read.to_vec()
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Change {
    Configure,
    Arm,
}

/// What came of a change with a reset before one of its transfers.
struct Outcome {
    transfers: usize,
    /// Nothing said that there was a reset.
    silent: bool,
    in_force: bool,
}

fn with_reset(change: Change, number: Option<usize>) -> Outcome {
    let (desk, board) = (Desk::ideal(), board());
    let mut monitor = desk.monitor(Gallinule::new(), &board);
    let (watches, mut found) = (Watches::limits(&WATCHES), Causes::empty());
    monitor.init(&setup()).unwrap();
    monitor.arm(&setup(), &watches, &mut found).unwrap();
    let wanted = limits(&desk);
    desk.run_ms(20);
    let mut delay = desk.bench.delay();
    desk.before(number.unwrap_or(usize::MAX), move |part, _| {
        part.brown_out();
        delay.delay_ms(3);
    });
    let frame = match change {
        Change::Configure => monitor.configure(&setup()),
        Change::Arm => monitor.arm(&setup(), &watches, &mut found),
    };
    let silent = frame.is_ok_and(|frame| frame.condition() != Condition::Reset);
    let transfers = desk.tape.borrow().transfers.len();
    desk.run_ms(20);
    let next = monitor.latch().unwrap().condition();
    Outcome {
        transfers,
        silent: silent && next != Condition::Reset,
        in_force: limits(&desk) == wanted,
    }
}

/// Resets before every single transfer of a change, of which the next transfer knows nothing any
/// more: found, but for those between a reading of the mark and the write over it. At the beginning
/// of arming, whatever was lost is put again; at the end, it is what remains (documentation of the
/// module).
#[test]
fn no_reset_in_the_middle_of_a_change_is_missed() {
    for change in [Change::Configure, Change::Arm] {
        let undisturbed = with_reset(change, None);
        assert!(undisturbed.silent && undisturbed.in_force);
        let mut silent = vec![];
        for number in 0..undisturbed.transfers {
            let outcome = with_reset(change, Some(number));
            if outcome.silent {
                silent.push((number, outcome.in_force));
            }
        }
        let last = undisturbed.transfers - 2;
        match change {
            Change::Configure => assert_eq!(silent, [(last, false)]),
            Change::Arm => assert_eq!(silent, [(1, true), (last, false)]),
        }
    }
}

/// The host dies at every single transfer of a change that takes the limits away: its successor
/// joins while they are in force, and not afterwards.
#[test]
fn nobody_joins_a_change_that_was_cut_off() {
    let mut joined = 0;
    for number in 0.. {
        let (desk, board) = (Desk::ideal(), board());
        let mut monitor = desk.monitor(Gallinule::new(), &board).with_repeats(0);
        let mut found = Causes::empty();
        monitor.init(&setup()).unwrap();
        let watches = Watches::limits(&WATCHES);
        monitor.arm(&setup(), &watches, &mut found).unwrap();
        let (joint, wanted) = (monitor.joint(), limits(&desk));
        desk.run_ms(20);
        desk.tape.borrow_mut().rewind();
        desk.tape.borrow_mut().lost = Some(number);
        let outcome = monitor.arm(&setup(), &Watches::limits(&[]), &mut found);
        if outcome.is_ok() {
            assert!(number > 80, "{number}");
            break;
        }
        let mut next = desk.monitor(Gallinule::new(), &board);
        if next.attach(&joint).is_ok() {
            assert_eq!(limits(&desk), wanted, "{number}");
            joined += 1;
        }
    }
    // Before the mark was read, and before it was replaced.
    assert_eq!(joined, 2);
}

/// Two hosts run this driver: the second one's set-up is not taken for the first one's, whose
/// serial it counts on from.
#[test]
fn a_second_host_counts_on() {
    let (desk, board) = (Desk::ideal(), board());
    let mut first = desk.monitor(Gallinule::new(), &board);
    let mut second = desk.monitor(Gallinule::new(), &board);
    first.init(&setup()).unwrap();
    second.init(&setup()).unwrap();
    let (expected, got) = (first.joint().serial, second.joint().serial);
    assert_eq!((expected, got), (1, 2));
    desk.run_ms(20);
    let error = first.latch().unwrap_err();
    assert_eq!(
        error.came,
        Came::Fault(Fault::SetUpChanged { expected, got })
    );
    assert_eq!(second.latch().unwrap().condition(), Condition::Steady);
}
