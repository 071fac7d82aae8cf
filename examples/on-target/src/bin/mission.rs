//! Prints the worked examples and the mission, and ends with a status: on a microcontroller through semihosting, on the host as an ordinary program.
#![cfg_attr(target_os = "none", no_std, no_main)]

use on_target::run;

/// One seed for all machines, so that their lines can be compared.
const SEED: u64 = 4;

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

    const HEAP_BYTES: usize = 24 * 1024;

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
        // The allocator takes its memory by address, which no safe interface can vouch for. Once, before anything is allocated.
        #[allow(unsafe_code)]
        unsafe {
            embedded_alloc::init!(HEAP, HEAP_BYTES);
        }
        let status = match super::run(&mut Console, super::SEED) {
            Ok(()) => 0,
            Err(wrong) => {
                println!("{wrong}");
                1
            }
        };
        process::exit(status)
    }
}

#[cfg(not(target_os = "none"))]
fn main() -> std::process::ExitCode {
    let mut lines = String::new();
    let outcome = run(&mut lines, SEED);
    print!("{lines}");
    match outcome {
        Ok(()) => std::process::ExitCode::SUCCESS,
        Err(wrong) => {
            println!("{wrong}");
            std::process::ExitCode::FAILURE
        }
    }
}
