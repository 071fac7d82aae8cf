//! Alerts: from a limit in engineering units to an event, against the bench.

mod change;
mod comparator;
mod faults;
mod fixture;
mod hysteresis;
mod lasting;
mod limits;
mod not_lost;
mod own_flags;
mod proof;
mod reaction;
mod response;
mod setting;
mod split;
mod sweep;
mod truth_table;
