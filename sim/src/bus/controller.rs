use core::{
    fmt,
    pin::{Pin, pin},
    task::{Context, Poll, Waker},
};

use embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource, Operation};

use super::Bus;

/// What a controller makes where the transaction asks for a repeated START.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Restart {
    /// A repeated START.
    #[default]
    Repeated,
    /// STOP and START, like controllers that cannot do otherwise.
    StopStart,
}

/// Why a transaction failed, in `embedded-hal`'s terms.
#[derive(Clone, Copy, PartialEq, Eq)]
pub struct BusError(pub ErrorKind);

/// As the driver's messages show it.
impl fmt::Debug for BusError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Debug::fmt(&self.0, f)
    }
}

impl fmt::Display for BusError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, f)
    }
}

impl core::error::Error for BusError {}

impl embedded_hal::i2c::Error for BusError {
    fn kind(&self) -> ErrorKind {
        self.0
    }
}

impl Bus {
    /// Plays a transaction as `embedded_hal::i2c::I2c::transaction` describes it. No operations, no
    /// transfer.
    ///
    /// # Errors
    /// `NoAcknowledge(Address)` or `(Data)` at the first byte that is not acknowledged; the
    /// transaction then ends with STOP, and what went before has arrived. `Other` for an address
    /// beyond 0x7F, with nothing sent. What a [fault](crate::fault::FaultKind) says.
    pub fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
        restart: Restart,
    ) -> Result<(), BusError> {
        let mut wire = self;
        let transfer = pin!(play(&mut wire, address, operations, restart));
        at_once(transfer)
    }
}

