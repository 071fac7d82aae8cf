//! The principle under faults: an operation completes, or it fails and says what failed.
//!
//! Every operation is carried out with every single fault at every single transfer, and dropped or
//! disturbed at every await; then operations and faults follow each other at random.

mod books;
mod bus;
mod host;
mod judge;
mod limits;
mod plan;
mod scene;
mod sequences;
mod tally;
mod trial;
mod walk;
