//! The first forms of the models of Corncrake and Moorhen, and looking at registers by the first
//! core's descriptions: the first core, the conformance kit, the scenarios and the program still stand on them, until they
//! are carried over.

pub mod corncrake;
pub mod inspect;
pub mod moorhen;
