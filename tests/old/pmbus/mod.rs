//! The map of PMBus devices against the model of one: both from docs/pmbus-device.md, neither from
//! the other.

mod asking;
mod bytes;
mod changes;
mod desk;
mod effort;
mod energy;
mod formats;
mod limits;
mod readings;
mod resets;
mod safety;
