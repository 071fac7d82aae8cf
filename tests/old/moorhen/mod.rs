//! Moorhen, whose sums, power and lower limits the driver makes up: exact bytes from
//! docs/old/moorhen-datasheet.md, and what survives on the bench when anything fails at any moment.

mod bench;
mod bytes;
