//! What a host that sleeps relies on: its clock across wraps and mishaps, and what
//! docs/low-power.md says of current, of transfers and of calls.

mod clock;
mod guide;
