//! Everything that there is, blocking: resume, samples, readings, totals with bounds and their
//! checkpoint, limits and services in pieces, a proof test, a fast capture with statistics, a
//! correction while it runs.
#![no_std]
#![no_main]

use core::hint::black_box;

use cortex_m as _;
use crake::alert::AlertQueue;
use crake::board::{Board, Correction, Gain, Offset};
use crake::capture::Tally;
use crake::totals::{Bounds, Margins, Totals};
use crake::{Channel, Monitor, Sample, ShuntMonitor};
use footprint::{BOARD, CONFIG, Instantly, LIMITS, MARGINS, RAILS, Silent, Time, part};

#[cortex_m_rt::entry]
fn main() -> ! {
    static mut CORRECTED: Board<RAILS> = BOARD;
    static mut MARGINS_THEN: Margins<'static, RAILS> = MARGINS;
    let mut correction = Correction::NONE;
    correction.offset = Offset::from_bits(black_box(512));
    correction.gain = Gain::from_bits(black_box((1 << 30) + 12_345));
    CORRECTED.correct(Channel::C0, &correction);
    let board: &Board<RAILS> = CORRECTED;
    let corrections = [
        correction,
        Correction::NONE,
        Correction::NONE,
        Correction::NONE,
    ];
    MARGINS_THEN.correct(board, &corrections);
    let margins: &Margins<'_, RAILS> = MARGINS_THEN;
    let mut monitor = Monitor::new(Silent, Instantly, part(), &BOARD).with_clock(Time::default());
    let mut totals = Totals::with_bounds(&MARGINS);
    let mut queue = AlertQueue::<8>::new();
    let mut record = [0; Totals::<'static, RAILS, Bounds<'static, RAILS>>::CHECKPOINT_LEN];
    let Ok(token) = totals.load(black_box(&record)) else {
        loop {
            core::hint::spin_loop();
        }
    };
    if monitor.resume(&CONFIG, token).is_err() {
        let _ = black_box(monitor.init(&CONFIG).is_ok());
    }
    let _ = black_box(queue.set_limits(&mut monitor, &LIMITS).is_ok());
    let _ = black_box(monitor.set_board(board).is_ok());
    totals.set_margins(margins);
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
        let _ = black_box(queue.service(&mut monitor).is_ok());
        black_box(queue.next_event());
        let mut codes = [0; 64];
        if monitor.start_capture(black_box(Channel::C1)).is_ok()
            && let Ok(capture) = monitor.fetch_capture(0, &mut codes)
        {
            let mut tally = Tally::new();
            black_box(tally.add(&capture));
            black_box((tally.mean(&capture), tally.rms(&capture)));
        }
        let _ = black_box(monitor.configure(&CONFIG).is_ok());
        let _ = black_box(totals.save(monitor.token(), &mut record).is_ok());
    }
}

#[panic_handler]
fn panicked(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        core::hint::spin_loop();
    }
}
