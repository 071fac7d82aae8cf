//! Faults as data: what goes wrong, where and when. [`Bench::fault`](crate::bench::Bench::fault)
//! brings them about, and so does `[[fault]]` in a scenario file.

use alloc::format;
use core::fmt;
use core::time::Duration;

use embedded_hal::digital::PinState;
use embedded_hal::i2c::Operation;

/// One thing that goes wrong.
///
/// It begins at the moment [`from`](Self::from) and ends at [`until`](Self::until). What goes wrong
/// with transfers strikes those that begin in between, a controller's and no bare wire's, to
/// [`part`](Self::part) and [`register`](Self::register): the first [`after`](Self::after) of them
/// pass, then so many as [`times`](Self::times) says are struck, one after the other. A repeat of a
/// transfer is a transfer. If two faults are due for one transfer, the one that was given first
/// strikes.
///
/// All else strikes once: at `from`, or where `after` or `register` is given, right before the
/// transfer at which a fault of transfers would strike first. It lasts until `until`.
///
/// ```
/// # fn main() -> Result<(), Box<dyn core::error::Error>> {
/// use core::time::Duration;
/// use crake_sim::{bench::Bench, fault::{Fault, FaultKind}, part::corncrake::Corncrake};
/// use embedded_hal::i2c::I2c;
///
/// let bench = Bench::new(1);
/// bench.part(Corncrake::new(0x32))?;
/// let fault = Fault::new(FaultKind::AddressNotAcknowledged).from(Duration::from_secs(1)).times(2);
/// let injected = bench.fault(fault)?;
///
/// let mut answers = || bench.i2c().write_read(0x32, &[0x00], &mut [0; 4]).is_ok();
/// assert!(answers());
/// bench.run_for(Duration::from_secs(1));
/// assert_eq!([answers(), answers(), answers()], [false, false, true]);
/// assert_eq!(injected.strikes().times, 2);
/// # Ok(())
/// # }
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fault {
    /// What goes wrong.
    pub kind: FaultKind,
    /// 7-bit address of the part that it is about. None: transfers to any address, or else the
    /// bench's only part.
    pub part: Option<u8>,
    /// Only transfers whose first byte is this register's pointer (command code); None: all.
    pub register: Option<u8>,
    /// When it begins, since the bench began.
    pub from: Duration,
    /// When it ends, since the bench began; None: never.
    pub until: Option<Duration>,
    /// How many transfers that it could strike pass first.
    pub after: u64,
    /// How many transfers it strikes; None: every one.
    pub times: Option<u64>,
}

/// What can go wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum FaultKind {
    /// A transfer's address is not acknowledged; the part sees nothing of it.
    AddressNotAcknowledged,
    /// The first byte behind the address, the register's, is not acknowledged, and the part does
    /// not take it.
    DataNotAcknowledged,
    /// Bits of one byte are inverted on the wire: `byte`, from 0, of those that are read, or in a
    /// transfer that only writes, of those behind the register's. A transfer without that byte
    /// passes.
    BitsFlipped {
        /// Which byte.
        byte: usize,
        /// Its bits, ones where they are inverted.
        bits: u8,
    },
    /// Behind its address the part holds the clock low for so long. After 25 ms everybody lets go
    /// (SMBus 3.2, T_TIMEOUT), and the controller reports
    /// [`Other`](embedded_hal::i2c::ErrorKind::Other); the part has taken nothing of the transfer.
    ClockHeld(Duration),
    /// Another controller wins the bus at the address: the part sees nothing, and
    /// [`ArbitrationLoss`](embedded_hal::i2c::ErrorKind::ArbitrationLoss) is reported. What that
    /// other controller then does takes no time.
    ArbitrationLost,
    /// The transfer takes place, and the controller reports
    /// [`Bus`](embedded_hal::i2c::ErrorKind::Bus) all the same.
    AnswerLost,
    /// A transfer that writes is acknowledged to its end, and the part does not carry it out: on
    /// the register that latches, a latch that never takes place.
    WriteLost,
    /// A pull-up of the bus is absent: its line stays low, whomever a transfer is for. Of the data
    /// line the controller takes that for
    /// [`ArbitrationLoss`](embedded_hal::i2c::ErrorKind::ArbitrationLoss); of the clock, after 25
    /// ms, [`Other`](embedded_hal::i2c::ErrorKind::Other) is reported. Nobody hears anything.
    NoPullUp {
        /// Which line.
        line: BusLine,
    },
    /// The part is reset, by a dip of its supply.
    Reset,
    /// The part has no supply; at the end it comes back, which is a reset.
    NoSupply,
    /// The line of an alert output of the part shows this level whatever the output does: low is a
    /// short to ground, high a broken wire behind which the pull-up is left.
    LineStuck {
        /// The output by its name, such as "A".
        output: &'static str,
        /// The level.
        level: PinState,
    },
    /// The sense resistor of a channel is one of another value, so many nanoohms where it is an
    /// ideal one; tolerance and temperature change it as the one before.
    SenseValue {
        /// The part's channel.
        channel: usize,
        /// Nominal value, in nanoohms.
        nano_ohms: u64,
    },
    /// The sense resistor of a channel has drifted by so many parts per million of its value.
    SenseDrift {
        /// The part's channel.
        channel: usize,
        /// How far, -1 000 000 and above.
        ppm: i32,
    },
    /// A lead from the sense resistor of a channel is open: no voltage reaches the part's inputs.
    SenseOpen {
        /// The part's channel.
        channel: usize,
    },
    /// The leads from the sense resistor of a channel are swapped: its voltage has the other sign.
    SenseSwapped {
        /// The part's channel.
        channel: usize,
    },
}

