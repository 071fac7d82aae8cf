use embedded_hal::i2c::{self, ErrorKind, I2c};

use crate::crc::Pec;

/// The SMBus alert response address.
pub(crate) const ALERT_RESPONSE: u8 = 0x0C;

/// What answered the alert response address.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Answer {
    /// The part at this 7-bit address pulls the line; it has let go with this answer, until a further cause.
    From(u8),
    /// Nobody answered: no part on the bus asks for attention, or none that pulls the line knows the alert response.
    Nobody,
    /// Something answered, and its check byte is wrong. It may have let go of the line: serve every part on it.
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
/// Several parts on one line: ask and serve the part that answered, until nobody answers or the line is high. The lowest address answers first. A part that answered has let
/// go of the line, and its causes are still set: serve it before asking again. Bus cost: one read of two bytes.
///
/// # Errors
/// A bus error other than a missing acknowledgement. A part may have answered and let go of the line all the same, with its cause still set: serve every part on the line.
pub fn alert_response<I2C: I2c>(bus: &mut I2C) -> Result<Answer, I2C::Error> {
    let mut bytes = [0; 2];
    match bus.read(ALERT_RESPONSE, &mut bytes) {
        Ok(()) => Ok(Answer::judge(bytes)),
        Err(error) if matches!(i2c::Error::kind(&error), ErrorKind::NoAcknowledge(_)) => {
            Ok(Answer::Nobody)
        }
        Err(error) => Err(error),
    }
}

impl Answer {
    /// What the two bytes of an answer say.
    pub(crate) fn judge([answer, got]: [u8; 2]) -> Self {
        let mut pec = Pec::new();
        pec.add((ALERT_RESPONSE << 1) | 1);
        pec.add(answer);
        let expected = pec.value();
        if expected == got {
            Answer::From(answer >> 1)
        } else {
            Answer::Garbled {
                answer,
                expected,
                got,
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn published_check_bytes() {
        // Device 0x34, lowest bit 0 and 1: F5 and F2 (worked out with two PyPI packages, crcmod and crc; bit 0 carries no address).
        assert_eq!(Answer::judge([0x68, 0xF5]), Answer::From(0x34));
        assert_eq!(Answer::judge([0x69, 0xF2]), Answer::From(0x34));
        assert_eq!(
            Answer::judge([0x68, 0x00]),
            Answer::Garbled {
                answer: 0x68,
                expected: 0xF5,
                got: 0x00
            }
        );
    }
}
