//! Two parts on one line, told apart by the SMBus alert response (datasheet, section 2.5).

mod alerts_desk;

use std::cell::RefCell;
use std::rc::Rc;

use alerts_desk::{Hand, SETUP, board, events};
use crake::old::alert::{
    Answer, Cause, Kind, Limit, Outputs, Station, Watch, Watches, alert_response,
};
use crake::old::part::corncrake::Corncrake;
use crake::old::units::Current;
use crake::old::{Channel, Monitor, ShuntMonitor};
use crake_sim::bench::Bench;
use crake_sim::board::SenseResistor;
use crake_sim::bus::BusError;
use crake_sim::old::corncrake::{self as model, Output, Part};
use crake_sim::part::Target;
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, Operation};

static WATCHES: [Watch; 1] =
    [
        Watch::new(Channel::C1, Limit::OverCurrent(Current::from_milliamps(10)))
            .held()
            .to(Outputs::B),
    ];

/// An ideal part that has channel 1 beyond the limit or not.
fn part(bench: &Bench, address: u8) -> (Part, Hand) {
    let part = bench
        .part(model::Corncrake::ideal(address))
        .expect("a free address");
    let hand = Hand::default();
    part.rail(1, hand.clone(), SenseResistor::ideal(1_000_000_000))
        .expect("a channel");
    (part, hand)
}

fn rounds(bench: &Bench) {
    bench.run_for(core::time::Duration::from_millis(5));
}

#[test]
fn the_lowest_address_answers_first_and_each_lets_go() {
    for loud in [vec![0x33, 0x35], vec![0x35], vec![]] {
        let bench = Bench::new(1);
        let mut fitted = Vec::new();
        // The higher address first, so that order on the bench is no help.
        for address in [0x35, 0x33] {
            let (part, hand) = part(&bench, address);
            let mut monitor = Monitor::new(
                bench.i2c(),
                bench.delay(),
                bench.clock(),
                Corncrake::new(),
                address,
                board(1_000_000_000),
            );
            monitor.init(&SETUP).expect("a part that answers");
            let mut station: Station<'_, 4, 4> = Station::new(SETUP, Watches::limits(&WATCHES));
            station.arm(&mut monitor).expect("watches that can be");
            fitted.push((address, part, hand, monitor, station));
        }
        for (address, _, hand, ..) in &fitted {
            if loud.contains(address) {
                hand.set(20_000_000, 0);
            }
        }
        rounds(&bench);
        for (.., hand, _, _) in &fitted {
            hand.set(0, 0);
        }
        rounds(&bench);

        let mut bus = bench.i2c();
        let mut answered = Vec::new();
        // The line is the wired AND of both parts' outputs B.
        let line_is_low = |fitted: &[(u8, Part, Hand, _, _)]| {
            fitted.iter().any(|(_, part, ..)| part.is_low(Output::B))
        };
        while line_is_low(&fitted) {
            let Answer::From(address) = alert_response(&mut bus).expect("a good bus") else {
                panic!("the line is low");
            };
            answered.push(address);
            assert!(answered.len() <= 2, "{answered:x?}");
            let (_, part, _, monitor, station) = fitted
                .iter_mut()
                .find(|(other, ..)| *other == address)
                .expect("a part that is fitted");
            assert!(!part.is_low(Output::B), "it let go");
            // Its cause is still there to be served.
            station.service(monitor).expect("a part that answers");
            let told = events(station);
            assert_eq!(told.len(), 1);
            assert_eq!(told[0].cause, Cause::Limit(Channel::C1, Kind::OverCurrent));
        }
        assert_eq!(answered, loud);
        assert_eq!(alert_response(&mut bus), Ok(Answer::Nobody));
        rounds(&bench);
        assert!(!line_is_low(&fitted));
        for (.., station) in &mut fitted {
            assert!(events(station).is_empty());
        }
    }
}

