//! What a static library without std must have.

/// Stands still: nothing in the driver panics, and what cannot happen must not run on. A watchdog sees it.
#[panic_handler]
fn stand_still(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        core::hint::spin_loop();
    }
}
