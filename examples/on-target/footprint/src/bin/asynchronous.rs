//! The same as `blocking` on the async monitor, with the least executor that there can be.
#![no_std]
#![no_main]

use core::future::Future;
use core::hint::black_box;
use core::pin::pin;
use core::task::{Context, Waker};

use cortex_m as _;
use crake::alert::AlertQueue;
use crake::asynch::{Monitor, ShuntMonitor};
use crake::{Channel, Sample};
use footprint::{BOARD, CONFIG, Instantly, LIMITS, RAILS, Silent, part};

async fn firmware() {
    let mut monitor = Monitor::new(Silent, Instantly, part(), &BOARD);
    let mut queue = AlertQueue::<8>::new();
    let _ = black_box(monitor.init(&CONFIG).await.is_ok());
    let _ = black_box(
        queue
            .asynch()
            .set_limits(&mut monitor, &LIMITS)
            .await
            .is_ok(),
    );
    loop {
        if let Ok(sample) = monitor.sample().await {
            for channel in Channel::first(RAILS as u8) {
                let _ = black_box(sample.reading(channel));
            }
        }
        let _ = black_box(queue.asynch().service(&mut monitor).await.is_ok());
        black_box(queue.next_event());
    }
}

#[cortex_m_rt::entry]
fn main() -> ! {
    let mut firmware = pin!(firmware());
    loop {
        let _ = black_box(
            firmware
                .as_mut()
                .poll(&mut Context::from_waker(Waker::noop())),
        );
    }
}

#[panic_handler]
fn panicked(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        core::hint::spin_loop();
    }
}
