//! Moorhen's map against its document and the model: all that the driver makes up for it, and what
//! nobody can detect.

mod alerts;
mod faults;
mod fixture;
mod samples;
mod totals;
