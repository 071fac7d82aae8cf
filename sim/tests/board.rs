//! The virtual board: time, bus, lines, tasks and rails.

mod bench;
mod lines;
mod own_model;
mod plants_switched;
mod rails;
mod steps;
mod tasks;
