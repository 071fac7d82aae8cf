//! What a static library without std must have.

/// Stands still: nothing in the driver panics, and what cannot happen must not run on. A watchdog
/// sees it.
#[panic_handler]
fn stand_still(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        core::hint::spin_loop();
    }
}

/// The shipped core library of systems with unwinding names this function in tables that nothing
/// here ever reads: the profile aborts.
///
/// cbindgen:ignore
#[cfg(not(target_os = "none"))]
// SAFETY: no Rust runtime with one of its own is linked into a C program beside this library.
#[unsafe(no_mangle)]
extern "C" fn rust_eh_personality() {}
