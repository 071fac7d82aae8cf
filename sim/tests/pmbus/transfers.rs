//! Check bytes, lengths and broken transfers (B2.2), and part A's transfers on a device of another
//! make.

use crake_sim::part::pmbus::{Description, Device, Pec};

use crate::pmbus::{
    desk::{ADDRESS, Desk, pec},
    document::{bytes, table},
};

const W: u8 = ADDRESS << 1;

fn with_pec(kind: Pec) -> Desk {
    Desk::of(Description {
        pec: kind,
        ..Description::gallinule()
    })
}

// The rows of A1.1 that a device can be brought to say: at 0x34, VOUT_MODE 17, named "ABC".
#[test]
fn transfers_of_part_a_with_their_check_bytes() {
    let mut description = Description {
        identity: ["ABC", "A", "A"],
        ..Description::gallinule()
    };
    // An input as well as an output at page 0, and page 1 for what the standard calls 01.
    description.pages.rotate_left(3);
    let (input, outputs) = description.pages.split_at_mut(1);
    input[0].refusal = outputs[0].refusal;
    let bench = crake_sim::bench::Bench::new(0);
    let part = bench
        .part(Device::ideal(description, 0x34).expect("sound"))
        .expect("free");
    let wire = bench.wire();
    let rows = table("| transfer | address | bytes covered | PEC |");
    let play = |name: &str, page: u8, prepare: &dyn Fn()| {
        let row = rows.iter().find(|row| row[0] == name).expect("a row");
        prepare();
        if page != 0xEE {
            wire.start();
            [0x68, 0x00, page]
                .into_iter()
                .for_each(|byte| assert!(wire.send(byte)));
            wire.stop();
        }
        let mut all = bytes(row[2]);
        all.extend(bytes(row[3]));
        let turn = all
            .iter()
            .skip(1)
            .position(|byte| *byte == 0x69)
            .map_or(all.len(), |at| at + 1);
        wire.start();
        all[..turn]
            .iter()
            .for_each(|&byte| assert!(wire.send(byte), "{name}"));
        if let Some((address, data)) = all[turn..].split_first() {
            wire.start();
            assert!(wire.send(*address), "{name}");
            for (i, &byte) in data.iter().enumerate() {
                assert_eq!(wire.receive(i + 1 < data.len()), byte, "{name}, byte {i}");
            }
        }
        wire.stop();
    };
    let nothing = || ();
    play("write byte, command 00 = 01", 0, &nothing);
    assert_eq!(part.with(|model| model.page()), 1);
    play("write byte, command 00 = FF", 0, &nothing);
    assert_eq!(part.with(|model| model.page()), 0xFF);
    play("write word, command 42 = 0x0140", 1, &nothing);
    play("write word, command 4A = 0xD200", 1, &nothing);
    // A check byte of 00 counts as one, and a missing one does not pass for it: see
    // `a_check_byte_of_zero`.
    play("write word, command 4A = 0x4D00", 1, &nothing);
    play("read byte, command 20: 17", 1, &nothing);
    play("read word, command 8B: 0x0666", 1, &|| {
        assert!(part.with(|model| model.show(1, [0x0666, 0xD200, 0])))
    });
    play("read word, command 8C: 0xD200", 1, &nothing);
    play("block read, command 86, N = 6", 0, &|| {
        assert!(part.with(|model| model.preload(0, 5 * 32_768 + 0x1234, 0x2710)))
    });
    play("block read, command 99 \"ABC\"", 0, &nothing);
    play("mask write", 1, &nothing);
    play("mask read", 1, &nothing);
    play("CAPABILITY", 0, &nothing);
    play("PMBUS_REVISION", 0, &nothing);
    let alerting = rows
        .iter()
        .find(|row| row[0] == "alert response, device 0x34, low bit 0")
        .expect("a row");
    assert!(part.with(|model| model.raise(1, 0x7A, 0x80)));
    wire.start();
    assert!(wire.send(0x19));
    assert_eq!(
        [wire.receive(true), wire.receive(false)].to_vec(),
        [bytes(&alerting[2][3..]), bytes(alerting[3])].concat()
    );
    wire.stop();
}

#[test]
fn the_check_byte_is_optional_and_judged_where_it_comes() {
    let desk = Desk::ideal();
    assert_eq!(desk.raw_write(&[0x42, 0x34, 0x12]), [true; 4]);
    assert_eq!(desk.word(0x42), 0x1234);
    let right = pec(&[W, 0x42, 0x35, 0x12]);
    assert_eq!(
        desk.raw_write(&[0x42, 0x35, 0x12, right ^ 0x80]),
        [true, true, true, true, false]
    );
    assert_eq!((desk.word(0x42), desk.take_cml()), (0x1234, 0x20));
    assert_eq!(
        desk.raw_write(&[0x42, 0x35, 0x12, right, 0x00]),
        [true, true, true, true, true, false]
    );
    assert_eq!((desk.word(0x42), desk.take_cml()), (0x1234, 0x02));
    assert_eq!(desk.raw_write(&[0x42, 0x35, 0x12, right]), [true; 5]);
    assert_eq!((desk.word(0x42), desk.take_cml()), (0x1235, 0x00));
}

