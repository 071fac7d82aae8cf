//! Whatever happens to firmware, part and set-up meanwhile: totals go on where that is possible, and say what is missing where it is not.

mod changes;
mod controllers;
mod desk;
mod outage;
mod restart;
