//! The driver's check bytes against a second implementation, published examples and the datasheet.

use crake::crc::{Crc16, Pec};
use crake_suite::{
    examples::{Transfer, examples},
    markdown::Document,
    sample::{reset_sample_block, sample_block},
};

const PEC: crc::Crc<u8> = crc::Crc::<u8>::new(&crc::CRC_8_SMBUS);
const GENIBUS: crc::Crc<u16> = crc::Crc::<u16>::new(&crc::CRC_16_GENIBUS);

fn pec(bytes: &[u8]) -> u8 {
    let mut pec = Pec::new();
    pec.add_all(bytes);
    pec.value()
}

fn crc16(bytes: &[u8]) -> u16 {
    let mut crc = Crc16::new();
    crc.add_all(bytes);
    crc.value()
}

/// Check values of the CRC catalogue (crate `crc-catalog`), there for the text "123456789".
#[test]
fn catalogue_check_values() {
    assert_eq!(pec(b"123456789"), crc::CRC_8_SMBUS.check);
    assert_eq!(crc16(b"123456789"), crc::CRC_16_GENIBUS.check);
}

/// A CRC is linear over its register and the byte: all registers with all bytes, against crate
/// `crc`.
#[test]
fn every_byte_after_every_register() {
    for first in 0..=u8::MAX {
        for second in 0..=u8::MAX {
            let bytes = [first, second];
            assert_eq!(pec(&bytes), PEC.checksum(&bytes), "{bytes:02X?}");
            for third in [0x00, 0x01, 0x80, 0xFF, first ^ 0x5A] {
                let bytes = [first, second, third];
                assert_eq!(crc16(&bytes), GENIBUS.checksum(&bytes), "{bytes:02X?}");
            }
        }
    }
    assert_eq!(
        (pec(&[]), crc16(&[])),
        (PEC.checksum(&[]), GENIBUS.checksum(&[]))
    );
}

/// The first four rows are those of Zephyr's tests/drivers/smbus/smbus_pec; the others were worked
/// out with the Python packages `crcmod` and `crc`, which agree.
#[test]
fn published_transfers() {
    let rows: [(&[u8], u8); 10] = [
        (&[0x84, 0x73, 0x04, 0xDE, 0xAD, 0xBE, 0xEF], 0x12), // block write
        (&[0x14, 0x10, 0x15, 0x05], 0x90),                   // read byte
        (&[0x14, 0x10, 0x15, 0x05, 0x0A], 0xCF),             // read word
        (&[0x14, 0x10, 0x15, 0x06, 0x05, 0, 0, 0, 0, 0], 0x99), // block read
        (&[0x68, 0x03], 0x54),                               // send byte
        (&[0x69, 0x5A], 0xC9),                               // receive byte
        (&[0x68, 0x4A, 0x00, 0x4D], 0x00), // write word whose check byte looks like none
        (&[0x68, 0xA5, 0x34, 0x12, 0x69, 0x78, 0x56], 0x96), // process call
        (&[0x19, 0x68], 0xF5),             // alert response, low bit 0
        (&[0x19, 0x69], 0xF2),             // alert response, low bit 1
    ];
    for (bytes, expected) in rows {
        assert_eq!(pec(bytes), expected, "{bytes:02X?}");
    }
}

/// Each worked example of the datasheet ends in the check byte over all that went before, but for
/// those that say otherwise.
#[test]
fn datasheet_transfers() {
    let document = Document::corncrake();
    let mut unchecked = 0;
    for example in examples(&document) {
        let (body, last) = split(&example.transfer);
        if example.what.contains("no check byte") {
            unchecked += 1;
        } else {
            assert_eq!(
                pec(&body) == last,
                !example.refused,
                "example {}",
                example.number
            );
        }
    }
    assert_eq!(unchecked, 2);
}

#[test]
fn datasheet_sample_blocks() {
    let document = Document::corncrake();
    for sample in [sample_block(&document), reset_sample_block(&document)] {
        let (body, last) = split(&sample.transfer);
        assert_eq!(pec(&body), last);
        let (content, crc) = sample.block.split_at(109);
        assert_eq!(crc16(content).to_be_bytes(), crc);
    }
}

/// All bytes of a transfer but the last, and the last.
fn split(transfer: &Transfer) -> (Vec<u8>, u8) {
    let mut bytes = transfer.parts().concat();
    let last = bytes.pop().expect("a transfer has bytes");
    (bytes, last)
}
