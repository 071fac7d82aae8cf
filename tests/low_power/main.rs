//! What a host that sleeps relies on: its clock across wraps and mishaps, and how long a call can take.

mod clock;
mod longest;
mod pieces;
