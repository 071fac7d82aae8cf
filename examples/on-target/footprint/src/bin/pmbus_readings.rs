//! Samples and readings of a PMBus device alone.
#![no_std]
#![no_main]

use core::hint::black_box;

use cortex_m as _;
use crake::{Channel, Monitor, Sample, ShuntMonitor};
use footprint::pmbus::{BOARD, CONFIG, RAILS, part};
use footprint::{Instantly, Silent};

#[cortex_m_rt::entry]
fn main() -> ! {
    let mut monitor = Monitor::new(Silent, Instantly, part(), &BOARD);
    let _ = black_box(monitor.init(&CONFIG).is_ok());
    loop {
        if let Ok(sample) = monitor.sample() {
            for channel in Channel::first(RAILS as u8) {
                let _ = black_box(sample.reading(channel));
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
