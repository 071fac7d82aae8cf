//! Two parts on one line, told apart by the SMBus alert response (datasheet, section 2.5).

use std::cell::RefCell;
use std::rc::Rc;

use crake::alert::{
    AlertFlag, AlertQueue, Answer, Kind, Limit, Limits, Outputs, Threshold, alert_response,
};
use crake::part::corncrake::{Address, Corncrake};
use crake::units::Current;
use crake::{Channel, Monitor, NoClock, ShuntMonitor};
use crake_sim::bench::{Bench, Delay, I2c as BenchBus, Part};
use crake_sim::board::SenseResistor;
use crake_sim::bus::BusError;
use crake_sim::part::{Target, corncrake as model};
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, Operation};

use crate::fixture::{CONFIG, Hand, board, told};

const FLAG: AlertFlag = AlertFlag::Limit(Channel::C1, Kind::OverCurrent);
static LIMITS: Limits<'static> = Limits::new(&[Limit::new(
    Channel::C1,
    Threshold::OverCurrent(Current::from_milliamps(10)),
)
.to(Outputs::B)]);

/// A part whose channel 1 is set by hand, and what serves it.
struct Fitted {
    address: u8,
    part: Part<model::Model>,
    hand: Hand,
    monitor: Monitor<'static, BenchBus, Delay, Corncrake, 4, NoClock>,
    queue: AlertQueue<'static, 4>,
}

impl Fitted {
    fn new(bench: &Bench, address: u8) -> Self {
        let part = bench
            .part(model::Corncrake::ideal(address))
            .expect("a free address");
        let hand = Hand::default();
        part.rail(1, hand.clone(), SenseResistor::ideal(1_000_000_000))
            .expect("a channel");
        // Section 2.1.
        let strap = match address {
            0x32 => Address::Strap0,
            0x33 => Address::Strap1,
            0x34 => Address::Strap2,
            _ => Address::Strap3,
        };
        let corncrake = Corncrake::new(strap);
        let board = board(1_000_000_000);
        let mut monitor = Monitor::new(bench.i2c(), bench.delay(), corncrake, board);
        monitor.init(&CONFIG).expect("a part that answers");
        let mut queue = AlertQueue::new();
        queue
            .set_limits(&mut monitor, &LIMITS)
            .expect("limits that can be");
        Self {
            address,
            part,
            hand,
            monitor,
            queue,
        }
    }

    fn is_low(&self) -> bool {
        self.part.is_low(model::Output::B)
    }

    /// What a service tells.
    fn serve(&mut self) -> Vec<AlertFlag> {
        self.queue
            .service(&mut self.monitor)
            .expect("a part that answers");
        told(&mut self.queue)
    }
}

fn scans(bench: &Bench) {
    bench.run_for(core::time::Duration::from_millis(5));
}

#[test]
fn the_lowest_address_answers_first_and_each_lets_go() {
    for loud in [vec![0x33, 0x35], vec![0x35], vec![]] {
        let bench = Bench::new(1);
        // The higher address first, so that order on the bench is no help.
        let mut fitted = [0x35, 0x33].map(|address| Fitted::new(&bench, address));
        for one in fitted.iter().filter(|one| loud.contains(&one.address)) {
            one.hand.set(20_000_000, 0);
        }
        scans(&bench);
        for one in &fitted {
            one.hand.set(0, 0);
        }
        scans(&bench);

        let mut bus = bench.i2c();
        let mut answered = Vec::new();
        // The line is the wired AND of both parts' outputs B.
        while fitted.iter().any(Fitted::is_low) {
            let Answer::From(address) = alert_response(&mut bus).expect("a good bus") else {
                panic!("the line is low");
            };
            answered.push(address);
            assert!(answered.len() <= 2, "{answered:x?}");
            let one = fitted.iter_mut().find(|one| one.address == address);
            let one = one.expect("a part that is fitted");
            assert!(!one.is_low(), "it let go");
            // Its flag is still there to be served.
            assert_eq!(one.serve(), [FLAG]);
        }
        assert_eq!(answered, loud);
        assert_eq!(alert_response(&mut bus), Ok(Answer::Nobody));
        scans(&bench);
        assert!(!fitted.iter().any(Fitted::is_low));
        for one in &mut fitted {
            assert_eq!(told(&mut one.queue), []);
        }
    }
}

/// Both ask, and nobody serves the first: the second answers next, then nobody does, until a
/// further flag.
#[test]
fn a_part_that_answered_stays_off_the_line_until_a_further_flag() {
    let bench = Bench::new(1);
    let mut bus = bench.i2c();
    let mut fitted = [0x32, 0x34].map(|address| Fitted::new(&bench, address));
    for current_na in [20_000_000, 0] {
        for one in &fitted {
            one.hand.set(current_na, 0);
        }
        scans(&bench);
    }
    assert_eq!(alert_response(&mut bus), Ok(Answer::From(0x32)));
    assert_eq!(alert_response(&mut bus), Ok(Answer::From(0x34)));
    assert_eq!(alert_response(&mut bus), Ok(Answer::Nobody));
    fitted[0].hand.set(20_000_000, 0);
    scans(&bench);
    assert_eq!(fitted.each_ref().map(Fitted::is_low), [true, false]);
    assert_eq!(alert_response(&mut bus), Ok(Answer::From(0x32)));
    // What was answered and not served is not forgotten.
    for one in &mut fitted {
        one.hand.set(0, 0);
        assert_eq!(one.serve(), [FLAG]);
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
    // A worked example of section 10: `S 19 64 D1 P`.
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
