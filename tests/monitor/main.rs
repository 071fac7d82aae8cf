//! The monitor on Corncrake: what its operations put on the bus, and what they make of what comes.

mod fixture;
mod hostile;
mod wire;
mod worst_case;
