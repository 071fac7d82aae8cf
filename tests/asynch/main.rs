//! The async monitor against its blocking twin, its futures dropped at every await, and several parts on one bus.

mod desk;
mod drops;
mod same;
mod shared;