/// The wire as a controller works it. Each method ends at the edge that it makes or waits for; when
/// that is, is the wire's matter.
pub(crate) trait Conditions {
    /// A transaction is about to begin.
    fn begin(&mut self, address: u8, operations: &[Operation<'_>]);
    /// All of it has gone but the STOP; why it failed, if a fault did it in a way of its own.
    fn end(&mut self) -> Option<ErrorKind>;
    /// START or repeated START.
    async fn start(&mut self);
    /// A byte to the targets; true if one acknowledged it.
    async fn send(&mut self, byte: u8) -> bool;
    /// A byte from the targets.
    async fn receive(&mut self, acknowledge: bool) -> u8;
    /// STOP.
    async fn stop(&mut self);
}

/// The wire on which everything else stands still meanwhile.
impl Conditions for &mut Bus {
    fn begin(&mut self, address: u8, operations: &[Operation<'_>]) {
        Bus::begin(self, address, operations);
    }

    fn end(&mut self) -> Option<ErrorKind> {
        Bus::end(self)
    }

    async fn start(&mut self) {
        Bus::start(self);
    }

    async fn send(&mut self, byte: u8) -> bool {
        Bus::send(self, byte)
    }

    async fn receive(&mut self, acknowledge: bool) -> u8 {
        Bus::receive(self, acknowledge)
    }

    async fn stop(&mut self) {
        Bus::stop(self);
    }
}

/// [`Bus::transaction`] on any wire.
pub(crate) async fn play(
    wire: &mut impl Conditions,
    address: u8,
    operations: &mut [Operation<'_>],
    restart: Restart,
) -> Result<(), BusError> {
    if address > 0x7F {
        return Err(BusError(ErrorKind::Other));
    }
    if operations.is_empty() {
        return Ok(());
    }
    wire.begin(address, operations);
    let outcome = play_to_stop(wire, address, operations, restart).await;
    let failure = wire.end();
    wire.stop().await;
    failure.map_or(outcome, |kind| Err(BusError(kind)))
}

async fn play_to_stop(
    wire: &mut impl Conditions,
    address: u8,
    operations: &mut [Operation<'_>],
    restart: Restart,
) -> Result<(), BusError> {
    let mut reading = None;
    let mut rest = operations;
    while let Some((operation, later)) = rest.split_first_mut() {
        let reads = matches!(operation, Operation::Read(_));
        if reading != Some(reads) {
            if reading.is_some() && restart == Restart::StopStart {
                wire.stop().await;
            }
            reading = Some(reads);
            wire.start().await;
            if !wire.send(address << 1 | u8::from(reads)).await {
                return Err(BusError(ErrorKind::NoAcknowledge(
                    NoAcknowledgeSource::Address,
                )));
            }
        }
        match operation {
            Operation::Write(bytes) => {
                for &byte in *bytes {
                    if !wire.send(byte).await {
                        return Err(BusError(ErrorKind::NoAcknowledge(
                            NoAcknowledgeSource::Data,
                        )));
                    }
                }
            }
            Operation::Read(buffer) => {
                // The last byte of a run of reads is not acknowledged, so that the target lets go
                // of the bus.
                let run_goes_on = later
                    .iter()
                    .map_while(|next| {
                        if let Operation::Read(buffer) = next {
                            Some(buffer)
                        } else {
                            None
                        }
                    })
                    .any(|buffer| !buffer.is_empty());
                let length = buffer.len();
                for (i, byte) in buffer.iter_mut().enumerate() {
                    *byte = wire.receive(run_goes_on || i + 1 < length).await;
                }
            }
        }
        rest = later;
    }
    Ok(())
}

/// The outcome of a future that never has to wait.
fn at_once<F: Future>(mut future: Pin<&mut F>) -> F::Output {
    loop {
        if let Poll::Ready(output) = future
            .as_mut()
            .poll(&mut Context::from_waker(Waker::noop()))
        {
            return output;
        }
    }
}

#[cfg(test)]
mod tests {
    use alloc::{rc::Rc, string::ToString, vec::Vec};
    use core::cell::RefCell;

    use super::*;
    use crate::{
        bus::{Clock, Logging, Speed, Timing, Transaction},
        part::Target,
    };

    /// Acknowledges its address and three bytes of each write, and answers reads with 1, 2, 3 and
    /// so on.
    #[derive(Default)]
    struct Echo {
        seen_at_ns: Vec<u64>,
        now_ns: u64,
        count: u8,
    }

    impl Target for Echo {
        fn advance(&mut self, to_ns: u64) {
            self.now_ns = to_ns;
        }
        fn start(&mut self) {
            self.count = 0;
            self.seen_at_ns.push(self.now_ns);
        }
        fn address(&mut self, byte: u8) -> bool {
            self.seen_at_ns.push(self.now_ns);
            byte >> 1 == 0x40
        }
        fn write(&mut self, _: u8) -> bool {
            self.seen_at_ns.push(self.now_ns);
            self.count += 1;
            self.count <= 3
        }
        fn offer(&mut self) -> u8 {
            self.count += 1;
            self.count
        }
        fn settle(&mut self, _: u8) {}
        fn stop(&mut self) {
            self.seen_at_ns.push(self.now_ns);
        }
        fn incomplete_byte(&mut self) {}
    }

    fn bus(speed: Speed) -> (Bus, Rc<RefCell<Echo>>) {
        let mut bus = Bus::new(Clock::default(), speed);
        let echo = Rc::new(RefCell::new(Echo::default()));
        bus.attach(echo.clone());
        bus.set_logging(Logging::Full);
        (bus, echo)
    }

    fn shown(log: &[Transaction]) -> Vec<alloc::string::String> {
        log.iter().map(ToString::to_string).collect()
    }

    #[test]
    fn adjacent_operations_of_a_kind_merge_and_others_get_a_repeated_start() {
        let (mut bus, _) = bus(Speed::Fast);
        let (mut one, mut none, mut two) = ([0; 1], [0; 0], [0; 2]);
        let mut operations = [
            Operation::Write(&[1]),
            Operation::Write(&[2, 3]),
            Operation::Read(&mut one),
            Operation::Read(&mut none),
            Operation::Read(&mut two),
            Operation::Write(&[]),
        ];
        assert_eq!(
            bus.transaction(0x40, &mut operations, Restart::Repeated),
            Ok(())
        );
        assert_eq!((one, two), ([1], [2, 3]));
        let log = bus.take_log();
        assert_eq!(shown(&log), ["S 80 01 02 03 Sr 81 01 02 03 Sr 80 P"]);
        let acknowledged: Vec<bool> = log[0]
            .events
            .iter()
            .filter_map(|event| {
                if let crate::bus::Event::Received { acknowledged, .. } = event {
                    Some(*acknowledged)
                } else {
                    None
                }
            })
            .collect();
        assert_eq!(acknowledged, [true, true, false]);
        assert_eq!(
            log[0].stop_ns - log[0].start_ns,
            Timing::of(Speed::Fast).transfer_ns(9, 2)
        );
        assert_eq!(bus.stats().bytes, 9);
        assert_eq!(
            bus.stats().busy_ns,
            Timing::of(Speed::Fast).transfer_ns(9, 2)
        );
    }

    #[test]
    fn a_controller_without_repeated_start_makes_two_transactions() {
        let (mut bus, _) = bus(Speed::Standard);
        let mut read = [0; 2];
        bus.transaction(
            0x40,
            &mut [Operation::Write(&[9]), Operation::Read(&mut read)],
            Restart::StopStart,
        )
        .unwrap();
        let log = bus.take_log();
        assert_eq!(shown(&log), ["S 80 09 P", "S 81 01 02 P"]);
        assert_eq!(log[1].start_ns - log[0].stop_ns, 4_700);
        assert_eq!(bus.stats().transactions, 2);
    }

    #[test]
    fn missing_acknowledges_are_told_apart_and_end_with_stop() {
        let (mut bus, _) = bus(Speed::Fast);
        let absent = bus.transaction(0x41, &mut [Operation::Write(&[1])], Restart::Repeated);
        assert_eq!(
            absent,
            Err(BusError(ErrorKind::NoAcknowledge(
                NoAcknowledgeSource::Address
            )))
        );
        let refused = bus.transaction(
            0x40,
            &mut [Operation::Write(&[1, 2, 3, 4, 5])],
            Restart::Repeated,
        );
        assert_eq!(
            refused,
            Err(BusError(ErrorKind::NoAcknowledge(
                NoAcknowledgeSource::Data
            )))
        );
        assert_eq!(
            bus.transaction(0x80, &mut [Operation::Write(&[])], Restart::Repeated),
            Err(BusError(ErrorKind::Other))
        );
        // The last address of seven bits is one.
        assert_eq!(
            bus.transaction(0x7F, &mut [Operation::Write(&[])], Restart::Repeated),
            absent
        );
        assert_eq!(bus.transaction(0x40, &mut [], Restart::Repeated), Ok(()));
        assert_eq!(
            shown(&bus.take_log()),
            ["S 82~ P", "S 80 01 02 03 04~ P", "S FE~ P"]
        );
    }

    // At 100 kHz: START at 0, hold 4, eight clocks 80, so the address is judged at 84 µs; a byte
    // takes 90; STOP 4.7 + 4 after the last.
    #[test]
    fn targets_answer_at_the_moment_of_the_acknowledge() {
        let (mut bus, echo) = bus(Speed::Standard);
        bus.transaction(0x40, &mut [Operation::Write(&[1])], Restart::Repeated)
            .unwrap();
        assert_eq!(
            echo.borrow().seen_at_ns,
            [0, 84_000, 174_000, 184_000 + 8_700]
        );
    }

    /// A target that was attached since the address came, and one whose address a new START put an
    /// end to.
    #[test]
    fn who_was_not_addressed_takes_no_part() {
        let (mut bus, _) = bus(Speed::Fast);
        bus.start();
        assert!(!bus.send(0x83));
        bus.attach(Rc::new(RefCell::new(Echo::default())));
        assert_eq!(bus.receive(true), 0xFF);
        bus.start();
        assert!(bus.send(0x81));
        assert_eq!(bus.receive(true), 1);
        bus.start();
        assert_eq!(bus.receive(true), 0xFF);
    }

    #[test]
    fn nothing_drives_a_free_bus() {
        let (mut bus, _) = bus(Speed::Fast);
        assert!(!bus.send(0x80));
        assert_eq!(bus.receive(true), 0xFF);
        bus.stop();
        assert_eq!(bus.stats(), crate::bus::Stats::default());
    }
}
