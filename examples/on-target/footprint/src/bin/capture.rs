//! Samples and readings, and a fast capture with its statistics: what capturing costs is the
//! difference to `readings`.
#![no_std]
#![no_main]

use core::hint::black_box;

use cortex_m as _;
use crake::capture::Tally;
use crake::{Channel, Monitor, Sample, ShuntMonitor};
use footprint::{BOARD, CONFIG, Instantly, RAILS, Silent, part};

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
        let mut codes = [0; 64];
        if monitor.start_capture(black_box(Channel::C1)).is_ok()
            && let Ok(capture) = monitor.fetch_capture(0, &mut codes)
        {
            let mut tally = Tally::new();
            let _ = black_box(tally.add(&capture));
            black_box(tally.least(&capture));
            black_box(tally.greatest(&capture));
            black_box((tally.mean(&capture), tally.rms(&capture)));
            black_box(tally.rms(&capture));
        }
        let _ = black_box(monitor.configure(&CONFIG).is_ok());
    }
}

#[panic_handler]
fn panicked(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        core::hint::spin_loop();
    }
}
