//! `crake-sim plan`: what it prints, what it refuses, and what the bench then measures.

mod measured;
mod printed;
