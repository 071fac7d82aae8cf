//! Prints what the conformance kit finds on the project's parts, and ends with a status: the same
//! on a microcontroller and on the host.
#![cfg_attr(target_os = "none", no_std, no_main)]

#[path = "../entry.rs"]
mod entry;

use on_target::conformance::run;

/// The kit draws nothing.
const SEED: u64 = 0;
#[cfg(target_os = "none")]
const HEAP_BYTES: usize = 1024 * 1024;

#[cfg(not(target_os = "none"))]
fn main() -> std::process::ExitCode {
    entry::on_host()
}
