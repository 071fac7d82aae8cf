//! Minimal use without bounds: set up, latch frames, readings of four channels, a ledger of totals alone.
#![no_std]
#![no_main]

use core::hint::black_box;

use cortex_m as _;
use crake::old::ledger::Ledger;
use crake::old::part::corncrake::{Corncrake, SPEC};
use crake::old::{Channel, Monitor, ShuntMonitor};
use footprint::{ADDRESS, BOARD, Instantly, RAILS, SETUP, Silent, Time};

#[cortex_m_rt::entry]
fn main() -> ! {
    let part = Corncrake::new();
    let mut monitor = Monitor::new(Silent, Instantly, Time::default(), part, ADDRESS, &BOARD);
    let mut ledger = Ledger::of_totals(&BOARD, &SPEC);
    if let Ok(frame) = monitor.init(&SETUP) {
        black_box(ledger.update(&frame));
    }
    loop {
        if let Ok(frame) = monitor.latch() {
            for channel in Channel::first(RAILS as u8) {
                let _ = black_box(frame.reading(channel));
            }
            black_box(ledger.update(&frame));
        }
        black_box(ledger.total(black_box(Channel::C0)));
        black_box(ledger.next_read_by_us());
    }
}

#[panic_handler]
fn panicked(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        core::hint::spin_loop();
    }
}
