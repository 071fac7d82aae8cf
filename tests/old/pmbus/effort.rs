use crake::old::alert::{Causes, Watches};
use crake::old::part::Part;
use crake::old::part::pmbus::Pmbus;
use crake::old::part::pmbus::gallinule::Gallinule;
use crake::old::{Channel, ShuntMonitor, Task};
use crake_sim::part::pmbus::Pec;

use super::desk::{Desk, board, setup};
use super::safety::{Unchecked, WATCHES, devices};

fn within<P: Part>(desk: &Desk, task: Task, what: &str) -> f64 {
    let most = P::effort(task, u8::MAX);
    let mut tape = desk.tape.borrow_mut();
    let (transfers, bytes) = (tape.transfers.len(), tape.bytes);
    assert!(
        transfers <= most.transfers as usize && bytes <= u64::from(most.bytes),
        "{task:?} of {what}: {transfers} of {} transfers, {bytes} of {} bytes",
        most.transfers,
        most.bytes
    );
    tape.rewind();
    bytes as f64 / f64::from(most.bytes)
}

fn measure<P: Part>(desk: &Desk, map: P, what: &str) -> [f64; 5] {
    let board = board();
    let mut monitor = desk.monitor(map, &board).with_repeats(0);
    let mut found = Causes::empty();
    monitor.init(&setup()).unwrap();
    let init = within::<P>(desk, Task::Init, what);
    desk.run_ms(20);
    monitor.latch().unwrap();
    let latch = within::<P>(desk, Task::Latch, what);
    monitor.configure(&setup().with(Channel::C1, None)).unwrap();
    within::<P>(desk, Task::Configure, what);
    monitor.configure(&setup()).unwrap();
    within::<P>(desk, Task::Configure, what);
    let watches = Watches::limits(&WATCHES);
    monitor.arm(&setup(), &watches, &mut found).unwrap();
    within::<P>(desk, Task::Arm, what);
    desk.run_ms(20);
    for (page, register, bits) in [
        (0, 0x7B, 0x21),
        (1, 0x7A, 0x20),
        (2, 0x7A, 0x40),
        (3, 0x7C, 2),
    ] {
        assert!(desk.part.with(|model| model.raise(page, register, bits)));
    }
    monitor.arm(&setup(), &watches, &mut found).unwrap();
    let arm = within::<P>(desk, Task::Arm, what);
    // Everything passed for good: as many looks as a service may take.
    for (page, register, bits) in [
        (0, 0x7B, 0x21),
        (1, 0x7A, 0x20),
        (2, 0x7A, 0x40),
        (3, 0x7C, 2),
    ] {
        assert!(desk.part.with(|model| model.raise(page, register, bits)));
    }
    monitor.service(Causes::all(), &mut found).unwrap();
    let service = within::<P>(desk, Task::Service, what);
    monitor.attach(&monitor.joint()).unwrap();
    let attach = within::<P>(desk, Task::Attach, what);
    [init, attach, latch, arm, service]
}

/// No operation takes more than it says, on devices that answer QUERY and on those that have to be
/// tried; and none says much more than it can take.
#[test]
fn no_operation_takes_more_than_it_says() {
    let mut greatest = [0.0_f64; 5];
    for (description, _) in devices() {
        let what = format!("{:?}, {}", description.pec, description.has_query);
        let desk = Desk::of(description.clone());
        let taken = if description.pec == Pec::None {
            measure(&desk, Pmbus::<Unchecked, 4>::new(), &what)
        } else {
            measure(&desk, Gallinule::new(), &what)
        };
        for (greatest, taken) in greatest.iter_mut().zip(taken) {
            *greatest = greatest.max(taken);
        }
    }
    let [init, attach, latch, arm, service] = greatest;
    assert!(
        init > 0.55 && attach > 0.5 && latch > 0.95 && arm > 0.6 && service > 0.4,
        "{greatest:?}"
    );
}