/// Both ask, and nobody serves the first: the second answers next, then nobody does, until a further cause.
#[test]
fn a_part_that_answered_stays_off_the_line_until_a_further_cause() {
    let bench = Bench::new(1);
    let mut bus = bench.i2c();
    let mut fitted = Vec::new();
    for address in [0x32, 0x34] {
        let (part, hand) = part(&bench, address);
        let mut monitor = Monitor::new(
            bench.i2c(),
            bench.delay(),
            bench.clock(),
            Corncrake::new(),
            address,
            board(1_000_000_000),
        );
        monitor.init(&SETUP).expect("a part that answers");
        let mut station: Station<'_, 4, 4> = Station::new(SETUP, Watches::limits(&WATCHES));
        station.arm(&mut monitor).expect("watches that can be");
        hand.set(20_000_000, 0);
        rounds(&bench);
        hand.set(0, 0);
        rounds(&bench);
        fitted.push((part, hand, monitor, station));
    }
    assert_eq!(alert_response(&mut bus), Ok(Answer::From(0x32)));
    assert_eq!(alert_response(&mut bus), Ok(Answer::From(0x34)));
    assert_eq!(alert_response(&mut bus), Ok(Answer::Nobody));
    fitted[0].1.set(20_000_000, 0);
    rounds(&bench);
    assert!(fitted[0].0.is_low(Output::B) && !fitted[1].0.is_low(Output::B));
    assert_eq!(alert_response(&mut bus), Ok(Answer::From(0x32)));
    // What was answered and not served is not forgotten.
    for (_, hand, monitor, station) in &mut fitted {
        hand.set(0, 0);
        station.service(monitor).expect("a part that answers");
        assert_eq!(events(station).len(), 1);
    }
}

/// A target that answers the alert response with these two bytes.
struct Answers {
    bytes: [u8; 2],
    at: usize,
}

impl Target for Answers {
    fn advance(&mut self, _: u64) {}
    fn start(&mut self) {
        self.at = 0;
    }
    fn address(&mut self, byte: u8) -> bool {
        byte == 0x19
    }
    fn write(&mut self, _: u8) -> bool {
        false
    }
    fn offer(&mut self) -> u8 {
        self.bytes.get(self.at).copied().unwrap_or(0xFF)
    }
    fn settle(&mut self, _: u8) {
        self.at += 1;
    }
    fn stop(&mut self) {}
    fn incomplete_byte(&mut self) {}
}

/// Every answer with every check byte: the crc crate says which are right.
#[test]
fn every_wrong_check_byte_is_seen() {
    let smbus = crc::Crc::<u8>::new(&crc::CRC_8_SMBUS);
    let bench = Bench::new(1);
    let target = Rc::new(RefCell::new(Answers {
        bytes: [0; 2],
        at: 0,
    }));
    bench.attach(0x0C, target.clone()).expect("a free address");
    let mut bus = bench.i2c();
    for answer in 0..=u8::MAX {
        let right = smbus.checksum(&[0x19, answer]);
        for check in 0..=u8::MAX {
            target.borrow_mut().bytes = [answer, check];
            let expected = if check == right {
                Answer::From(answer >> 1)
            } else {
                Answer::Garbled {
                    answer,
                    expected: right,
                    got: check,
                }
            };
            assert_eq!(alert_response(&mut bus), Ok(expected));
        }
    }
    // The datasheet's example 27, `S 19 64 D1 P`.
    target.borrow_mut().bytes = [0x64, 0xD1];
    assert_eq!(alert_response(&mut bus), Ok(Answer::From(0x32)));
}

/// A controller that fails as told.
struct Broken(ErrorKind);

impl ErrorType for Broken {
    type Error = BusError;
}

impl I2c for Broken {
    fn transaction(&mut self, _: u8, _: &mut [Operation<'_>]) -> Result<(), BusError> {
        Err(BusError(self.0))
    }
}

#[test]
fn only_a_missing_acknowledgement_means_nobody() {
    use embedded_hal::i2c::NoAcknowledgeSource::{Address, Data, Unknown};
    for source in [Address, Data, Unknown] {
        let mut bus = Broken(ErrorKind::NoAcknowledge(source));
        assert_eq!(alert_response(&mut bus), Ok(Answer::Nobody));
    }
    for kind in [
        ErrorKind::Bus,
        ErrorKind::ArbitrationLoss,
        ErrorKind::Overrun,
        ErrorKind::Other,
    ] {
        assert_eq!(alert_response(&mut Broken(kind)), Err(BusError(kind)));
    }
}
