//! Section 2: pointer, check byte, sampling, window.

use crake_sim::{bench::Bench, old::corncrake::Corncrake};

use crate::old_corncrake::desk::{ADDRESS, Desk, check};

#[test]
fn the_pointer_survives_stop_and_reading_does_not_move_it() {
    let desk = Desk::ideal();
    desk.raw_write(&[0x00]);
    let identity = [0x9E, 0x37, 0xC4, 0x01, 0x0B];
    assert_eq!(desk.read_on(5), identity);
    assert_eq!(desk.read_on(5), identity);
    // A write moves it, even one that is refused.
    desk.raw_write(&[0x07, 0x0B]);
    let covered = [ADDRESS << 1, 0x07, ADDRESS << 1 | 1, 0x00];
    assert_eq!(desk.read_on(2), [0x00, check(&covered)]);
}

#[test]
fn a_write_takes_effect_at_a_repeated_start_too() {
    let desk = Desk::ideal();
    desk.wire.start();
    for byte in [ADDRESS << 1, 0x07, 0x05] {
        assert!(desk.wire.send(byte));
    }
    desk.wire.start();
    assert!(desk.wire.send(ADDRESS << 1 | 1));
    assert_eq!(desk.wire.receive(false), 0x05);
    desk.wire.stop();
}

#[test]
fn a_start_or_stop_inside_a_byte_voids_the_write() {
    let desk = Desk::ideal();
    desk.wire.start();
    for byte in [ADDRESS << 1, 0x07, 0x05] {
        assert!(desk.wire.send(byte));
    }
    desk.wire.break_off(3);
    desk.wire.stop();
    assert_eq!(desk.read(0x07, 1), [0]);
}

#[test]
fn other_addresses_and_writes_to_the_alert_response_are_not_answered() {
    let desk = Desk::ideal();
    desk.write(0x35, &[0x40, 0, 0]);
    let answered: Vec<u8> = (0..=0xFF)
        .filter(|&byte| {
            desk.wire.start();
            let acknowledged = desk.wire.send(byte);
            desk.wire.stop();
            acknowledged
        })
        .collect();
    assert_eq!(answered, [0x19, ADDRESS << 1, ADDRESS << 1 | 1]);
}

/// ROUNDS on its way over a carry into the third byte, while the host reads: bytes of 90 µs against
/// rounds of 125 µs. A torn value would be far from where it began.
#[test]
fn a_value_is_sampled_at_the_read_address() {
    let desk = Desk::ideal();
    desk.bench.set_bus_speed(crake_sim::bus::Speed::Standard);
    desk.write(0x05, &[0x01]);
    desk.write(0x07, &[0x0A]);
    desk.run(0x20, 1, 0);
    desk.run_conversions(10);
    for before_carry in 0..12 {
        let start = 0xFFFF - before_carry;
        desk.part.preload_rounds(start);
        let read = desk.unsigned(0x74, 4);
        // The read address is acknowledged 277 µs after START: 2 or 3 rounds.
        assert!(
            (2..=3).contains(&(read - u64::from(start))),
            "{start:#x} {read:#x}"
        );
    }
}

#[test]
fn the_window_reads_on_from_any_byte_to_the_check_byte() {
    let desk = Desk::ideal();
    desk.steady(0, 1e6, 3.3e9);
    desk.run(0x20, 1, 0);
    desk.run_conversions(20);
    desk.latch(2, 1);
    let whole = desk.frame().0;
    for start in 0..111 {
        let pointer = 0x80 + start as u8;
        let bytes = desk.raw_read(pointer, 111 - start + 3);
        assert_eq!(bytes[..111 - start], whole[start..], "{start}");
        let mut covered = vec![ADDRESS << 1, pointer, ADDRESS << 1 | 1];
        covered.extend(&whole[start..]);
        assert_eq!(
            bytes[111 - start..],
            [check(&covered), 0xFF, 0xFF],
            "{start}"
        );
    }
}

#[test]
fn four_straps_answer_beside_each_other() {
    let bench = Bench::new(0);
    let desks: Vec<Desk> = (0x32..=0x35)
        .map(|address| Desk::with(&bench, Corncrake::ideal(address)))
        .collect();
    for (i, desk) in desks.iter().enumerate() {
        desk.write(0x07, &[i as u8 + 1]);
    }
    for (i, desk) in desks.iter().enumerate() {
        assert_eq!(desk.read(0x07, 1), [i as u8 + 1]);
    }
}
