//! What is made of many conversions or readings: figures of a fast capture, and the readings around
//! an event.
//!
//! A fast capture converts one channel's current at the part's greatest rate, a bounded number of
//! times: [`start_capture`](crate::ShuntMonitor::start_capture),
//! [`fetch_capture`](crate::ShuntMonitor::fetch_capture), then [`Tally`].

mod statistics;
mod trigger;

pub use statistics::Tally;
pub use trigger::TriggerBuffer;
