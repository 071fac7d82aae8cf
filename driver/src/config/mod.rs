//! What is asked of a part: what to convert, how often, and which limits to watch. Plain data.

mod limit;
mod scan;

pub use crate::flags::{AlertFlag, AlertFlags, Kind, Outputs};
pub use limit::{Lasting, Limit, Limits, Threshold};
pub use scan::{ChannelRange, Config, ConfigError, FullScale, Mode, Run, Scan, ScanRate};
