use crake::alert::{AlertFlags, Limit, Limits, Outputs, Threshold};
use crake::bus::Fault;
use crake::info::{PartInfo, Undetectable};
use crake::part::pmbus::gallinule::{self, Gallinule};
use crake::part::pmbus::{Declaration, Device, Pmbus};
use crake::units::Current;
use crake::{Channel, Error, ErrorKind, Sample, ShuntMonitor};
use crake_sim::part::pmbus::Description;
use embedded_hal::i2c::I2c;

use super::desk::{ADDRESS, BOARD, CHANNELS, CONFIG, Desk, USUAL, Watcher};

const LIMITS: Limits<'static> = Limits::new(&[
    Limit::new(Channel::C1, Threshold::OverCurrent(Current::from_amps(5))).to(Outputs::A),
    Limit::new(
        Channel::C3,
        Threshold::UnderCurrent(Current::from_milliamps(100)),
    )
    .silent(),
]);

type Failure = Error<crake_sim::bus::BusError>;
type Operation = fn(&mut Watcher<Gallinule, 4>) -> Result<(), Failure>;

/// Every operation on a device that was initialised and armed.
const OPERATIONS: [(&str, Operation); 5] = [
    ("sample", |monitor| monitor.sample().map(drop)),
    ("read_alerts", |monitor| {
        monitor
            .read_alerts(AlertFlags::all(), &mut AlertFlags::empty())
            .map(drop)
    }),
    ("set_limits", |monitor| {
        monitor.set_limits(&LIMITS, &mut AlertFlags::empty())
    }),
    ("configure", |monitor| monitor.configure(&CONFIG)),
    ("resume", |monitor| {
        monitor.resume(&CONFIG, monitor.token()).map(drop)
    }),
];

/// A brown-out before every single transfer of every operation, with a firmware that tries again as
/// soon as the device answers: no operation that begins after it says Ok, and none that it was in
/// the middle of.
#[test]
fn no_reset_is_missed() {
    for (name, operation) in OPERATIONS {
        let mut found = 0;
        for number in 0.. {
            let desk = Desk::ideal();
            let mut monitor = desk.monitor();
            // 2 ms are some hundred tries at 400 kHz.
            monitor.set_attempts(u8::MAX);
            monitor.init(&CONFIG).unwrap();
            monitor.sample().unwrap();
            monitor
                .set_limits(&LIMITS, &mut AlertFlags::empty())
                .unwrap();
            assert!(desk.part.with(|model| model.raise(1, 0x7B, 0x20)));
            desk.before(number, |part, _| part.brown_out());
            let result = operation(&mut monitor);
            if desk.tape.borrow().trick.is_some() {
                // Past the last transfer.
                result.unwrap();
                assert!(number > 20, "{name} {number}");
                break;
            }
            let fault = match result {
                Err(error) => error.fault(),
                // What was read was read before, and clearing it does no harm: the next one tells.
                Ok(()) if name == "read_alerts" && number >= 20 => Fault::Page,
                Ok(()) => panic!("{name} {number}"),
            };
            // Page 0 refuses commands that it does not have, process calls by ones for ever.
            let told = [
                Fault::Reset,
                Fault::Page,
                Fault::ReadBack,
                Fault::Bus,
                Fault::CheckByte,
                Fault::Format,
            ];
            assert!(told.contains(&fault), "{name} {number}: {fault:?}");
            found += usize::from(fault == Fault::Reset);
            // Whatever it was, the next sample says so, and init begins anew.
            if fault != Fault::Reset {
                let fault = monitor.sample().expect_err(name).fault();
                let told = [Fault::Reset, Fault::NotConfigured];
                assert!(told.contains(&fault), "{name} {number}: {fault:?}");
            }
            assert_eq!(
                monitor.sample().expect_err(name).fault(),
                Fault::NotConfigured
            );
            monitor.init(&CONFIG).unwrap();
            let sample = monitor.sample().unwrap();
            assert!(
                CHANNELS
                    .into_iter()
                    .all(|channel| sample.reading(channel).is_ok())
            );
        }
        assert!(found > 5, "{name}: {found}");
    }
}

/// A reset that comes and goes between operations: firmware that only serves alerts hears of it.
#[test]
fn a_reset_between_operations() {
    let desk = Desk::ideal();
    let mut monitor = desk.monitor();
    monitor.init(&CONFIG).unwrap();
    monitor.sample().unwrap();
    monitor
        .set_limits(&LIMITS, &mut AlertFlags::empty())
        .unwrap();
    desk.part.brown_out();
    desk.run_ms(20);
    let mut seen = AlertFlags::empty();
    let error = monitor
        .read_alerts(AlertFlags::LIMITS, &mut seen)
        .unwrap_err();
    assert_eq!(error.fault(), Fault::Reset);
    assert_eq!(seen, AlertFlags::RESET_SEEN);
}

/// Somebody else's four bytes are no reset.
#[test]
fn a_strangers_mark_is_not_ours() {
    let desk = Desk::ideal();
    let mut monitor = desk.monitor();
    monitor.init(&CONFIG).unwrap();
    desk.poke(0, &[0xB0, 4, 1, 2, 3, 4]);
    let error = monitor.sample().unwrap_err();
    assert_eq!((error.fault(), error.register), (Fault::Changed, 0xB0));
}

