//! Choosing a sense resistor before the board exists: candidates from the series of preferred
//! numbers, each with its error budget, and one of them with the reason.
//!
//! Every figure of error comes from the driver's own budgets ([`crake::board::Budget`]) and from
//! the part's [`PartInfo`](crake::info::PartInfo); this room adds the root of the sum of squares,
//! the resistor's heat, and the choice.
//!
//! ```
//! use crake::part::corncrake::INFO;
//! use crake::units::{Current, Voltage};
//! use crake_sim::shunt::{Choice, Demands};
//!
//! let mut demands = Demands::new(
//!     &INFO,
//!     Voltage::from_volts(12),
//!     (Current::from_milliamps(50), Current::from_amps(5)),
//!     50_000, // parts per million at 50 mA: 5 %
//! );
//! demands.burden = Some(Voltage::from_millivolts(60));
//! demands.averaging = 4; // means of 16 scans
//! let choice = Choice::of(&demands)?;
//! let chosen = choice.chosen().ok_or("nothing fits")?;
//! // 60 mV ÷ 5 A are 12 mΩ, but 1 % and the heat leave no more than 11 mΩ.
//! assert_eq!(chosen.resistance_nohm, 11_000_000);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

mod budget;
mod candidate;
mod choice;
mod demands;
mod filter;
mod heat;
mod relax;
mod report;
mod series;
mod uncertainty;

pub use budget::{ErrorBudget, Errors};
pub use candidate::{Broken, Candidate};
pub use choice::Choice;
pub use demands::{Demands, Impossible, Resistors, Stretch};
pub use filter::{Corner, Filter};
pub use heat::Heat;
pub use relax::Relaxed;
pub use report::{Asked, Choices, Figures, RailChoice, between};
pub use series::Series;
pub use uncertainty::{Contribution, expanded, standard};
