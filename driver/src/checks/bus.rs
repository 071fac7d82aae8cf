use embedded_hal::i2c::{Error, ErrorKind, NoAcknowledgeSource};

/// What [`bus_lines`] finds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum LinesFinding {
    /// Nobody answered where nobody is: data and clock go up.
    Sound,
    /// An address that nobody has was acknowledged: the data line stays low. Its pull-up is absent,
    /// or somebody holds it.
    DataLow,
    /// The transfer failed otherwise: a pull-up is absent, a line is held or shorted, or the
    /// controller lost the bus to another one.
    Fails,
}

/// Where a part was looked for, and where it answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AddressVerdict {
    /// What was found.
    pub finding: AddressFinding,
    /// The 7-bit address at which it had to answer.
    pub expected: u8,
    /// The first of the straps at which somebody answered.
    pub answered: Option<u8>,
}

/// What [`address`] finds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum AddressFinding {
    /// It answers at its address, and nobody at the other straps.
    Sound,
    /// It does not answer at its address, and somebody does at another strap.
    Elsewhere,
    /// Nobody answers at any strap: no supply, no part, or an open line.
    Nobody,
    /// Somebody answers at its address and at another strap: there is a part too many.
    TooMany,
    /// A transfer failed otherwise than for want of an answer: see [`bus_lines`].
    Fails,
}

/// What came of one address.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Answer {
    Acknowledged,
    Nobody,
    Fails,
}

/// A byte was read, or refused behind the address: somebody is there.
fn answer<E: Error>(result: Result<(), E>) -> Answer {
    match result.map_err(|error| error.kind()) {
        Ok(()) | Err(ErrorKind::NoAcknowledge(NoAcknowledgeSource::Data)) => Answer::Acknowledged,
        Err(ErrorKind::NoAcknowledge(_)) => Answer::Nobody,
        Err(_) => Answer::Fails,
    }
}

impl AddressVerdict {
    const fn new(expected: u8) -> Self {
        Self {
            finding: AddressFinding::Nobody,
            expected,
            answered: None,
        }
    }

    /// Takes in what came of one strap; its own comes first. Whether the rest are to be asked.
    fn take(&mut self, strap: u8, answer: Answer) -> bool {
        match (answer, self.finding) {
            (Answer::Fails, _) => self.finding = AddressFinding::Fails,
            (Answer::Nobody, _) => return true,
            (Answer::Acknowledged, AddressFinding::Sound) => self.finding = AddressFinding::TooMany,
            (Answer::Acknowledged, _) if strap == self.expected => {
                self.finding = AddressFinding::Sound;
            }
            (Answer::Acknowledged, _) => self.finding = AddressFinding::Elsewhere,
        }
        if answer == Answer::Acknowledged && self.answered.is_none() {
            self.answered = Some(strap);
        }
        self.finding == AddressFinding::Sound
    }
}

/// Writes the checks for a face: its bus, and what makes and awaits a future there.
macro_rules! checks {
    ($I2c:path, [$($make:tt)*], [$($wait:tt)*]) => {
        /// Asks an address that nobody on this bus has: it must not be acknowledged.
        ///
        /// Bus: one transfer, a read of one byte behind `pointer`. It finds an absent pull-up of
        /// data or clock, and a line that is held, whether the controller sees that as a failure
        /// or as an answer. It does not find a pull-up that is too weak for the bus's capacitance
        /// or too strong for its drivers, nor a line that is open behind the first part.
        pub $($make)* fn bus_lines<I: $I2c>(i2c: &mut I, nobody: u8, pointer: u8) -> LinesFinding {
            let result = i2c.write_read(nobody, &[pointer], &mut [0])$($wait)*;
            match answer(result) {
                Answer::Nobody => LinesFinding::Sound,
                Answer::Acknowledged => LinesFinding::DataLow,
                Answer::Fails => LinesFinding::Fails,
            }
        }

        /// Looks for a part at its address and at the other addresses that its straps can give.
        ///
        /// `straps` are these; leave out those of other parts on this bus. Bus: one transfer for
        /// each, a read of one byte behind `pointer`, which a part must be able to bear: a
        /// register that reading does not clear. It finds a wrong strap, and a part too many. It
        /// does not find who answers (`init` compares the identity), nor two parts at one address.
        pub $($make)* fn address<I: $I2c>(
            i2c: &mut I,
            expected: u8,
            straps: &[u8],
            pointer: u8,
        ) -> AddressVerdict {
            let mut verdict = AddressVerdict::new(expected);
            let result = i2c.write_read(expected, &[pointer], &mut [0])$($wait)*;
            let mut goes_on = verdict.take(expected, answer(result));
            for strap in straps {
                if goes_on && *strap != expected {
                    let result = i2c.write_read(*strap, &[pointer], &mut [0])$($wait)*;
                    goes_on = verdict.take(*strap, answer(result));
                }
            }
            verdict
        }
    };
}

checks!(embedded_hal::i2c::I2c, [], []);

/// The checks that use the bus, for an async one. A dropped future has found nothing.
pub mod asynch {
    use super::{AddressVerdict, Answer, LinesFinding, answer};

    checks!(embedded_hal_async::i2c::I2c, [async], [.await]);
}
