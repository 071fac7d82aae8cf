//! Error budgets, bounds of readings, and calibration: by hand from the datasheet, and against
//! individuals within its limits on the bench.

mod bench;
mod bounds;
mod budget;
mod collecting;
mod correcting;
mod fifty_microvolts;
mod paper;
mod record;
