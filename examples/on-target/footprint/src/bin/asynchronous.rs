//! The counterpart of `everything`: the very same with the async monitor, so that the difference is what async costs.
#![no_std]
#![no_main]

use core::hint::black_box;
use core::pin::pin;
use core::task::{Context, Poll, Waker};

use cortex_m as _;
use crake::old::Channel;
use crake::old::alert::{Station, Watches};
use crake::old::asynch::{Monitor, ShuntMonitor, alert_response, prove};
use crake::old::burst::Burst;
use crake::old::ledger::Ledger;
use crake::old::part::corncrake::{Corncrake, SENSE_65_MV, SPEC};
use crake::old::units::Current;
use footprint::{ADDRESS, BOARD, Instantly, LIMITS, RAILS, SETUP, Silent, Time};

async fn firmware() {
    let part = Corncrake::new();
    let mut monitor = Monitor::new(Silent, Instantly, Time::default(), part, ADDRESS, &BOARD);
    let mut ledger = Ledger::new(&BOARD, &SPEC);
    let mut station = Station::<RAILS, 8>::new(SETUP, Watches::limits(&LIMITS));
    let joint = monitor.joint();
    if let Ok(frame) = monitor.attach(&joint).await {
        black_box(ledger.update(&frame));
    } else if let Ok(frame) = monitor.init(&SETUP).await {
        black_box(ledger.update(&frame));
    }
    loop {
        if let Ok(frame) = station.arm_async(&mut monitor).await {
            black_box(ledger.update(&frame));
        }
        if let Ok(frame) = monitor.latch().await {
            for channel in Channel::first(RAILS as u8) {
                let _ = black_box(frame.reading(channel));
            }
            black_box(ledger.update(&frame));
        }
        black_box(ledger.account(black_box(Channel::C0)));
        black_box(ledger.next_read_by_us());
        if let Ok(frame) = station.service_async(&mut monitor).await {
            black_box(ledger.update(&frame));
        }
        black_box(station.next_event());
        let _ = black_box(alert_response(&mut Silent).await);
        let proof = prove(
            &mut station,
            &mut monitor,
            &mut |_| black_box(true),
            &mut Instantly,
        )
        .await;
        let _ = black_box(proof);
        if let Ok(frame) = monitor.configure(black_box(&SETUP)).await {
            black_box(ledger.update(&frame));
        }
        let mut codes = [0; 64];
        if let Ok(count) = monitor.fetch(&mut codes).await {
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
    let mut context = Context::from_waker(Waker::noop());
    let mut firmware = pin!(firmware());
    loop {
        if let Poll::Ready(()) = firmware.as_mut().poll(&mut context) {
            loop {
                core::hint::spin_loop();
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
