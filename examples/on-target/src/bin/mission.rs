//! Prints the worked examples and the mission, and ends with a status: on a microcontroller through
//! semihosting, on the host as an ordinary program.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[path = "../entry.rs"]
mod entry;

use on_target::run;

/// One seed for all machines, so that their lines can be compared.
const SEED: u64 = 4;
#[cfg(target_os = "none")]
const HEAP_BYTES: usize = 24 * 1024;

#[cfg(not(target_os = "none"))]
fn main() -> std::process::ExitCode {
    entry::on_host()
}
