//! What still stands on the first core, whole: Moorhen, PMBus, registers as data, the porting guide's
//! part, and the bus that gives anything to a ledger's checkpoint.

mod descriptions;
mod hostile_bus;
mod inspect;
mod moorhen;
mod pmbus;
mod porting;
