//! The map of PMBus devices against the model of one: both from docs/pmbus-device.md, neither from the other.

mod desk;
mod readings;
