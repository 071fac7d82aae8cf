//! Devices of the PMBus standard: the driver against the model, and against the tables and worked
//! examples of docs/pmbus-device.md.

mod bytes;
mod desk;
mod energy;
mod formats;
mod limits;
mod readings;
mod refused;
mod resets;
mod safety;
