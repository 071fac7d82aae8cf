//! What still stands on the first core, whole: Moorhen, PMBus, registers as data, and the porting
//! guide's part.

mod descriptions;
mod inspect;
mod moorhen;
mod pmbus;
mod porting;
