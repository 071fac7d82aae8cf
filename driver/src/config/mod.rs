//! What is asked of a part: what to convert, how often, and which limits to watch. Plain data.

mod limit;
mod limits;
mod scan;

pub use crate::flags::{AlertFlag, AlertFlags, Kind, Outputs};
pub use limit::{Lasting, Limit, Quantity, Threshold};
pub use limits::{LimitError, LimitReason, Limits};
pub use scan::{ChannelRange, Config, ConfigError, FullScale, Mode, Run, Scan, ScanRate};
