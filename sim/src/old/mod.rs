//! The first forms of the models of Corncrake and Moorhen, the conformance kit of the first core's
//! maps, and looking at registers by that core's descriptions: until their users are carried over.

pub mod conformance;
pub mod corncrake;
pub mod inspect;
pub mod moorhen;
