use embedded_hal::i2c::{self, ErrorKind, I2c};

use crate::crc::Pec;

/// The SMBus alert response address.
const ALERT_RESPONSE: u8 = 0x0C;

/// What answered the alert response address.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Answer {
    /// The part at this 7-bit address pulls the line; it has let go with this answer, until a
    /// further flag.
    From(u8),
    /// Nobody answered: no part on the bus asks for attention, or none that pulls the line knows
    /// the alert response.
    Nobody,
    /// Something answered, and its check byte is wrong. It may have let go of the line: serve every
    /// part on it.
    Garbled {
        /// The answer.
        answer: u8,
        /// Check byte computed from it.
        expected: u8,
        /// Check byte as it came.
        got: u8,
    },
}

/// Asks which part pulls a shared alert line: the SMBus alert response, with check byte.
///
/// Several parts on one line: ask and serve the part that answered, until nobody answers or the
/// line is high. The lowest address answers first. A part that answered has let go of the line, and
/// its flags are still set: serve it before asking again. Bus cost: one read of two bytes.
///
/// # Errors
/// A bus error other than a missing acknowledgement. A part may have answered and let go of the
/// line all the same, with its flag still set: serve every part on the line.
pub fn alert_response<B: I2c>(bus: &mut B) -> Result<Answer, B::Error> {
    let mut bytes = [0; 2];
    let result = bus.read(ALERT_RESPONSE, &mut bytes);
    Answer::of(result, bytes)
}

pub(super) mod asynch {
    use super::{ALERT_RESPONSE, Answer};
    use embedded_hal_async::i2c::I2c;

    /// The async twin of the blocking [`alert_response`](super::alert_response).
    ///
    /// # Errors
    /// As there; after a dropped future, too, serve every part on the line.
    pub async fn alert_response<B: I2c>(bus: &mut B) -> Result<Answer, B::Error> {
        let mut bytes = [0; 2];
        let result = bus.read(ALERT_RESPONSE, &mut bytes).await;
        Answer::of(result, bytes)
    }
}

impl Answer {
    /// What the result of the read and its two bytes say.
    fn of<E: i2c::Error>(result: Result<(), E>, [answer, got]: [u8; 2]) -> Result<Self, E> {
        if let Err(error) = result {
            return match error.kind() {
                ErrorKind::NoAcknowledge(_) => Ok(Self::Nobody),
                _ => Err(error),
            };
        }
        let mut pec = Pec::new();
        pec.add(ALERT_RESPONSE << 1 | 1);
        pec.add(answer);
        let expected = pec.value();
        Ok(match expected == got {
            true => Self::From(answer >> 1),
            false => Self::Garbled {
                answer,
                expected,
                got,
            },
        })
    }
}

#[cfg(test)]
mod tests {
    use super::Answer;
    use core::convert::Infallible;

    fn judged(bytes: [u8; 2]) -> Result<Answer, Infallible> {
        Answer::of(Ok(()), bytes)
    }

    /// Device 0x34, lowest bit 0 and 1: F5 and F2, worked out with two other packages, crcmod and
    /// crc of PyPI. Bit 0 carries no address.
    #[test]
    fn published_check_bytes() {
        assert_eq!(judged([0x68, 0xF5]), Ok(Answer::From(0x34)));
        assert_eq!(judged([0x69, 0xF2]), Ok(Answer::From(0x34)));
        let garbled = Answer::Garbled {
            answer: 0x68,
            expected: 0xF5,
            got: 0x00,
        };
        assert_eq!(judged([0x68, 0x00]), Ok(garbled));
    }
}
