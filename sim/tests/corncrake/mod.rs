//! The model of Corncrake against its datasheet, on the bus model.

mod alerts;
mod bench;
mod captures;
mod datasheet;
mod examples;
mod fixture;
mod individuals;
mod latches;
mod limits;
mod position;
mod registers;
mod run;
mod timing;
mod totals;
mod transfers;

use crate::common;
