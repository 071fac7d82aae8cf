//! The first form of the Corncrake model, and looking at registers by the first core's descriptions:
//! the first core, the conformance kit, the scenarios and the program still stand on them, until they
//! are carried over.

pub mod corncrake;
pub mod inspect;