#[test]
fn a_check_byte_of_zero_is_one_like_any_other() {
    let desk = with_pec(Pec::Required);
    let zero = (0..=u16::MAX).find(|word| {
        let [low, high] = word.to_le_bytes();
        pec(&[W, 0x42, low, high]) == 0
    });
    let [low, high] = zero.expect("a CRC takes every value").to_le_bytes();
    assert_eq!(desk.raw_write(&[0x42, low, high]), [true; 4]);
    assert_eq!((desk.word(0x42), desk.take_cml()), (0xFFFF, 0x20));
    assert_eq!(desk.raw_write(&[0x42, low, high, 0]), [true; 5]);
    assert_eq!(
        (desk.word(0x42), desk.take_cml()),
        (u16::from_le_bytes([low, high]), 0)
    );
}

#[test]
fn a_device_that_requires_the_check_byte_ignores_writes_without() {
    let desk = with_pec(Pec::Required);
    assert_eq!(desk.raw_write(&[0x00, 2]), [true; 3]);
    assert_eq!((desk.byte(0x00), desk.take_cml()), (0, 0x20));
    desk.select(2);
    assert_eq!((desk.byte(0x00), desk.byte(0x19)), (2, 0xB0));
}

#[test]
fn a_device_without_check_bytes_sends_none_and_takes_none() {
    let desk = with_pec(Pec::None);
    assert_eq!(desk.raw_read(0x19, &[], 3), [0x30, 0xFF, 0xFF]);
    let right = pec(&[W, 0x00, 2]);
    assert_eq!(desk.raw_write(&[0x00, 2, right]), [true, true, true, false]);
    assert_eq!(desk.raw_read(0x00, &[], 1), [0]);
    assert_eq!(desk.raw_read(0x7E, &[], 1), [0x02]);
    assert!(desk.part.with(|model| model.raise(0, 0x7A, 0x80)));
    desk.wire.start();
    assert!(desk.wire.send(0x19));
    assert_eq!(
        [desk.wire.receive(true), desk.wire.receive(false)],
        [W, 0xFF]
    );
    desk.wire.stop();
}

#[test]
fn after_the_check_byte_comes_ff() {
    let desk = Desk::ideal();
    let check = pec(&[W, 0x98, W | 1, 0x22]);
    assert_eq!(desk.raw_read(0x98, &[], 5), [0x22, check, 0xFF, 0xFF, 0xFF]);
    assert_eq!(desk.take_cml(), 0);
}

#[test]
fn too_few_bytes_write_nothing() {
    let desk = Desk::ideal();
    for bytes in [
        &[0x42][..],
        &[0x42, 0x34],
        &[0xB0, 4, 1, 2, 3],
        &[0x00],
        &[0x8B],
        &[0x1A, 1, 0x8B],
    ] {
        assert!(desk.raw_write(bytes).iter().all(|&yes| yes), "{bytes:02X?}");
        assert_eq!(desk.take_cml(), 0x02, "{bytes:02X?}");
    }
    assert_eq!(desk.raw_write(&[]), [true]);
    assert_eq!(
        (desk.word(0x42), desk.byte(0x00), desk.take_cml()),
        (0xFFFF, 0, 0)
    );
    assert_eq!(desk.disturbances(), []);
}

#[test]
fn a_repeated_start_makes_a_write_nothing() {
    let desk = Desk::ideal();
    desk.wire.start();
    [W, 0x42, 0x34, 0x12]
        .into_iter()
        .for_each(|byte| assert!(desk.wire.send(byte)));
    desk.wire.start();
    [W, 0x00, 0x02]
        .into_iter()
        .for_each(|byte| assert!(desk.wire.send(byte)));
    desk.wire.stop();
    assert_eq!((desk.byte(0x00), desk.take_cml()), (2, 0));
    desk.select(0);
    assert_eq!(desk.word(0x42), 0xFFFF);
    // Nor does a reading that data went before.
    desk.read_nothing(0x42, &[0x34, 0x12]);
    assert_eq!((desk.word(0x42), desk.take_cml()), (0xFFFF, 0x40));
}

