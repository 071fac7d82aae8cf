//! What the tests of all models share.

pub(crate) mod plants;
pub(crate) mod sheet;
