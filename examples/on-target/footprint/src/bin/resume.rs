//! Samples and readings, and going on with a part that ran: what resuming costs is the difference
//! to `readings`.
#![no_std]
#![no_main]

use core::hint::black_box;

use cortex_m as _;
use crake::part::ResumeToken;
use crake::{Channel, Monitor, Sample, ShuntMonitor};
use footprint::{BOARD, CONFIG, Instantly, RAILS, Silent, part};

#[cortex_m_rt::entry]
fn main() -> ! {
    let mut monitor = Monitor::new(Silent, Instantly, part(), &BOARD);
    let token = ResumeToken {
        writes: black_box(7),
        configuration: 0,
    };
    if monitor.resume(&CONFIG, token).is_err() {
        let _ = black_box(monitor.init(&CONFIG).is_ok());
    }
    black_box(monitor.token());
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
