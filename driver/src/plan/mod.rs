//! Planning: what a way to run a part costs, how soon it tells of a limit, how long its sums last;
//! and the cheapest way that meets what has to be known.
//!
//! All of it is whole-number arithmetic on [`PartInfo`](crate::info::PartInfo) and on the transfers
//! of the calls themselves ([`Monitor::traffic`](crate::Monitor::traffic)), so firmware can plan
//! again while it runs: for a weaker battery, say, or for a night without anybody to warn.
//!
//! ```
//! use crake::board::{Board, Rail, SenseResistor};
//! use crake::config::{Config, FullScale, Kind, ScanRate};
//! use crake::part::Part;
//! use crake::part::corncrake::{Address, Corncrake};
//! use crake::plan::{Demands, Host, choose};
//! use crake::units::{Resistance, Tolerance, Voltage};
//! use crake::{Monitor, ShuntMonitor};
//! # use crake::plan::Unmet;
//! # use embedded_hal::{delay::DelayNs, i2c::I2c};
//!
//! const RAIL: Rail =
//!     Rail::new(SenseResistor::new(Resistance::from_milliohms(10), Tolerance::from_percent(1)));
//! static BOARD: Board<1> = Corncrake::board(&[RAIL]);
//! const UP_TO: FullScale = FullScale::new(Voltage::from_millivolts(60), Voltage::from_volts(12));
//! const CONFIG: Config<1> = Config::continuous([UP_TO], ScanRate::per_second(2_000));
//!
//! # fn plan(i2c: impl I2c, delay: impl DelayNs) -> Result<(), Unmet> {
//! let monitor = Monitor::new(i2c, delay, Corncrake::new(Address::Strap0), &BOARD);
//! // An over-current of 20 ms has to be seen, and told within 50 ms.
//! let demands = Demands {
//!     alert_us: Some(50_000),
//!     event_us: Some(20_000),
//!     ..Demands::NONE
//! };
//! let part = (monitor.info(), &Corncrake::SUPPLY_TYPICAL);
//! let plan = choose(part, &CONFIG, &demands, &Host::TYPICAL, |call, config| {
//!     monitor.traffic(call, config)
//! })?;
//! println!("{:?}, debounce {}, {}", plan.config.mode(), plan.debounce, plan.spent.total());
//! # Ok(())
//! # }
//! ```

mod candidate;
mod choose;
mod demand;
mod duty;
mod host;
#[cfg(test)]
mod tests;

pub use choose::{Plan, choose};
pub use demand::{Demand, Demands, RailUse, Unmet};
pub use duty::{Duty, Rollovers};
pub use host::{Host, Spent};
