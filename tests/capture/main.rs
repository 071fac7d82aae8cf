//! A fast capture from its start to its figures: codes against exact rational arithmetic of what
//! the plant did, figures against the same of the codes, and what goes wrong.

mod codes;
mod faults;
mod figures;
mod fixture;
