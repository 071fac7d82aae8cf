//! Section 2: pointer, check byte, sampling, window.

use crake_sim::{bench::Bench, part::corncrake::Corncrake};

use crate::corncrake::fixture::{ADDRESS, Fixture, check};

#[test]
fn the_pointer_survives_stop_and_reading_does_not_move_it() {
    let fixture = Fixture::ideal();
    fixture.raw_write(&[0x00]);
    // Section 10, row 1.
    let identity = [0x9E, 0x37, 0xC4, 0x02, 0x02];
    assert_eq!(fixture.read_on(5), identity);
    assert_eq!(fixture.read_on(5), identity);
    // A write moves it, even one that is refused.
    fixture.raw_write(&[0x07, 0x0B]);
    let covered = [ADDRESS << 1, 0x07, ADDRESS << 1 | 1, 0x00];
    assert_eq!(fixture.read_on(2), [0x00, check(&covered)]);
}

#[test]
fn a_write_takes_effect_at_a_repeated_start_too() {
    let fixture = Fixture::ideal();
    fixture.wire.start();
    for byte in [ADDRESS << 1, 0x07, 0x05] {
        assert!(fixture.wire.send(byte));
    }
    fixture.wire.start();
    assert!(fixture.wire.send(ADDRESS << 1 | 1));
    assert_eq!(fixture.wire.receive(false), 0x05);
    fixture.wire.stop();
}

#[test]
fn a_start_or_stop_inside_a_byte_voids_the_write() {
    let fixture = Fixture::ideal();
    fixture.wire.start();
    for byte in [ADDRESS << 1, 0x07, 0x05] {
        assert!(fixture.wire.send(byte));
    }
    fixture.wire.break_off(3);
    fixture.wire.stop();
    assert_eq!(fixture.read(0x07, 1), [0]);
}

#[test]
fn other_addresses_and_writes_to_the_alert_response_are_not_answered() {
    let fixture = Fixture::ideal();
    fixture.write(0x35, &[0x40, 0, 0]);
    let answered: Vec<u8> = (0..=0xFF)
        .filter(|&byte| {
            fixture.wire.start();
            let acknowledged = fixture.wire.send(byte);
            fixture.wire.stop();
            acknowledged
        })
        .collect();
    assert_eq!(answered, [0x19, ADDRESS << 1, ADDRESS << 1 | 1]);
}

/// SCANS on its way over a carry into the third byte, while the host reads: bytes of 90 µs against
/// scans of 125 µs. A torn value would be far from where it began.
#[test]
fn a_value_is_sampled_at_the_read_address() {
    let fixture = Fixture::ideal();
    fixture.bench.set_bus_speed(crake_sim::bus::Speed::Standard);
    fixture.write(0x05, &[0x01]);
    fixture.write(0x07, &[0x0A]);
    fixture.run(0x20);
    fixture.run_conversions(10);
    for before_carry in 0..12 {
        let start = 0xFFFF - before_carry;
        fixture.part.preload_scans(start);
        let read = fixture.unsigned(0x74, 4);
        // The read address is acknowledged 277 µs after START: 2 or 3 scans.
        assert!(
            (2..=3).contains(&(read - u64::from(start))),
            "{start:#x} {read:#x}"
        );
    }
}

#[test]
fn the_window_reads_on_from_any_byte_to_the_check_byte() {
    let fixture = Fixture::ideal();
    fixture.steady(0, 1e6, 3.3e9);
    fixture.run(0x20);
    fixture.run_conversions(20);
    fixture.latch(2, 1);
    let whole = fixture.sample().0;
    for start in 0..111 {
        let pointer = 0x80 + start as u8;
        let bytes = fixture.raw_read(pointer, 111 - start + 3);
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
    let fixtures: Vec<Fixture> = (0x32..=0x35)
        .map(|address| Fixture::with(&bench, Corncrake::ideal(address)))
        .collect();
    for (i, fixture) in fixtures.iter().enumerate() {
        fixture.write(0x07, &[i as u8 + 1]);
    }
    for (i, fixture) in fixtures.iter().enumerate() {
        assert_eq!(fixture.read(0x07, 1), [i as u8 + 1]);
    }
}
