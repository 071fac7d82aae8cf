//! The model of PMBus devices against docs/pmbus-device.md, on the bus model.

mod alert;
mod commands;
mod description;
mod desk;
mod discovery;
mod document;
mod energy;
mod examples;
mod formats;
mod limits;
mod reset;
mod sampling;
mod status;
mod transfers;

use crate::common;
