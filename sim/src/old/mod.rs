//! The first form of the Corncrake model: the first core, the conformance kit and the scenarios
//! still stand on it, until they are carried over to the new form.

pub mod corncrake;
