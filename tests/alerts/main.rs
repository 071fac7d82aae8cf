//! Alerts: from a limit in engineering units to an event, against the bench.

mod fixture;
mod truth_table;
