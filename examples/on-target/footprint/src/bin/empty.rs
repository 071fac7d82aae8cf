//! What every program here has: the vector table, the start-up code, and the silent bus used once
//! each way.
#![no_std]
#![no_main]

use core::hint::black_box;

use cortex_m as _;
use embedded_hal::i2c::I2c;
use footprint::{ADDRESS, Silent};

#[cortex_m_rt::entry]
fn main() -> ! {
    let mut room = [0; 4];
    loop {
        let _ = black_box(Silent.write(ADDRESS, &[0]));
        let _ = black_box(Silent.write_read(ADDRESS, &[0], &mut room));
    }
}

#[panic_handler]
fn panicked(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        core::hint::spin_loop();
    }
}
