use crake::old::alert::{Cause, Causes, Kind, Limit, Outputs, Watch, Watches};
use crake::old::board::Board;
use crake::old::part::pmbus::format::{Coefficients, Format};
use crake::old::part::pmbus::gallinule::{Gallinule, Map, ranges};
use crake::old::part::pmbus::{Declaration, Device, EnergySpec, Expect, PageSpec, Pmbus};
use crake::old::part::{AlertSpec, Part, Source, Spec};
use crake::old::units::Current;
use crake::old::{Came, Channel, Fault, Mode, Setup, ShuntMonitor, Task};
use crake_sim::part::pmbus::{Description, Pec, Refusal};

use super::desk::{Desk, board, setup, steps};
use super::readings::usual;
use super::safety::{Unchecked, devices};

fn reads<P: Part>(desk: &Desk, map: P, what: &str) {
    let board = board();
    let mut monitor = desk.monitor(map, &board);
    monitor.init(&setup()).unwrap();
    // Asking leaves no trace in STATUS_CML, and pulls no line.
    assert_eq!(desk.peek(None, 0x7E), 0, "{what}");
    desk.run_ms(20);
    let frame = monitor.latch().unwrap();
    for (channel, expected) in Channel::first(4).zip(usual()) {
        let got = frame.reading(channel).unwrap();
        assert_eq!(
            (got.voltage, got.current),
            (expected.voltage, expected.current),
            "{what}"
        );
    }
    assert!(desk.edges() == 0, "{what}: {:?}", desk.line.edges());
}

/// By QUERY, and by trying where there is none: with both ways of refusing, with check bytes and
/// without.
#[test]
fn formats_are_found_out_by_asking() {
    for (description, checked) in devices() {
        let what = format!(
            "{:?}, {}, {:?}",
            description.pec, description.has_query, description.pages[0].refusal
        );
        let desk = Desk::of(description);
        if checked {
            reads(&desk, Gallinule::new(), &what);
        } else {
            reads(&desk, Pmbus::<Unchecked, 4>::new(), &what);
        }
    }
}

fn refused<P: Part>(description: Description, map: P) -> Option<Fault> {
    let (desk, board) = (Desk::of(description), board());
    let error = desk.monitor(map, &board).init(&setup()).err()?;
    let Came::Fault(fault) = error.came else {
        panic!("{error:?}")
    };
    Some(fault)
}

/// What the declaration counts on and the device lacks is named, with its page.
#[test]
fn what_is_missing_is_named() {
    let missing = |command, page| Some(Fault::NotSupported { command, page });
    for has_query in [true, false] {
        let with = |change: &dyn Fn(&mut Description)| {
            let mut description = Description::gallinule();
            description.has_query = has_query;
            change(&mut description);
            description
        };
        // CAPABILITY says that there are no check bytes.
        let no_pec = with(&|device| device.pec = Pec::None);
        assert_eq!(refused(no_pec, Gallinule::new()), missing(0x19, 0));
        // An energy count that was declared; an input where an output was.
        let no_count = with(&|device| device.pages[2].energy = None);
        assert_eq!(refused(no_count, Gallinule::new()), missing(0x87, 2));
        let other_side = with(&|device| device.pages.swap(0, 3));
        assert_eq!(refused(other_side, Gallinule::new()), missing(0x20, 0));
        // Power may be there or not.
        let no_power = with(&|device| device.pages[0].power = None);
        assert_eq!(refused(no_power, Gallinule::new()), None);
    }
    // No memory for a mark.
    let mut no_mark = Description::gallinule();
    no_mark.has_user_data = false;
    let (desk, board) = (Desk::of(no_mark), board());
    assert!(
        desk.monitor(Gallinule::new(), &board)
            .init(&setup())
            .is_err()
    );
}

/// Without a mark a reset is seen where the page selected is not 0 any more, and nobody can join.
#[derive(Debug)]
struct Unmarked;

impl Device for Unmarked {
    const DECLARATION: &'static Declaration = &Declaration {
        mark: None,
        ..*Map::DECLARATION
    };
}

#[test]
fn a_device_without_memory_for_a_mark() {
    let mut description = Description::gallinule();
    description.has_user_data = false;
    let (desk, board) = (Desk::of(description), board());
    let mut monitor = desk
        .monitor(Pmbus::<Unmarked, 4>::new(), &board)
        .with_repeats(u8::MAX);
    monitor.init(&setup()).unwrap();
    desk.run_ms(20);
    assert_eq!(
        monitor.latch().unwrap().reading(Channel::C2),
        Ok(usual()[2])
    );
    // Before PAGE is read again at the end of page 2's group.
    let end = desk.tape.borrow().transfers.len();
    assert!(end > 0);
    desk.before(18, |part, _| part.brown_out());
    let frame = monitor.latch().unwrap();
    assert!(frame.head().reset_seen);
    let joint = monitor.joint();
    let error = monitor.attach(&joint).unwrap_err();
    assert_eq!(error.came, Came::Fault(Fault::ResetSeen));
}

/// What was declared is not asked for: the device is said to speak otherwise than it does, and is
/// believed.
#[derive(Debug)]
struct Told;

const TOLD: Format = Format::Linear16(-8);

