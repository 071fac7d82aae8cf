//! Models of parts against their datasheets.

mod common;
mod corncrake;
mod moorhen;
mod old_corncrake;
mod old_moorhen;
mod pmbus;
