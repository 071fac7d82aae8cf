//! Choosing sense resistors: the budget against a published check and against many individuals, and
//! the choice tried on the bench.

mod bench;
mod fifty_microvolts;
mod gum;
mod monte_carlo;
mod twenty_rails;
