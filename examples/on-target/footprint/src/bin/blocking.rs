//! Samples, readings, limits and services on the blocking monitor: what `asynchronous` is held
//! against.
#![no_std]
#![no_main]

use core::hint::black_box;

use cortex_m as _;
use crake::alert::AlertQueue;
use crake::{Channel, Monitor, Sample, ShuntMonitor};
use footprint::{BOARD, CONFIG, Instantly, LIMITS, RAILS, Silent, part};

#[cortex_m_rt::entry]
fn main() -> ! {
    let mut monitor = Monitor::new(Silent, Instantly, part(), &BOARD);
    let mut queue = AlertQueue::<8>::new();
    let _ = black_box(monitor.init(&CONFIG).is_ok());
    let _ = black_box(queue.set_limits(&mut monitor, &LIMITS).is_ok());
    loop {
        if let Ok(sample) = monitor.sample() {
            for channel in Channel::first(RAILS as u8) {
                let _ = black_box(sample.reading(channel));
            }
        }
        let _ = black_box(queue.service(&mut monitor).is_ok());
        black_box(queue.next_event());
    }
}

#[panic_handler]
fn panicked(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        core::hint::spin_loop();
    }
}
