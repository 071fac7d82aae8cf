//! Samples and readings with a correction, as read from a record at the start: what it costs is the
//! difference to `readings`.
#![no_std]
#![no_main]

use core::hint::black_box;

use cortex_m as _;
use crake::board::{Board, Correction, Gain, Offset};
use crake::{Channel, Monitor, Sample, ShuntMonitor};
use footprint::{BOARD, CONFIG, Instantly, RAILS, Silent, part};

#[cortex_m_rt::entry]
fn main() -> ! {
    // In RAM, filled by the start-up code as any other.
    static mut CORRECTED: Board<RAILS> = BOARD;
    let mut correction = Correction::NONE;
    correction.offset = Offset::from_bits(black_box(512));
    correction.gain = Gain::from_bits(black_box((1 << 30) + 12_345));
    CORRECTED.correct(Channel::C0, &correction);
    let mut monitor = Monitor::new(Silent, Instantly, part(), CORRECTED);
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
