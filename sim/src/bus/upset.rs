//! What goes wrong with a transaction on the wire.

use alloc::rc::Rc;

use embedded_hal::i2c::{ErrorKind, Operation};

use super::Bus;
use crate::fault::{BusLine, FaultKind};

/// Faults, as the bus meets them.
pub(crate) trait Disturbance {
    /// When one of them begins or ends by the clock next; `u64::MAX` if none does.
    fn next_ns(&self) -> u64;

    /// All targets have lived until this moment: what begins or ends there does.
    fn act(&self, at_ns: u64);

    /// A controller's transaction is about to begin: what happens before it happens, and what goes
    /// wrong with it is given.
    fn strike(&self, at_ns: u64, address: u8, operations: &[Operation<'_>]) -> Option<FaultKind>;
}

/// The fault of the transaction in progress, if it has one.
#[derive(Default)]
pub(super) struct Upset {
    kind: Option<FaultKind>,
    /// The transaction reads.
    reads: bool,
    /// Bytes behind the address that were sent, and that came.
    sent: usize,
    received: usize,
    failure: Option<ErrorKind>,
}

/// What becomes of a byte that the controller sends.
pub(super) enum Fate {
    /// The targets get this.
    Heard(u8),
    /// Nobody takes it.
    Refused,
    /// It is acknowledged, and no target takes it.
    Swallowed,
    /// The controller breaks off within it, after so many nanoseconds.
    BrokenOff(u64),
}

impl Upset {
    pub(super) fn new(kind: Option<FaultKind>, operations: &[Operation<'_>]) -> Self {
        let mut operations = operations.iter();
        Self {
            kind,
            reads: operations.any(|operation| matches!(operation, Operation::Read(_))),
            failure: matches!(kind, Some(FaultKind::AnswerLost)).then_some(ErrorKind::Bus),
            ..Self::default()
        }
    }

    pub(super) fn sends(&mut self, byte: u8, is_address: bool) -> Fate {
        let Some(kind) = self.kind else {
            return Fate::Heard(byte);
        };
        let data = self.sent.checked_sub(1);
        self.sent += usize::from(!is_address);
        match kind {
            FaultKind::AddressNotAcknowledged if is_address => Fate::Refused,
            FaultKind::DataNotAcknowledged if !is_address => Fate::Refused,
            FaultKind::ArbitrationLost
            | FaultKind::NoPullUp {
                line: BusLine::Data,
            } => {
                self.failure = Some(ErrorKind::ArbitrationLoss);
                Fate::BrokenOff(0)
            }
            FaultKind::NoPullUp {
                line: BusLine::Clock,
            } => {
                self.failure = Some(ErrorKind::Other);
                Fate::BrokenOff(TIMEOUT_NS)
            }
            FaultKind::WriteLost => Fate::Swallowed,
            FaultKind::BitsFlipped { byte: place, bits } if !self.reads && data == Some(place) => {
                Fate::Heard(byte ^ bits)
            }
            _ => Fate::Heard(byte),
        }
    }

    /// How long the clock is held behind an address that was acknowledged, and whether that is too
    /// long for the transaction to go on.
    pub(super) fn held(&mut self) -> Option<(u64, bool)> {
        let Some(FaultKind::ClockHeld(time)) = self.kind else {
            return None;
        };
        // Behind a repeated START it goes on at once.
        self.kind = None;
        let ns = u64::try_from(time.as_nanos()).unwrap_or(u64::MAX);
        let too_long = ns > TIMEOUT_NS;
        self.failure = too_long.then_some(ErrorKind::Other);
        Some((ns.min(TIMEOUT_NS), too_long))
    }

    /// What the controller gets of a byte from the targets.
    pub(super) fn receives(&mut self, byte: u8) -> u8 {
        let place = self.received;
        self.received += 1;
        match self.kind {
            Some(FaultKind::BitsFlipped {
                byte: flipped,
                bits,
            }) if flipped == place => byte ^ bits,
            _ => byte,
        }
    }
}

impl Bus {
    /// What goes wrong from now on.
    pub(crate) fn set_disturbance(&mut self, disturbance: Rc<dyn Disturbance>) {
        self.disturbance = Some(disturbance);
    }

    /// A controller's transaction is about to begin.
    pub(crate) fn begin(&mut self, address: u8, operations: &[Operation<'_>]) {
        let now_ns = self.clock.now_ns();
        let kind = self.disturbance.as_ref();
        let kind = kind.and_then(|faults| faults.strike(now_ns, address, operations));
        self.upset = Upset::new(kind, operations);
    }

    /// All of it has gone but the STOP; why it failed, if a fault did it in a way of its own.
    pub(crate) fn end(&mut self) -> Option<ErrorKind> {
        core::mem::take(&mut self.upset).failure
    }
}

/// T_TIMEOUT, minimum (System Management Bus specification 3.2, table of AC specifications).
const TIMEOUT_NS: u64 = 25_000_000;
