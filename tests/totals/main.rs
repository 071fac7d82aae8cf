//! Totals, given samples that a test sets, against exact arithmetic; and given those of a monitor
//! on the bench, against what truly flowed.

mod bounds;
mod by_driver;
mod checkpoint;
mod clipping;
mod corrected;
mod exact;
mod gaps;
mod individual;
mod limits;
mod mixed;
mod model;
mod over_range;
mod restart;
mod stub;
mod three_days;
mod widths;
