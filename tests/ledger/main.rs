//! The ledger, driven through a real monitor over a bus that serves frame blocks made by the datasheet's layout, against exact arithmetic.

mod bounds;
mod checkpoint;
mod exact;
mod model;
mod safe;
mod stub;
mod totals;
