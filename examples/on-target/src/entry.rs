//! What a program of this package is on a microcontroller (its lines go out through semihosting, it
//! ends with a status) and on the host, where it is an ordinary program. The program that includes
//! this has `run`, `SEED` and `HEAP_BYTES`.

#[cfg(target_os = "none")]
mod firmware {
    use core::fmt::{self, Write};

    // Its critical sections are what the allocator needs on a core without compare-and-swap.
    use cortex_m as _;
    use cortex_m_rt::entry;
    use embedded_alloc::LlffHeap;
    use semihosting::{print, println, process};

    #[global_allocator]
    static HEAP: LlffHeap = LlffHeap::empty();

    /// The debugger's console.
    struct Console;

    impl Write for Console {
        fn write_str(&mut self, text: &str) -> fmt::Result {
            print!("{text}");
            Ok(())
        }
    }

    #[entry]
    fn main() -> ! {
        const BYTES: usize = crate::HEAP_BYTES;
        // The allocator takes its memory by address, which no safe interface can vouch for. Once,
        // before anything is allocated.
        #[allow(unsafe_code)]
        unsafe {
            embedded_alloc::init!(HEAP, BYTES);
        }
        let status = match crate::run(&mut Console, crate::SEED) {
            Ok(()) => 0,
            Err(wrong) => {
                println!("{wrong}");
                1
            }
        };
        process::exit(status)
    }
}

/// The same as an ordinary program.
#[cfg(not(target_os = "none"))]
pub fn on_host() -> std::process::ExitCode {
    let mut lines = String::new();
    let outcome = crate::run(&mut lines, crate::SEED);
    print!("{lines}");
    match outcome {
        Ok(()) => std::process::ExitCode::SUCCESS,
        Err(wrong) => {
            println!("{wrong}");
            std::process::ExitCode::FAILURE
        }
    }
}
