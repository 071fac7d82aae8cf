//! The monitor: it owns bus, part and the last sample, and runs each operation.
//!
//! Each operation is written once, in `core.rs`; [`Monitor`] runs it to its end, and
//! [`asynch::Monitor`] gives its future.

mod alerts;
pub mod asynch;
mod blocking;
mod capture;
mod clock;
mod core;
mod counter;
mod error;
mod sample;
mod shunt;
mod worst_case;

pub use blocking::Monitor;
pub use capture::FastCapture;
pub use clock::{Clock, NoClock, Stamp, TimeSource, Timestamp, WithClock};
pub use counter::CounterClock;
pub use error::{Error, ErrorKind, Operation};
pub use sample::{Last, NoReading, Reading, Sample, Saturation, TimedSample};
pub use shunt::ShuntMonitor;
pub use worst_case::Call;
