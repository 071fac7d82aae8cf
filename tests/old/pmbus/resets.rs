use crake::old::part::Joint;
use crake::old::part::pmbus::gallinule::Gallinule;
use crake::old::{Came, Channel, Condition, Fault, NoReading, ShuntMonitor};

use super::desk::{Desk, board, setup};
use super::readings::usual;

/// A brown-out before every single transfer of a frame, with a firmware that is stubborn enough to
/// go on as soon as the device answers again, which then has page 0 selected: whatever comes of it,
/// no value of page 0 is shown as another's, and no zero of a fresh device as a reading.
#[test]
fn no_reset_in_the_middle_of_a_frame_is_missed() {
    let board = board();
    let mut told = 0;
    for number in 0.. {
        let desk = Desk::ideal();
        let mut monitor = desk.monitor(Gallinule::new(), &board).with_repeats(u8::MAX);
        monitor.init(&setup()).unwrap();
        desk.run_ms(20);
        desk.before(number, |part, _| part.brown_out());
        let outcome = monitor.latch();
        if let Ok(frame) = outcome {
            if desk.tape.borrow().trick.is_some() {
                // Past the last transfer.
                assert!(number > 25, "{number}");
                break;
            }
            assert_eq!(frame.condition(), Condition::Reset, "{number}");
            assert_eq!(frame.reading(Channel::C2), Err(NoReading::NotRunning));
            told += 1;
        }
        // Whatever it was, the next frame says so, and init begins anew.
        let frame = monitor.latch().unwrap();
        assert_eq!(frame.condition(), Condition::Reset, "{number}");
        monitor.init(&setup()).unwrap();
        desk.run_ms(20);
        let frame = monitor.latch().unwrap();
        for (channel, expected) in Channel::first(4).zip(usual()) {
            assert_eq!(frame.reading(channel).unwrap().voltage, expected.voltage);
        }
    }
    assert!(told > 10, "{told}");
}

/// The firmware starts again: with the joint it goes on where it was; without the right one it does
/// not.
#[test]
fn a_restarted_firmware_joins() {
    let (desk, board) = (Desk::ideal(), board());
    let mut monitor = desk.monitor(Gallinule::new(), &board);
    monitor.init(&setup()).unwrap();
    let joint = monitor.joint();
    assert_ne!(joint.serial, 0);
    desk.run_ms(20);
    let mut next = desk.monitor(Gallinule::new(), &board);
    let frame = next.attach(&joint).unwrap();
    assert_eq!(frame.condition(), Condition::Steady);
    assert!(!frame.unbroken(), "the sums are new");
    assert_eq!(frame.reading(Channel::C2).unwrap(), usual()[2]);
    // Another set-up, another mark.
    next.configure(&setup()).unwrap();
    let error = monitor.attach(&joint).unwrap_err();
    let (expected, got) = (joint.serial, joint.serial + 1);
    assert_eq!(
        error.came,
        Came::Fault(Fault::SetUpChanged { expected, got })
    );
    let error = next.attach(&Joint { serial: 77 }).unwrap_err();
    assert_eq!(
        error.came,
        Came::Fault(Fault::SetUpChanged { expected: 77, got })
    );
    desk.part.brown_out();
    desk.run_ms(20);
    let error = next.attach(&Joint { serial: got }).unwrap_err();
    assert_eq!(error.came, Came::Fault(Fault::ResetSeen));
}

/// Somebody else wrote to USER_DATA_00, and not quite what we do.
#[test]
fn a_strangers_mark_is_not_ours() {
    let (desk, board) = (Desk::ideal(), board());
    let mut monitor = desk.monitor(Gallinule::new(), &board);
    monitor.init(&setup()).unwrap();
    let serial = monitor.joint().serial;
    let [low, high] = serial.to_le_bytes();
    desk.poke(0, &[0xB0, 4, low, high, 1, 2]);
    let error = monitor.latch().unwrap_err();
    let (expected, got) = (serial, serial);
    assert_eq!(
        error.came,
        Came::Fault(Fault::SetUpChanged { expected, got })
    );
}

/// The mark of a change takes effect, and whoever wrote it never hears of it: it is ours all the
/// same, and so is the old one where it took none.
#[test]
fn a_mark_whose_writing_came_to_no_end_is_ours() {
    for takes_effect in [true, false] {
        let (desk, board) = (Desk::ideal(), board());
        let mut monitor = desk.monitor(Gallinule::new(), &board).with_repeats(0);
        monitor.init(&setup()).unwrap();
        let serial = monitor.joint().serial;
        desk.run_ms(20);
        desk.tape.borrow_mut().rewind();
        monitor.latch().unwrap();
        let transfers = desk.tape.borrow().transfers.len();
        // The write of the mark gets lost, or the reading back of it.
        desk.tape.borrow_mut().rewind();
        desk.tape.borrow_mut().lost = Some(transfers + usize::from(takes_effect));
        assert!(monitor.configure(&setup()).is_err());
        let frame = monitor.latch().unwrap();
        assert_eq!(frame.condition(), Condition::Steady, "{takes_effect}");
        let expected = serial + u16::from(takes_effect);
        assert_eq!(monitor.joint().serial, expected);
        monitor.configure(&setup()).unwrap();
        assert_eq!(monitor.latch().unwrap().condition(), Condition::Steady);
    }
}
