//! A bus that answers without a part.

use std::collections::BTreeMap;

use crc::{CRC_8_SMBUS, Crc};
use embedded_hal::i2c::{ErrorKind, ErrorType, I2c, Operation};

/// Registers that answer as they are told, and a tally of what was written.
#[derive(Default)]
pub(crate) struct Fake {
    pub(crate) registers: BTreeMap<u8, Vec<u8>>,
    /// With the check byte of the crate `crc` behind them, exclusive-or this.
    pub(crate) checked: Option<u8>,
    pub(crate) written: Vec<Vec<u8>>,
}

impl Fake {
    pub(crate) fn checked(registers: &[(u8, &[u8])]) -> Self {
        let registers = registers
            .iter()
            .map(|(pointer, bytes)| (*pointer, bytes.to_vec()));
        Self {
            registers: registers.collect(),
            checked: Some(0),
            written: Vec::new(),
        }
    }
}

impl ErrorType for Fake {
    type Error = ErrorKind;
}

impl I2c for Fake {
    fn transaction(
        &mut self,
        address: u8,
        operations: &mut [Operation<'_>],
    ) -> Result<(), ErrorKind> {
        let [Operation::Write(sent), Operation::Read(into)] = operations else {
            return Err(ErrorKind::Other);
        };
        self.written.push(sent.to_vec());
        let bytes = self.registers.get(&sent[0]).ok_or(ErrorKind::Bus)?;
        let mut answer = bytes.clone();
        if let Some(spoilt) = self.checked {
            let mut covered = vec![address << 1, sent[0], address << 1 | 1];
            covered.extend(bytes);
            answer.push(Crc::<u8>::new(&CRC_8_SMBUS).checksum(&covered) ^ spoilt);
        }
        assert_eq!(answer.len(), into.len());
        into.copy_from_slice(&answer);
        Ok(())
    }
}
