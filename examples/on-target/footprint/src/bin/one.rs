//! One sample and its readings, for a profile.
#![no_std]
#![no_main]
use core::hint::black_box;
use cortex_m as _;
use crake::{Channel, Monitor, Sample, ShuntMonitor};
use footprint::{Answers, BOARD, CONFIG, Handle, Instantly, RAILS, Time, part};
use semihosting::process;
#[cortex_m_rt::entry]
fn main() -> ! {
    let bus = Answers::new([0; 3]);
    let mut monitor =
        Monitor::new(Handle(&bus), Instantly, part(), &BOARD).with_clock(Time::every(500_000));
    bus.prepare();
    let mut good = monitor.init(&CONFIG).is_ok();
    for _ in 0..3 {
        bus.prepare();
        good &= sample(&mut monitor);
    }
    process::exit(if good { 0 } else { 1 })
}
#[inline(never)]
fn sample<M: ShuntMonitor<RAILS>>(monitor: &mut M) -> bool {
    match monitor.sample() {
        Ok(sample) => {
            readings(sample);
            true
        }
        Err(_) => false,
    }
}
#[inline(never)]
fn readings<S: Sample<RAILS> + ?Sized>(sample: &S) {
    for channel in Channel::first(RAILS as u8) {
        let _ = black_box(sample.reading(channel));
    }
}
