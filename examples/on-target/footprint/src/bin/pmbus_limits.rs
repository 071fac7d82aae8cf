//! Samples, readings, totals and limits of a PMBus device, of which the driver compares one.
#![no_std]
#![no_main]

use core::hint::black_box;

use cortex_m as _;
use crake::alert::AlertQueue;
use crake::totals::Totals;
use crake::{Channel, Monitor, Sample, ShuntMonitor};
use footprint::pmbus::{BOARD, CONFIG, LIMITS, RAILS, part};
use footprint::{Instantly, Silent, Time};

#[cortex_m_rt::entry]
fn main() -> ! {
    let mut monitor = Monitor::new(Silent, Instantly, part(), &BOARD).with_clock(Time::default());
    let mut totals = Totals::new(&BOARD);
    let mut queue: AlertQueue<'_, 8> = AlertQueue::new();
    let _ = black_box(monitor.init(&CONFIG).is_ok());
    let _ = black_box(queue.set_limits(&mut monitor, &LIMITS).is_ok());
    loop {
        if let Ok(sample) = queue.service(&mut monitor) {
            for channel in Channel::first(RAILS as u8) {
                let _ = black_box(sample.reading(channel));
            }
            black_box(totals.update(sample));
        }
        black_box(queue.next_event());
        black_box(queue.next_in());
        black_box(totals.charge(black_box(Channel::C0)));
        black_box(totals.energy(black_box(Channel::C0)));
        black_box(totals.next_sample_by_us());
    }
}

#[panic_handler]
fn panicked(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        core::hint::spin_loop();
    }
}
