//! Models of parts against their datasheets.

mod common;
mod corncrake;
mod moorhen;
mod pmbus;
