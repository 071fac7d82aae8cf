//! The model of Corncrake against its datasheet, on the bus model.

mod alerts;
mod datasheet;
mod desk;
mod examples;
mod individuals;
mod latches;
mod registers;
mod timing;
mod totals;
mod transfers;

use crate::common;
