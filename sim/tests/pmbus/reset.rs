//! Power-up and brown-out (B6).

use core::time::Duration;

use crate::pmbus::desk::{ADDRESS, Desk};

/// A desk on which everything that a host may write has been written, and samples have come.
fn used() -> Desk {
    let desk = Desk::ideal();
    desk.rail(0, 3.0, 2.0);
    desk.select(0xFF);
    desk.write_word(0x42, 0x0100);
    desk.mask(0x7A, 0x00);
    desk.write(0xB0, &[4, 1, 2, 3, 4]);
    desk.select(0);
    desk.settle(3);
    assert!(desk.is_low());
    assert_ne!(desk.word(0x8B), 0);
    assert_ne!(desk.read(0x87, 7)[1..], [0; 6]);
    desk
}

#[test]
fn a_brown_out_forgets_everything() {
    let desk = used();
    desk.select(2);
    desk.part.brown_out();
    assert!(!desk.is_low());
    desk.bench.run_for(Duration::from_millis(2));
    assert_eq!(desk.byte(0x00), 0);
    assert_eq!(desk.word(0x42), 0xFFFF);
    assert_eq!(desk.call(0x1B, &[1, 0x7A], 2), [1, 0x60]);
    assert_eq!(desk.read(0xB0, 5), [4, 0, 0, 0, 0]);
    assert_eq!(desk.byte(0x7A), 0);
    assert_eq!(desk.word(0x8B), 0);
    assert_eq!(desk.read(0x87, 7), [6, 0, 0, 0, 0, 0, 0]);
}

#[test]
fn it_is_deaf_for_two_milliseconds_and_samples_from_then_on() {
    let desk = used();
    desk.part.brown_out();
    let from = desk.bench.now_ns();
    let hears = || {
        desk.wire.start();
        let acknowledged = desk.wire.send(ADDRESS << 1);
        desk.wire.stop();
        acknowledged
    };
    assert!(!hears());
    // An address is judged 260 ns and eight clocks of 1 µs after START.
    desk.bench.run_until(from + 2_000_000 - 8_261);
    assert!(!hears());
    desk.part.brown_out();
    let from = desk.bench.now_ns();
    desk.bench.run_until(from + 2_000_000 - 8_260);
    assert!(hears());
    assert_eq!(
        desk.part.next_event_ns(),
        Some(from + 2_000_000 + 1_250_000)
    );
    desk.bench.run_until(from + 2_000_000 + 1_250_000);
    assert_eq!(desk.word(0x8B), 1536);
}

#[test]
fn without_supply_it_says_and_does_nothing() {
    let desk = used();
    desk.part.power_loss();
    let samples = desk.part.conversions();
    assert_eq!(format!("{:?}", desk.part), "Part(0x58, without supply)");
    desk.bench.run_for(Duration::from_millis(50));
    assert_eq!(desk.raw_write(&[]), [false]);
    desk.wire.start();
    assert!(!desk.wire.send(0x19));
    desk.wire.stop();
    assert_eq!(
        (
            desk.part.conversions(),
            desk.part.next_event_ns(),
            desk.is_low()
        ),
        (samples, None, false)
    );
    // What flows meanwhile is the rail's business.
    let truth = desk.part.truth(0).expect("page").charge_half_na_ns;
    assert_eq!(truth, 2 * 2_000_000_000 * i128::from(desk.bench.now_ns()));
    desk.part.power_up();
    desk.bench.run_for(Duration::from_millis(10));
    assert_eq!(desk.byte(0x00), 0);
}

#[test]
fn a_mark_of_the_host_goes_with_a_reset_and_with_restore_user_all() {
    let desk = used();
    assert_eq!(desk.read(0xB0, 5), [4, 1, 2, 3, 4]);
    desk.write(0x16, &[]);
    assert_eq!(desk.read(0xB0, 5), [4, 0, 0, 0, 0]);
}

#[test]
fn a_transfer_does_not_outlive_a_reset() {
    let desk = Desk::ideal();
    desk.wire.start();
    [ADDRESS << 1, 0x00, 0x02]
        .into_iter()
        .for_each(|byte| assert!(desk.wire.send(byte)));
    desk.part.brown_out();
    desk.wire.stop();
    desk.bench.run_for(Duration::from_millis(3));
    assert_eq!((desk.byte(0x00), desk.byte(0x7E)), (0, 0));
}
