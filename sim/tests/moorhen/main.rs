//! The model of Moorhen against its datasheet, on the bus model.

#[path = "../common/mod.rs"]
mod common;
mod company;
mod datasheet;
mod desk;
mod examples;
mod individuals;
mod limits;
mod registers;
mod resets;
mod timing;
mod transfers;
