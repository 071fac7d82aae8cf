use crake::Channel;
use crake::board::{Board, Correction, Gain, Offset, Rail, SenseResistor};
use crake::calibration::{Record, RecordError};
use crake::config::{ChannelRange, ConfigError};
use crake::part::corncrake::{Corncrake, INFO};
use crake::units::{Resistance, Temperature, Tolerance, Voltage};

const SERIAL: u32 = 1_207;
const WARM: Temperature = Temperature::from_millicelsius(23_500);

/// The example of docs/calibration-record.md.
fn golden() -> [u8; 178] {
    let document = include_str!("../../docs/calibration-record.md");
    let (_, example) = document.split_once("## Example").expect("an example");
    let (_, block) = example.split_once("```text\n").expect("its bytes");
    let (block, _) = block.split_once("```").expect("their end");
    let mut bytes = Vec::new();
    for line in block.lines() {
        if let Some(rest) = line.strip_prefix('(') {
            let (count, _) = rest.split_once(" bytes 00)").expect("a count");
            bytes.resize(bytes.len() + count.parse::<usize>().expect("a number"), 0);
        } else {
            let byte = |text| u8::from_str_radix(text, 16).expect("a byte");
            bytes.extend(line.split_whitespace().map(byte));
        }
    }
    bytes.try_into().expect("178 bytes")
}

fn first() -> Correction {
    Correction {
        offset: Offset::from_bits(1_580_237),
        offset_bound: Some(Voltage::from_nanovolts(122)),
        gain: Gain::from_bits(1_070_530_233),
        gain_bound: Some(Tolerance::from_ppm(115)),
        gain_range: Some(1),
    }
}

fn second() -> Correction {
    Correction {
        offset: Offset::from_bits(-25_600),
        offset_bound: Some(Voltage::from_nanovolts(123)),
        ..Correction::NONE
    }
}

const RAIL: Rail = Rail::new(SenseResistor::new(
    Resistance::from_ohms(1),
    Tolerance::from_ppm(5_000),
));

fn bare<const N: usize>() -> Board<N> {
    Corncrake::board(&[RAIL; N]).with_serial(SERIAL)
}

fn calibrated() -> [Rail; 2] {
    [RAIL.corrected(first()), RAIL.corrected(second())]
}

/// CRC-16/GENIBUS by another library, over bytes that were changed.
fn tampered(change: impl Fn(&mut [u8])) -> [u8; 178] {
    let mut bytes = golden();
    change(&mut bytes);
    let check = crc::Crc::<u16>::new(&crc::CRC_16_GENIBUS).checksum(&bytes[..176]);
    bytes[176..].copy_from_slice(&check.to_be_bytes());
    bytes
}

#[test]
fn the_documents_example() {
    assert_eq!(Record::write(SERIAL, &calibrated(), WARM), Ok(golden()));
    let bytes = golden();
    let record = Record::read(&bytes).expect("a record");
    assert_eq!((record.serial(), record.channels()), (SERIAL, 2));
    assert_eq!(record.temperature(), WARM);
    assert_eq!(record.correction(Channel::C0), Some(first()));
    assert_eq!(record.correction(Channel::C1), Some(second()));
    assert_eq!(record.correction(Channel::C2), None);
    assert_eq!(tampered(|_| ()), bytes);
}

#[test]
fn a_board_comes_back_as_it_was() {
    let bytes = golden();
    let record = Record::read(&bytes).expect("a record");
    let (board, rails) = record.apply(&INFO, &bare(), &[RAIL; 2]).expect("its board");
    assert_eq!(rails, calibrated());
    let corrected = bare::<2>()
        .corrected(Channel::C0, &first())
        .corrected(Channel::C1, &second());
    assert_eq!(board, corrected);
    // A board is corrected once.
    let again = record.apply(&INFO, &board, &rails);
    let refused = ConfigError::SenseResistor(Channel::C0);
    assert_eq!(again, Err(RecordError::Config(refused)));
    // One without calibration changes nothing.
    let bytes = Record::write(SERIAL, &[RAIL; 2], WARM).expect("a record");
    let none = Record::read(&bytes).expect("a record");
    let (board, rails) = none.apply(&INFO, &bare(), &[RAIL; 2]).expect("its board");
    assert_eq!(rails, [RAIL; 2]);
    let range = ChannelRange {
        sense: 0,
        rail: 0,
        sense_lsb: 5,
        rail_lsb: 2,
    };
    for channel in [Channel::C0, Channel::C1] {
        let [made, applied] = [&bare::<2>(), &board].map(|board| {
            let factors = board.factors(channel).expect("a rail");
            factors.current(&range, 77_777)
        });
        assert_eq!(made, applied);
    }
}

