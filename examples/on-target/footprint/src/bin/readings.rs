//! Frames and readings alone, without a ledger: what the rest costs is the difference to `minimal`.
#![no_std]
#![no_main]

use core::hint::black_box;

use cortex_m as _;
use crake::old::part::corncrake::Corncrake;
use crake::old::{Channel, Monitor, ShuntMonitor};
use footprint::{ADDRESS, BOARD, Instantly, RAILS, SETUP, Silent, Time};

#[cortex_m_rt::entry]
fn main() -> ! {
    let part = Corncrake::new();
    let mut monitor = Monitor::new(Silent, Instantly, Time::default(), part, ADDRESS, &BOARD);
    let _ = black_box(monitor.init(&SETUP).is_ok());
    loop {
        if let Ok(frame) = monitor.latch() {
            for channel in Channel::first(RAILS as u8) {
                let _ = black_box(frame.reading(channel));
            }
        }
    }
}

#[panic_handler]
fn panicked(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        core::hint::spin_loop();
    }
}
