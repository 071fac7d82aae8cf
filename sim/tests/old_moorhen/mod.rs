//! The model of Moorhen against its datasheet, on the bus model.

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

use crate::common;
