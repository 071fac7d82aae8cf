//! The two checks of the datasheet: the check byte of a transfer (2.3) and the block's CRC (5).

pub(super) use crate::part::pec::pec as check_byte;

/// CRC-16/GENIBUS of `bytes`.
pub(super) fn block_crc(bytes: &[u8]) -> u16 {
    let crc = bytes.iter().fold(0xFFFF, |crc: u16, &byte| {
        (0..8).fold(crc ^ u16::from(byte) << 8, |crc, _| {
            if crc & 0x8000 != 0 {
                crc << 1 ^ 0x1021
            } else {
                crc << 1
            }
        })
    });
    crc ^ 0xFFFF
}

#[cfg(test)]
mod tests {
    use super::*;

    // Check value of the CRC catalogue for CRC-16/GENIBUS; it also stands in section 5.
    #[test]
    fn check_value() {
        assert_eq!(block_crc(b"123456789"), 0xD64E);
    }
}
