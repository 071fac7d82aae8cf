//! Samples, readings and totals of a Corncrake and of a Moorhen in one firmware.
#![no_std]
#![no_main]

use core::hint::black_box;

use cortex_m as _;
use crake::totals::Totals;
use crake::{Channel, Monitor, Sample, ShuntMonitor};
use footprint::{BOARD, CONFIG, Instantly, RAILS, Silent, Time, moorhen, part};

#[cortex_m_rt::entry]
fn main() -> ! {
    let mut monitor = Monitor::new(Silent, Instantly, part(), &BOARD).with_clock(Time::default());
    let mut totals = Totals::new(&BOARD);
    let mut second = Monitor::new(Silent, Instantly, moorhen::part(), &moorhen::BOARD)
        .with_clock(Time::default());
    let mut second_totals = Totals::new(&moorhen::BOARD);
    let _ = black_box(monitor.init(&CONFIG).is_ok());
    let _ = black_box(second.init(&moorhen::CONFIG).is_ok());
    loop {
        if let Ok(sample) = monitor.sample() {
            for channel in Channel::first(RAILS as u8) {
                let _ = black_box(sample.reading(channel));
            }
            black_box(totals.update(sample));
        }
        if let Ok(sample) = second.sample() {
            for channel in Channel::first(moorhen::RAILS as u8) {
                let _ = black_box(sample.reading(channel));
            }
            black_box(second_totals.update(sample));
        }
        black_box(totals.charge(black_box(Channel::C0)));
        black_box(totals.energy(black_box(Channel::C0)));
        black_box(totals.next_sample_by_us());
        black_box(second_totals.charge(black_box(Channel::C0)));
        black_box(second_totals.energy(black_box(Channel::C0)));
        black_box(second_totals.next_sample_by_us());
    }
}

#[panic_handler]
fn panicked(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        core::hint::spin_loop();
    }
}
