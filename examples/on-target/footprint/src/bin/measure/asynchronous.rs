//! What the async face costs, over a bus that is ready at once.

use core::future::Future;
use core::hint::black_box;
use core::mem::size_of_val;
use core::pin::pin;
use core::task::{Context, Poll, Waker};

use crake::alert::AlertQueue;
use crake::asynch::{self, ShuntMonitor};
use footprint::{Answers, BOARD, CONFIG, Handle, Instantly, LIMITS, part};
use semihosting::println;

use crate::meter::{alone, instructions, stack};
use crate::{Room, TIME, sample_on_the_bus, service_on_the_bus};

/// Runs a future whose bus is ready at once.
fn ready<F: Future>(future: F) -> Option<F::Output> {
    match pin!(future).poll(&mut Context::from_waker(Waker::noop())) {
        Poll::Ready(output) => Some(output),
        Poll::Pending => None,
    }
}

pub fn asynchronous() -> bool {
    let (bus, other, mut room) = (
        Answers::new([0x08, 0, 0]),
        Answers::new([0x08, 0, 0]),
        Room([0; 115]),
    );
    let mut monitor =
        asynch::Monitor::new(Handle(&bus), Instantly, part(), &BOARD).with_clock(TIME);
    let mut queue = AlertQueue::<8>::new();
    bus.prepare();
    let mut good = matches!(ready(monitor.init(&CONFIG)), Some(Ok(())));
    println!("size.future_of_sample = {}", size_of_val(&monitor.sample()));
    let bus_alone = alone(&mut || sample_on_the_bus(&other, &mut room));
    let mut sample = || good &= matches!(ready(monitor.sample()), Some(Ok(_)));
    let whole = instructions(&mut || bus.prepare(), &mut sample);
    println!("instructions.sample_async = {}", whole - bus_alone);
    bus.prepare();
    println!("stack.sample_async = {}", stack(&mut sample));
    bus.prepare();
    println!(
        "stack.set_limits_async = {}",
        stack(&mut || {
            let mut queue = queue.asynch();
            good &= matches!(ready(queue.set_limits(&mut monitor, &LIMITS)), Some(Ok(())));
        })
    );
    println!(
        "size.future_of_service = {}",
        size_of_val(&queue.asynch().service(&mut monitor))
    );
    let bus_alone = alone(&mut || service_on_the_bus(&other, &mut room));
    let mut service = || {
        good &= matches!(ready(queue.asynch().service(&mut monitor)), Some(Ok(_)));
        black_box(queue.next_event());
    };
    let whole = instructions(&mut || bus.prepare(), &mut service);
    println!("instructions.service_async = {}", whole - bus_alone);
    bus.prepare();
    println!("stack.service_async = {}", stack(&mut service));
    good
}
