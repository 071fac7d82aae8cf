//! The model of Corncrake against its datasheet, on the bus model.

mod alerts;
#[path = "../common/mod.rs"]
mod common;
mod datasheet;
mod desk;
mod examples;
mod individuals;
mod latches;
mod registers;
mod timing;
mod totals;
mod transfers;
