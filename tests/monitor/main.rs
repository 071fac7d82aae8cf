//! The monitor on Corncrake: what its operations put on the bus, and what they make of what comes.

mod drops;
mod effort;
mod faces;
mod fixture;
mod hostile;
mod outage;
mod rollovers;
mod shared;
mod tokens;
mod wire;
mod worst_case;