impl Device for Told {
    const DECLARATION: &'static Declaration = &Declaration {
        spec: Spec {
            power: Source::Driver,
            ..Map::DECLARATION.spec
        },
        pages: &[
            PageSpec {
                voltage: Expect::Is(TOLD),
                energy: Some(EnergySpec {
                    period: crake::old::part::pmbus::Period::Counts32768,
                    coefficients: Coefficients::new(1, 0, 1),
                }),
                ..Map::DECLARATION.pages[0]
            },
            Map::DECLARATION.pages[1],
            Map::DECLARATION.pages[2],
            Map::DECLARATION.pages[3],
        ],
        ..*Map::DECLARATION
    };
}

#[test]
fn what_was_declared_is_not_asked_for() {
    let (desk, board) = (Desk::ideal(), board());
    desk.rail(0, steps(3.3, &[]), steps(4.2, &[]));
    let mut monitor = desk.monitor(Pmbus::<Told, 4>::new(), &board);
    monitor.init(&setup()).unwrap();
    let asked = |bytes: &[u8]| {
        let tape = desk.tape.borrow();
        tape.transfers.iter().any(|(written, _)| written == bytes)
    };
    // COEFFICIENTS of page 2's current, but none of any power nor, on page 0, of the count.
    assert!(asked(&[0x30, 2, 0x8C, 1]) && asked(&[0x30, 2, 0x87, 1]));
    assert!(!asked(&[0x30, 2, 0x96, 1]) && !asked(&[0x1A, 1, 0x96]));
    desk.run_ms(20);
    let frame = monitor.latch().unwrap();
    // Example 5's word, 0x069A, by 2^-8: 6.6015625 V; the product with 4.203125 A, both by our
    // codes.
    let reading = frame.reading(Channel::C0).unwrap();
    assert_eq!(reading.voltage.as_nanovolts(), 6_601_500_000);
    assert_eq!(reading.power.as_nanowatts(), 27_746_104_500);
    assert!(!asked(&[0x96]));
}

/// Asked last for coefficients that page 3 does not have: nothing of it stays in STATUS_CML.
#[derive(Debug)]
struct Unwatched;

const fn bare(page: usize) -> PageSpec {
    PageSpec {
        energy: None,
        ..Map::DECLARATION.pages[page]
    }
}

impl Device for Unwatched {
    const DECLARATION: &'static Declaration = &Declaration {
        spec: Spec {
            power: Source::Driver,
            alerts: AlertSpec {
                kinds: &[],
                ..Map::DECLARATION.spec.alerts
            },
            ..Map::DECLARATION.spec
        },
        pages: &[bare(0), bare(1), bare(2), bare(3)],
        ..*Map::DECLARATION
    };
}

#[test]
fn asking_leaves_no_trace() {
    for refusal in [Refusal::Taken, Refusal::NotAcknowledged] {
        let mut description = Description::gallinule();
        description.has_query = false;
        description.pages[3].refusal = refusal;
        let (desk, board) = (Desk::of(description), board());
        let mut monitor = desk.monitor(Pmbus::<Unwatched, 4>::new(), &board);
        monitor.init(&setup()).unwrap();
        assert_eq!(desk.peek(None, 0x7E), 0, "{refusal:?}");
        // Without limits there is no line to care for.
        assert!(!desk.written().contains(&0x1B));
    }
}

/// One output, without PAGE.
#[derive(Debug)]
struct Single;

impl Device for Single {
    const DECLARATION: &'static Declaration = &Declaration {
        spec: Spec {
            channels: 1,
            ..Map::DECLARATION.spec
        },
        paged: false,
        pages: &[Map::DECLARATION.pages[0]],
        ..*Map::DECLARATION
    };
}

#[test]
fn a_device_of_one_page() {
    let mut description = Description::gallinule();
    description.pages.truncate(1);
    let desk = Desk::of(description);
    let board = Board::new(
        &Single::DECLARATION.spec,
        [*board().rails().first().unwrap()],
    )
    .unwrap();
    let setup = Setup::<1>::all(ranges(0), Mode::SingleShot);
    let mut monitor = desk.monitor(Pmbus::<Single, 1>::new(), &board);
    monitor.init(&setup).unwrap();
    let limit = Limit::OverCurrent(Current::from_amps(4));
    let watches = [Watch::new(Channel::C0, limit).held().to(Outputs::A)];
    let mut found = Causes::empty();
    monitor
        .arm(&setup, &Watches::limits(&watches), &mut found)
        .unwrap();
    desk.run_ms(20);
    desk.tape.borrow_mut().rewind();
    let before_us = desk.bench.now_ns() / 1_000;
    let frame = monitor.latch().unwrap();
    let (stamp, reading) = (frame.stamp(), frame.reading(Channel::C0));
    assert_eq!(reading, Ok(usual()[0]));
    // The writes that take the time clear nothing.
    assert_eq!(desk.tape.borrow().transfers[0].0[..2], [0x7E, 0x00]);
    assert!(stamp.before_us >= before_us && stamp.bracket_us() > 800);
    let most = Pmbus::<Single, 1>::effort(Task::Latch, u8::MAX);
    assert_eq!(desk.tape.borrow().transfers.len(), most.transfers as usize);
    assert_eq!(desk.tape.borrow().bytes, u64::from(most.bytes));
    monitor.service(Causes::all(), &mut found).unwrap();
    assert_eq!(
        found,
        Causes::of(Cause::Limit(Channel::C0, Kind::OverCurrent))
    );
    assert!(!desk.written().contains(&0x00));
}