/// The firmware starts again: it goes on with a device that runs, not with one that was reset.
#[test]
fn a_restarted_firmware_resumes() {
    let desk = Desk::ideal();
    let mut monitor = desk.monitor();
    monitor.init(&CONFIG).unwrap();
    let token = monitor.token();
    let mut next = desk.monitor();
    desk.taken();
    let sample = next.resume(&CONFIG, token).unwrap();
    assert!(sample.reading(Channel::C2).is_ok());
    // Nothing was written but PAGE.
    let written = desk.taken();
    let mut written = written.iter().filter(|transfer| transfer.read.is_empty());
    assert!(written.all(|transfer| transfer.written[0] == 0x00));
    desk.part.brown_out();
    desk.run_ms(20);
    let error = desk.monitor().resume(&CONFIG, token).unwrap_err();
    assert_eq!(error.fault(), Fault::Reset);
}

/// Another host selects another page before every single transfer of a sample: no value of that
/// page is shown, the fault names both, and the next call is right again.
#[test]
fn somebody_else_selects_a_page() {
    let desk = Desk::ideal();
    let mut monitor = desk.monitor();
    monitor.init(&CONFIG).unwrap();
    let expected: Vec<_> = {
        let sample = monitor.sample().unwrap();
        CHANNELS
            .map(|channel| sample.reading(channel).unwrap())
            .to_vec()
    };
    let (mut named, mut other) = (0, 0);
    for number in 0.. {
        desk.before(number, |_, bus| bus.write(ADDRESS, &[0x00, 1]).unwrap());
        match monitor.sample() {
            Ok(sample) => {
                for (channel, expected) in CHANNELS.into_iter().zip(&expected) {
                    assert_eq!(sample.reading(channel).unwrap(), *expected, "{number}");
                }
            }
            Err(error) => {
                assert!(error.may_repeat(), "{error:?}");
                match error.kind {
                    ErrorKind::Differs {
                        fault: Fault::Page,
                        got: 1,
                        expected,
                    } => {
                        assert!(expected != 1 && error.register == 0x00);
                        named += 1;
                    }
                    // A command that page 1 does not have, which it refuses (B2.2).
                    ErrorKind::Bus(_) => other += 1,
                    _ => panic!("{error:?}"),
                }
            }
        }
        if desk.tape.borrow().trick.is_some() {
            break;
        }
        monitor.sample().unwrap();
    }
    // Page 1 has voltage and current as the other outputs, and neither power nor a count.
    assert!(named >= 6 && other >= 10, "{named}, {other}");
}

/// Likewise in a look at the flags: that page's warnings are not told as this one's, nor cleared.
#[test]
fn a_look_at_another_page_tells_and_clears_nothing() {
    let desk = Desk::ideal();
    let mut monitor = desk.monitor();
    monitor.init(&CONFIG).unwrap();
    monitor
        .set_limits(&LIMITS, &mut AlertFlags::empty())
        .unwrap();
    for number in 0.. {
        assert!(desk.part.with(|model| model.raise(2, 0x7B, 0x20)));
        desk.before(number, |_, bus| bus.write(ADDRESS, &[0x00, 2]).unwrap());
        let mut seen = AlertFlags::empty();
        let result = monitor.read_alerts(AlertFlags::channel(Channel::C0), &mut seen);
        // Found on page 2 and not wanted; on page 0 there is nothing.
        assert!(matches!(result, Ok(flags) if flags.is_empty()) || result.is_err());
        assert_eq!(seen, AlertFlags::empty(), "{number}");
        assert_eq!(desk.peek(2, 0x7B), 0x20, "{number}");
        if desk.tape.borrow().trick.is_some() {
            break;
        }
    }
}

/// Gallinule without memory for a mark: a reset shows by PAGE alone, where that was not 0.
#[derive(Debug)]
struct Unmarked;
impl Device for Unmarked {
    const INFO: &'static PartInfo = &PartInfo {
        undetectable: Undetectable::all(),
        ..gallinule::INFO
    };
    const DECLARATION: &'static Declaration = &Declaration {
        mark: None,
        ..gallinule::DECLARATION
    };
}

/// A brown-out before every single transfer of a sample, with a firmware that tries again as soon
/// as the device answers, which then has page 0 selected: found wherever another page was, and no
/// value of page 0 is shown as another's.
#[test]
fn without_a_mark_a_reset_shows_by_the_page() {
    let mut found = 0;
    for number in 0.. {
        let mut description = Description::gallinule();
        description.has_user_data = false;
        let desk = Desk::of(description);
        let mut monitor = desk.monitor_of(Pmbus::<Unmarked, 4>::new(ADDRESS), &BOARD);
        monitor.set_attempts(u8::MAX);
        monitor.init(&CONFIG).unwrap();
        desk.run_ms(20);
        desk.before(number, |part, _| part.brown_out());
        let outcome = monitor.sample();
        let fault = outcome.as_ref().err().map(Error::fault);
        if desk.tape.borrow().trick.is_some() {
            assert_eq!((fault, number > 20), (None, true), "{number}");
            break;
        }
        if let Some(fault) = fault {
            // Tries may run out while the device is deaf.
            let is_told = matches!(fault, Fault::Reset | Fault::Bus);
            assert!(is_told, "{number}: {fault:?}");
            found += u32::from(fault == Fault::Reset);
        }
        if let Ok(sample) = outcome {
            for (channel, (volts, _)) in CHANNELS.into_iter().zip(USUAL).skip(1) {
                let Ok(reading) = sample.reading(channel) else {
                    continue;
                };
                let shown = reading.voltage.as_nanovolts() as f64 * 1e-9;
                // The device is without errors; 0 is what it has after a reset.
                let is_own = shown == 0.0 || (shown / volts - 1.0).abs() < 0.001;
                assert!(is_own, "{number}: {channel} {shown}");
            }
        }
    }
    assert!(found > 10, "{found}");
}
