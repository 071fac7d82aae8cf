//! Moorhen, whose sums, power and lower limits the driver makes up: exact bytes from docs/moorhen-datasheet.md, and totals against the truth of the bench.

mod bytes;
