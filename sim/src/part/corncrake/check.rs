//! The two checks of the datasheet: the check byte of a transfer (2.3) and the block's CRC (5).

/// CRC-8, x^8 + x^2 + x + 1, over `bytes` after those that gave `crc`; it begins at 0.
pub(super) fn check_byte(crc: u8, bytes: &[u8]) -> u8 {
    bytes.iter().fold(crc, |crc, byte| {
        (0..8).fold(crc ^ byte, |crc, _| {
            if crc & 0x80 != 0 {
                crc << 1 ^ 0x07
            } else {
                crc << 1
            }
        })
    })
}

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

    // Check values of the CRC catalogue for CRC-8/SMBUS and CRC-16/GENIBUS; the latter also stands in section 5.
    #[test]
    fn check_values() {
        assert_eq!(check_byte(0, b"123456789"), 0xF4);
        assert_eq!(check_byte(check_byte(0, b"1234"), b"56789"), 0xF4);
        assert_eq!(block_crc(b"123456789"), 0xD64E);
    }
}
