//! From a limit in engineering units to an event, with nothing lost and nothing told twice.
//!
//! Say what is to be watched ([`Limits`]), put it in force with an [`AlertQueue`], let it
//! [serve](AlertQueue::service) the part while an output is active, and take
//! [events](AlertQueue::next_event).
//!
//! A monitor is not a protection device. It reports, after a debounce and a bus transfer, to
//! firmware that may be busy or wrong. Fuses, battery protection circuits and certified devices
//! protect, chosen under local codes by people licensed to do so.

mod event;
mod look;
mod proof;
mod quantity;
mod queue;
mod response;
mod service;

pub use crate::config::{
    AlertFlag, AlertFlags, Kind, Lasting, Limit, LimitError, LimitReason, Limits, Outputs,
    Quantity, Threshold,
};
pub use crate::part::{Compare, SoftwareComparator};
pub use event::Event;
pub use proof::{Finding, Proof};
pub use quantity::limit_in_force;
pub use queue::AlertQueue;
pub use response::{Answer, alert_response};
pub use service::Asynch;

/// Async twins by the same names.
pub mod asynch {
    pub use super::response::asynch::alert_response;
}
