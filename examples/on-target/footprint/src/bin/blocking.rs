//! The counterpart of `asynchronous`: the very same with the blocking monitor, so that the difference is what async costs.
#![no_std]
#![no_main]

use core::hint::black_box;

use cortex_m as _;
use crake::alert::{Causes, Watches, alert_response};
use crake::burst::Burst;
use crake::ledger::Ledger;
use crake::part::corncrake::{Corncrake, SENSE_65_MV, SPEC};
use crake::units::Current;
use crake::{Channel, Monitor, ShuntMonitor};
use footprint::{ADDRESS, BOARD, Instantly, LIMITS, RAILS, SETUP, Silent, Time};

fn firmware() {
    let part = Corncrake::new();
    let mut monitor = Monitor::new(Silent, Instantly, Time::default(), part, ADDRESS, &BOARD);
    let mut ledger = Ledger::new(&BOARD, &SPEC);
    let joint = monitor.joint();
    if let Ok(frame) = monitor.attach(&joint) {
        black_box(ledger.update(&frame));
    } else if let Ok(frame) = monitor.init(&SETUP) {
        black_box(ledger.update(&frame));
    }
    loop {
        let mut found = Causes::empty();
        if let Ok(frame) = monitor.arm(&SETUP, &Watches::limits(&LIMITS), &mut found) {
            black_box(ledger.update(&frame));
        }
        if let Ok(frame) = monitor.latch() {
            for channel in Channel::first(RAILS as u8) {
                let _ = black_box(frame.reading(channel));
            }
            black_box(ledger.update(&frame));
        }
        black_box(ledger.account(black_box(Channel::C0)));
        black_box(ledger.next_read_by_us());
        if let Ok(frame) = monitor.service(Causes::LIMITS, &mut found) {
            black_box(ledger.update(&frame));
        }
        black_box(found);
        let _ = black_box(alert_response(&mut Silent));
        if let Ok(frame) = monitor.configure(black_box(&SETUP)) {
            black_box(ledger.update(&frame));
        }
        let mut codes = [0; 64];
        if let Ok(count) = monitor.fetch(&mut codes) {
            let burst = Burst {
                codes: codes.get(..count).unwrap_or_default(),
                rail: &BOARD.rails()[0],
                range: SENSE_65_MV,
                spec: &SPEC,
            };
            black_box(burst.statistics(Current::from_amps(1)));
        }
    }
}

#[cortex_m_rt::entry]
fn main() -> ! {
    firmware();
    loop {
        core::hint::spin_loop();
    }
}

#[panic_handler]
fn panicked(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        core::hint::spin_loop();
    }
}
