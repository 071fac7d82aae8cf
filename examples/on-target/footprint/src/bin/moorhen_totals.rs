//! Samples, readings and totals of a Moorhen, whose sums the driver keeps.
#![no_std]
#![no_main]

use core::hint::black_box;

use cortex_m as _;
use crake::totals::Totals;
use crake::{Channel, Monitor, Sample, ShuntMonitor};
use footprint::moorhen::{BOARD, CONFIG, RAILS, part};
use footprint::{Instantly, Silent, Time};

#[cortex_m_rt::entry]
fn main() -> ! {
    let mut monitor = Monitor::new(Silent, Instantly, part(), &BOARD).with_clock(Time::default());
    let mut totals = Totals::new(&BOARD);
    let _ = black_box(monitor.init(&CONFIG).is_ok());
    loop {
        if let Ok(sample) = monitor.sample() {
            for channel in Channel::first(RAILS as u8) {
                let _ = black_box(sample.reading(channel));
            }
            black_box(totals.update(sample));
        }
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
