//! Everything blocking: minimal use, joining, change of set-up, limits and their events, the proof test, the alert response, a burst with its statistics.
#![no_std]
#![no_main]

use core::hint::black_box;

use cortex_m as _;
use crake::old::alert::{Station, Watches, alert_response, prove};
use crake::old::burst::Burst;
use crake::old::ledger::Ledger;
use crake::old::part::corncrake::{Corncrake, SENSE_65_MV, SPEC};
use crake::old::units::Current;
use crake::old::{Channel, Monitor, ShuntMonitor};
use footprint::{ADDRESS, BOARD, Instantly, LIMITS, RAILS, SETUP, Silent, Time};

#[cortex_m_rt::entry]
fn main() -> ! {
    let part = Corncrake::new();
    let mut monitor = Monitor::new(Silent, Instantly, Time::default(), part, ADDRESS, &BOARD);
    let mut ledger = Ledger::new(&BOARD, &SPEC);
    let mut station = Station::<RAILS, 8>::new(SETUP, Watches::limits(&LIMITS));
    let joint = monitor.joint();
    if let Ok(frame) = monitor.attach(&joint) {
        black_box(ledger.update(&frame));
    } else if let Ok(frame) = monitor.init(&SETUP) {
        black_box(ledger.update(&frame));
    }
    loop {
        if let Ok(frame) = station.arm(&mut monitor) {
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
        if let Ok(frame) = station.service(&mut monitor) {
            black_box(ledger.update(&frame));
        }
        black_box(station.next_event());
        let _ = black_box(alert_response(&mut Silent));
        let proof = prove(
            &mut station,
            &mut monitor,
            &mut |_| black_box(true),
            &mut |us| {
                black_box(us);
            },
        );
        let _ = black_box(proof);
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

#[panic_handler]
fn panicked(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        core::hint::spin_loop();
    }
}
