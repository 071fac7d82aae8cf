//! Faults as data: what goes wrong, and where.

use embedded_hal::i2c::{ErrorKind, NoAcknowledgeSource};

/// One thing that goes wrong, once or several times in a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Plan {
    pub place: Place,
    /// In how many places in a row.
    pub times: usize,
    pub fault: Fault,
}

/// Where, counted from 0 at the beginning of an operation.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// The transfer with this number.
    Transfer(usize),
    /// The await that waits with this number; every edge on the bus is one.
    Await(usize),
}

/// What goes wrong there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// The controller reports this, and the part saw nothing.
    Refused(ErrorKind),
    /// The part saw all of the transfer, and the controller reports this all the same.
    AnswerLost(ErrorKind),
    /// A byte that was read (its place modulo how many there are) has these bits turned.
    Turned { byte: usize, bits: u8 },
    /// All bytes that were read are this.
    Flat(u8),
    /// A transfer ends after so many bytes behind its address, and so many bits of the next one.
    Partial { bytes: usize, bits: u8 },
    /// The part is reset. It answers again, or it does not yet.
    Reset { answers: bool },
    /// The part is reset when so many bytes of a transfer have passed, the address included. The
    /// host then comes back when the part answers again, or at once.
    ResetInside { bytes: usize, answers: bool },
    /// The part loses its supply for good.
    PowerLoss,
    /// Somebody else stops the part.
    Stranger,
    /// The host is away for so many microseconds.
    Away(u32),
    /// The host's clock jumps by so many microseconds.
    ClockJump(i64),
    /// The future is dropped.
    Drop,
}

/// How long a part does not answer after a reset, and a little more (datasheet, section 6).
pub const RESET_US: u32 = 1_010;

/// Errors that a controller reports.
pub const ERRORS: [ErrorKind; 4] = [
    ErrorKind::NoAcknowledge(NoAcknowledgeSource::Address),
    ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data),
    ErrorKind::ArbitrationLoss,
    ErrorKind::Other,
];

/// How a transfer went when nothing was wrong: bytes behind the address written, and read.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Shape {
    pub pointer: u8,
    pub written: usize,
    pub read: usize,
}

/// How often a transfer is tried, unless set otherwise.
const ATTEMPTS: usize = 3;

impl Plan {
    /// Every fault of every transfer of an operation that made these when nothing was wrong.
    pub fn of_transfers(shapes: &[Shape]) -> Vec<Self> {
        let mut plans = Vec::new();
        for (number, shape) in shapes.iter().enumerate() {
            let mut add = |times, fault| {
                plans.push(Self {
                    place: Place::Transfer(number),
                    times,
                    fault,
                });
            };
            // One that a repeat makes good, as many as there are attempts, and one without end.
            for times in [1, ATTEMPTS, usize::MAX] {
                for error in ERRORS {
                    add(times, Fault::Refused(error));
                    add(times, Fault::AnswerLost(error));
                }
                for byte in [0x00, 0xFF] {
                    if shape.read > 0 {
                        add(times, Fault::Flat(byte));
                    }
                }
            }
            for byte in 0..shape.read {
                let bits = 1 << (byte % 8);
                add(1, Fault::Turned { byte, bits });
                add(ATTEMPTS, Fault::Turned { byte, bits });
            }
            for bytes in 0..shape.written {
                for bits in [0, 3] {
                    add(1, Fault::Partial { bytes, bits });
                    add(ATTEMPTS, Fault::Partial { bytes, bits });
                }
            }
            add(1, Fault::Reset { answers: false });
            add(1, Fault::Reset { answers: true });
            let addresses = 1 + usize::from(shape.read > 0);
            for bytes in 1..addresses + shape.written + shape.read {
                // While the part does not answer, all places but the first few are alike.
                for answers in [true, false].into_iter().take(1 + usize::from(bytes < 8)) {
                    add(1, Fault::ResetInside { bytes, answers });
                }
            }
            add(1, Fault::PowerLoss);
            add(1, Fault::Stranger);
            add(1, Fault::Away(40_000));
            // More than 32 bits of microseconds.
            add(1, Fault::ClockJump(5_000_000_000));
            add(1, Fault::ClockJump(-1_000));
        }
        plans
    }

    /// Every fault of every await of an operation that waited so often when nothing was wrong.
    pub fn of_awaits(count: usize) -> Vec<Self> {
        let faults = [
            Fault::Drop,
            Fault::Reset { answers: false },
            Fault::Reset { answers: true },
        ];
        let at = |number| {
            faults.map(|fault| Self {
                place: Place::Await(number),
                times: 1,
                fault,
            })
        };
        (0..count).flat_map(at).collect()
    }

    /// Whether it strikes at the transfer with this number.
    pub fn strikes_transfer(&self, number: usize) -> bool {
        match self.place {
            Place::Transfer(first) => number >= first && number - first < self.times,
            Place::Await(_) => false,
        }
    }
}
