//! The model of Moorhen against docs/moorhen-datasheet.md, on the bus model.

mod company;
mod datasheet;
mod examples;
mod fixture;
mod individuals;
mod limits;
mod registers;
mod resets;
mod status;
mod timing;
mod transfers;

use crate::common;