/// A line of the bus.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BusLine {
    /// SDA.
    Data,
    /// SCL.
    Clock,
}

/// How often a fault has struck, and when, in nanoseconds of the bench's clock.
///
/// A fault that lasts strikes once, and `last_ns` is its end, if it has ended.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Strikes {
    /// How often.
    pub times: u64,
    /// When first.
    pub first_ns: Option<u64>,
    /// When last.
    pub last_ns: Option<u64>,
}

impl Fault {
    /// A fault from the bench's beginning to its end, of every transfer.
    #[must_use]
    pub const fn new(kind: FaultKind) -> Self {
        Self {
            kind,
            part: None,
            register: None,
            from: Duration::ZERO,
            until: None,
            after: 0,
            times: None,
        }
    }

    /// The same about the part at a 7-bit address.
    #[must_use]
    pub const fn part(mut self, address: u8) -> Self {
        self.part = Some(address);
        self
    }

    /// The same at a register alone, by its pointer (command code).
    #[must_use]
    pub const fn register(mut self, pointer: u8) -> Self {
        self.register = Some(pointer);
        self
    }

    /// The same from a moment on, since the bench began.
    #[must_use]
    pub const fn from(mut self, moment: Duration) -> Self {
        self.from = moment;
        self
    }

    /// The same until a moment, since the bench began.
    #[must_use]
    pub const fn until(mut self, moment: Duration) -> Self {
        self.until = Some(moment);
        self
    }

    /// The same after so many transfers that it could strike.
    #[must_use]
    pub const fn after(mut self, transfers: u64) -> Self {
        self.after = transfers;
        self
    }

    /// The same for so many transfers.
    #[must_use]
    pub const fn times(mut self, transfers: u64) -> Self {
        self.times = Some(transfers);
        self
    }

    /// Whether it could strike this transfer, its time and counts left out.
    pub(crate) fn is_about(&self, address: u8, operations: &[Operation<'_>]) -> bool {
        let bytes = |reads: bool| -> usize {
            let lengths = operations.iter().map(|operation| match operation {
                Operation::Read(bytes) if reads => bytes.len(),
                Operation::Write(bytes) if !reads => bytes.len(),
                _ => 0,
            });
            lengths.sum()
        };
        let (read, written) = (bytes(true), bytes(false));
        let data = if read > 0 {
            read
        } else {
            written.saturating_sub(1)
        };
        let is_of_all = matches!(self.kind, FaultKind::NoPullUp { .. });
        let pointer = match operations.first() {
            Some(Operation::Write(bytes)) => bytes.first().copied(),
            _ => None,
        };
        let has_it = match self.kind {
            FaultKind::DataNotAcknowledged => written > 0,
            FaultKind::BitsFlipped { byte, .. } => byte < data,
            FaultKind::WriteLost => read == 0 && written > 1,
            _ => true,
        };
        has_it
            && (is_of_all || self.part.is_none_or(|part| part == address))
            && (self.register.is_none() || self.register == pointer)
    }
}

impl FaultKind {
    /// Whether it is transfers that go wrong.
    #[must_use]
    pub const fn is_of_transfers(&self) -> bool {
        matches!(
            self,
            Self::AddressNotAcknowledged
                | Self::DataNotAcknowledged
                | Self::BitsFlipped { .. }
                | Self::ClockHeld(_)
                | Self::ArbitrationLost
                | Self::AnswerLost
                | Self::WriteLost
                | Self::NoPullUp { .. }
        )
    }

