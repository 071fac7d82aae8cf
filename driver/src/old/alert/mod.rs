//! From a limit in engineering units to the right cause on the right line, with nothing lost.
//!
//! Say what is to be watched ([`Watches`]), put it in force with a [`Station`], let the station [serve](Station::service) the part (or serve it in [pieces](Station::look)) while a line is low, take
//! [events](Station::next_event).
//!
//! A monitor is not a protection device. It reports, after a debounce and a bus transfer, to firmware that may be busy or wrong. Fuses, battery protection circuits and certified
//! devices protect, chosen under local codes by people licensed to do so.

mod cause;
mod judge;
mod plan;
mod proof;
mod response;
mod station;
mod watch;

pub use cause::{Cause, Causes, Kind, Outputs};
pub use judge::Judge;
pub use plan::Plan;
pub(crate) use proof::Trial;
pub use proof::{Finding, Proof, prove};
pub(crate) use response::ALERT_RESPONSE;
pub use response::{Answer, alert_response};
pub(crate) use station::Change;
pub use station::{Event, Station};
pub use watch::{Limit, Watch, Watches};