#[test]
fn every_flipped_bit_is_found() {
    for bit in 0..8 * Record::LEN {
        let mut bytes = golden();
        bytes[bit / 8] ^= 1 << (bit % 8);
        let refused = Record::read(&bytes).unwrap_err();
        match bit / 8 {
            0 | 1 => assert_eq!(refused, RecordError::Mark),
            2 => assert_eq!(refused, RecordError::Version(bytes[2])),
            _ => assert!(matches!(refused, RecordError::Check { .. }), "bit {bit}"),
        }
    }
}

#[test]
fn other_lengths_and_versions_are_refused() {
    for length in [0, 1, Record::LEN - 1] {
        let refused = Record::read(&golden()[..length]).unwrap_err();
        assert_eq!(refused, RecordError::Length(length));
    }
    let refused = Record::read(&[0; Record::LEN + 1]).unwrap_err();
    assert_eq!(refused, RecordError::Length(179));
    let first_version = tampered(|bytes| bytes[2] = 1);
    assert_eq!(Record::read(&first_version), Err(RecordError::Version(1)));
}

#[test]
fn fields_out_of_range_are_refused_where_they_stand() {
    let put = |at: usize, bytes: &'static [u8]| {
        let bytes = tampered(|record| record[at..at + bytes.len()].copy_from_slice(bytes));
        Record::read(&bytes).map(|record| record.channels())
    };
    let wrong = |offset| Err(RecordError::Field { offset });
    assert_eq!(put(3, &[9]), wrong(3)); // channels
    assert_eq!(put(8, &[0xFF; 4]), Ok(2)); // −0.001 °C
    assert_eq!(put(8, &[0, 4, 0x2A, 0xFF]), wrong(8)); // 273.151 °C
    assert_eq!(put(8, &[0x80, 0, 0, 0]), wrong(8));
    assert_eq!(put(15, &[1]), wrong(12));
    assert_eq!(put(16, &[4]), wrong(16)); // flags
    assert_eq!(put(18, &[1]), wrong(18));
    assert_eq!(put(28, &[0xBF]), wrong(28)); // gain below zero
    assert_eq!(put(28, &[0; 4]), wrong(28));
    assert_eq!(put(36, &[0]), wrong(44)); // bound of an offset that is not known
    assert_eq!(put(55, &[1]), wrong(52)); // bound of a gain that is not known
    assert_eq!(put(56, &[1]), wrong(56)); // behind the last channel
    assert_eq!(put(175, &[1]), wrong(56));
}

#[test]
fn a_record_goes_with_its_own_board_alone() {
    let bytes = golden();
    let record = Record::read(&bytes).expect("a record");
    assert_eq!(
        record.apply(&INFO, &bare::<2>().with_serial(1_208), &[RAIL; 2]),
        Err(RecordError::Board {
            record: SERIAL,
            board: 1_208
        })
    );
    assert_eq!(
        record.apply(&INFO, &bare::<3>(), &[RAIL; 3]),
        Err(RecordError::Channels {
            record: 2,
            board: 3
        })
    );
    // Corncrake has sense ranges 0 and 1.
    let bytes = tampered(|record| record[17] = 2);
    let record = Record::read(&bytes).expect("a record");
    assert_eq!(
        record.apply(&INFO, &bare::<2>(), &[RAIL; 2]),
        Err(RecordError::SenseRange(Channel::C0))
    );
    // 100 µΩ takes no gain near 2 with 500 nA a 256th of a unit: 2^14 nA is the end.
    let tiny = Rail::new(SenseResistor::new(
        Resistance::from_nanoohms(40_000),
        Tolerance::ZERO,
    ));
    let record = golden();
    let record = Record::read(&record).expect("a record");
    let refused = record.apply(
        &INFO,
        &Corncrake::board(&[tiny; 2]).with_serial(SERIAL),
        &[tiny; 2],
    );
    assert_eq!(
        refused,
        Err(RecordError::Config(ConfigError::SenseResistor(Channel::C0)))
    );
}

#[test]
fn what_a_record_cannot_hold_is_not_written() {
    let field = |correction: Correction| {
        let rails = [RAIL, RAIL.corrected(correction)];
        Record::write(SERIAL, &rails, WARM)
    };
    let unbounded = Correction {
        offset_bound: Some(Voltage::from_volts(5)),
        ..Correction::NONE
    };
    assert_eq!(field(unbounded), Err(RecordError::Field { offset: 36 }));
    let backwards = Correction {
        gain: Gain::from_bits(-1),
        ..Correction::NONE
    };
    assert_eq!(field(backwards), Err(RecordError::Field { offset: 48 }));
    assert_eq!(
        Record::write(SERIAL, &[RAIL; 2], Temperature::from_celsius(1_000)),
        Err(RecordError::Field { offset: 8 })
    );
    assert_eq!(
        Record::write(SERIAL, &[RAIL; 9], WARM),
        Err(RecordError::Channels {
            record: 8,
            board: 9
        })
    );
}