    /// The channel whose sense resistor it is about.
    pub(crate) const fn channel(&self) -> Option<usize> {
        match *self {
            Self::SenseValue { channel, .. }
            | Self::SenseDrift { channel, .. }
            | Self::SenseOpen { channel }
            | Self::SenseSwapped { channel } => Some(channel),
            _ => None,
        }
    }
}

/// What goes wrong, in the words of a report.
impl fmt::Display for FaultKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match *self {
            Self::AddressNotAcknowledged => f.write_str("address not acknowledged"),
            Self::DataNotAcknowledged => f.write_str("data not acknowledged"),
            Self::BitsFlipped { byte, bits } => {
                write!(f, "bits {bits:#04x} of data byte {byte} flipped")
            }
            Self::ClockHeld(time) => {
                let text = format!("{time:?}");
                let unit = text.find(char::is_alphabetic).unwrap_or_default();
                write!(f, "clock held for {} {}", &text[..unit], &text[unit..])
            }
            Self::ArbitrationLost => f.write_str("arbitration lost"),
            Self::AnswerLost => f.write_str("answer lost"),
            Self::WriteLost => f.write_str("write lost"),
            Self::NoPullUp { line } => match line {
                BusLine::Data => f.write_str("no pull-up of the data line"),
                BusLine::Clock => f.write_str("no pull-up of the clock line"),
            },
            Self::Reset => f.write_str("reset"),
            Self::NoSupply => f.write_str("no supply"),
            Self::LineStuck { output, level } => match level {
                PinState::Low => write!(f, "line of output {output} stuck low"),
                PinState::High => write!(f, "line of output {output} released"),
            },
            Self::SenseValue { nano_ohms, .. } => {
                write!(f, "sense resistor of {} ohm", nano_ohms as f64 / 1e9)
            }
            Self::SenseDrift { ppm, .. } => {
                write!(f, "sense resistor drifted by {} %", f64::from(ppm) / 1e4)
            }
            Self::SenseOpen { .. } => f.write_str("sense lead open"),
            Self::SenseSwapped { .. } => f.write_str("sense leads swapped"),
        }
    }
}

#[cfg(test)]
mod tests {
    use alloc::{format, vec::Vec};

    use super::*;

    /// Transfers by how much each writes, and reads behind that; whom each kind could strike, by
    /// its own words.
    #[test]
    fn each_kind_is_about_the_transfers_that_it_names() {
        let flipped = |byte| FaultKind::BitsFlipped { byte, bits: 1 };
        let line = BusLine::Clock;
        for (kind, transfers) in [
            (FaultKind::AddressNotAcknowledged, "0+2 1+0 1+2 2+0 3+0"),
            // Writes the register's byte at least.
            (FaultKind::DataNotAcknowledged, "1+0 1+2 2+0 3+0"),
            // Of those read, else of those behind the register's.
            (flipped(0), "0+2 1+2 2+0 3+0"),
            (flipped(1), "0+2 1+2 3+0"),
            (flipped(2), ""),
            // Only writes, and more than the register's.
            (FaultKind::WriteLost, "2+0 3+0"),
            (FaultKind::NoPullUp { line }, "0+2 1+0 1+2 2+0 3+0"),
        ] {
            let struck = |address, fault: Fault| {
                let lengths = [(0, 2), (1, 0), (1, 2), (2, 0), (3, 0)];
                let about = lengths.map(|(written, read)| {
                    let (bytes, mut into) = ([7; 3], [0; 2]);
                    let mut operations = Vec::new();
                    if written > 0 {
                        operations.push(Operation::Write(&bytes[..written]));
                    }
                    if read > 0 {
                        operations.push(Operation::Read(&mut into[..read]));
                    }
                    let is_about = fault.is_about(address, &operations);
                    is_about.then(|| format!("{written}+{read}"))
                });
                let about: Vec<_> = about.into_iter().flatten().collect();
                about.join(" ")
            };
            let fault = Fault::new(kind).part(0x32);
            assert_eq!(struck(0x32, fault), transfers, "{kind}");
            // A line of the bus is everybody's.
            let of_others = match kind {
                FaultKind::NoPullUp { .. } => transfers,
                _ => "",
            };
            assert_eq!(struck(0x33, fault), of_others, "{kind}");
            // What does not begin with a register's byte is about none.
            let at_register = transfers.trim_start_matches("0+2 ");
            assert_eq!(struck(0x32, fault.register(7)), at_register, "{kind}");
            assert_eq!(struck(0x32, fault.register(8)), "", "{kind}");
        }
    }
}
