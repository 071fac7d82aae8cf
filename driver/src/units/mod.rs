//! Quantities named by dimension, built and read like [`core::time::Duration`].
//!
//! Each is an integer with one resolution, stated on the type, so that
//! `Voltage::from_millivolts(3300)` is a constant and nothing here ever rounds behind your back:
//!
//! - `from_*` is exact. A value beyond the range becomes the end of the range ([`Voltage::MAX`] and
//!   its like), some nine billion volts away.
//! - `as_*` of the finest unit is exact; in a coarser unit it is **rounded to nearest, halves away
//!   from zero**.
//! - Sums and differences come as `checked_*` and `saturating_*`, so that the overflow is decided
//!   where it is written. There are no operators `+` and `-`: either choice would be hidden in
//!   them.
//! - `{}` writes engineering form with three decimals (`3.300 V`, `-12.500 mA`), `{:.1}` another
//!   number of them, never more than the resolution bears; width, fill and sign work as for
//!   integers. `{:?}` writes the exact number.
//!
//! Time is [`core::time::Duration`].
//!
//! ```
//! use crake::units::{Current, Energy, Voltage};
//!
//! const LIMIT: Voltage = Voltage::from_millivolts(3300);
//! assert_eq!(LIMIT.as_microvolts(), 3_300_000);
//! assert!(LIMIT < Voltage::from_volts(5));
//! assert_eq!(LIMIT.saturating_sub(Voltage::from_volts(5)), Voltage::from_millivolts(-1700));
//!
//! // Rounded to nearest, halves away from zero.
//! assert_eq!(Current::from_microamps(-12_500).as_milliamps(), -13);
//! assert_eq!(Energy::from_watt_hours(1).as_joules(), 3600);
//!
//! assert_eq!(format!("{LIMIT}"), "3.300 V");
//! assert_eq!(format!("{:.1}", Current::from_microamps(-12_500)), "-12.5 mA");
//! assert_eq!(format!("{:>10}", Voltage::from_nanovolts(200)), "    200 nV");
//! assert_eq!(format!("{LIMIT:?}"), "Voltage(3300000000 nV)");
//! ```

mod instant;
mod quantity;
mod resistance;
mod temperature;
mod tolerance;
mod total;

pub use instant::{Current, Power, Voltage};
pub use resistance::Resistance;
pub use temperature::Temperature;
pub use tolerance::Tolerance;
pub use total::{Charge, Energy};