#[test]
fn the_command_does_not_outlive_a_stop() {
    let desk = Desk::ideal();
    assert_eq!(desk.raw_write(&[0x98]), [true; 2]);
    assert_eq!(desk.take_cml(), 0x02);
    assert_eq!(desk.read_on(3), [0xFF; 3]);
    assert_eq!(desk.take_cml(), 0x02);
}

#[test]
fn a_repeated_start_without_a_command_before_it_reads_nothing() {
    let desk = Desk::ideal();
    desk.wire.start();
    assert!(desk.wire.send(W));
    assert_eq!(desk.read_on(3), [0xFF; 3]);
    assert_eq!(desk.take_cml(), 0x02);
}

#[test]
fn a_reading_after_a_refused_byte_is_nothing_more() {
    let desk = Desk::ideal();
    desk.read_nothing(0x88, &[]);
    assert_eq!(desk.take_cml(), 0x80);
    desk.read_nothing(0x8B, &[0x00]);
    assert_eq!(desk.take_cml(), 0x80);
}

#[test]
fn a_start_or_stop_inside_a_byte_makes_a_write_nothing() {
    let desk = Desk::ideal();
    for again in [false, true] {
        desk.wire.start();
        [W, 0x00, 0x02]
            .into_iter()
            .for_each(|byte| assert!(desk.wire.send(byte)));
        desk.wire.break_off(3);
        if again {
            desk.wire.start();
            assert!(desk.wire.send(W));
        }
        desk.wire.stop();
        assert_eq!((desk.byte(0x00), desk.take_cml()), (0, 0x02));
    }
}

#[test]
fn a_block_has_the_count_that_its_command_has() {
    let desk = Desk::ideal();
    assert_eq!(
        desk.raw_write(&[0xB0, 3, 1, 2, 3, 4]),
        [true, true, true, true, true, true, false]
    );
    assert_eq!(
        (desk.read(0xB0, 5), desk.take_cml()),
        (vec![4, 0, 0, 0, 0], 0x40)
    );
    // The check byte is not counted.
    desk.write(0xB0, &[4, 1, 2, 3, 4]);
    assert_eq!(
        (desk.read(0xB0, 5), desk.take_cml()),
        (vec![4, 1, 2, 3, 4], 0)
    );
}

#[test]
fn values_that_are_not_allowed_are_refused_with_their_last_byte() {
    let desk = Desk::ideal();
    for bytes in [
        [0x00, 4],
        [0x00, 0x20],
        [0x00, 0xFE],
        [0x10, 0x01],
        [0x10, 0xC0],
    ] {
        assert_eq!(desk.raw_write(&bytes), [true, true, false], "{bytes:02X?}");
        assert_eq!(desk.take_cml(), 0x40, "{bytes:02X?}");
    }
    assert_eq!((desk.byte(0x00), desk.byte(0x10)), (0, 0));
}

#[test]
fn a_send_byte_takes_no_data_but_its_check_byte() {
    let desk = Desk::ideal();
    let right = pec(&[W, 0x03]);
    assert!(desk.part.with(|model| model.raise(0, 0x7A, 0x40)));
    assert_eq!(desk.raw_write(&[0x03, right ^ 1]), [true, true, false]);
    assert_eq!((desk.byte(0x7A), desk.take_cml()), (0x40, 0x20));
    desk.read_nothing(0x03, &[]);
    assert_eq!((desk.byte(0x7A), desk.take_cml()), (0x40, 0x80));
    assert_eq!(desk.raw_write(&[0x03, right]), [true; 3]);
    assert_eq!((desk.byte(0x7A), desk.take_cml()), (0, 0));
}

// One reading is of one moment: the word is taken when the address is acknowledged.
#[test]
fn a_reading_does_not_change_under_way() {
    let desk = Desk::ideal();
    desk.wire.start();
    [W, 0x8B]
        .into_iter()
        .for_each(|byte| assert!(desk.wire.send(byte)));
    desk.wire.start();
    assert!(desk.wire.send(W | 1));
    assert!(desk.part.with(|model| model.show(0, [0x1234, 0, 0])));
    assert_eq!([desk.wire.receive(true), desk.wire.receive(false)], [0, 0]);
    desk.wire.stop();
    assert_eq!(desk.word(0x8B), 0x1234);
}

/// B2: a write that is complete with its PEC is no first half of a reading, nor is it carried out.
#[test]
fn a_reading_behind_a_complete_write_gives_nothing() {
    let desk = Desk::ideal();
    let right = pec(&[W, 0x42, 0x34, 0x12]);
    assert_eq!(desk.raw_read(0x42, &[0x34, 0x12, right], 3), [0xFF; 3]);
    assert_eq!(desk.take_cml(), 0x40);
    assert_eq!(desk.word(0x42), 0xFFFF);
}
