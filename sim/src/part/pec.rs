/// The packet error code of SMBus: CRC-8, x^8 + x^2 + x + 1, over `bytes` after those that gave
/// `crc`; it begins at 0.
pub(crate) fn pec(crc: u8, bytes: &[u8]) -> u8 {
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

#[cfg(test)]
mod tests {
    use super::*;

    // Check value of the CRC catalogue for CRC-8/SMBUS.
    #[test]
    fn check_value() {
        assert_eq!(pec(0, b"123456789"), 0xF4);
        assert_eq!(pec(pec(0, b"1234"), b"56789"), 0xF4);
    }
}
